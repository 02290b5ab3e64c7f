package main

import (
	"slices"
	"testing"
)

// TestWrapIndented keeps what is within something else below it to the right.
func TestWrapIndented(t *testing.T) {
	for _, c := range []struct {
		cell  string
		width int
		want  []string
	}{
		{"CR-1", 8, []string{"CR-1"}},
		{"  CR-1", 8, []string{"  CR-1"}},
		{"  on the way", 8, []string{"  on the", "  way"}},
		{"    ab", 3, []string{"  a", "  b"}},
		{"", 4, []string{""}},
		{"   ", 4, []string{"   "}},
	} {
		if got := wrapIndented(c.cell, c.width); !slices.Equal(got, c.want) {
			t.Errorf("%q in %d: %q, want %q", c.cell, c.width, got, c.want)
		}
	}
}
