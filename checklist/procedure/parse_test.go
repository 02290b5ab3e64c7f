package procedure_test

import (
	"fmt"
	"runtime"
	"strings"
	"testing"

	"pulk/checklist/procedure"
)

const smallest = "id: p\ntitle: T\nrevision: A\nhazards: []\nsteps:\n  - {id: a, kind: do, text: Go.}\n"

func TestParseKeepsTextAsWritten(t *testing.T) {
	src := strings.NewReplacer("id: p", "id: '010'", "revision: A", `revision: "1.10"`).Replace(smallest) +
		"  - id: \"40\"\n    kind: reading\n    text: |\n      First line.\n      Second line.\n    reading: {quantity: load, unit: kN, limits: {min: -0.50, max: 4.10}}\n"
	p, problems := procedure.Parse("x", []byte(src))
	if len(problems) != 0 {
		t.Fatal(problems)
	}
	got := fmt.Sprintf("%s %s %q %s %d", p.ID, p.Revision, p.Steps[1].Text, p.Steps[1].Reading.Limits, p.Steps[1].Reading.Repeat)
	if want := `010 1.10 "First line.\nSecond line." -0.50 to 4.10 1`; got != want {
		t.Errorf("got  %s\nwant %s", got, want)
	}
}

// Line ends of other systems, a byte order mark and comments change nothing.
func TestParseSameAcrossEditors(t *testing.T) {
	for name, src := range map[string]string{
		"crlf":     strings.ReplaceAll(smallest, "\n", "\r\n"),
		"bom":      "\ufeff" + smallest,
		"comments": "# a\n---\n" + strings.ReplaceAll(smallest, "\nsteps", " # b\nsteps") + "...\n",
	} {
		p, problems := procedure.Parse(name, []byte(src))
		if len(problems) != 0 || p.Title != "T" || p.Steps[0].Text != "Go." {
			t.Errorf("%s: %v, %v", name, p, problems)
		}
	}
}

// What is too much is refused with one line, before any work is done on it.
func TestParseBounds(t *testing.T) {
	manySteps := strings.Builder{}
	manySteps.WriteString("id: p\ntitle: T\nrevision: A\nhazards: []\nsteps:\n")
	for i := range procedure.StepsMax + 1 {
		fmt.Fprintf(&manySteps, "  - {id: s%d, kind: do, text: Go.}\n", i)
	}
	for _, c := range []struct{ name, src, want string }{
		{"size", smallest + strings.Repeat("#", procedure.SourceBytesMax), "size:1:1: error: the file has 1048655 bytes; expected at most 1048576"},
		{"utf8", strings.Replace(smallest, "title: T", "title: é\xff", 1), "utf8:2:9: error: a byte here is not UTF-8 text; expected the file to be saved as UTF-8"},
		{"steps", manySteps.String(), "steps:6:3: error: steps has 1001 items; expected at most 1000"},
		{"flow_depth", strings.Repeat("[", 50_000), "flow_depth:1:17: error: exceeded max depth of 16 while increasing flow level; expected YAML that can be read: look at indentation, colons, brackets and quotes up to here"},
	} {
		t.Run(c.name, func(t *testing.T) {
			p, problems := procedure.Parse(c.name, []byte(c.src))
			if p != nil || render(problems) != c.want+"\n" {
				t.Errorf("Parse = %v, problems\n%swant\n%s", p, render(problems), c.want)
			}
		})
	}
}

// A file with thousands of faults gives a bounded list that says what is left out.
func TestParseManyProblems(t *testing.T) {
	src := smallest + strings.Repeat("  - {id: a, kind: do, text: Go.}\n", 500)
	p, problems := procedure.Parse("x", []byte(src))
	if p != nil || len(problems) != 201 {
		t.Fatalf("%d problems; want 200 and one that counts the rest", len(problems))
	}
	if got := problems[200].What; got != "300 more problems are not shown" {
		t.Errorf("last problem %q", got)
	}
	warnings := strings.Repeat("  - {id: 7, kind: do, text: 7}\n", 300)
	if p, problems := procedure.Parse("x", []byte(smallest+warnings)); p != nil || !procedure.HasErrors(problems) {
		t.Error("an error hid behind the many warnings before it")
	}
}

// Files made to keep the parser busy: what it allocates stays in proportion to
// the file. (A search for a near word over every mistake once took 17 GB.)
func TestParseHostileFiles(t *testing.T) {
	head := "id: p\ntitle: T\nrevision: A\nhazards: []\n"
	var unknownAfter strings.Builder
	unknownAfter.WriteString(head + "steps:\n")
	for i := range 1000 {
		fmt.Fprintf(&unknownAfter, " - {id: s%d, kind: do, text: G, after: [", i)
		for j := range 150 {
			fmt.Fprintf(&unknownAfter, "q%d,", j)
		}
		unknownAfter.WriteString("]}\n")
	}
	for name, src := range map[string]string{
		"unknown_after": unknownAfter.String(),
		"unknown_keys":  strings.Repeat("hazardz: 1\n", 90_000),
		"anchors":       "[" + strings.Repeat("&a a,", 200_000) + "]",
		"pairs":         head + "tools: [" + strings.Repeat("[],", 340_000) + "]\n",
		"long_scalar":   head + "x: " + strings.Repeat("a b\n  ", 170_000),
		"dashes":        strings.Repeat("- ", 500_000),
	} {
		var before, after runtime.MemStats
		runtime.ReadMemStats(&before)
		p, problems := procedure.Parse(name, []byte(src))
		runtime.ReadMemStats(&after)
		const megabytesMax = 512 // most of it the YAML nodes of 200,000 anchors
		if megabytes := (after.TotalAlloc - before.TotalAlloc) >> 20; p != nil || len(problems) > 202 || megabytes > megabytesMax {
			t.Errorf("%s: %d problems, %d MB allocated for %d bytes; want at most 202 and %d", name, len(problems), megabytes, len(src), megabytesMax)
		}
	}
}

func ExampleParse() {
	src := `
id: lamp-change
title: Changing a lamp
revision: "A"
hazards: [{name: Height, caution: Clip on before the ladder.}]
roles: [technician]
steps:
  - {id: "10", kind: do, text: Switch off., role: technican}
  - {id: "20", kind: reading, text: Measure., reading: {quantity: voltage, unit: volt, limits: {max: 1.0}}}
`
	_, problems := procedure.Parse("lamp.yaml", []byte(src))
	for _, problem := range problems {
		fmt.Println(problem)
	}
	// Output:
	// lamp.yaml:6:9: warning: role "technician" is named by no step; expected a step of that role, or the role left out
	// lamp.yaml:8:51: error: role "technican" is not declared; expected a role of the list roles; "technician" perhaps
	// lamp.yaml:9:82: warning: the unit "volt" is not known; expected "V"
}
