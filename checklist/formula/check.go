package formula

import (
	"fmt"
	"math"
	"slices"
	"strings"

	"pulk/checklist/ucum"
)

// checker gives every part of a formula its unit, and refuses what does not fit.
type checker struct {
	inputs map[string]ucum.Unit
	uses   []Input
}

func (c *checker) check(n *node) error {
	for _, arg := range n.args {
		if arg.op == "text" && n.op == "call" && n.name == valueName {
			continue // the unit of a value
		}
		if err := c.check(arg); err != nil {
			return err
		}
	}
	switch n.op {
	case "number":
		return n.finite()
	case "text":
		return &Error{n.offset, fmt.Sprintf("the text %q stands alone", cut(n.name)), whatThereIs}
	case "name":
		return c.name(n)
	case "call":
		return c.call(n)
	case "?:":
		return n.checkConditional()
	case "&&", "||", "!":
		n.truth = true
		return n.each("true or false, such as depth < value(200, \"m\")", func(arg *node) bool { return arg.truth })
	case "<", "<=", ">", ">=":
		n.truth = true
		return n.checkAlike("compared")
	}
	return n.checkArithmetic()
}

func (n *node) finite() error {
	if math.Abs(n.number) > 1e18 {
		return &Error{n.offset, "the number is too great", "at most 1e18"}
	}
	return nil
}

// each holds every argument to a condition.
func (n *node) each(expected string, ok func(*node) bool) error {
	for _, arg := range n.args {
		if !ok(arg) {
			return &Error{arg.offset, "this is " + arg.describe(), expected}
		}
	}
	return nil
}

func (n *node) quantities() error {
	return n.each("a quantity", func(arg *node) bool { return !arg.truth })
}

func (n *node) describe() string {
	if n.truth {
		return "true or false"
	}
	return "in " + describe(n.unit)
}

// checkAlike holds two arguments to units that go together.
func (n *node) checkAlike(verb string) error {
	if err := n.quantities(); err != nil {
		return err
	}
	a, b := n.args[0].unit, n.args[1].unit
	if !alike(a, b) {
		return &Error{n.offset, fmt.Sprintf("%s and %s are %s", describe(a), describe(b), verb), "units of the same quantity"}
	}
	return nil
}

func (n *node) checkConditional() error {
	condition, yes, no := n.args[0], n.args[1], n.args[2]
	switch {
	case !condition.truth:
		return &Error{condition.offset, "the condition is " + condition.describe(), "true or false, such as depth < value(200, \"m\")"}
	case yes.truth != no.truth || !yes.truth && !alike(yes.unit, no.unit):
		return &Error{n.offset, fmt.Sprintf("one side of the condition is %s, the other %s", yes.describe(), no.describe()), "both in units of the same quantity"}
	}
	n.truth, n.unit = yes.truth, yes.unit
	return nil
}

func (n *node) checkArithmetic() error {
	if err := n.quantities(); err != nil {
		return err
	}
	var err error
	switch n.op {
	case "neg":
		n.unit = n.args[0].unit
		if n.unit.Special() {
			err = &ucum.SpecialError{Code: n.unit.String()}
		}
	case "*":
		n.unit, err = n.args[0].unit.Mul(n.args[1].unit)
	case "/":
		n.unit, err = n.args[0].unit.Div(n.args[1].unit)
	default:
		return n.checkSum()
	}
	if err == nil {
		_, err = ucum.Parse(n.unit.String()) // a code too long to be shown
	}
	if err != nil {
		return &Error{n.offset, err.Error(), "units that can be multiplied"}
	}
	return nil
}

// checkSum gives + and - their unit: that of the left side. A unit with a zero of its
// own takes differences, and two of its values have one.
func (n *node) checkSum() error {
	a, b := n.args[0].unit, n.args[1].unit
	switch {
	case a.Special() && b.Special() && n.op == "-" && a.Same(b):
		n.unit = a.Difference()
	case a.Special() && !b.Special() && a.Difference().Same(b):
		n.unit = a
	case b.Special() && !a.Special() && n.op == "+" && b.Difference().Same(a):
		n.unit = b
	case !a.Special() && !b.Special() && a.Same(b):
		n.unit = a
	default:
		verb := map[string]string{"+": "added", "-": "subtracted"}[n.op]
		expected := "units of the same quantity; a number with a unit is value(5, \"dbar\")"
		if a.Special() && b.Special() {
			expected = "a difference in " + a.Difference().String()
		}
		return &Error{n.offset, fmt.Sprintf("%s and %s are %s", describe(a), describe(b), verb), expected}
	}
	return nil
}

func (c *checker) name(n *node) error {
	unit, ok := c.inputs[n.name]
	if !ok {
		var names []string
		for name := range c.inputs {
			names = append(names, name)
		}
		slices.Sort(names)
		expected := "a name that is declared under inputs"
		if len(names) > 0 {
			expected += ": " + cut(strings.Join(names, ", "))
		}
		return &Error{n.offset, fmt.Sprintf("there is no input %q", cut(n.name)), expected}
	}
	n.unit = unit
	if !slices.ContainsFunc(c.uses, func(use Input) bool { return use.Name == n.name }) {
		c.uses = append(c.uses, Input{n.name, unit})
	}
	return nil
}

// cut bounds a text of the file in a message.
func cut(text string) string {
	if runes := []rune(text); len(runes) > 120 {
		return string(runes[:120]) + "…"
	}
	return text
}
