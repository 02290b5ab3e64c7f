// Package limit judges readings against limits.
//
// It compares decimal numbers as they were written, so a reading that stands
// exactly on a limit passes whatever its number of digits. Measurement
// uncertainty is not taken into account: this is the simple acceptance rule,
// and a guard band belongs in the limits themselves.
package limit

import "pulk/schema/decimal"

// Limits are the least and the greatest value that pass, both inclusive; nil
// means that there is none on that side. The zero value passes everything.
// Value and limits must be in one unit: the caller sees to that.
type Limits struct {
	Min, Max *decimal.Decimal
}

// Outcome is the verdict on one reading.
type Outcome int

// The outcomes. The zero value is none of them, so that a forgotten judgement
// never reads as a pass.
const (
	Pass Outcome = iota + 1
	FailLow
	FailHigh
)

// String returns "pass", "fail low" or "fail high".
func (o Outcome) String() string {
	switch o {
	case Pass:
		return "pass"
	case FailLow:
		return "fail low"
	case FailHigh:
		return "fail high"
	}
	return "not judged"
}

// Judge returns FailLow for a value under Min, FailHigh for one over Max, else
// Pass. Where Min is over Max (which the linter of procedures refuses) no value
// passes.
func (l Limits) Judge(value decimal.Decimal) Outcome {
	switch {
	case l.Min != nil && value.Cmp(*l.Min) < 0:
		return FailLow
	case l.Max != nil && value.Cmp(*l.Max) > 0:
		return FailHigh
	}
	return Pass
}

// None reports whether there is a limit on neither side.
func (l Limits) None() bool { return l.Min == nil && l.Max == nil }

// String says the limits in words: "at least 500", "at most 2.0", "1.2 to 1.4"
// or "no limits".
func (l Limits) String() string {
	switch {
	case l.None():
		return "no limits"
	case l.Max == nil:
		return "at least " + l.Min.String()
	case l.Min == nil:
		return "at most " + l.Max.String()
	}
	return l.Min.String() + " to " + l.Max.String()
}
