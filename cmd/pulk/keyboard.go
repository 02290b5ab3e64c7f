package main

import (
	"errors"
	"os"
	"strings"
	"time"

	"golang.org/x/sys/unix"
	"golang.org/x/term"
)

// burstGap is how soon the next character of a scanner, which types like a
// keyboard, follows. What comes so fast is no key that a person pressed.
const burstGap = 60 * time.Millisecond

// interrupted is what Ctrl-C and Ctrl-D come as while single keys are read.
const interrupted = "\x03"

// readKey reads one key from a terminal without waiting for Enter; Enter itself is
// "". If more characters follow at once, as from a scanner, it returns them all, so
// that a scan into the wrong step cannot check it off.
func readKey(keyboard *os.File) (string, error) {
	state, err := term.MakeRaw(int(keyboard.Fd()))
	if err != nil {
		return "", err
	}
	defer term.Restore(int(keyboard.Fd()), state)
	burst, err := readBurst(keyboard)
	if err != nil {
		return "", err
	}
	if text := string(burst); strings.ContainsAny(text, "\x03\x04") {
		return interrupted, nil
	}
	return strings.TrimSpace(string(burst)), nil
}

// readBurst waits for a character and returns it with all that come within
// [burstGap] of each other.
func readBurst(keyboard *os.File) ([]byte, error) {
	var burst []byte
	buf := make([]byte, 256)
	for len(burst) == 0 || len(burst) < 4096 && waiting(keyboard) {
		n, err := keyboard.Read(buf)
		if err != nil {
			return nil, err
		}
		burst = append(burst, buf[:n]...)
	}
	return burst, nil
}

// waiting reports whether another character comes within [burstGap].
func waiting(keyboard *os.File) bool {
	fds := []unix.PollFd{{Fd: int32(keyboard.Fd()), Events: unix.POLLIN}}
	for range 20 {
		n, err := unix.Poll(fds, int(burstGap.Milliseconds()))
		if !errors.Is(err, unix.EINTR) {
			return err == nil && n > 0
		}
		// A signal, such as the runtime sends itself, is no pause of the scanner: a scan
		// must not be cut there.
	}
	return false
}
