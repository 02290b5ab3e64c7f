// Package limit judges readings against limits.
//
// It compares decimal numbers as they were written, so a reading that stands
// exactly on a limit passes whatever its number of digits, and a guard band is
// taken off exactly. How the uncertainty of the instrument counts is the limits'
// [Rule]; [Limits.Judge] is the one place that decides.
package limit

import (
	"math/big"

	"pulk/schema/decimal"
)

// Limits are the least and the greatest value that pass, both inclusive; nil
// means that there is none on that side. The zero value passes everything.
// Value and limits must be in one unit: the caller sees to that.
type Limits struct {
	Min, Max *decimal.Decimal
	Rule     Rule
	// Guard is the width of the guard band in expanded uncertainties, above 0; nil
	// is 1. It is for the rules other than Simple.
	Guard *decimal.Decimal
	// Formula tells the limits in words where they follow from other values and are
	// not worked out here; Min and Max are then nil, and no value is judged.
	Formula string
}

// Outcome is the verdict on one reading.
type Outcome int

// The outcomes. The zero value is none of them, so that a forgotten judgement
// never reads as a pass.
const (
	Pass Outcome = iota + 1
	FailLow
	FailHigh
	ConditionalPass // inside a limit by less than the guard band
	ConditionalFail // outside a limit by no more than the guard band
)

// String returns "pass", "fail low", "conditional pass", …; "not judged" for the
// zero value.
func (o Outcome) String() string {
	switch o {
	case Pass:
		return "pass"
	case FailLow:
		return "fail low"
	case FailHigh:
		return "fail high"
	case ConditionalPass:
		return "conditional pass"
	case ConditionalFail:
		return "conditional fail"
	}
	return "not judged"
}

// Good reports whether a step may count a reading: it passes, or passes with the
// risk that a conditional pass leaves to the next signer.
func (o Outcome) Good() bool { return o == Pass || o == ConditionalPass }

// Bad reports whether a reading speaks against going on.
func (o Outcome) Bad() bool { return o == FailLow || o == FailHigh || o == ConditionalFail }

// Judge returns the outcome of a value whose uncertainty is u; the zero u is an
// unknown one. Where a rule needs the uncertainty and it is unknown, a value outside
// the limits fails and one inside is not judged (0). Where Min is over Max, or the
// guard bands leave nothing between them, no value passes.
//
// Limits that are not worked out judge nothing.
func (l Limits) Judge(value decimal.Decimal, u Uncertainty) Outcome {
	if l.Formula != "" {
		return 0
	}
	simple := l.simple(value)
	if l.Rule == Simple || simple != Pass && !u.Known() || l.None() {
		return simple
	}
	if !u.Known() {
		return 0
	}
	v, guard := value.Rat(), l.band(u)
	inside := l.within(v, guard)
	if l.Rule == Guarded || inside == Pass {
		return inside
	}
	outside := l.within(v, guard.Neg(guard))
	switch {
	case simple == Pass:
		return ConditionalPass
	case outside == Pass:
		return ConditionalFail
	}
	return outside
}

// Inside reports whether a value is inside the limits, whatever the rule.
func (l Limits) Inside(value decimal.Decimal) bool { return l.simple(value) == Pass }

// simple is simple acceptance.
func (l Limits) simple(value decimal.Decimal) Outcome {
	switch {
	case l.Min != nil && value.Cmp(*l.Min) < 0:
		return FailLow
	case l.Max != nil && value.Cmp(*l.Max) > 0:
		return FailHigh
	}
	return Pass
}

// within judges a value against limits drawn in by so much, or out if it is negative.
func (l Limits) within(v, in *big.Rat) Outcome {
	switch {
	case l.Min != nil && v.Cmp(new(big.Rat).Add(l.Min.Rat(), in)) < 0:
		return FailLow
	case l.Max != nil && v.Cmp(new(big.Rat).Sub(l.Max.Rat(), in)) > 0:
		return FailHigh
	}
	return Pass
}

// band returns the width of the guard band, w = guard × U.
func (l Limits) band(u Uncertainty) *big.Rat {
	w := u.Expanded.Rat()
	w.Abs(w)
	if l.Guard != nil {
		w.Mul(w, l.Guard.Rat())
	}
	return w
}

// None reports whether there is a limit on neither side.
func (l Limits) None() bool { return l.Min == nil && l.Max == nil && l.Formula == "" }

// String says the limits in words: "at least 500", "at most 2.0", "1.2 to 1.4" or
// "no limits", and the rule where it is not the simple one: "at least 500, guarded
// by 0.83 U".
func (l Limits) String() string { return l.In("") }

// In is String with the unit behind the numbers: "at least 500 MOhm, guarded by U".
func (l Limits) In(unit string) string {
	text := ""
	switch {
	case l.None():
		return "no limits"
	case l.Formula != "":
		text, unit = l.Formula, ""
	case l.Max == nil:
		text = "at least " + l.Min.String()
	case l.Min == nil:
		text = "at most " + l.Max.String()
	default:
		text = l.Min.String() + " to " + l.Max.String()
	}
	if unit != "" && unit != "1" {
		text += " " + unit
	}
	if l.Rule == Simple {
		return text
	}
	guard := "U"
	if l.Guard != nil {
		guard = l.Guard.String() + " U"
	}
	return text + ", " + l.Rule.String() + " by " + guard
}
