package main

import (
	"bytes"
	"fmt"
	"io/fs"
	"os"
	"path/filepath"
	"regexp"
	"strings"
	"testing"
)

var fuzzTarget = regexp.MustCompile(`(?m)^func (Fuzz\w+)\(`)

// TestDocsFuzzing holds docs/fuzzing.md to a row for every fuzz target, and to none for
// what is no target.
func TestDocsFuzzing(t *testing.T) {
	record, err := os.ReadFile("../../docs/fuzzing.md")
	if err != nil {
		t.Fatal(err)
	}
	targets := 0
	err = filepath.WalkDir("../..", func(path string, entry fs.DirEntry, err error) error {
		if err != nil || !strings.HasSuffix(path, "_test.go") {
			return err
		}
		text, err := os.ReadFile(path)
		for _, found := range fuzzTarget.FindAllSubmatch(text, -1) {
			targets++
			row := fmt.Sprintf("| `%s` %s |", strings.TrimPrefix(filepath.ToSlash(filepath.Dir(path)), "../../"), found[1])
			if !bytes.Contains(record, []byte(row)) {
				t.Errorf("docs/fuzzing.md has no row that begins with %q: add one, and what is known of it", row)
			}
		}
		return err
	})
	if rows := bytes.Count(record, []byte("\n| `")); err != nil || rows != targets {
		t.Errorf("%d fuzz targets and %d rows in docs/fuzzing.md, %v", targets, rows, err)
	}
}
