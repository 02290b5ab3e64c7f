// Generate writes the season files from the catalogue, which it finds in the
// folder testdata below the current one:
//
//	go run ./testdata/seasons/generate
//
// It always writes the same bytes for the same catalogue.
package main

import (
	"fmt"
	"os"
	"path/filepath"

	"pulk/testdata/seasons"
)

func main() {
	if err := run("testdata"); err != nil {
		fmt.Fprintln(os.Stderr, "generate:", err)
		os.Exit(1)
	}
}

func run(folder string) error {
	catalogue, err := os.ReadFile(filepath.Join(folder, "catalogue.csv"))
	if err != nil {
		return fmt.Errorf("%w: run this from the root of the repository", err)
	}
	files, err := seasons.Generate(catalogue)
	if err != nil {
		return err
	}
	for name, data := range files {
		if err := os.WriteFile(filepath.Join(folder, "seasons", name), data, 0o644); err != nil {
			return err
		}
	}
	return nil
}
