package procedure

import (
	"fmt"
	"strings"

	yaml "go.yaml.in/yaml/v4"

	"pulk/checklist/limit"
	"pulk/checklist/ucum"
	"pulk/schema/decimal"
)

func (r *reader) reading(node *yaml.Node) *Reading {
	if node == nil {
		return nil
	}
	f, ok := r.mapping(node, "the reading", "quantity", "unit", "limits", "instrument", "repeat", "example")
	if !ok {
		return nil
	}
	reading := &Reading{
		Quantity: r.text(r.required(f, "the reading", "quantity", "what is measured, in words"), "the quantity", 80),
		Unit:     r.code(r.required(f, "the reading", "unit", unitForm.expected), "the unit", unitForm),
		Repeat:   1,
	}
	reading.Limits, reading.Computed = r.limits(r.required(f, "the reading", "limits", limitsExpected))
	if example := f.values["example"]; example != nil {
		reading.Example = r.decimal(example, "example")
	}
	if reading.Unit != "" {
		r.checkUnit(f.values["unit"], reading.Unit)
	}
	if repeat := f.values["repeat"]; repeat != nil {
		reading.Repeat = int(r.whole(repeat, "repeat", 1, 100))
	}
	reading.Instrument = r.instrument(f.values["instrument"])
	r.checkRule(reading, f)
	return reading
}

// instrument reads "required", or a mapping that names the part.
func (r *reader) instrument(node *yaml.Node) *Instrument {
	if node == nil {
		return nil
	}
	const expected = "required, or a part such as {part: TOL-004}"
	if node.Kind != yaml.MappingNode {
		if text, ok := r.scalar(node, "instrument", expected); ok && text != "required" {
			r.fail(node, "instrument is "+quote(text), expected)
		}
		return &Instrument{}
	}
	f, _ := r.mapping(node, "instrument", "part")
	return &Instrument{Part: r.code(r.required(f, "instrument", "part", partForm.expected), "the part", partForm)}
}

// checkRule: where the uncertainty counts, it must be possible to know it.
func (r *reader) checkRule(reading *Reading, f fields) {
	if !reading.Limits.Uncertain() {
		return
	}
	rule, at := r.firstRule(reading.Limits, f.values["limits"])
	if reading.Instrument == nil {
		r.fail(at, fmt.Sprintf("the rule %s needs the uncertainty of an instrument, and the reading asks for none", rule), "instrument: required beside the limits")
	}
	if _, err := ucum.Parse(reading.Unit); err != nil && reading.Unit != "" {
		r.fail(at, fmt.Sprintf("the rule %s needs an uncertainty in %s, which is no unit that is known", rule, quote(reading.Unit)), "a UCUM code as unit")
	}
}

// firstRule returns the first rule by which the uncertainty counts, and where it stands.
func (r *reader) firstRule(l limit.Limits, limits *yaml.Node) (limit.Rule, *yaml.Node) {
	rule, end := l.AtMin.Rule, "min"
	if rule == limit.Simple {
		rule, end = l.AtMax.Rule, "max"
	}
	if bound := valueOf(limits, end); bound != nil && bound.Kind == yaml.MappingNode && valueOf(bound, "rule") != nil {
		return rule, valueOf(bound, "rule")
	}
	return rule, valueOf(limits, "rule")
}

const limitsExpected = `min, max or both, or expected with tolerance, or "limits: none" where every value is accepted`

// limits reads limits that are numbers, and those that are to be worked out.
func (r *reader) limits(node *yaml.Node) (limit.Limits, *Computed) {
	if node == nil || node.Kind == yaml.ScalarNode && node.Value == "none" {
		return limit.Limits{}, nil
	}
	if node.Kind != yaml.MappingNode {
		r.fail(node, "limits is "+describe(node), limitsExpected)
		return limit.Limits{}, nil
	}
	f, _ := r.mapping(node, "limits", "min", "max", "expected", "tolerance", "rule", "guard")
	expected := f.values["expected"] != nil || f.values["tolerance"] != nil
	switch {
	case len(node.Content) == 0:
		r.fail(node, "limits is empty", limitsExpected)
	case expected && (f.values["expected"] == nil || f.values["tolerance"] == nil):
		r.fail(node, "limits has one of expected and tolerance", "both")
	case expected && (f.values["min"] != nil || f.values["max"] != nil):
		r.fail(node, "limits has expected beside min or max", "one of the two: expected with tolerance, or min and max")
	case !expected && f.values["min"] == nil && f.values["max"] == nil && 2*len(f.keys) == len(node.Content):
		r.fail(node, "limits has neither min nor max", limitsExpected)
	}
	l, computed := r.bounds(f, r.decision(f, limit.Decision{}))
	if l.Min != nil && l.Max != nil && l.Min.Cmp(*l.Max) > 0 {
		r.fail(f.values["min"], fmt.Sprintf("min %s is over max %s", l.Min, l.Max), "min to be at most max")
	}
	return l, computed
}

// guardMost is the widest guard band in expanded uncertainties; table 1 of
// ILAC-G8:09/2019 ends at 3.
const guardMost = 10

// decision reads how the uncertainty counts: the keys rule and guard. What they do not
// say is as is common to both limits.
func (r *reader) decision(f fields, common limit.Decision) limit.Decision {
	d := common
	expected := "one of " + strings.Join(limit.Rules(), ", ")
	if node := f.values["rule"]; node != nil {
		if text, ok := r.scalar(node, "rule", expected); ok {
			rule, known := limit.ParseRule(text)
			if !known {
				if near, ok := r.suggest(text, limit.Rules()); ok {
					expected = fmt.Sprintf("%q perhaps; the rules are %s", near, strings.Join(limit.Rules(), ", "))
				}
				r.fail(node, "rule is "+quote(text), expected)
			}
			d = limit.Decision{Rule: rule}
		}
	}
	node := f.values["guard"]
	if node == nil {
		return d
	}
	d.Guard = r.decimal(node, "guard")
	if d.Guard != nil && (d.Guard.Mantissa <= 0 || d.Guard.Cmp(decimal.Decimal{Mantissa: guardMost}) > 0) {
		r.fail(node, "guard is "+d.Guard.String(), fmt.Sprintf("how many expanded uncertainties the guard band is wide, above 0 and at most %d", guardMost))
	}
	if d.Rule == limit.Simple {
		r.fail(f.keys["guard"], "a guard without a rule that has one", "rule: guarded or rule: non-binary beside it")
	}
	return d
}
