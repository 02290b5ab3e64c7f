package main

import (
	"encoding/json"
	"go/ast"
	"go/parser"
	"go/token"
	"io/fs"
	"os"
	"os/exec"
	"path/filepath"
	"slices"
	"strconv"
	"strings"
	"testing"
)

// mayImport is who may import whom, within this module: a statement of policy. A
// package goes by the longest prefix of its path that is listed here. What is pure
// is listed to the last package: it takes values and returns values.
var mayImport = map[string][]string{
	"schema":              {"schema"},
	"schema/kind":         {},
	"schema/decimal":      {},
	"schema/fault":        {},
	"schema/steady":       {},
	"sync":                {"schema", "sync"},
	"sync/clock":          {},
	"sync/change":         {"schema/kind", "schema/decimal", "sync/clock"},
	"sync/bundle":         {"schema/kind", "schema/decimal", "sync/clock", "sync/change", "sync/bundle"},
	"sync/carrier":        {"sync/carrier"},
	"sync/fragment":       {},
	"sync/seal":           {},
	"sync/hub":            {"sync/carrier", "sync/hub"},
	"sync/link":           {"sync/clock"},
	"checklist":           {"schema", "sync", "checklist"},
	"checklist/ucum":      {"schema/decimal"},
	"checklist/limit":     {"schema/decimal", "checklist/ucum"},
	"checklist/weather":   {"schema/fault", "schema/steady"},
	"checklist/exposure":  {"checklist/weather"},
	"checklist/formula":   {"schema/decimal", "schema/fault", "schema/steady", "checklist/ucum", "checklist/water", "checklist/cable", "checklist/weather"},
	"checklist/water":     {"schema/fault", "schema/steady"},
	"checklist/cable":     {"schema/fault", "schema/steady"},
	"inventory":           {"schema", "sync", "inventory"},
	"inventory/sparing":   {},
	"inventory/kit":       {"inventory/sparing", "inventory/grid", "inventory/choice", "inventory/winter"},
	"inventory/choice":    {},
	"inventory/winter":    {},
	"inventory/grid":      {},
	"inventory/freight":   {"inventory/grid"},
	"inventory/dangerous": {},
	"inventory/crate":     {"inventory/grid", "inventory/packing"},
	"inventory/packing":   {},
	"testdata":            {"testdata"},
	"cmd/paper":           {},
	"cmd/book":            {},
	"cmd/page":            {"checklist/run", "checklist/work", "sync/hub"},
	"cmd":                 {"schema", "sync", "checklist", "inventory", "testdata", "cmd"},
}

// onlyIn says where alone a library may be imported; a space between several.
var onlyIn = map[string]string{
	"github.com/urfave/cli/v2":         "cmd",
	"golang.org/x/term":                "cmd",
	"github.com/mattn/go-sqlite3":      "schema",
	"database/sql":                     "schema",
	"github.com/klauspost/compress/":   "sync/bundle",
	"go.yaml.in/yaml/v4":               "checklist/procedure sync/linkbook",
	"golang.org/x/image":               "checklist/attach cmd/paper",
	"github.com/klauspost/reedsolomon": "sync/fragment",
	"filippo.io/edwards25519":          "sync/seal",
	"github.com/arran4/golang-ical":    "cmd",
	"github.com/google/cel-go":         "checklist/formula",
	"codeberg.org/go-pdf/fpdf":         "cmd/paper",
	"github.com/xuri/excelize/v2":      "cmd/book",
	"github.com/boombuler/barcode":     "cmd/paper",
}

