package linkbook

import (
	"flag"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"github.com/rogpeppe/go-internal/txtar"

	"pulk/sync/link"
)

var update = flag.Bool("update", false, "write what is said of bad files anew; read the diff as a reviewer")

const linksFolder = "../../testdata/links/"

func TestParseFile(t *testing.T) {
	src, err := os.ReadFile(linksFolder + "mail.yaml")
	if err != nil {
		t.Fatal(err)
	}
	f, problems := ParseFile("mail.yaml", src)
	if len(problems) > 0 {
		t.Fatal(problems)
	}
	d, err := link.Describe(f.Settings)
	if err != nil || f.Code != "mail" || f.To != "home" || len(d.Windows) != 2 || d.Budget.MessageBytesMax != 50000 || d.Budget.CentsPerByte != 0.0045 || d.Budget.LossShare != 0.01 {
		t.Errorf("%+v is %+v, %v", f, d, err)
	}
}

// What is said of each bad file stands behind it.
func TestProblems(t *testing.T) {
	path := linksFolder + "bad.txtar"
	archive, err := txtar.ParseFile(path)
	if err != nil {
		t.Fatal(err)
	}
	for i := 0; i+1 < len(archive.Files); i += 2 {
		source, said := archive.Files[i], &archive.Files[i+1]
		var got strings.Builder
		f, problems := ParseFile(source.Name, source.Data)
		for _, p := range problems {
			got.WriteString(p.String() + "\n")
		}
		if f != nil || len(problems) == 0 {
			t.Errorf("%s passes", source.Name)
		}
		if *update {
			said.Data = []byte(got.String())
		} else if got.String() != string(said.Data) {
			t.Errorf("%s: got\n%swant\n%s", source.Name, &got, said.Data)
		}
	}
	if *update {
		if err := os.WriteFile(path, txtar.Format(archive), 0o644); err != nil {
			t.Fatal(err)
		}
	}
}

// No file makes the reader panic; what it takes can be described, and what it does
// not take has a place in the file.
func FuzzParseFile(f *testing.F) {
	paths, err := filepath.Glob(linksFolder + "*.yaml")
	if err != nil || len(paths) == 0 {
		f.Fatal("no seeds", err)
	}
	for _, path := range paths {
		src, err := os.ReadFile(path)
		if err != nil {
			f.Fatal(err)
		}
		f.Add(src)
	}
	archive, err := txtar.ParseFile(linksFolder + "bad.txtar")
	if err != nil {
		f.Fatal(err)
	}
	for _, file := range archive.Files {
		f.Add(file.Data)
	}
	f.Fuzz(func(t *testing.T, src []byte) {
		file, problems := ParseFile("f", src)
		if (file == nil) != (len(problems) > 0) || len(problems) > problemsMax {
			t.Fatalf("%v, %d problems", file, len(problems))
		}
		if file == nil {
			breaks := 0 // as YAML counts them
			for _, c := range string(src) {
				if strings.ContainsRune("\n\r\u0085\u2028\u2029", c) {
					breaks++
				}
			}
			for _, p := range problems {
				if p.Line > breaks+2 || p.Expected == "" {
					t.Fatalf("%s: no such place, or no advice", p)
				}
			}
			return
		}
		if d, err := link.Describe(file.Settings); err != nil || d.Budget.Check() != nil {
			t.Fatalf("%+v: %v, %v", file, err, d.Budget.Check())
		}
	})
}
