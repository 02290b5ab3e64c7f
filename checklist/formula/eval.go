package formula

import (
	"errors"
	"fmt"
	"math"
	"strconv"
	"strings"

	"pulk/checklist/ucum"
	"pulk/schema/decimal"
	"pulk/schema/steady"
)

// Result is what a formula came to.
type Result struct {
	Value decimal.Decimal // in the formula's unit, rounded to [Digits] significant digits
	// Steps is the arithmetic in words, from the inputs put in to the result:
	// "hole_pressure(2450 m, -90 deg) - 5 dbar", "2424.03 dbar - 5 dbar", "2419.03
	// dbar".
	Steps []string
}

// MissingError says which inputs have no value.
type MissingError struct{ Names []string }

func (e *MissingError) Error() string { return fmt.Sprintf("no value of %q", e.Names) }

// Eval works the formula out. values holds those of the inputs that it uses, each in
// its input's unit. The error is a *[MissingError], or says what cannot be worked out:
// where a value lies outside the range of a function it wraps a *[fault.Outside].
func (f *Formula) Eval(values map[string]decimal.Decimal) (Result, error) {
	ev := evaluation{values: map[string]float64{}, known: map[*node]outcome{}}
	var missing []string
	for _, use := range f.Uses {
		value, ok := values[use.Name]
		if !ok {
			missing = append(missing, use.Name)
		}
		ev.values[use.Name] = value.Float64()
	}
	if len(missing) > 0 {
		return Result{}, &MissingError{missing}
	}
	number, err := ev.number(f.root)
	if err != nil {
		return Result{}, err
	}
	value, err := rounded(convert(number, f.root.unit, f.Unit))
	if err != nil {
		return Result{}, err
	}
	return Result{value, ev.steps(f.root, value, f.Unit)}, nil
}

// Rounded returns a decimal with [Digits] significant digits at most: the nearest, the
// even one of two.
func Rounded(d decimal.Decimal) decimal.Decimal {
	digits := len(strings.TrimLeft(strings.ReplaceAll(d.String(), ".", ""), "-0"))
	scale := int(d.Scale) - (digits - Digits)
	if digits <= Digits || scale < 0 {
		return d
	}
	rounded, err := decimal.FromRat(d.Rat(), scale)
	if err != nil {
		return d // which it cannot: the result has fewer digits
	}
	return rounded
}

// rounded returns a number as a decimal of [Digits] significant digits.
func rounded(number float64) (decimal.Decimal, error) {
	if math.IsNaN(number) || math.Abs(number) > 1e15 {
		return decimal.Decimal{}, fmt.Errorf("the result is %g, which is too great to be a limit", number)
	}
	if math.Abs(number) < 1e-12 {
		number = 0
	}
	return decimal.Parse(strconv.FormatFloat(steady.Round(number, Digits), 'f', -1, 64))
}

// convert tells a value in another unit, both of one dimension and both with a zero of
// their own or neither.
func convert(value float64, from, to ucum.Unit) float64 {
	if from.String() == to.String() {
		return value
	}
	if !from.Special() {
		return float64(value*from.Factor()) / to.Factor()
	}
	return (float64(value*from.Factor()) + (from.Zero() - to.Zero())) / to.Factor()
}

// outcome is what a part of a formula came to.
type outcome struct {
	number float64
	truth  bool
	err    error
}

// evaluation works out each part at most once.
type evaluation struct {
	values map[string]float64
	known  map[*node]outcome
}

func (ev *evaluation) number(n *node) (float64, error) {
	o := ev.of(n)
	return o.number, o.err
}

func (ev *evaluation) of(n *node) outcome {
	if o, ok := ev.known[n]; ok {
		return o
	}
	var o outcome
	if n.truth && n.op != "?:" {
		o.truth, o.err = ev.holds(n)
	} else {
		o = ev.work(n)
	}
	if o.err == nil && (math.IsNaN(o.number) || math.IsInf(o.number, 0)) {
		o.err = errors.New("the formula divides by 0, or its numbers grow beyond bounds")
	}
	ev.known[n] = o
	return o
}

// work works out what is no comparison.
func (ev *evaluation) work(n *node) outcome {
	switch n.op {
	case "number":
		return outcome{number: n.number}
	case "name":
		return outcome{number: ev.values[n.name]}
	case "?:":
		return ev.choose(n)
	}
	args := make([]float64, len(n.args))
	for i, arg := range n.args {
		var err error
		if args[i], err = ev.number(arg); err != nil {
			return outcome{err: err}
		}
	}
	if n.op == "call" {
		number, err := n.apply(args)
		return outcome{number: number, err: err}
	}
	return outcome{number: n.arithmetic(args)}
}

func (ev *evaluation) choose(n *node) outcome {
	condition := ev.of(n.args[0])
	if condition.err != nil {
		return condition
	}
	chosen := n.args[2]
	if condition.truth {
		chosen = n.args[1]
	}
	o := ev.of(chosen)
	if o.err == nil && !n.truth {
		o.number = convert(o.number, chosen.unit, n.unit)
	}
	return o
}

// holds works out a comparison, or what is made of them. As CEL has it, a side that
// decides && or || alone does so even where the other cannot be worked out.
func (ev *evaluation) holds(n *node) (bool, error) {
	a := ev.of(n.args[0])
	switch n.op {
	case "!":
		return !a.truth, a.err
	case "&&", "||":
		deciding := n.op == "||"
		b := ev.of(n.args[1])
		if a.err == nil && a.truth == deciding || b.err == nil && b.truth == deciding {
			return deciding, nil
		}
		return !deciding, errors.Join(a.err, b.err)
	}
	b := ev.of(n.args[1])
	if err := errors.Join(a.err, b.err); err != nil {
		return false, err
	}
	right := convert(b.number, n.args[1].unit, n.args[0].unit)
	switch n.op {
	case "<":
		return a.number < right, nil
	case "<=":
		return a.number <= right, nil
	case ">":
		return a.number > right, nil
	}
	return a.number >= right, nil
}

// arithmetic works out + - * / of values in their units. A difference is added to or
// taken from a value in a unit with its own zero in the unit of its differences.
func (n *node) arithmetic(args []float64) float64 {
	switch n.op {
	case "neg":
		return -args[0]
	case "*":
		return float64(args[0] * args[1])
	case "/":
		return args[0] / args[1]
	}
	a, b := n.args[0].unit, n.args[1].unit
	left, right := args[0], args[1]
	switch {
	case a.Special() && b.Special():
		right = convert(right, b, a)
	case a.Special():
		right = convert(right, b, a.Difference())
	case b.Special():
		left = convert(left, a, b.Difference())
	default:
		right = convert(right, b, a)
	}
	if n.op == "-" {
		return left - right
	}
	return left + right
}

// apply calls a function with values in the units of its arguments.
func (n *node) apply(args []float64) (float64, error) {
	switch n.name {
	case "abs":
		return math.Abs(args[0]), nil
	case "least":
		return min(args[0], convert(args[1], n.args[1].unit, n.unit)), nil
	case "greatest":
		return max(args[0], convert(args[1], n.args[1].unit, n.unit)), nil
	}
	f := lookup(n.name)
	for i, p := range f.Parameters {
		args[i] = convert(args[i], n.args[i].unit, p.unit())
	}
	number, err := f.call(args)
	if err != nil {
		return 0, fmt.Errorf("%s: %w", f.Name, err)
	}
	return number, nil
}
