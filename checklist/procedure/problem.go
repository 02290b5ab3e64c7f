package procedure

import (
	"cmp"
	"fmt"
	"slices"
)

// Severity tells what a problem stops.
type Severity string

// An Error makes the file unusable; a Warning is for its writer to weigh.
const (
	Error   Severity = "error"
	Warning Severity = "warning"
)

// Problem is one thing wrong with a procedure file.
type Problem struct {
	File         string
	Line, Column int // from 1; the column counts characters, not bytes
	Severity     Severity
	What         string // what is wrong
	Expected     string // what was expected in its place
}

// String is "file:line:column: severity: what; expected …".
func (p Problem) String() string {
	return fmt.Sprintf("%s:%d:%d: %s: %s; expected %s", p.File, p.Line, p.Column, p.Severity, p.What, p.Expected)
}

// HasErrors reports whether any of the problems is an error.
func HasErrors(problems []Problem) bool {
	return slices.ContainsFunc(problems, func(p Problem) bool { return p.Severity == Error })
}

// sortProblems puts problems in the order of the file.
func sortProblems(problems []Problem) {
	slices.SortStableFunc(problems, func(a, b Problem) int {
		return cmp.Or(cmp.Compare(a.Line, b.Line), cmp.Compare(a.Column, b.Column))
	})
}
