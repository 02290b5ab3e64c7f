package procedure

import (
	"fmt"
	"iter"
	"math/big"
	"strings"

	yaml "go.yaml.in/yaml/v4"

	"pulk/checklist/formula"
	"pulk/checklist/limit"
	"pulk/checklist/ucum"
	"pulk/schema/decimal"
)

// Computed are limits of which at least one is worked out: Min and Max, or Expected
// with Tolerance.
type Computed struct {
	Min, Max            Bound
	Expected, Tolerance Bound
}

// Bound is a number, a formula for one, or nothing.
type Bound struct {
	Fixed   *decimal.Decimal
	Formula *formula.Formula
}

// None reports whether there is neither number nor formula.
func (b Bound) None() bool { return b.Fixed == nil && b.Formula == nil }

func (b Bound) String() string {
	switch {
	case b.Formula != nil:
		return b.Formula.Text
	case b.Fixed != nil:
		return b.Fixed.String()
	}
	return ""
}

// Each calls yield with the bounds that there are, and what they are called.
func (c *Computed) Each() iter.Seq2[string, *Bound] {
	return func(yield func(string, *Bound) bool) {
		for _, b := range c.all() {
			if !b.bound.None() && !yield(b.name, b.bound) {
				return
			}
		}
	}
}

type namedBound struct {
	name  string
	bound *Bound
}

func (c *Computed) all() []namedBound {
	return []namedBound{{"min", &c.Min}, {"max", &c.Max}, {"expected", &c.Expected}, {"tolerance", &c.Tolerance}}
}

// Uses returns the names of the inputs that the formulas use, each once.
func (c *Computed) Uses() []string {
	var names []string
	seen := map[string]bool{}
	for _, bound := range c.Each() {
		if bound.Formula == nil {
			continue
		}
		for _, use := range bound.Formula.Uses {
			if !seen[use.Name] {
				seen[use.Name] = true
				names = append(names, use.Name)
			}
		}
	}
	return names
}

// words tells the limits with their decisions: "at least depth / 10, guarded by U",
// "expected link_loss(length, …) ± 0.5".
func (c *Computed) words(l limit.Limits) string {
	if !c.Expected.None() {
		return l.AtMin.Words(fmt.Sprintf("expected %s ± %s", c.Expected, c.Tolerance))
	}
	return l.Words(c.Min.String(), c.Max.String())
}

// Worked is how one bound was worked out: its name, and the arithmetic in words.
type Worked struct {
	Name  string   // "min", "max", "expected", "tolerance"
	Text  string   // the formula as written
	Steps []string // from the values put in to the result, see [formula.Result]
}

// String is the arithmetic on a line: "min = depth * 2 = 4 m * 2 = 8 m".
func (w Worked) String() string { return w.Name + " = " + strings.Join(w.Steps, " = ") }

// LimitsAt works out the limits of a reading from the values of the inputs that they
// use, each in its input's unit. Where all limits are fixed it returns them. An error
// says what cannot be worked out; the limits then judge nothing.
func (r *Reading) LimitsAt(values map[string]decimal.Decimal) (limit.Limits, []Worked, error) {
	if r.Computed == nil {
		return r.Limits, nil, nil
	}
	var worked []Worked
	found := map[string]*decimal.Decimal{}
	for name, bound := range r.Computed.Each() {
		if bound.Formula == nil {
			found[name] = bound.Fixed
			continue
		}
		result, err := bound.Formula.Eval(values)
		if err != nil {
			return r.Limits, nil, fmt.Errorf("the limit %s cannot be worked out: %w", name, err)
		}
		found[name] = &result.Value
		worked = append(worked, Worked{name, bound.Formula.Text, result.Steps})
	}
	limits := limit.Limits{Min: found["min"], Max: found["max"], AtMin: r.Limits.AtMin, AtMax: r.Limits.AtMax}
	if expected := found["expected"]; expected != nil {
		var err error
		if limits.Min, limits.Max, err = around(*expected, *found["tolerance"]); err != nil {
			return r.Limits, nil, err
		}
		for _, end := range []*decimal.Decimal{limits.Min, limits.Max} {
			*end = formula.Rounded(*end)
		}
	}
	if limits.Min != nil && limits.Max != nil && limits.Min.Cmp(*limits.Max) > 0 {
		return r.Limits, nil, fmt.Errorf("the limits cannot be worked out: min %s is over max %s", limits.Min, limits.Max)
	}
	return limits, worked, nil
}

