// Package testdata carries the shared example data of pulk, invented for the
// campaign Vindur Deep, so that the demo and the tests of any package read
// the same files wherever the program runs. README.md beside this file says
// what each file holds, in which units, and where the values come from.
//
// The go command leaves folders named testdata out of patterns such as ./...;
// name them to test them: go test ./testdata ./testdata/seasons.
package testdata

import "embed"

// FS holds catalogue.csv, assemblies/*.csv, crates/*.csv, freight/*.csv, procedures/*.yaml and the two seasons of
// records in seasons/*.csv, under the names they have in this folder. It is read-only
// and safe for concurrent use.
//
//go:embed catalogue.csv assemblies/*.csv crates/*.csv freight/*.csv procedures/*.yaml seasons/*.csv
var FS embed.FS
