package main

import (
	"fmt"
	"go/ast"
	"go/parser"
	"go/token"
	"os"
	"path/filepath"
	"reflect"
	"slices"
	"strings"
	"testing"
)

// jsonRoots is what each reading command prints with --json: the name of a type of
// this package, in brackets where it is a list.
var jsonRoots = []struct{ command, prints string }{
	{"site list", "[]siteRow"}, {"site quarantine", "[]asideRow"}, {"site mail", "[]mailRow"}, {"person list", "[]personRow"},
	{"person exposure", "[]exposureRow"}, {"clearance list", "[]clearanceRow"}, {"weather show", "[]weatherRow"},
	{"procedure lint", "[]problemRow"}, {"procedure list", "[]revisionRow"}, {"procedure show", "procedureJSON"}, {"procedure compare", "[]differenceRow"},
	{"run list", "[]runRow"}, {"run show", "runDetail"}, {"review list", "[]reviewRow"}, {"review show", "reviewDetail"}, {"nc list", "[]ncRow"}, {"nc show", "ncDetail"},
	{"attach list", "[]attachRow"}, {"attach show", "attachRow"}, {"ask list", "[]askRow"}, {"ask show", "askRow"},
	{"item list", "[]itemRow"}, {"item show", "itemDetail"}, {"item hazards", "[]hazardRow"}, {"location list", "[]locationRow"},
	{"stock list", "stockJSON"}, {"stock history", "[]movementRow"}, {"stock low", "lowJSON"}, {"stock dangerous", "dangerousJSON"}, {"stock quarantined", "[]holdRow"}, {"reserve list", "reserveJSON"}, {"count list", "[]countRow"}, {"count sheet", "countSheet"}, {"count show", "countSheet"},
	{"unit list", "[]unitRow"}, {"unit show", "unitDetail"}, {"unit dossier", "dossier"}, {"kit plan", "kitJSON"}, {"kit why", "[]whyJSON"}, {"kit curve", "[]curvePoint"}, {"kit list", "[]keptRow"}, {"kit show", "keptJSON"}, {"kit compare", "kitCompareJSON"}, {"kit review", "kitReviewJSON"}, {"crate pack", "cratePlan"}, {"crate charge", "[]chargeRow"}, {"crate list", "[]crateRow"}, {"crate show", "crateDetail"}, {"leg odds", "legOddsJSON"}, {"leg shipby", "[]shipByRow"}, {"leg fit", "[]legFitRow"}, {"manifest list", "[]manifestRow"}, {"manifest show", "manifestDetail"},
	{"assembly list", "[]assemblyRow"}, {"assembly show", "assemblyDetail"}, {"assembly record", "assemblyRecord"},

	{"link list", "[]linkRow"}, {"link show", "linkRow"}, {"link passes", "[]passRow"}, {"link queue", "queueJSON"},
	{"bundle missing", "[]missingRow"}, {"bundle show", "bundleJSON"}, {"conflict list", "[]conflictRow"}, {"conflict show", "conflictRow"}, {"report day", "dayReport"}, {"verify", "verifyJSON"}, {"version", "versionJSON"},
	{"hub list", "[]hubRow"},
}

const jsonPath = "../../docs/json.md"

const jsonIntro = `# What --json prints

For programs that read what pulk knows. Fields are stable: they are added, and neither renamed nor taken
away. Units stand in the names. Times are RFC 3339 in UTC; ids are those that every command takes. Lists are empty rather than missing. Exit codes are as without ` + "`--json`" + `.

This page is made from the program's own types: ` + "`go test ./cmd/pulk -run TestJSONDocument -update`" + `.
`

