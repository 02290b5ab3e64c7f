package formula

import (
	"fmt"
	"slices"

	"pulk/checklist/ucum"
)

// valueName is the function that gives a number a unit.
const valueName = "value"

// call checks a call, and gives it its unit.
func (c *checker) call(n *node) error {
	switch n.name {
	case valueName:
		return n.checkValue()
	case "least", "greatest":
		if err := n.count(2); err != nil {
			return err
		}
		n.unit = n.args[0].unit
		return n.checkAlike("compared")
	case "abs":
		if err := n.count(1); err != nil {
			return err
		}
		n.unit = n.args[0].unit
		return n.each("a quantity whose unit has no zero of its own", func(arg *node) bool { return !arg.truth && !arg.unit.Special() })
	}
	f := lookup(n.name)
	if f == nil {
		return &Error{n.offset, fmt.Sprintf("there is no function %q", cut(n.name)), "one of those in docs/procedure-format.md"}
	}
	if err := n.count(len(f.Parameters)); err != nil {
		return err
	}
	for i, p := range f.Parameters {
		if arg := n.args[i]; arg.truth || !alike(arg.unit, p.unit()) {
			return &Error{arg.offset, fmt.Sprintf("%s of %s is %s", p.Name, f.Name, arg.describe()), "a quantity in " + describe(p.unit())}
		}
	}
	n.unit = must(f.Result)
	return nil
}

func (n *node) count(want int) error {
	if len(n.args) != want {
		return &Error{n.offset, fmt.Sprintf("%s has %d arguments", n.name, len(n.args)), fmt.Sprintf("%d", want)}
	}
	return nil
}

// checkValue reads value(5, "dbar") as a number with a unit.
func (n *node) checkValue() error {
	const expected = `value(5, "dbar"): a number and a UCUM code`
	if err := n.count(2); err != nil {
		return err
	}
	number, code := n.args[0], n.args[1]
	sign := 1.0
	if number.op == "neg" {
		sign, number = -1, number.args[0]
	}
	if number.op != "number" || code.op != "text" {
		return &Error{n.offset, "value is not given a number and a unit", expected}
	}
	unit, err := ucum.Parse(code.name)
	if err != nil {
		return &Error{code.offset, err.Error(), expected}
	}
	*n = node{op: "number", number: sign * number.number, offset: n.offset, unit: unit}
	return nil
}

// Parameter is what a function takes.
type Parameter struct {
	Name string
	Unit string // UCUM code; values in others of its dimension are converted
}

func (p Parameter) unit() ucum.Unit { return must(p.Unit) }

// Function is one of the trade. Sources and ranges are told where it is computed.
type Function struct {
	Name       string
	Parameters []Parameter
	Result     string // UCUM code
	Says       string // what it is, in a line
	From       string // "water.SeaPressure": where its source and range are told

	call func(a []float64) (float64, error)
}

func lookup(name string) *Function {
	i := slices.IndexFunc(functions, func(f Function) bool { return f.Name == name })
	if i < 0 {
		return nil
	}
	return &functions[i]
}

// Functions returns every function of the trade, in the order of the document.
func Functions() []Function { return slices.Clone(functions) }

// must reads a code of the table of functions, which a test goes through.
func must(code string) ucum.Unit {
	unit, err := ucum.Parse(code)
	if err != nil {
		panic("formula: " + err.Error())
	}
	return unit
}
