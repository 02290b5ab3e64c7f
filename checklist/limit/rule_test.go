package limit_test

import (
	"encoding/csv"
	"fmt"
	"math"
	"os"
	"strconv"
	"strings"
	"testing"

	"pgregory.net/rapid"

	"pulk/checklist/limit"
	"pulk/schema/decimal"
)

// check is a row of testdata/conformity.csv, whose source column is its source.
type check struct {
	id, quantity, expected, unit, tolerance, source string
	inputs                                          map[string]string
}

func (c check) number(t testing.TB, name string) float64 {
	t.Helper()
	x, err := strconv.ParseFloat(c.inputs[name], 64)
	if err != nil {
		t.Fatalf("%s: %s: %v", c.id, name, err)
	}
	return x
}

func (c check) decimal(t testing.TB, name string) decimal.Decimal {
	t.Helper()
	return *bound(t, c.inputs[name])
}

func (c check) limits(t testing.TB) limit.Limits {
	t.Helper()
	return limit.Limits{Min: bound(t, c.inputs["lower_limit"]), Max: bound(t, c.inputs["upper_limit"])}
}

// near fails unless got is the expected value within the row's tolerance.
func (c check) near(t *testing.T, got float64) {
	t.Helper()
	want, _ := strconv.ParseFloat(c.expected, 64)
	text, relative := strings.CutPrefix(c.tolerance, "rel ")
	tolerance, err := strconv.ParseFloat(text, 64)
	if relative {
		tolerance *= want
	}
	if err != nil || math.Abs(got-want) > tolerance {
		t.Errorf("%s: %s of %v = %.9g; want %s ± %s by %s", c.id, c.quantity, c.inputs, got, c.expected, c.tolerance, c.source)
	}
}

func conformityRows(t *testing.T) []check {
	t.Helper()
	file, err := os.Open("testdata/conformity.csv")
	if err != nil {
		t.Fatal(err)
	}
	rows, err := csv.NewReader(file).ReadAll()
	if err != nil {
		t.Fatal(err)
	}
	var list []check
	for _, row := range rows[1:] {
		c := check{row[0], row[1], row[3], row[4], row[5], row[6], map[string]string{}}
		for _, pair := range strings.Split(row[2], ";") {
			name, value, _ := strings.Cut(pair, "=")
			c.inputs[name] = value
		}
		list = append(list, c)
	}
	return list
}

// TestConformity is every row but those about a production process, which pulk does
// not know: global risks need the distribution that the pieces come from.
func TestConformity(t *testing.T) {
	one, two := decimal.Decimal{Mantissa: 1}, decimal.Decimal{Mantissa: 2}
	counts := map[string]int{}
	for _, c := range conformityRows(t) {
		counts[c.quantity]++
		switch c.quantity {
		case "process_conformance", "global_consumer_risk", "global_producer_risk":
			counts["left out"]++
		case "conformance_probability_two_sided", "conformance_probability_lower_limit", "conformance_probability_upper_limit":
			u := limit.Uncertainty{Expanded: c.decimal(t, "std_uncertainty"), Coverage: one}
			got, ok := c.limits(t).Probability(c.number(t, "measured"), u)
			if !ok {
				t.Errorf("%s has no probability", c.id)
			}
			c.near(t, got)
		case "guard_band_specific_risk_bound":
			text, _, _ := strings.Cut(strings.TrimPrefix(c.expected, "< "), " (")
			most, err := strconv.ParseFloat(text, 64)
			if got := limit.FalseAccept(c.number(t, "guard_band_in_U"), 2); err != nil || got >= most {
				t.Errorf("%s: false accept %g; want %s by %s", c.id, got, c.expected, c.source)
			}
		case "specific_false_accept_at_acceptance_limit":
			c.near(t, limit.FalseAccept(c.number(t, "guard_band_in_U"), c.number(t, "coverage_factor")))
		case "guard_band_multiple_for_conformance":
			// The row tells the multiple for a probability; ours is the inverse.
			guard, _ := strconv.ParseFloat(c.expected, 64)
			risk := 1 - c.number(t, "min_conformance_probability")
			low, high := limit.FalseAccept(guard+1e-5, 2), limit.FalseAccept(guard-1e-5, 2)
			if low > risk || high < risk {
				t.Errorf("%s: a guard of %s U leaves %g to %g; want %g by %s", c.id, c.expected, low, high, risk, c.source)
			}
		case "decision_simple_acceptance":
			c.verdict(t, c.limits(t), limit.Uncertainty{})
		case "decision_non_binary_guard_U":
			l := c.limits(t).By(limit.Decision{Rule: limit.NonBinary})
			c.verdict(t, l, limit.Uncertainty{Expanded: c.decimal(t, "expanded_uncertainty_k2"), Coverage: two})
		case "decision_guard_1.65u":
			l := c.limits(t).By(limit.Decision{Rule: limit.NonBinary, Guard: bound(t, "1.65")})
			c.verdict(t, l, limit.Uncertainty{Expanded: c.decimal(t, "std_uncertainty"), Coverage: one})
		default:
			t.Errorf("%s: nobody checks a %s", c.id, c.quantity)
		}
	}
	if counts["left out"] != 14 || counts["decision_guard_1.65u"] < 15 || counts["conformance_probability_two_sided"] < 8 {
		t.Errorf("the file is not the one meant: %v", counts)
	}
}

