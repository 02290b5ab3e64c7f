package main

import (
	"bytes"
	"io"
	"slices"
	"unicode/utf8"
)

// tame writes text for people. What others wrote, at any site, may hold characters that
// steer a terminal: clear it, write over a line above, show text in another order than it is in.
// They are written as signs that stand for them.
type tame struct {
	w    io.Writer
	rest []byte // of a character that is not whole yet
}

func (t *tame) Write(text []byte) (int, error) {
	out := text
	if len(t.rest) > 0 || slices.ContainsFunc(text, func(c byte) bool { return (c < ' ' || c >= 0x7f) && c != '\n' && c != '\t' }) {
		out, t.rest = tamed(append(t.rest, text...))
	}
	if _, err := t.w.Write(out); err != nil {
		return 0, err
	}
	return len(text), nil
}

// tamed returns text without what steers, up to rest, which may be part of a character.
func tamed(text []byte) (out, rest []byte) {
	out = make([]byte, 0, len(text)+16)
	for len(text) > 0 {
		r, size := utf8.DecodeRune(text)
		switch {
		case !utf8.FullRune(text), len(text) == 1 && r == '\r':
			return out, bytes.Clone(text)
		case r == '\n', r == '\t', bytes.HasPrefix(text, []byte("\r\n")):
			out = append(out, text[:size]...)
		default:
			out = utf8.AppendRune(out, shown(r))
		}
		text = text[size:]
	}
	return out, nil
}

// tameLine is tamed for a line that is whole.
func tameLine(text string) string {
	out, _ := tamed(append([]byte(text), '\n'))
	return string(out[:len(out)-1])
}

// shown returns the sign that stands for a character that steers, and others as they are.
func shown(r rune) rune {
	switch {
	case r < ' ':
		return 0x2400 + r // the control pictures of Unicode
	case r == 0x7f:
		return 0x2421
	case r > 0x7f && r < 0xa0, r >= 0x202a && r <= 0x202e, r >= 0x2066 && r <= 0x2069: // C1; directions of text
		return utf8.RuneError
	}
	return r
}
