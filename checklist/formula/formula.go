// Package formula is the language in which a procedure works a limit out: CEL, the
// Common Expression Language (cel.dev), with units and with the functions of the
// trade.
//
//	hole_pressure(depth - level, latitude) + value(5, "dbar")
//	depth < value(200, "m") ? 2 : depth < value(1000, "m") ? 1 : 0
//
// [Parse] reads a formula and checks what it adds, compares and calls, so that metres
// are never added to bars; [Formula.Eval] works it out. The grammar and the parser
// are those of CEL; the checker and the evaluator are our own, since CEL knows no
// units: every number here is a quantity with a unit, a number without one has the
// unit 1, and whole numbers divide like all others. Of CEL there are + - * / and the
// comparisons < <= > >=, && || !, the conditional ?:, and calls. There are no lists,
// texts, fields, macros or loops, nothing that asks for the time, and no equality: two
// measured quantities are never quite equal.
//
// What is worked out is the same at every site: the arithmetic is that of
// [pulk/schema/steady], and the result is rounded to [Digits] significant digits. A
// function that has been released never changes; a better one gets another name.
//
// Everything is pure. A formula is bounded in length, and each of its parts is worked
// out at most once, so that none can hang or eat memory.
package formula

import (
	"fmt"

	"pulk/checklist/ucum"
)

// Bounds on a formula.
const (
	TextRunesMax = 300
	depthMax     = 40 // nesting
)

// Digits is how many significant digits a result has: more than any instrument of
// ours, and few enough to be read aloud.
const Digits = 6

// Input is a name that a formula may use, with the unit of its values.
type Input struct {
	Name string
	Unit ucum.Unit
}

// Formula is a checked formula. It is never changed.
type Formula struct {
	Text string    // as written
	Unit ucum.Unit // of its result
	Uses []Input   // the inputs that it names, in the order of their first use

	root *node
}

// Error says what is wrong with a formula, and where.
type Error struct {
	Offset   int // in characters, from 0
	What     string
	Expected string
}

func (e *Error) Error() string {
	return fmt.Sprintf("at character %d: %s; expected %s", e.Offset+1, e.What, e.Expected)
}

// Parse reads a formula whose result is told in the unit result. The error is an
// *[Error].
func Parse(text string, inputs []Input, result ucum.Unit) (*Formula, error) {
	root, err := parse(text)
	if err != nil {
		return nil, err
	}
	c := checker{inputs: map[string]ucum.Unit{}}
	for _, input := range inputs {
		c.inputs[input.Name] = input.Unit
	}
	if err := c.check(root); err != nil {
		return nil, err
	}
	switch {
	case root.truth:
		return nil, &Error{root.offset, "the formula is true or false", "a quantity in " + result.String()}
	case !alike(root.unit, result):
		return nil, &Error{root.offset, "the formula is in " + describe(root.unit), "a quantity in " + describe(result) + ", as its reading"}
	}
	return &Formula{Text: text, Unit: result, Uses: c.uses, root: root}, nil
}

// describe names a unit with what it measures, where that says more: "dbar
// (pressure)".
func describe(u ucum.Unit) string {
	if name := u.Dimension().Name(); name != "" && name != u.String() {
		return fmt.Sprintf("%s (%s)", u, name)
	}
	return u.String()
}

// alike reports whether values in the one unit can be added to, compared with or told
// in the other: of one dimension, and both with a zero of their own or neither.
func alike(a, b ucum.Unit) bool { return a.Same(b) && a.Special() == b.Special() }