// verdict compares the outcome in the row's words. The three of ISO 14253-1 are the
// four of ILAC-G8 with those in the guard band put together.
func (c check) verdict(t *testing.T, l limit.Limits, u limit.Uncertainty) {
	t.Helper()
	got := l.Judge(c.decimal(t, "measured"), u)
	words := []string{strings.TrimSuffix(strings.TrimSuffix(got.String(), " low"), " high")}
	switch got {
	case limit.Pass:
		words = append(words, "conforming")
	case limit.FailLow, limit.FailHigh:
		words = append(words, "nonconforming")
	case limit.ConditionalPass, limit.ConditionalFail:
		words = append(words, "undecided")
	}
	if c.expected != words[0] && c.expected != words[len(words)-1] {
		t.Errorf("%s: %s in %s with %s: %s; want %s by %s", c.id, c.inputs["measured"], l, u, got, c.expected, c.source)
	}
	if l.AtMin.Rule != limit.NonBinary {
		return
	}
	l.AtMin.Rule, l.AtMax.Rule = limit.Guarded, limit.Guarded
	if guarded := l.Judge(c.decimal(t, "measured"), u); (guarded == limit.Pass) != (got == limit.Pass) {
		t.Errorf("%s: guarded acceptance says %s where the non-binary rule says %s", c.id, guarded, got)
	}
}