// around returns expected - tolerance and expected + tolerance, exactly.
func around(expected, tolerance decimal.Decimal) (low, high *decimal.Decimal, err error) {
	if tolerance.Mantissa < 0 {
		return nil, nil, fmt.Errorf("the tolerance %s is under 0", tolerance)
	}
	scale := int(max(expected.Scale, tolerance.Scale))
	var ends [2]decimal.Decimal
	for i, r := range []*big.Rat{new(big.Rat).Sub(expected.Rat(), tolerance.Rat()), new(big.Rat).Add(expected.Rat(), tolerance.Rat())} {
		if ends[i], err = decimal.FromRat(r, scale); err != nil {
			return nil, nil, err
		}
	}
	return &ends[0], &ends[1], nil
}

// pending is a formula that was met before the steps and inputs it may name were all
// read.
type pending struct {
	step  int
	bound *Bound
	name  string
	node  *yaml.Node // the formula's text
}

// bounds reads the limits of a mapping, which are decided as is common to them unless
// one says otherwise. With a formula among them all are returned in a Computed, and the
// limits only tell them in words.
func (r *reader) bounds(f fields, common limit.Decision) (limit.Limits, *Computed) {
	c := &Computed{}
	l := limit.Limits{}.By(common)
	first := len(r.pending)
	for _, b := range c.all() {
		switch node := f.values[b.name]; b.name {
		case "min":
			l.AtMin = r.bound(node, b, common, "formula", "value", "rule", "guard")
		case "max":
			l.AtMax = r.bound(node, b, common, "formula", "value", "rule", "guard")
		default:
			r.bound(node, b, common, "formula")
		}
	}
	expected := f.values["expected"] != nil
	if f.values["min"] == nil && !expected {
		l.AtMin = limit.Decision{}
	}
	if f.values["max"] == nil && !expected {
		l.AtMax = limit.Decision{}
	}
	switch {
	case len(r.pending) > first:
		l.Formula = "worked out" // in words once they are read
		return l, c
	case c.Expected.Fixed != nil && c.Tolerance.Fixed != nil:
		low, high, err := around(*c.Expected.Fixed, *c.Tolerance.Fixed)
		if err != nil {
			r.fail(f.values["tolerance"], err.Error(), "a number from 0 on")
		}
		l.Min, l.Max = low, high
		return l, nil
	}
	l.Min, l.Max = c.Min.Fixed, c.Max.Fixed
	return l, nil
}

// bound reads one bound: a number, or a mapping of these keys. It returns how the
// uncertainty counts there.
func (r *reader) bound(node *yaml.Node, b namedBound, common limit.Decision, keys ...string) limit.Decision {
	if node == nil || node.Kind != yaml.MappingNode {
		b.bound.Fixed = r.decimal(node, b.name)
		return common
	}
	f, _ := r.mapping(node, b.name, keys...)
	value, text := f.values["value"], f.values["formula"]
	switch {
	case value != nil && text != nil:
		r.fail(f.keys["formula"], b.name+" has a value and a formula", "one of the two")
	case value != nil:
		b.bound.Fixed = r.decimal(value, "the value of "+b.name)
	case len(keys) > 1 && text == nil:
		r.required(f, b.name, "value", "a number, or a formula beside the rule")
	default:
		text = r.required(f, b.name, "formula", "a formula, such as {formula: depth * 0.1}")
		if _, ok := r.scalar(text, "the formula", "an expression"); ok {
			r.pending = append(r.pending, pending{r.at, b.bound, b.name, text})
		}
	}
	return r.decision(f, common)
}

// formulasMax bounds how many formulas a procedure has, since each is parsed whenever
// the procedure is read.
const formulasMax = 100

// checkFormulas reads the formulas, now that all steps are known, and tries them on
// the examples.
func (r *reader) checkFormulas(p *Procedure, f fields, sources []fields) {
	if len(r.pending) > formulasMax {
		r.fail(r.pending[formulasMax].node, fmt.Sprintf("the procedure has %d formulas", len(r.pending)), fmt.Sprintf("at most %d", formulasMax))
		return
	}
	inputs := r.resolve(p, f)
	used := map[string]bool{}
	for _, wait := range r.pending {
		r.formula(p, wait, inputs, used)
	}
	for i := range p.Steps {
		if reading := p.Steps[i].Reading; reading != nil && reading.Computed != nil {
			reading.Limits.Formula = reading.Computed.words(reading.Limits)
			r.try(p, reading, valueOf(sources[i].values["reading"], "limits"))
		}
	}
	for i, in := range p.Inputs {
		if !r.failed && !used[in.Name] {
			r.warn(f.values["inputs"].Content[2*i], fmt.Sprintf("input %q is used by no formula", in.Name), "a formula that names it, or the input left out")
		}
	}
}