// pure lists packages, and files of others, that know no store, file, clock or
// randomness.
var pure = []string{
	"schema/kind", "schema/decimal", "schema/fault", "schema/steady", "sync/clock", "sync/change", "sync/bundle", "sync/link", "checklist/limit", "checklist/weather", "checklist/exposure", "sync/line/talk.go",
	"checklist/ucum", "checklist/water", "checklist/cable", "checklist/formula",
	"checklist/procedure/parse.go", "checklist/procedure/node.go", "checklist/procedure/rules.go", "checklist/procedure/step.go",
	"checklist/procedure/compare.go", "checklist/procedure/counterpart.go", "checklist/procedure/delta.go", "checklist/procedure/unit.go",
	"checklist/run/typed.go", "checklist/procedure/reading.go", "checklist/procedure/input.go", "checklist/procedure/computed.go",
	"checklist/run/evaluate.go", "checklist/run/computed.go", "checklist/run/gate.go", "checklist/run/view.go", "checklist/run/evidence.go", "checklist/run/entry.go", "checklist/run/move.go",
	"checklist/review", "checklist/run/review.go", "checklist/procedure/review.go",
	"checklist/attach/preview.go", "checklist/attach/exif.go", "checklist/attach/parcel.go",
	"inventory/assembly/assembly.go", "inventory/assembly/plan.go", "inventory/assembly/fit.go",
	"inventory/sparing", "inventory/dangerous", "inventory/freight", "inventory/choice", "inventory/winter", "inventory/kit", "inventory/grid", "inventory/packing", "inventory/stock/movement.go", "inventory/stock/hold.go", "inventory/stock/makeup.go", "inventory/stock/substitute.go", "inventory/stock/conversion.go", "inventory/stock/history.go", "inventory/stock/reserve.go", "inventory/count/count.go", "inventory/kitbook/compare.go", "inventory/kitbook/review.go", "inventory/kitbook/calibration.go", "inventory/manifest/manifest.go", "sync/linkbook/file.go",
	"cmd/paper", "cmd/book", "checklist/filled",
	"checklist/work/scene.go", "checklist/work/act.go",
	"cmd/pulk/manifest_line.go", "cmd/pulk/screen_key.go", "cmd/pulk/screen_session.go", "cmd/pulk/screen_press.go", "cmd/pulk/screen_frame.go", "cmd/pulk/screen_foot.go",
}

var impure = []string{"os", "io/fs", "net", "net/http", "database/sql", "math/rand", "math/rand/v2", "crypto/rand", "pulk/schema", "pulk/sync/changelog", "pulk/sync/carrier", "pulk/sync/transfer"}

type goPackage struct {
	ImportPath string
	Name       string
	Doc        string
	Imports    []string
}

func packages(t *testing.T) []goPackage {
	t.Helper()
	command := exec.Command("go", "list", "-json=ImportPath,Name,Doc,Imports", "pulk/...", "pulk/testdata", "pulk/testdata/seasons")
	command.Stderr = os.Stderr
	out, err := command.Output()
	if err != nil {
		t.Fatal(err)
	}
	var list []goPackage
	for decoder := json.NewDecoder(strings.NewReader(string(out))); decoder.More(); {
		var p goPackage
		if err := decoder.Decode(&p); err != nil {
			t.Fatal(err)
		}
		list = append(list, p)
	}
	if len(list) < 20 {
		t.Fatalf("go list names only %d packages", len(list))
	}
	return list
}

func within(path, prefix string) bool {
	return path == prefix || strings.HasPrefix(path, strings.TrimSuffix(prefix, "/")+"/")
}

// TestArrows holds the packages to who may import whom.
func TestArrows(t *testing.T) {
	for _, p := range packages(t) {
		here := strings.TrimPrefix(p.ImportPath, "pulk/")
		rule := ""
		for prefix := range mayImport {
			if within(here, prefix) && len(prefix) > len(rule) {
				rule = prefix
			}
		}
		if rule == "" {
			t.Errorf("%s has no place in mayImport: say there what it may import", here)
			continue
		}
		for _, path := range p.Imports {
			for library, homes := range onlyIn {
				if within(path, library) && !slices.ContainsFunc(strings.Fields(homes), func(home string) bool { return within(here, home) }) {
					t.Errorf("%s imports %s: only packages in %s do that; hand in a value or a function", here, path, homes)
				}
			}
			other, ours := strings.CutPrefix(path, "pulk/")
			if ours && !slices.ContainsFunc(mayImport[rule], func(prefix string) bool { return within(other, prefix) }) {
				t.Errorf("%s imports %s: arrows go from cmd to checklist and inventory, from there to sync and schema; %s may import %q", here, other, rule, mayImport[rule])
			}
		}
	}
}