// TestJSONDocument holds docs/json.md to the types that are printed, and every
// command with --json to a place in it.
func TestJSONDocument(t *testing.T) {
	book := newTypeBook(t)
	for _, group := range (&env{}).commands() {
		for _, verb := range append(group.Subcommands, group) {
			path := strings.TrimPrefix(group.Name+" "+verb.Name, verb.Name+" ")
			for _, flag := range verb.Flags {
				if flag.Names()[0] == "json" && !slices.ContainsFunc(jsonRoots, func(r struct{ command, prints string }) bool { return r.command == path }) {
					t.Errorf("pulk %s has --json and no place in jsonRoots", path)
				}
			}
		}
	}
	var out strings.Builder
	out.WriteString(jsonIntro)
	for _, root := range jsonRoots {
		name, list := strings.CutPrefix(root.prints, "[]")
		kind := "One object"
		if list {
			kind = "A list of objects"
		}
		fmt.Fprintf(&out, "\n## pulk %s\n\n%s", root.command, kind)
		if book.told[name] {
			fmt.Fprintf(&out, ", as of `pulk %s`.\n", book.first[name])
			continue
		}
		out.WriteString(":\n\n")
		book.first[name] = root.command
		book.tell(&out, name)
	}
	want, err := os.ReadFile(jsonPath)
	if *update {
		err = os.WriteFile(jsonPath, []byte(out.String()), 0o644)
	} else if string(want) != out.String() {
		t.Errorf("docs/json.md differs from the program:\n%s", firstDifference(string(want), out.String()))
	}
	if err != nil {
		t.Fatal(err)
	}
}

// typeBook is the struct types of this package with the comments of their fields.
type typeBook struct {
	t     *testing.T
	types map[string]*ast.StructType
	told  map[string]bool
	first map[string]string // the command that a type was told at
}

func newTypeBook(t *testing.T) *typeBook {
	book := &typeBook{t, map[string]*ast.StructType{}, map[string]bool{}, map[string]string{}}
	paths, err := filepath.Glob("*.go")
	if err != nil {
		t.Fatal(err)
	}
	for _, path := range paths {
		file, err := parser.ParseFile(token.NewFileSet(), path, nil, parser.ParseComments)
		if err != nil {
			t.Fatal(err)
		}
		ast.Inspect(file, func(n ast.Node) bool {
			if spec, ok := n.(*ast.TypeSpec); ok {
				if structure, ok := spec.Type.(*ast.StructType); ok {
					book.types[spec.Name.Name] = structure
				}
			}
			return true
		})
	}
	return book
}

// tell writes the table of a type, and of those in it that were not told yet.
func (b *typeBook) tell(out *strings.Builder, name string) {
	b.told[name] = true
	if b.types[name] == nil {
		b.t.Fatalf("there is no struct type %s", name)
	}
	var inner []string
	out.WriteString("| field | value | |\n| --- | --- | --- |\n")
	b.rows(out, name, &inner)
	for _, other := range inner {
		if !b.told[other] {
			fmt.Fprintf(out, "\n*%s*:\n\n", other)
			b.tell(out, other)
		}
	}
}

func (b *typeBook) rows(out *strings.Builder, name string, inner *[]string) {
	for _, field := range b.types[name].Fields.List {
		if len(field.Names) == 0 { // embedded: its fields are this one's
			b.rows(out, field.Type.(*ast.Ident).Name, inner)
			continue
		}
		if field.Tag == nil || !ast.IsExported(field.Names[0].Name) {
			continue
		}
		tag, options, _ := strings.Cut(reflect.StructTag(strings.Trim(field.Tag.Value, "`")).Get("json"), ",")
		if tag == "-" {
			continue
		}
		value := b.value(field.Type, inner)
		if strings.Contains(options, "omitempty") {
			value += ", or missing"
		}
		fmt.Fprintf(out, "| `%s` | %s | %s |\n", tag, value, strings.ReplaceAll(strings.TrimSpace(field.Comment.Text()), "|", "\\|"))
	}
}

// value names a type in a reader's words.
func (b *typeBook) value(expr ast.Expr, inner *[]string) string {
	switch e := expr.(type) {
	case *ast.ArrayType:
		return "list of: " + b.value(e.Elt, inner)
	case *ast.MapType:
		return "object by name of: " + b.value(e.Value, inner)
	case *ast.StarExpr:
		return b.value(e.X, inner) + ", or null"
	case *ast.SelectorExpr:
		return map[string]string{"Time": "time", "Decimal": "text, decimal digits"}[e.Sel.Name]
	case *ast.Ident:
		switch e.Name {
		case "string":
			return "text"
		case "bool":
			return "true or false"
		case "float64":
			return "number"
		case "int", "int64", "uint64", "uint16", "uint8":
			return "whole number"
		}
		if b.types[e.Name] != nil {
			*inner = append(*inner, e.Name)
			return "*" + e.Name + "*"
		}
		return "text"
	}
	b.t.Fatalf("json_test.go does not know how to tell of %T", expr)
	return ""
}