// resolve gives every input its unit and example, and returns those that have them.
func (r *reader) resolve(p *Procedure, f fields) []formula.Input {
	var list []formula.Input
	for i := range p.Inputs {
		in := &p.Inputs[i]
		if in.Step != "" {
			node := valueOf(f.values["inputs"].Content[2*i+1], "step")
			n, ok := p.StepIndex(in.Step)
			switch {
			case !ok:
				r.fail(node, fmt.Sprintf("there is no step %q", in.Step), "the id of a step of kind reading")
				continue
			case p.Steps[n].Reading == nil:
				r.fail(node, fmt.Sprintf("step %q is no reading", in.Step), "the id of a step of kind reading")
				continue
			case p.Steps[n].Reading.Example == nil:
				r.fail(node, fmt.Sprintf("step %q has no example, and formulas use its reading", in.Step), "example: a value as it may be, in that reading")
			}
			in.Unit, in.Example = p.Steps[n].Reading.Unit, p.Steps[n].Reading.Example
		}
		if in.Value != nil {
			in.Example = in.Value
		}
		if unit, err := ucum.Parse(in.Unit); err == nil {
			list = append(list, formula.Input{Name: in.Name, Unit: unit})
		} else if in.Step != "" {
			r.fail(valueOf(f.values["inputs"].Content[2*i+1], "step"), fmt.Sprintf("the unit %s of step %q is not known", quote(in.Unit), in.Step), "a UCUM code there")
		}
	}
	return list
}

// formula reads one formula.
func (r *reader) formula(p *Procedure, wait pending, inputs []formula.Input, used map[string]bool) {
	reading := p.Steps[wait.step].Reading
	if reading == nil {
		return
	}
	unit, err := ucum.Parse(reading.Unit)
	if err != nil {
		if reading.Unit != "" {
			r.fail(wait.node, fmt.Sprintf("the reading is in %s, which is no unit that is known", quote(reading.Unit)), "a UCUM code as its unit")
		}
		return
	}
	if wait.name == "tolerance" {
		unit = unit.Difference()
	}
	parsed, err := formula.Parse(wait.node.Value, inputs, unit)
	if err != nil {
		r.failFormula(wait.node, err)
		return
	}
	wait.bound.Formula = parsed
	for _, use := range parsed.Uses {
		used[use.Name] = true
		if id := p.Input(use.Name).Step; id != "" {
			if n, ok := p.StepIndex(id); ok && n >= wait.step {
				r.fail(wait.node, fmt.Sprintf("%s is the reading of step %q, which is not earlier", use.Name, id), "readings of earlier steps")
			}
		}
	}
}

// failFormula reports what is wrong with a formula at its place in the file, where the
// text stands in one line as it is.
func (r *reader) failFormula(node *yaml.Node, err error) {
	at := *node
	what, expected := err.Error(), "a formula as in docs/procedure-format.md"
	if e, ok := err.(*formula.Error); ok {
		what, expected = e.What, e.Expected
		switch {
		case node.Style&(yaml.LiteralStyle|yaml.FoldedStyle) != 0 || strings.ContainsAny(node.Value, "\n\\"):
		case node.Style&(yaml.DoubleQuotedStyle|yaml.SingleQuotedStyle) != 0:
			quotes := 0
			if node.Style&yaml.DoubleQuotedStyle != 0 {
				quotes = strings.Count(string([]rune(node.Value)[:min(e.Offset, len([]rune(node.Value)))]), `"`) // each behind a backslash
			}
			at.Column += 1 + e.Offset + quotes
		default:
			at.Column += e.Offset
		}
	}
	r.fail(&at, "in the formula: "+what, expected)
}

// try works the limits of a reading out on the examples, and judges its own example.
func (r *reader) try(p *Procedure, reading *Reading, at *yaml.Node) {
	if r.failed || r.stored {
		return
	}
	limits, _, err := reading.LimitsAt(p.Examples())
	if err != nil {
		r.fail(at, "on the examples "+err.Error(), "examples inside the range, or another formula")
		return
	}
	if reading.Example != nil && !limits.Uncertain() && !limits.Judge(*reading.Example, limit.Uncertainty{}).Good() {
		r.warn(at, fmt.Sprintf("the example %s is outside the limits %s worked out on the examples", reading.Example, limits), "an example that passes")
	}
}

// Examples returns the example value of every input that has one.
func (p *Procedure) Examples() map[string]decimal.Decimal {
	values := map[string]decimal.Decimal{}
	for _, in := range p.Inputs {
		if in.Example != nil {
			values[in.Name] = *in.Example
		}
	}
	return values
}