func TestRules(t *testing.T) {
	u := func(expanded string) limit.Uncertainty {
		return limit.Uncertainty{Expanded: *bound(t, expanded), Coverage: decimal.Decimal{Mantissa: 2}}
	}
	for _, c := range []struct {
		name, min, max, rule, guard, value string
		u                                  limit.Uncertainty
		want                               limit.Outcome
	}{
		{"guarded_on_acceptance_limit", "500", "", "guarded", "", "510", u("10"), limit.Pass},
		{"guarded_just_under", "500", "", "guarded", "", "509.999999", u("10"), limit.FailLow},
		{"guarded_by_part", "500", "", "guarded", "0.83", "508.3", u("10"), limit.Pass},
		{"guarded_by_part_just_under", "500", "", "guarded", "0.83", "508.29", u("10"), limit.FailLow},
		{"guarded_high", "", "5", "guarded", "", "4.91", u("0.1"), limit.FailHigh},
		{"guarded_bands_cross", "4", "5", "guarded", "", "4.5", u("0.6"), limit.FailLow},
		{"guarded_exact_instrument", "4", "5", "guarded", "", "5", u("0"), limit.Pass},
		{"guarded_unknown_u_inside", "500", "", "guarded", "", "9999", limit.Uncertainty{}, 0},
		{"guarded_unknown_u_outside", "500", "", "guarded", "", "1", limit.Uncertainty{}, limit.FailLow},
		{"guarded_no_limits", "", "", "guarded", "", "1", limit.Uncertainty{}, limit.Pass},
		{"four_pass", "500", "", "non-binary", "", "510", u("10"), limit.Pass},
		{"four_conditional_pass", "500", "", "non-binary", "", "500", u("10"), limit.ConditionalPass},
		{"four_conditional_fail", "500", "", "non-binary", "", "499.99", u("10"), limit.ConditionalFail},
		{"four_conditional_fail_edge", "500", "", "non-binary", "", "490", u("10"), limit.ConditionalFail},
		{"four_fail", "500", "", "non-binary", "", "489.99", u("10"), limit.FailLow},
		{"four_fail_high", "", "5", "non-binary", "2", "5.21", u("0.1"), limit.FailHigh},
		{"four_bands_cross_inside", "4", "5", "non-binary", "", "4.5", u("0.6"), limit.ConditionalPass},
		{"four_bands_cross_outside", "4", "5", "non-binary", "", "5.1", u("0.6"), limit.ConditionalFail},
		{"simple_does_not_ask", "500", "", "simple", "", "500", u("10"), limit.Pass},
	} {
		t.Run(c.name, func(t *testing.T) {
			rule, _ := limit.ParseRule(c.rule)
			l := limit.Limits{Min: bound(t, c.min), Max: bound(t, c.max)}.By(limit.Decision{Rule: rule, Guard: bound(t, c.guard)})
			if got := l.Judge(*bound(t, c.value), c.u); got != c.want {
				t.Errorf("%s: %s with %s: %s; want %s", l, c.value, c.u, got, c.want)
			}
		})
	}
	if _, ok := limit.ParseRule("strict"); ok {
		t.Error(`there is a rule "strict"`)
	}
}

// TestOwnDecisions: a value is judged at each limit by that limit's own decision. The
// load on a cable: too little is a nuisance and is taken as read, too much is not.
func TestOwnDecisions(t *testing.T) {
	u := limit.Uncertainty{Expanded: *bound(t, "0.5"), Coverage: decimal.Decimal{Mantissa: 2}}
	guarded, half := limit.Decision{Rule: limit.Guarded}, limit.Decision{Rule: limit.NonBinary, Guard: bound(t, "0.5")}
	for _, c := range []struct {
		name         string
		atMin, atMax limit.Decision
		value        string
		u            limit.Uncertainty
		want         limit.Outcome
	}{
		{"on_the_simple_limit", limit.Decision{}, guarded, "10", u, limit.Pass},
		{"under_the_simple_limit", limit.Decision{}, guarded, "9.99", u, limit.FailLow},
		{"at_the_guarded_acceptance_limit", limit.Decision{}, guarded, "19.5", u, limit.Pass},
		{"inside_the_guard_band", limit.Decision{}, guarded, "19.6", u, limit.FailHigh},
		{"four_outcomes_low_and_guarded_high", half, guarded, "10.2", u, limit.ConditionalPass},
		{"four_outcomes_low_outside", half, guarded, "9.75", u, limit.ConditionalFail},
		{"four_outcomes_low_farther", half, guarded, "9.74", u, limit.FailLow},
		{"unknown_u_matters_at_one_limit", limit.Decision{}, guarded, "15", limit.Uncertainty{}, 0},
		{"unknown_u_and_outside_the_simple_limit", limit.Decision{}, guarded, "9", limit.Uncertainty{}, limit.FailLow},
		{"unknown_u_and_outside_the_other", limit.Decision{}, guarded, "21", limit.Uncertainty{}, limit.FailHigh},
	} {
		t.Run(c.name, func(t *testing.T) {
			l := limit.Limits{Min: bound(t, "10"), Max: bound(t, "20"), AtMin: c.atMin, AtMax: c.atMax}
			if got := l.Judge(*bound(t, c.value), c.u); got != c.want {
				t.Errorf("%s: %s with %s: %s; want %s", l, c.value, c.u, got, c.want)
			}
		})
	}
}

