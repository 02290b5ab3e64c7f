// Command pulk keeps the season's procedures, spares and decisions of a remote
// site, and carries them home over a thin link.
package main

import (
	"context"
	"crypto/rand"
	"io"
	"os"
	"os/signal"
	"syscall"
	"time"

	"golang.org/x/term"

	"pulk/checklist/crew"
)

func main() {
	ctx, stop := signal.NotifyContext(context.Background(), os.Interrupt, syscall.SIGTERM)
	e := &env{stdin: os.Stdin, stdout: os.Stdout, stderr: os.Stderr,
		now: time.Now, rand: rand.Reader, getenv: os.Getenv, local: time.Local, size: terminalSize, stopwatch: stopwatch}
	e.findKeyboard()
	code := invoke(ctx, os.Args, e)
	stop()
	os.Exit(code)
}

// findKeyboard takes the terminal that the program was started at, if it was.
func (e *env) findKeyboard() {
	if term.IsTerminal(int(os.Stdin.Fd())) && term.IsTerminal(int(os.Stdout.Fd())) {
		e.terminal, e.keyboard = true, os.Stdin
	}
}

// env is everything a command takes from the world. Tests pass a fixed clock.
type env struct {
	stdin          io.Reader
	stdout, stderr io.Writer // for people: see tame
	raw, rawErr    io.Writer // the same for programs, and for what steers the terminal
	now            func() time.Time
	rand           io.Reader // keys and nonces
	getenv         func(string) string
	local          *time.Location // for the local time shown beside UTC
	terminal       bool           // stdin and stdout are a terminal
	keyboard       *os.File       // that terminal, for single keys; nil where there is none
	// stopwatch starts to measure how much time passes; nil in tests, where none does.
	stopwatch func() func() time.Duration
	// size returns the columns and rows of the terminal, where stdout is one.
	size func() (columns, rows int, ok bool)
	// openKeys locks new keys so that they open fast, and hardly hold: for the demo,
	// whose passphrase lies beside them.
	openKeys bool
}

// stopwatch measures time by the machine's own clock, whatever is set meanwhile.
func stopwatch() func() time.Duration {
	begun := time.Now()
	return func() time.Duration { return time.Since(begun) }
}

// keyCost is what it takes to open a key that is made now.
func (e *env) keyCost() crew.Cost {
	if e.openKeys {
		return crew.Cost{Passes: 1, MemoryKiB: 1 << 10}
	}
	return crew.DefaultCost
}

func terminalSize() (columns, rows int, ok bool) {
	columns, rows, err := term.GetSize(int(os.Stdout.Fd()))
	return columns, rows, err == nil
}

// width returns how many columns text may take.
func (e *env) width() int {
	if e.size != nil {
		if columns, _, ok := e.size(); ok {
			return min(max(columns, 40), tableWidth)
		}
	}
	return tableWidth
}