// TestPackageComments holds each package to saying in a sentence what it is.
func TestPackageComments(t *testing.T) {
	for _, p := range packages(t) {
		start := "Package "
		if p.Name == "main" {
			start = "Command "
		}
		if !strings.HasPrefix(p.Doc, start) {
			t.Errorf("%s: its comment is %q; begin it with %q and say what it is for", p.ImportPath, p.Doc, start)
		}
	}
}

// sources calls fn for each Go file of the module that is no test.
func sources(t *testing.T, fn func(path string, file *ast.File, pos func(ast.Node) token.Position)) {
	t.Helper()
	root, files := "../..", token.NewFileSet()
	err := filepath.WalkDir(root, func(path string, entry fs.DirEntry, err error) error {
		switch {
		case err != nil:
			return err
		case entry.IsDir() && strings.HasPrefix(entry.Name(), ".") && path != root:
			return filepath.SkipDir
		}
		if entry.IsDir() || !strings.HasSuffix(path, ".go") || strings.HasSuffix(path, "_test.go") {
			return nil
		}
		file, err := parser.ParseFile(files, path, nil, 0)
		if err != nil {
			return err
		}
		name, err := filepath.Rel(root, path)
		fn(filepath.ToSlash(name), file, func(n ast.Node) token.Position { return files.Position(n.Pos()) })
		return err
	})
	if err != nil {
		t.Fatal(err)
	}
}

// TestPure holds computation to values in, values out, and everything but main to
// a clock that is handed in.
func TestPure(t *testing.T) {
	seen := map[string]bool{}
	sources(t, func(path string, file *ast.File, pos func(ast.Node) token.Position) {
		for _, name := range pure {
			if name != path && name != filepath.ToSlash(filepath.Dir(path)) {
				continue
			}
			seen[name] = true
			for _, spec := range file.Imports {
				imported, err := strconv.Unquote(spec.Path.Value)
				if err != nil || slices.Contains(impure, imported) {
					t.Errorf("%s: %s is pure and imports %s: take what it needs as an argument", pos(spec), name, imported)
				}
			}
		}
		ast.Inspect(file, func(n ast.Node) bool {
			selector, ok := n.(*ast.SelectorExpr)
			if !ok {
				return true
			}
			of, ok := selector.X.(*ast.Ident)
			asks := ok && of.Name == "time" && slices.Contains([]string{"Now", "Since", "Until"}, selector.Sel.Name)
			if asks && path != "cmd/pulk/main.go" {
				t.Errorf("%s: time.%s: only main asks the world's clock; take the time as an argument", pos(n), selector.Sel.Name)
			}
			return true
		})
	})
	for _, name := range pure {
		if !seen[name] {
			t.Errorf("%s is listed as pure and is not there: mend the list", name)
		}
	}
}

// TestOneTestCommand holds the README, DEVELOPERS.md and CI to one test command.
func TestOneTestCommand(t *testing.T) {
	const command, packages = "go test -timeout 30m ./... ./testdata ./testdata/seasons", "packages=(./... ./testdata ./testdata/seasons)"
	for path, line := range map[string]string{"README.md": command, "DEVELOPERS.md": command, ".ci/run": packages} {
		text, err := os.ReadFile(filepath.Join("../..", path))
		if err != nil {
			t.Fatal(err)
		}
		if !strings.Contains(string(text), line) {
			t.Errorf("%s does not say %q", path, line)
		}
	}
}