func TestDecisionWords(t *testing.T) {
	guarded, part := limit.Decision{Rule: limit.Guarded}, limit.Decision{Rule: limit.NonBinary, Guard: bound(t, "0.83")}
	for _, c := range []struct {
		min, max     string
		atMin, atMax limit.Decision
		want         string
		uncertain    bool
	}{
		{"500", "", part, limit.Decision{}, "at least 500 V, non-binary by 0.83 U", true},
		{"", "5", limit.Decision{}, guarded, "at most 5 V, guarded by U", true},
		{"", "5", guarded, limit.Decision{}, "at most 5 V", false},
		{"1", "5", guarded, guarded, "1 to 5 V, guarded by U", true},
		{"1", "5", limit.Decision{}, guarded, "at least 1 V; at most 5 V, guarded by U", true},
		{"1", "5", part, guarded, "at least 1 V, non-binary by 0.83 U; at most 5 V, guarded by U", true},
		{"1", "5", limit.Decision{}, limit.Decision{}, "1 to 5 V", false},
	} {
		l := limit.Limits{Min: bound(t, c.min), Max: bound(t, c.max), AtMin: c.atMin, AtMax: c.atMax}
		if got := l.In("V"); got != c.want || l.Uncertain() != c.uncertain {
			t.Errorf("%q, uncertain %t; want %q, %t", got, l.Uncertain(), c.want, c.uncertain)
		}
	}
	l := limit.Limits{AtMin: guarded, AtMax: part, Formula: "worked out"}
	if got := l.Words("depth / 10", "depth / 5"); got != "at least depth / 10, guarded by U; at most depth / 5, non-binary by 0.83 U" || !l.Uncertain() {
		t.Error(got)
	}
	if got := l.By(guarded).Words("depth / 10", "depth / 5"); got != "at least depth / 10 and at most depth / 5, guarded by U" {
		t.Error(got)
	}
}

func drawCase(t *rapid.T) (limit.Limits, decimal.Decimal, limit.Uncertainty) {
	number := func(name string, low, high int64) *decimal.Decimal {
		return &decimal.Decimal{Mantissa: rapid.Int64Range(low, high).Draw(t, name), Scale: uint8(rapid.IntRange(0, 2).Draw(t, name+" scale"))}
	}
	l := limit.Limits{}.By(limit.Decision{Guard: number("guard", 1, 300)})
	if rapid.Bool().Draw(t, "has min") {
		l.Min = number("min", -100, 100)
	}
	if rapid.Bool().Draw(t, "has max") {
		l.Max = number("max", -100, 100)
	}
	return l, *number("value", -120, 120), limit.Uncertainty{Expanded: *number("U", 0, 50), Coverage: decimal.Decimal{Mantissa: 2}}
}

