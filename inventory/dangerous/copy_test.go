package dangerous

import (
	"os"
	"slices"
	"strings"
	"testing"
)

// TestAgainstAnotherCopy holds every cell of the table against a public copy that it was
// not typed from; where that is from stands at its head.
func TestAgainstAnotherCopy(t *testing.T) {
	text, err := os.ReadFile("testdata/49cfr177.848.txt")
	if err != nil {
		t.Fatal(err)
	}
	want := map[[2]string]string{}
	for line := range strings.Lines(string(text)) {
		if line = strings.TrimSpace(line); line == "" || line[0] == '#' {
			continue
		}
		parts := strings.Split(line, " | ")
		if len(parts) != 3 {
			t.Fatalf("%q has %d parts", line, len(parts))
		}
		for _, other := range strings.Split(parts[2], ", ") {
			cell := [2]string{parts[0], other}
			if !slices.Contains(columns, parts[0]) || !slices.Contains(columns, other) || want[cell] != "" {
				t.Fatalf("%v: no such cell, or there twice", cell)
			}
			want[cell] = parts[1]
		}
	}
	if len(want) != 173 {
		t.Errorf("the copy has %d cells that are not blank; another source counts 173", len(want))
	}
	for i, a := range columns {
		for j, b := range columns {
			if got := strings.Trim(highway[i][j:j+1], "."); got != want[[2]string{a, b}] {
				t.Errorf("%s with %s: %q, the copy has %q", a, b, got, want[[2]string{a, b}])
			}
		}
	}
}
