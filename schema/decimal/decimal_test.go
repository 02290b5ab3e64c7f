package decimal

import (
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