// Guarded acceptance and an outright pass never let through what simple acceptance
// stops; the non-binary rule splits each simple verdict and moves none; and what is
// unknown never passes where the uncertainty counts.
func TestRulesAgree(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		l, value, u := drawCase(t)
		by := func(rule limit.Rule, u limit.Uncertainty) limit.Outcome {
			l.AtMin.Rule, l.AtMax.Rule = rule, rule
			return l.Judge(value, u)
		}
		simple, guarded, four := by(limit.Simple, u), by(limit.Guarded, u), by(limit.NonBinary, u)
		switch {
		case guarded == limit.Pass && simple != limit.Pass:
			t.Fatalf("%s: guarded acceptance passes %s, which is outside", l, value)
		case (guarded == limit.Pass) != (four == limit.Pass):
			t.Fatalf("%s: %s is %s guarded and %s by the non-binary rule", l, value, guarded, four)
		case four.Good() != (simple == limit.Pass):
			t.Fatalf("%s: %s is %s simply and %s by the non-binary rule", l, value, simple, four)
		case four.Good() == four.Bad():
			t.Fatalf("%s is both good and bad, or neither", four)
		}
		// With a rule of its own at each limit, a value is as bad as at the worse of them.
		own, lowOnly, highOnly := l, l, l
		own.AtMin.Rule = limit.Rule(rapid.IntRange(0, 2).Draw(t, "rule at min"))
		own.AtMax.Rule = limit.Rule(rapid.IntRange(0, 2).Draw(t, "rule at max"))
		lowOnly.Max, lowOnly.AtMin, highOnly.Min, highOnly.AtMax = nil, own.AtMin, nil, own.AtMax
		both, low, high := own.Judge(value, u), lowOnly.Judge(value, u), highOnly.Judge(value, u)
		if both != low && both != high || both.Good() != (low.Good() && high.Good()) || (both == limit.Pass) != (low == limit.Pass && high == limit.Pass) {
			t.Fatalf("%s: %s is %s; %s at min and %s at max", own, value, both, low, high)
		}
		if unknown := by(limit.Guarded, limit.Uncertainty{}); !l.None() && unknown == limit.Pass {
			t.Fatalf("%s: %s passes although its uncertainty is unknown", l, value)
		}
	})
}

// The probability of conformance falls as a reading goes farther out, lies at one
// half on the only limit, and with guarded acceptance is never under what the guard
// band promises.
func TestProbability(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		l, value, u := drawCase(t)
		if u.Expanded.Mantissa == 0 || l.None() {
			t.Skip("certain, or no limits")
		}
		p, ok := l.Probability(value.Float64(), u)
		if !ok || p < 0 || p > 1 {
			t.Fatalf("%s: %s conforms with probability %g, %t", l, value, p, ok)
		}
		if l.Min != nil && l.Max != nil {
			return
		}
		step := rapid.Float64Range(0.001, 50).Draw(t, "step")
		if l.Min != nil {
			step = -step
		}
		if farther, _ := l.Probability(value.Float64()+step, u); farther > p {
			t.Fatalf("%s: %s conforms with probability %g, and %g farther out with %g", l, value, p, step, farther)
		}
		l.AtMin.Rule, l.AtMax.Rule = limit.Guarded, limit.Guarded
		if risk := limit.FalseAccept(l.AtMin.Guard.Float64(), 2); l.Judge(value, u) == limit.Pass && 1-p > risk+1e-12 {
			t.Fatalf("%s: %s passes with a risk of %g; the guard band promises %g", l, value, 1-p, risk)
		}
	})
	exact := limit.Uncertainty{Coverage: decimal.Decimal{Mantissa: 2}}
	for _, c := range []struct {
		value float64
		want  float64
	}{{5, 1}, {5.1, 0}, {4, 1}, {3.9, 0}} {
		if p, ok := (limit.Limits{Min: bound(t, "4"), Max: bound(t, "5")}).Probability(c.value, exact); !ok || p != c.want {
			t.Errorf("%g without uncertainty in 4 to 5: %g; want %g by definition", c.value, p, c.want)
		}
	}
	if _, ok := (limit.Limits{Min: bound(t, "4")}).Probability(5, limit.Uncertainty{}); ok {
		t.Error("a reading of unknown uncertainty has a probability")
	}
	for p, want := range map[float64]string{0.97725: "97.7 %", 0.5: "50.0 %", 1: "> 99.9 %", 0.00001: "< 0.1 %"} {
		if got := limit.Percent(p); got != want {
			t.Errorf("%g is written %q; want %q", p, got, want)
		}
	}
}

