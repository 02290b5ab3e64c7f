// Package limit judges readings against limits.
//
// It compares decimal numbers as they were written, so a reading that stands
// exactly on a limit passes whatever its number of digits, and a guard band is
// taken off exactly. How the uncertainty of the instrument counts is each limit's
// [Decision]; [Limits.Judge] is the one place that decides.
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
	// AtMin and AtMax say how the uncertainty counts at either limit. The zero values
	// are simple acceptance.
	AtMin, AtMax Decision
	// Formula tells the limits in words, their decisions too, where they follow from
	// other values and are not worked out here; Min and Max are then nil, and no value
	// is judged.
	Formula string
}

// By returns the limits with one decision at both.
func (l Limits) By(d Decision) Limits {
	l.AtMin, l.AtMax = d, d
	return l
}

// Uncertain reports whether the uncertainty of a reading counts at one of the limits.
func (l Limits) Uncertain() bool {
	open := l.Formula != "" // there may be a limit on either side
	return l.AtMin.Rule != Simple && (l.Min != nil || open) || l.AtMax.Rule != Simple && (l.Max != nil || open)
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
// unknown one. Each limit judges by its own decision, and the worse outcome is that of
// the value. Where a rule needs the uncertainty and it is unknown, a value outside the
// limit fails and one inside is not judged (0). Where Min is over Max, or guard bands
// leave nothing between them, no value passes.
//
// Limits that are not worked out judge nothing.
func (l Limits) Judge(value decimal.Decimal, u Uncertainty) Outcome {
	if l.Formula != "" {
		return 0
	}
	low, high := Pass, Pass
	if l.Min != nil {
		low = l.AtMin.judge(new(big.Rat).Sub(value.Rat(), l.Min.Rat()), u, FailLow)
	}
	if l.Max != nil {
		high = l.AtMax.judge(new(big.Rat).Sub(l.Max.Rat(), value.Rat()), u, FailHigh)
	}
	for _, worse := range []Outcome{FailLow, FailHigh, ConditionalFail, 0, ConditionalPass} {
		if low == worse || high == worse {
			return worse
		}
	}
	return Pass
}

// Inside reports whether a value is inside the limits, whatever the decisions.
func (l Limits) Inside(value decimal.Decimal) bool {
	return l.By(Decision{}).Judge(value, Uncertainty{}) == Pass
}

// None reports whether there is a limit on neither side.
func (l Limits) None() bool { return l.Min == nil && l.Max == nil && l.Formula == "" }

// String says the limits in words: "at least 500", "at most 2.0", "1.2 to 1.4" or
// "no limits", and the rule where it is not the simple one: "at least 500, guarded
// by 0.83 U".
func (l Limits) String() string { return l.In("") }

// In is String with the unit behind the numbers: "at least 500 MOhm, guarded by U".
func (l Limits) In(unit string) string {
	if unit == "1" {
		unit = ""
	}
	switch {
	case l.None():
		return "no limits"
	case l.Formula != "":
		return l.Formula
	case l.Min != nil && l.Max != nil && l.AtMin.String() == l.AtMax.String():
		return l.AtMin.Words(withUnit(l.Min.String()+" to "+l.Max.String(), unit))
	}
	least, most := "", ""
	if l.Min != nil {
		least = withUnit(l.Min.String(), unit)
	}
	if l.Max != nil {
		most = withUnit(l.Max.String(), unit)
	}
	return l.Words(least, most)
}

// Words is String for limits that are told in other words than their numbers; an
// empty one is none.
func (l Limits) Words(least, most string) string {
	switch {
	case most == "":
		return l.AtMin.Words("at least " + least)
	case least == "":
		return l.AtMax.Words("at most " + most)
	case l.AtMin.String() == l.AtMax.String():
		return l.AtMin.Words("at least " + least + " and at most " + most)
	}
	return l.AtMin.Words("at least "+least) + "; " + l.AtMax.Words("at most "+most)
}

func withUnit(text, unit string) string {
	if unit == "" {
		return text
	}
	return text + " " + unit
}
