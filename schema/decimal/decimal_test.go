package decimal

import (
	"math"
	"math/big"
	"testing"

	"pgregory.net/rapid"
)

func TestParse(t *testing.T) {
	for _, c := range []struct{ in, want string }{
		{"4.10", "4.10"}, {"-0.5", "-0.5"}, {".5", "0.5"}, {"007", "7"}, {"5.", "5"}, {"+3", "3"}, {"-.005", "-0.005"},
	} {
		d, err := Parse(c.in)
		if err != nil || d.String() != c.want {
			t.Errorf("Parse(%q) = %v, %v; want %s", c.in, d, err, c.want)
		}
	}
	for _, in := range []string{"", "-", ".", "1e3", "1,5", "1.2.3", "99999999999999999999", "0.0000000000000000001", " 1"} {
		if d, err := Parse(in); err == nil {
			t.Errorf("Parse(%q) = %v; want an error", in, d)
		}
	}
}

func TestCmpAgainstText(t *testing.T) {
	for _, c := range []struct {
		a, b string
		want int
	}{{"4.10", "4.1", 0}, {"4.1", "4.09", 1}, {"-2", "-1.99", -1}, {"9223372036854775807", "0.000000000000000001", 1}} {
		a, _ := Parse(c.a)
		b, _ := Parse(c.b)
		if got := a.Cmp(b); got != c.want {
			t.Errorf("%s cmp %s = %d; want %d", c.a, c.b, got, c.want)
		}
	}
}

func TestRoundTrip(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		d := Decimal{rapid.Int64().Draw(t, "mantissa"), uint8(rapid.IntRange(0, MaxScale).Draw(t, "scale"))}
		got, err := Parse(d.String())
		if err != nil || got != d {
			t.Fatalf("Parse(%s) = %v, %v; want %v", d, got, err, d)
		}
	})
}

func TestFromRat(t *testing.T) {
	for _, c := range []struct {
		num, denom int64
		scale      int
		want       string
	}{
		{1, 3, 3, "0.333"}, {2, 3, 3, "0.667"}, {-2, 3, 3, "-0.667"}, {5, 2, 0, "2"}, {7, 2, 0, "4"}, {-5, 2, 0, "-2"}, {-7, 2, 0, "-4"},
		{1, 8, 3, "0.125"}, {1, 8, 2, "0.12"}, {3, 8, 2, "0.38"}, {0, 1, 2, "0.00"}, {-1, 1000, 2, "0.00"}, {math.MaxInt64, 1, 0, "9223372036854775807"},
	} {
		got, err := FromRat(big.NewRat(c.num, c.denom), c.scale)
		if err != nil || got.String() != c.want {
			t.Errorf("%d/%d with %d digits = %s, %v; want %s, half to even", c.num, c.denom, c.scale, got, err, c.want)
		}
	}
	for _, c := range []struct {
		num   int64
		scale int
	}{{math.MaxInt64, 1}, {1, -1}, {1, MaxScale + 1}} {
		if got, err := FromRat(big.NewRat(c.num, 1), c.scale); err == nil {
			t.Errorf("%d with %d digits = %s; want it refused", c.num, c.scale, got)
		}
	}
}