func TestStated(t *testing.T) {
	for _, c := range []struct{ unit, absolute, percent, value, in, want string }{
		{"MOhm", "2", "3", "550", "MOhm", "18.5"},     // 2 + 16.5
		{"GOhm", "0.002", "3", "550", "MOhm", "18.5"}, // the same in another unit
		{"Cel", "0.5", "0", "-20.0", "Cel", "0.5"},
		{"[degF]", "0.9", "0", "20.0", "Cel", "0.5"}, // a difference, without the 32
		{"V", "0", "0.5", "-4.20", "V", "0.021"},     // of the amount
		{"V", "0.0001", "0.5", "1", "mV", "0.105"},
		{"kN", "0", "1", "7.777", "kN", "0.0778"}, // 0.07777 rounded up
		{"N.m", "0", "0", "5", "N.m", "0"},
		{"dB", "0.1", "0", "0.31", "dB", "0.1"},
	} {
		s := limit.Stated{Unit: c.unit, Absolute: *bound(t, c.absolute), Percent: *bound(t, c.percent), Coverage: decimal.Decimal{Mantissa: 2}}
		got, err := s.At(*bound(t, c.value), c.in)
		if err != nil || got.Expanded.String() != c.want {
			t.Errorf("%s %s with %s %s + %s %%: %s, %v; want %s by hand", c.value, c.in, c.absolute, c.unit, c.percent, got, err, c.want)
		}
	}
	if _, err := (limit.Stated{Unit: "V"}).At(decimal.Decimal{}, "MOhm"); err == nil {
		t.Error("a statement in V holds for MOhm")
	}
}

// Sources: NIST Statistical Reference Datasets, univariate, NumAcc1 and NumAcc2
// (certified values); the first is its whole data, the second has 1001 values.
// Digits from memory (high). The last is by hand: sum of squares 8, divided by 4.
func TestSpread(t *testing.T) {
	numAcc2 := []string{"1.2"}
	for range 500 {
		numAcc2 = append(numAcc2, "1.1", "1.3")
	}
	for _, c := range []struct {
		name                   string
		values                 []string
		mean, width, deviation string
	}{
		{"NumAcc1", []string{"10000001", "10000003", "10000002"}, "10000002.0", "2", "1.0"},
		{"NumAcc2", numAcc2, "1.20", "0.2", "0.10"},
		{"one", []string{"4.35"}, "4.350", "0.00", "0.000"},
		{"digits_differ", []string{"-1", "0.00", "1.0", "2", "-2"}, "0.000", "4.00", "1.581"},
		{"equal", []string{"7.5", "7.5", "7.5"}, "7.50", "0.0", "0.00"},
	} {
		t.Run(c.name, func(t *testing.T) {
			var values []decimal.Decimal
			for _, text := range c.values {
				values = append(values, *bound(t, text))
			}
			s, ok := limit.SpreadOf(values)
			if got := fmt.Sprint(s.N, s.Mean, s.Range, s.Deviation); !ok || got != fmt.Sprint(len(values), " "+c.mean, " "+c.width, " "+c.deviation) {
				t.Errorf("%s; want %d %s %s %s", got, len(values), c.mean, c.width, c.deviation)
			}
		})
	}
	if _, ok := limit.SpreadOf(nil); ok {
		t.Error("no readings have a spread")
	}
}

func ExampleLimits_Judge_guarded() {
	least, _ := decimal.Parse("500")
	guard, _ := decimal.Parse("0.83")
	insulation := limit.Limits{Min: &least, AtMin: limit.Decision{Rule: limit.NonBinary, Guard: &guard}}
	tester := limit.Stated{Unit: "MOhm", Percent: decimal.Decimal{Mantissa: 3}, Coverage: decimal.Decimal{Mantissa: 2}}
	value, _ := decimal.Parse("505")
	u, _ := tester.At(value, "MOhm")
	p, _ := insulation.Probability(value.Float64(), u)
	fmt.Println(u, "->", insulation.Judge(value, u), "conforms with", limit.Percent(p))
	// Output: U = 15.2 (k = 2) -> conditional pass conforms with 74.5 %
}
