// Package published reads the files of published check values in testdata/checks,
// for tests. Only tests import it.
package published

import (
	"encoding/csv"
	"math"
	"os"
	"path/filepath"
	"runtime"
	"strconv"
	"strings"
	"testing"
)

// Row is one value with its source.
type Row struct {
	ID, Quantity, Expected, Tolerance, Source, HowObtained string

	inputs map[string]string
}

// Text returns an input; the test fails where the row has none of that name.
func (r Row) Text(t *testing.T, key string) string {
	t.Helper()
	text, ok := r.inputs[key]
	if !ok {
		t.Fatalf("%s has no input %q", r.ID, key)
	}
	return text
}

// Number returns an input that is a number.
func (r Row) Number(t *testing.T, key string) float64 {
	t.Helper()
	value, err := strconv.ParseFloat(r.Text(t, key), 64)
	if err != nil {
		t.Fatalf("%s: input %s: %v", r.ID, key, err)
	}
	return value
}

// Must returns the value of a computation that must not fail.
func Must[T any](value T, err error) func(*testing.T) T {
	return func(t *testing.T) T {
		t.Helper()
		if err != nil {
			t.Fatal(err)
		}
		return value
	}
}

// Read returns the rows of testdata/checks/name.
func Read(t *testing.T, name string) []Row {
	t.Helper()
	_, here, _, _ := runtime.Caller(0)
	f, err := os.Open(filepath.Join(filepath.Dir(here), "..", name))
	if err != nil {
		t.Fatal(err)
	}
	defer f.Close()
	records, err := csv.NewReader(f).ReadAll()
	if err != nil {
		t.Fatal(err)
	}
	const header = "id quantity inputs expected unit tolerance source how_obtained"
	if got := strings.Join(records[0], " "); got != header {
		t.Fatalf("%s: columns are %q, want %q", name, got, header)
	}
	var rows []Row
	for _, r := range records[1:] {
		row := Row{r[0], r[1], r[3], r[5], r[6], r[7], map[string]string{}}
		for _, pair := range strings.Split(r[2], ";") {
			key, value, _ := strings.Cut(pair, "=")
			row.inputs[key] = value
		}
		rows = append(rows, row)
	}
	return rows
}

// allowed returns the difference from want that the row's tolerance admits: "0.05",
// "rel 1e-6", "0 after rounding", "0 (limit)", "0.001 (formula)".
func (r Row) allowed(t *testing.T, want float64) float64 {
	t.Helper()
	text, relative := strings.CutPrefix(r.Tolerance, "rel ")
	text, _, _ = strings.Cut(text, " ")
	tolerance, err := strconv.ParseFloat(text, 64)
	if err != nil || tolerance < 0 {
		t.Fatalf("%s: tolerance %q is not understood", r.ID, r.Tolerance)
	}
	if relative {
		tolerance *= math.Abs(want)
	}
	return tolerance
}

// Check computes every row whose quantity is in computed and compares. want is how
// many rows these are: fewer means that rows were lost on the way.
func Check(t *testing.T, name string, want int, computed map[string]func(*testing.T, Row) float64) {
	t.Helper()
	tested := 0
	for _, row := range Read(t, name) {
		compute, ok := computed[row.Quantity]
		if !ok {
			continue
		}
		tested++
		t.Run(row.ID, func(t *testing.T) {
			expected, err := strconv.ParseFloat(row.Expected, 64)
			if err != nil {
				t.Fatal(err)
			}
			got := compute(t, row)
			if math.IsNaN(got) || math.Abs(got-expected) > row.allowed(t, expected) {
				t.Errorf("%s of %v = %v; want %v ± %s\nsource: %s (%s)", row.Quantity, row.inputs, got, expected, row.Tolerance, row.Source, row.HowObtained)
			}
		})
	}
	if tested != want {
		t.Errorf("%s: %d rows tested; want %d", name, tested, want)
	}
}
