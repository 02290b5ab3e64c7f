package limit

import (
	"math"
	"math/big"
	"strconv"

	"pulk/schema/decimal"
)

// Rule is a decision rule: how the uncertainty of a reading counts when it is judged.
//
// Sources: JCGM 106:2012, 8.2 (simple acceptance) and 8.3.2 (guarded acceptance);
// ILAC-G8:09/2019, 4.2.1 to 4.2.3; ISO 14253-1:2017, whose default guard band is
// 0.83 U for k = 2.
type Rule int

// The rules. With w the guard band, a multiple of the expanded uncertainty U:
const (
	// Simple accepts what is inside the limits; the uncertainty does not count.
	Simple Rule = iota
	// Guarded accepts what is inside the limits by at least w, and fails the rest.
	Guarded
	// NonBinary has four outcomes: inside by at least w a pass, else inside a
	// conditional pass, outside by at most w a conditional fail, farther out a fail.
	NonBinary
)

var ruleNames = []string{"simple", "guarded", "non-binary"}

// Rules returns the names of the rules.
func Rules() []string { return ruleNames }

// String returns "simple", "guarded" or "non-binary".
func (r Rule) String() string { return ruleNames[r] }

// ParseRule reads what String writes.
func ParseRule(name string) (Rule, bool) {
	for i, known := range ruleNames {
		if name == known {
			return Rule(i), true
		}
	}
	return Simple, false
}

// Decision is how the uncertainty of a reading counts at one limit. The zero value is
// simple acceptance.
type Decision struct {
	Rule Rule
	// Guard is the width of the guard band in expanded uncertainties, above 0; nil
	// is 1. It is for the rules other than Simple.
	Guard *decimal.Decimal
}

// String writes "guarded by 0.83 U", and nothing for simple acceptance.
func (d Decision) String() string {
	switch {
	case d.Rule == Simple:
		return ""
	case d.Guard == nil:
		return d.Rule.String() + " by U"
	}
	return d.Rule.String() + " by " + d.Guard.String() + " U"
}

// Words puts the decision behind the words for its limit.
func (d Decision) Words(words string) string {
	if d.Rule == Simple {
		return words
	}
	return words + ", " + d.String()
}

// judge returns the outcome at one limit for a value that is so much inside it,
// outside if that is negative; fail is what it is called to be outside.
func (d Decision) judge(inside *big.Rat, u Uncertainty, fail Outcome) Outcome {
	out := inside.Sign() < 0
	switch {
	case d.Rule == Simple || !u.Known() && out:
		if out {
			return fail
		}
		return Pass
	case !u.Known():
		return 0
	}
	band := d.band(u)
	switch {
	case inside.Cmp(band) >= 0:
		return Pass
	case d.Rule == Guarded || out && inside.Cmp(band.Neg(band)) < 0:
		return fail
	case out:
		return ConditionalFail
	}
	return ConditionalPass
}

// band returns the width of the guard band, w = guard × U.
func (d Decision) band(u Uncertainty) *big.Rat {
	w := u.Expanded.Rat()
	w.Abs(w)
	if d.Guard != nil {
		w.Mul(w, d.Guard.Rat())
	}
	return w
}

// FalseAccept returns the greatest probability that a value which guarded
// acceptance lets pass lies outside its limit: that of a reading on the acceptance
// limit, guard expanded uncertainties with coverage factor k inside the only limit.
// The distribution is normal.
//
// Source: JCGM 106:2012, 8.3.2; ILAC-G8:09/2019, table 1.
func FalseAccept(guard, coverage float64) float64 {
	return math.Erfc(guard*coverage/math.Sqrt2) / 2
}

// Probability returns the probability that the true value lies inside the limits,
// for a reading with a normal distribution of standard uncertainty u = U/k. It is
// shown beside a verdict and decides nothing. It is false where the uncertainty is
// unknown or there are no limits.
//
// Source: JCGM 106:2012, 7.4 (two-sided) and 7.3 (one-sided).
func (l Limits) Probability(value float64, u Uncertainty) (float64, bool) {
	if l.None() || l.Formula != "" || !u.Known() {
		return 0, false
	}
	standard := math.Abs(u.Expanded.Float64()) / u.Coverage.Float64()
	// low and high are the probabilities that it lies beyond a limit, so that no
	// digits are lost where they are small.
	low, high := 0.0, 0.0
	if l.Min != nil {
		low = beyond(l.Min.Float64()-value, standard)
	}
	if l.Max != nil {
		high = beyond(value-l.Max.Float64(), standard)
	}
	return max(0, 1-low-high), true
}

// beyond is the probability that a true value is over a limit which the reading is
// over by so much.
func beyond(over, standard float64) float64 {
	switch {
	case standard > 0:
		return math.Erfc(-over/standard/math.Sqrt2) / 2
	case over > 0:
		return 1
	}
	return 0
}

// Percent writes a probability for people: "97.7 %", "> 99.9 %", "< 0.1 %".
func Percent(p float64) string {
	switch {
	case p > 0.999:
		return "> 99.9 %"
	case p < 0.001:
		return "< 0.1 %"
	}
	return strconv.FormatFloat(p*100, 'f', 1, 64) + " %"
}
