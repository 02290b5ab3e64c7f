package main

import (
	"strings"
	"testing"
	"unicode"

	"pgregory.net/rapid"
)

func TestTame(t *testing.T) {
	for text, want := range map[string]string{
		"stn  Vindur\n":            "stn  Vindur\n",
		"−40 °C, Ægir\tok\r\n":     "−40 °C, Ægir\tok\r\n",
		"a\x1b[2Jb\a":              "a␛[2Jb␇",
		"trusted\rNO":              "trusted␍NO",
		"\x7f\u009b31m":            "␡\ufffd31m",
		"go\u202eon":               "go\ufffdon",
		"\x9b31m":                  "\ufffd31m",
		"half a sign: \xe2\x82\n":  "half a sign: \ufffd\ufffd\n",
		"\x00":                     "␀",
		"emoji \U0001F9CA, 日本, עב": "emoji \U0001F9CA, 日本, עב",
	} {
		var out strings.Builder
		if n, err := (&tame{w: &out}).Write([]byte(text)); out.String() != want || n != len(text) || err != nil {
			t.Errorf("%q is written as %q, want %q; %d, %v", text, out.String(), want, n, err)
		}
	}
}

// TestTameLetsNothingThrough: whatever the text, in whatever pieces, no character that
// steers is left, and what holds none is left alone.
func TestTameLetsNothingThrough(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		text := rapid.String().Draw(t, "text")
		var out strings.Builder
		tame, rest := &tame{w: &out}, append([]byte(text), '\n')
		for len(rest) > 0 {
			n := rapid.IntRange(1, len(rest)).Draw(t, "piece")
			tame.Write(rest[:n])
			rest = rest[n:]
		}
		steers := func(r rune) bool {
			return unicode.IsControl(r) && r != '\n' && r != '\t' && r != '\r' || unicode.Is(unicode.Bidi_Control, r) && r != 0x200e && r != 0x200f && r != 0x061c
		}
		if strings.ContainsFunc(strings.ReplaceAll(out.String(), "\r\n", ""), func(r rune) bool { return steers(r) || r == '\r' }) {
			t.Errorf("%q lets something through: %q", text, out.String())
		}
		if !strings.ContainsFunc(text, func(r rune) bool { return steers(r) || r == '\r' }) && out.String() != text+"\n" {
			t.Errorf("%q became %q", text, out.String())
		}
	})
}
