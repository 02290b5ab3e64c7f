package procedure_test

import (
	"maps"
	"os"
	"path/filepath"
	"regexp"
	"strings"
	"testing"

	"pulk/checklist/procedure"
)

const proceduresFolder = "../../testdata/procedures"

// load parses a shared procedure and fails the test on any problem.
func load(t testing.TB, name string) *procedure.Procedure {
	t.Helper()
	src, err := os.ReadFile(filepath.Join(proceduresFolder, name))
	if err != nil {
		t.Fatal(err)
	}
	p, problems := procedure.Parse(name, src)
	for _, problem := range problems {
		t.Error(problem)
	}
	if p == nil {
		t.FailNow()
	}
	return p
}

// The shared procedures are what crews would carry: clean, of real size, with
// hazards first, a caution at what cannot be undone, and readings with limits.
func TestSharedProcedures(t *testing.T) {
	partsText, err := os.ReadFile(filepath.Join(proceduresFolder, "PARTS.txt"))
	if err != nil {
		t.Fatal(err)
	}
	for name, want := range map[string]struct {
		id, revision string
		irreversible string // its one irreversible step, "" for none
	}{
		"module-acceptance.yaml":   {"module-acceptance", "B", "330"},
		"borehole-lowering.yaml":   {"borehole-lowering", "C", "410"},
		"borehole-lowering-d.yaml": {"borehole-lowering", "D", "410"},
		"cable-landing.yaml":       {"cable-landing", "B", "410"},
		"power-up.yaml":            {"power-up", "A", ""},
		"seismic-station.yaml":     {"seismic-station", "A", "470"},
	} {
		t.Run(name, func(t *testing.T) {
			p := load(t, name)
			if p.ID != want.id || p.Revision != want.revision {
				t.Errorf("%s revision %s; want %s revision %s", p.ID, p.Revision, want.id, want.revision)
			}
			if n := len(p.Steps); n < 25 || n > 70 {
				t.Errorf("%d steps; want 25 to 70", n)
			}
			if len(p.Hazards) < 4 || len(p.Tools) < 5 || len(p.Parts) < 5 {
				t.Errorf("%d hazards, %d tools, %d parts; want at least 4, 5, 5", len(p.Hazards), len(p.Tools), len(p.Parts))
			}
			for _, part := range p.Parts {
				if !strings.Contains(string(partsText), part.Part+"\t") {
					t.Errorf("part %s is not in PARTS.txt", part.Part)
				}
			}
			checkSteps(t, p, want.irreversible)
		})
	}
}

// PARTS.txt lists exactly the part numbers that the files name, tools included.
func TestPartsList(t *testing.T) {
	files, err := filepath.Glob(proceduresFolder + "/*.yaml")
	if err != nil {
		t.Fatal(err)
	}
	number := regexp.MustCompile(`\b[A-Z][A-Z0-9]{2}-[0-9]{3}\b`)
	named := map[string]bool{}
	for _, file := range files {
		for _, part := range number.FindAllString(string(read(filepath.Base(file))), -1) {
			named[part] = true
		}
	}
	listed := map[string]bool{}
	for _, part := range number.FindAllString(string(read("PARTS.txt")), -1) {
		listed[part] = true
	}
	if len(named) < 50 || !maps.Equal(named, listed) {
		t.Errorf("%d part numbers named, %d listed in PARTS.txt; want the same", len(named), len(listed))
	}
}

// checkSteps counts kinds and finds the irreversible step.
func checkSteps(t *testing.T, p *procedure.Procedure, irreversible string) {
	t.Helper()
	kinds, bothSides, got := map[procedure.Kind]int{}, 0, ""
	for i, s := range p.Steps {
		kinds[s.Kind]++
		if s.Reading != nil && s.Reading.Limits.Min != nil && s.Reading.Limits.Max != nil {
			bothSides++
		}
		if s.Irreversible {
			got += s.ID
		}
		if at, ok := p.StepIndex(s.ID); !ok || at != i {
			t.Errorf("StepIndex(%q) = %d, %t; want %d", s.ID, at, ok, i)
		}
	}
	if got != irreversible {
		t.Errorf("irreversible step %q; want %q", got, irreversible)
	}
	if kinds[procedure.KindReading] < 5 || kinds[procedure.KindHold] < 2 || kinds[procedure.KindWait] < 1 || bothSides < 2 {
		t.Errorf("kinds %v, %d readings with both limits; want a working mix", kinds, bothSides)
	}
}
