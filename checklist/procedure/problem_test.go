package procedure_test

import (
	"flag"
	"os"
	"strings"
	"testing"

	"github.com/rogpeppe/go-internal/txtar"

	"pulk/checklist/procedure"
)

var update = flag.Bool("update", false, "rewrite the expected problems; read the diff as a reviewer")

const badFiles = proceduresFolder + "/bad.txtar"

// Each bad file gives exactly the problems that stand below it.
func TestProblems(t *testing.T) {
	archive, err := txtar.ParseFile(badFiles)
	if err != nil {
		t.Fatal(err)
	}
	if len(archive.Files) < 150 {
		t.Fatalf("%s has %d files; want the whole table", badFiles, len(archive.Files))
	}
	for i := 0; i+1 < len(archive.Files); i += 2 {
		in, want := archive.Files[i], &archive.Files[i+1]
		name, layer, _ := strings.Cut(in.Name, ".")
		if want.Name != name+".want" {
			t.Fatalf("%s is followed by %s; want %s.want", in.Name, want.Name, name)
		}
		t.Run(name, func(t *testing.T) {
			p, problems := procedure.Parse(name, in.Data)
			got := render(problems)
			if *update {
				want.Data = []byte(got)
			}
			if got != string(want.Data) {
				t.Errorf("Parse gives\n%swant\n%s", got, want.Data)
			}
			if warnsOnly := strings.HasPrefix(layer, "warn"); warnsOnly != (p != nil) || warnsOnly == procedure.HasErrors(problems) || got == "" {
				t.Errorf("layer %s, procedure returned %t, problems\n%s", layer, p != nil, got)
			}
		})
	}
	if *update {
		if err := os.WriteFile(badFiles, txtar.Format(archive), 0o644); err != nil {
			t.Fatal(err)
		}
	}
}

func render(problems []procedure.Problem) string {
	var b strings.Builder
	for _, p := range problems {
		b.WriteString(p.String() + "\n")
	}
	return b.String()
}
