package testdata

import (
	"bytes"
	"io/fs"
	"os"
	"strings"
	"testing"
)

// A program that imports this package finds every data file, as it is on disk.
func TestFSHoldsTheFilesOfThisFolder(t *testing.T) {
	for _, pattern := range []string{"catalogue.csv", "assemblies/*.csv", "crates/*.csv", "freight/*.csv", "procedures/*.yaml", "seasons/*.csv"} {
		names, err := fs.Glob(FS, pattern)
		if err != nil || len(names) == 0 {
			t.Errorf("%s: %d files, %v", pattern, len(names), err)
		}
		for _, name := range names {
			embedded, err := FS.ReadFile(name)
			if err != nil {
				t.Fatal(err)
			}
			onDisk, err := os.ReadFile(name)
			if err != nil || !bytes.Equal(embedded, onDisk) {
				t.Errorf("%s differs from the file on disk (%v)", name, err)
			}
		}
	}
}

// procedures/PARTS.txt lists the parts that the procedures name, each line
// with a part number, a tab and the catalogue's name for it.
func TestCatalogueHoldsEveryPartOfTheProcedures(t *testing.T) {
	names := map[string]string{}
	for _, row := range readRows(t, "catalogue.csv", catalogueColumns) {
		names[row["part_number"]] = row["name"]
	}
	list, err := os.ReadFile("procedures/PARTS.txt")
	if err != nil {
		t.Fatal(err)
	}
	checked := 0
	for line := range strings.Lines(string(list)) {
		part, name, ok := strings.Cut(strings.TrimSpace(line), "\t")
		if !ok {
			continue
		}
		checked++
		if names[part] != name {
			t.Errorf("procedures/PARTS.txt: %s is %q, in catalogue.csv %q", part, name, names[part])
		}
	}
	if checked == 0 {
		t.Error("procedures/PARTS.txt names no part")
	}
}
