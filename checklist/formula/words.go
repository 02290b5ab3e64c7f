package formula

import (
	"strconv"
	"strings"

	"pulk/checklist/ucum"
	"pulk/schema/decimal"
	"pulk/schema/steady"
)

// steps writes the arithmetic: the formula with its values put in, the same with what
// its functions came to, and the result.
func (ev *evaluation) steps(root *node, value decimal.Decimal, unit ucum.Unit) []string {
	var steps []string
	for _, text := range []string{ev.words(root, false), ev.words(root, true), withUnit(value.String(), unit)} {
		if len(steps) == 0 || steps[len(steps)-1] != text {
			steps = append(steps, text)
		}
	}
	return steps
}

// words writes a part with values for names, and for calls too if asked.
func (ev *evaluation) words(n *node, calls bool) string {
	switch n.op {
	case "number":
		return quantity(n.number, n.unit)
	case "name":
		return quantity(ev.values[n.name], n.unit)
	case "call":
		if o := ev.of(n); calls && o.err == nil {
			return quantity(o.number, n.unit)
		}
		var args []string
		for _, arg := range n.args {
			args = append(args, ev.words(arg, calls))
		}
		return n.name + "(" + strings.Join(args, ", ") + ")"
	case "?:":
		return ev.inner(n, 0, calls) + " ? " + ev.inner(n, 1, calls) + " : " + ev.words(n.args[2], calls)
	case "neg":
		return "-" + ev.inner(n, 0, calls)
	case "!":
		return "!" + ev.inner(n, 0, calls)
	}
	return ev.inner(n, 0, calls) + " " + n.op + " " + ev.inner(n, 1, calls)
}

// inner writes an argument, in parentheses where it would be read otherwise.
func (ev *evaluation) inner(n *node, i int, calls bool) string {
	arg := n.args[i]
	text := ev.words(arg, calls)
	if arg.rank() < n.rank() || arg.rank() == n.rank() && (i > 0 || n.op == "?:") {
		return "(" + text + ")"
	}
	return text
}

// quantity writes a value with its unit, as finely as results are.
func quantity(number float64, unit ucum.Unit) string {
	return withUnit(strconv.FormatFloat(steady.Round(number, Digits), 'f', -1, 64), unit)
}

func withUnit(number string, unit ucum.Unit) string {
	if unit.String() == "1" {
		return number
	}
	return number + " " + unit.String()
}
