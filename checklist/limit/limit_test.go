package limit_test

import (
	"fmt"
	"testing"

	"pgregory.net/rapid"

	"pulk/checklist/limit"
	"pulk/schema/decimal"
)

// bound parses a limit; "" means none.
func bound(t testing.TB, text string) *decimal.Decimal {
	t.Helper()
	if text == "" {
		return nil
	}
	d, err := decimal.Parse(text)
	if err != nil {
		t.Fatal(err)
	}
	return &d
}

func TestJudge(t *testing.T) {
	for _, c := range []struct {
		name, min, max, value string
		want                  limit.Outcome
	}{
		{"on_min", "500", "", "500", limit.Pass},
		{"on_min_more_digits", "500", "", "500.000", limit.Pass},
		{"just_under_min", "500", "", "499.999999999999999", limit.FailLow},
		{"on_max", "", "2.0", "2.00", limit.Pass},
		{"just_over_max", "", "2.0", "2.000000000000000001", limit.FailHigh},
		{"inside", "-5", "5", "0", limit.Pass},
		{"negative_low", "-5", "5", "-5.1", limit.FailLow},
		{"negative_high", "-10", "-5", "-4.9", limit.FailHigh},
		{"one_point", "3.3", "3.30", "3.3", limit.Pass},
		{"none", "", "", "-99999", limit.Pass},
		{"crossed_low", "5", "1", "3", limit.FailLow},
		{"crossed_high", "5", "1", "9", limit.FailHigh},
		{"far_scales", "0.000000000000000001", "", "9223372036854775807", limit.Pass},
	} {
		t.Run(c.name, func(t *testing.T) {
			l := limit.Limits{Min: bound(t, c.min), Max: bound(t, c.max)}
			if got := l.Judge(*bound(t, c.value), limit.Uncertainty{}); got != c.want {
				t.Errorf("%s: Judge(%s) = %s; want %s", l, c.value, got, c.want)
			}
		})
	}
}

func TestStrings(t *testing.T) {
	for _, c := range []struct{ min, max, want string }{
		{"", "", "no limits"}, {"4.10", "", "at least 4.10"}, {"", "-2", "at most -2"}, {"1.2", "1.40", "1.2 to 1.40"},
	} {
		if got := (limit.Limits{Min: bound(t, c.min), Max: bound(t, c.max)}).String(); got != c.want {
			t.Errorf("limits %q %q = %q; want %q", c.min, c.max, got, c.want)
		}
	}
	for outcome, want := range map[limit.Outcome]string{limit.Pass: "pass", limit.FailLow: "fail low", limit.FailHigh: "fail high", 0: "not judged",
		limit.ConditionalPass: "conditional pass", limit.ConditionalFail: "conditional fail"} {
		if outcome.String() != want {
			t.Errorf("outcome %d = %q; want %q", outcome, outcome, want)
		}
	}
}

// Against whole numbers of one scale, where plain integers tell the answer.
func TestJudgeAgainstIntegers(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		low, high := rapid.Int64Range(-50, 50).Draw(t, "min"), rapid.Int64Range(-50, 50).Draw(t, "max")
		value := rapid.Int64Range(-60, 60).Draw(t, "value")
		want := limit.Pass
		if value < low {
			want = limit.FailLow
		} else if value > high {
			want = limit.FailHigh
		}
		lowDecimal, highDecimal := decimal.Decimal{Mantissa: low, Scale: 2}, decimal.Decimal{Mantissa: high, Scale: 2}
		l := limit.Limits{Min: &lowDecimal, Max: &highDecimal}
		if got := l.Judge(decimal.Decimal{Mantissa: value * 100, Scale: 4}, limit.Uncertainty{}); got != want {
			t.Fatalf("%s: Judge(%d/100) = %s; want %s", l, value, got, want)
		}
	})
}

func ExampleLimits_Judge() {
	least, _ := decimal.Parse("500")
	insulation := limit.Limits{Min: &least}
	value, _ := decimal.Parse("412.5")
	fmt.Println(insulation, "->", insulation.Judge(value, limit.Uncertainty{}))
	// Output: at least 500 -> fail low
}
