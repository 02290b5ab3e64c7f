package main

import (
	"bytes"
	"strings"
	"unicode"
	"unicode/utf8"
)

// The names of keys that are no characters.
const (
	keyEnter     = "enter"
	keyEscape    = "escape"
	keyBackspace = "backspace"
	keyUp        = "up"
	keyDown      = "down"
	keyPageUp    = "page up"
	keyPageDown  = "page down"
	keyLeave     = "leave" // Ctrl-C and Ctrl-D
	keyRune      = "rune"  // one character, pressed by a person
	keyBurst     = "burst" // characters that came too fast for a person
	keyScan      = "scan"  // such a burst that Enter ended, as a scanner sends it
)

// key is what came from a keyboard, or from a scanner that types like one.
type key struct {
	name string
	text string // of a rune, a burst and a scan
}

// escapes are what terminals send for the keys that are of use here (ECMA-48, and
// the usual keypad modes).
var escapes = []struct {
	bytes string
	name  string
}{
	{"\x1b[A", keyUp}, {"\x1bOA", keyUp}, {"\x1b[B", keyDown}, {"\x1bOB", keyDown},
	{"\x1b[5~", keyPageUp}, {"\x1b[6~", keyPageDown}, {"\x1bOM", keyEnter},
}

// decodeKeys tells the keys of a burst: all bytes that came within [burstGap] of
// each other. Characters that came together are never keys of their own, so that a
// scan into the wrong step, or a key held down, answers nothing.
func decodeKeys(burst []byte) []key {
	if bytes.ContainsAny(burst, "\x03\x04") {
		return []key{{name: keyLeave}}
	}
	var keys []key
	var text strings.Builder
	flush := func(enter bool) {
		switch n := utf8.RuneCountInString(text.String()); {
		case n > 0 && enter:
			keys = append(keys, key{keyScan, strings.TrimSpace(text.String())})
		case n > 1:
			keys = append(keys, key{keyBurst, text.String()})
		case n == 1:
			keys = append(keys, key{keyRune, text.String()})
		case enter && (len(keys) == 0 || keys[len(keys)-1].name == keyRune):
			keys = append(keys, key{name: keyEnter}) // one of several at once counts
		}
		text.Reset()
	}
	for len(burst) > 0 {
		if name, size := escape(burst); size > 0 {
			flush(false)
			if name != "" {
				keys = append(keys, key{name: name})
			}
			burst = burst[size:]
			continue
		}
		r, size := utf8.DecodeRune(burst)
		switch {
		case r == '\r' || r == '\n':
			flush(true)
		case r == 0x7f || r == '\b':
			flush(false)
			keys = append(keys, key{name: keyBackspace})
		case r != utf8.RuneError && unicode.IsPrint(r):
			text.WriteRune(r)
		}
		burst = burst[size:]
	}
	flush(false)
	return keys
}

// escape returns the name and the length of the escape sequence that a burst begins
// with; a length of 0 where it begins with none, and no name for one of no use here.
func escape(burst []byte) (name string, size int) {
	if burst[0] != 0x1b {
		return "", 0
	}
	for _, e := range escapes {
		if bytes.HasPrefix(burst, []byte(e.bytes)) {
			return e.name, len(e.bytes)
		}
	}
	if len(burst) == 1 || burst[1] == 0x1b {
		return keyEscape, 1
	}
	if burst[1] == 'O' && len(burst) > 2 {
		return "", 3
	}
	if burst[1] != '[' {
		return "", 2 // a key with Alt
	}
	for i := 2; i < len(burst); i++ {
		if burst[i] >= 0x40 && burst[i] <= 0x7e { // the final byte of a control sequence
			return "", i + 1
		}
	}
	return "", len(burst)
}
