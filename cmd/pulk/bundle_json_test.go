package main

import (
	"bytes"
	"encoding/json"
	"os"
	"path/filepath"
	"testing"

	"pulk/sync/bundle"
)

// What is written a change at a time is what would be written at once.
func TestBundleJSON(t *testing.T) {
	paths, err := filepath.Glob("../../testdata/bundle/*.bundle")
	if err != nil || len(paths) == 0 {
		t.Fatalf("no golden bundles: %v", err)
	}
	for _, path := range paths {
		data, err := os.ReadFile(path)
		if err != nil {
			t.Fatal(err)
		}
		b, err := bundle.Decode(data, bundle.DefaultLimits)
		if err != nil {
			t.Fatalf("%s: %v", path, err)
		}
		var got, want bytes.Buffer
		if err := printBundleJSON(&got, b); err != nil {
			t.Fatal(err)
		}
		var all bundleJSON
		decoder := json.NewDecoder(bytes.NewReader(got.Bytes()))
		decoder.DisallowUnknownFields()
		decoder.UseNumber() // large numbers keep their digits
		if err := decoder.Decode(&all); err != nil {
			t.Fatalf("%s: %v", path, err)
		}
		sets := 0
		for _, s := range all.Segments {
			sets += len(s.Sets)
		}
		for i := range b.Segments {
			sets -= len(b.Segments[i].Sets)
		}
		if len(all.Segments) != len(b.Segments) || sets != 0 {
			t.Errorf("%s: %d segments, want %d; %d change-sets too many", path, len(all.Segments), len(b.Segments), sets)
		}
		encoder := json.NewEncoder(&want)
		encoder.SetEscapeHTML(false)
		encoder.SetIndent("", "  ")
		if err := encoder.Encode(all); err != nil {
			t.Fatal(err)
		}
		if !bytes.Equal(got.Bytes(), want.Bytes()) {
			t.Errorf("%s: printed a change at a time:\n%s\nat once:\n%s", path, got.Bytes(), want.Bytes())
		}
	}
}
