package bundle

import (
	"fmt"
	"os"
	"strings"
	"testing"

	"pulk/schema/kind"
)

// TestDocumentListsKinds keeps the list of kinds in docs/bundle-format.md whole: a
// reader written from it refuses kinds below 64 that it does not list.
func TestDocumentListsKinds(t *testing.T) {
	text, err := os.ReadFile("../../docs/bundle-format.md")
	if err != nil {
		t.Fatal(err)
	}
	for _, k := range kind.All() {
		line := fmt.Sprintf("\n%d %s", k.ID, k.Name)
		for _, column := range k.Columns {
			line += fmt.Sprintf(" %s:%c", column.Name, column.Type)
		}
		if k.ID < kind.FirstDescribed && !strings.Contains(string(text), line+"\n") {
			t.Errorf("docs/bundle-format.md, section 11, lacks the line %q", line[1:])
		}
	}
}

// TestDocumentWalksThroughGolden keeps the walk-through at the file's bytes.
func TestDocumentWalksThroughGolden(t *testing.T) {
	text, err := os.ReadFile("../../docs/bundle-format.md")
	if err != nil {
		t.Fatal(err)
	}
	_, section, _ := strings.Cut(string(text), "## 10.")
	_, block, _ := strings.Cut(section, "```\n")
	block, _, _ = strings.Cut(block, "```")
	data, at := golden(t, "check_off_raw.bundle"), 0
	for _, line := range strings.Split(strings.TrimRight(block, "\n"), "\n") {
		place, rest := strings.TrimSpace(line[:3]), line[3:]
		if place == "" {
			continue
		}
		if place != fmt.Sprint(at) {
			t.Fatalf("line %q stands at byte %d", line, at)
		}
		for _, word := range strings.Fields(rest) {
			var b byte
			if word == "|" {
				continue
			}
			if n, err := fmt.Sscanf(word, "%02x", &b); n != 1 || err != nil || len(word) != 2 {
				break
			}
			if data[at] != b {
				t.Errorf("line %q: byte %d is %02x", line, at, data[at])
			}
			at++
		}
	}
	if at < 90 {
		t.Errorf("the walk-through ends at byte %d, before the signature", at)
	}
}
