package procedure_test

import (
	"bytes"
	"path/filepath"
	"reflect"
	"testing"

	"github.com/rogpeppe/go-internal/txtar"

	"pulk/checklist/procedure"
)

// FuzzParse: no file makes the parser panic, hide an error, or return a
// procedure that breaks a rule which others build on. The seeds are long, so add
// -fuzzminimizetime 10x: the default spends the whole time shortening the first.
func FuzzParse(f *testing.F) {
	files, err := filepath.Glob(proceduresFolder + "/*.yaml")
	if err != nil || len(files) == 0 {
		f.Fatalf("no seeds: %v", err)
	}
	for _, file := range files {
		f.Add(read(filepath.Base(file)))
	}
	archive, err := txtar.ParseFile(badFiles)
	if err != nil {
		f.Fatal(err)
	}
	for _, file := range archive.Files {
		f.Add(file.Data)
	}
	f.Fuzz(func(t *testing.T, src []byte) {
		p, problems := procedure.Parse("fuzz", src)
		if (p == nil) != procedure.HasErrors(problems) {
			t.Fatalf("procedure %v with problems %v", p, problems)
		}
		for i, problem := range problems {
			if problem.Line < 1 || problem.Column < 1 || problem.What == "" || problem.Expected == "" {
				t.Errorf("problem without a place or a word: %+v", problem)
			}
			if i > 0 && problem.Line < problems[i-1].Line {
				t.Errorf("%v stands after %v", problem, problems[i-1])
			}
		}
		if p != nil {
			checkInvariants(t, p)
			if again, _ := procedure.Parse("fuzz", src); !reflect.DeepEqual(p, again) {
				t.Error("the same file gave two procedures")
			}
		}
	})
}

func checkInvariants(t *testing.T, p *procedure.Procedure) {
	seen, held, used := map[string]bool{}, false, map[string]int64{}
	for _, s := range p.Steps {
		for _, id := range s.After {
			if !seen[id] {
				t.Errorf("step %q after %q, which is not earlier", s.ID, id)
			}
		}
		held = held || s.Kind == procedure.KindHold
		if s.ID == "" || seen[s.ID] || s.Text == "" || s.Irreversible && !held {
			t.Errorf("step %+v breaks a rule", s)
		}
		seen[s.ID] = true
		signs := s.Kind == procedure.KindHold || s.Kind == procedure.KindWitness
		if (s.Reading != nil) != (s.Kind == procedure.KindReading) || (s.Record != nil) != (s.Kind == procedure.KindRecord) ||
			(s.Sign != nil) != signs || (s.WaitMinutes > 0) != (s.Kind == procedure.KindWait) {
			t.Errorf("step %+v has fields of another kind", s)
		}
		if s.Reading != nil && s.Reading.Repeat < 1 || s.Sign != nil && s.Sign.People < 1 {
			t.Errorf("step %+v asks for nothing", s)
		}
		for _, use := range s.Uses {
			used[use.Part] += use.Quantity
		}
	}
	for _, part := range p.Parts {
		if used[part.Part] > part.Quantity {
			t.Errorf("%d of %s used, %d declared", used[part.Part], part.Part, part.Quantity)
		}
	}
	if ds := procedure.Compare(p, p); len(ds) != 0 {
		t.Errorf("differs from itself: %v", ds)
	}
}

// FuzzPatch: no delta makes Patch panic or give more than its bound.
func FuzzPatch(f *testing.F) {
	base, next := read("borehole-lowering.yaml"), read("borehole-lowering-d.yaml")
	f.Add(base, procedure.Delta(base, next))
	f.Add([]byte("a\nb\n"), procedure.Delta([]byte("a\nb\n"), []byte("b\na\n")))
	f.Add([]byte{}, []byte{1})
	f.Fuzz(func(t *testing.T, base, delta []byte) {
		if got, err := procedure.Patch(base, delta); len(got) > procedure.SourceBytesMax || err != nil && got != nil {
			t.Errorf("Patch gave %d bytes, %v", len(got), err)
		}
		// A delta is as good a text as any: it must survive its own round.
		if len(base) <= procedure.SourceBytesMax && len(delta) <= procedure.SourceBytesMax {
			if got, err := procedure.Patch(base, procedure.Delta(base, delta)); err != nil || !bytes.Equal(got, delta) {
				t.Errorf("Patch of Delta: %v", err)
			}
		}
	})
}
