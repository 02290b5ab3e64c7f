package sparing

import (
	"math"
	"testing"

	"pgregory.net/rapid"
)

// TestOddsOverWithoutRepair: where hardly any unit comes back in time the sum over
// rates is the negative binomial distribution, which needs no sum, and the group's
// exact formula.
func TestOddsOverWithoutRepair(t *testing.T) {
	for _, c := range []struct {
		shape, exposure float64
		units, needed   int64
	}{{0.5, 30_000, 5, 5}, {1, 9000, 3, 3}, {1, 900, 3, 3}, {5.5, 21_000, 6, 4}, {200, 4e6, 12, 12}} {
		rate, err := NewRate(c.shape, c.exposure)
		if err != nil {
			t.Fatal(err)
		}
		const hours = 6216
		demand, err := rate.Demand(float64(c.units) * hours)
		if err != nil {
			t.Fatal(err)
		}
		_, want, err := Group{c.units, c.needed, demand}.Odds(6)
		if err != nil {
			t.Fatal(err)
		}
		_, got, err := Repaired{Hours: hours, Repairable: 1e-12, TurnaroundHours: 1000, Units: c.units, Needed: c.needed}.OddsOver(rate, c.units, 6, 0)
		if err != nil {
			t.Fatal(err)
		}
		for s := range want {
			if math.Abs(got[s]-want[s]) > 2e-8 {
				t.Errorf("shape %g, %d of %d, stock %d: shortfall %.10f; without repair it is %.10f", c.shape, c.needed, c.units, s, got[s], want[s])
			}
		}
	}
}

// TestRepairedGroupOfAll: a group of which all are needed is no group.
func TestRepairedGroupOfAll(t *testing.T) {
	plain := Repaired{FailuresPerHour: 0.001, Hours: 3000, Repairable: 0.6, TurnaroundHours: 400}
	group := plain
	group.Units, group.Needed = 4, 4
	_, want, err := plain.Odds(5)
	if err != nil {
		t.Fatal(err)
	}
	_, got, err := group.Odds(5)
	if err != nil {
		t.Fatal(err)
	}
	for s := range want {
		if got[s] != want[s] {
			t.Errorf("stock %d: %v; %v without a group", s, got[s], want[s])
		}
	}
	group.Needed = 3
	_, fewer, err := group.Odds(5)
	if err != nil {
		t.Fatal(err)
	}
	for s := range want {
		if !(fewer[s] < want[s]) {
			t.Errorf("stock %d: %v with one place that may be dead; %v without", s, fewer[s], want[s])
		}
	}
	for _, bad := range []Repaired{{Units: 3, Needed: 4}, {Units: 5, Needed: 3, Repairable: 0.5}} {
		if _, _, err := bad.Odds(1); err == nil {
			t.Errorf("%+v is taken", bad)
		}
	}
}

// TestBetween: the shortfall lies between what the bounds say, for groups too.
func TestBetween(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		r := Repaired{FailuresPerHour: rapid.Float64Range(0, 0.01).Draw(t, "rate"), Hours: rapid.Float64Range(10, 3000).Draw(t, "hours"),
			Repairable: rapid.Float64Range(0.01, 1).Draw(t, "repairable"), TurnaroundHours: rapid.Float64Range(10, 3000).Draw(t, "turn-around")}
		if rapid.Bool().Draw(t, "group") {
			r.Units, r.Needed = 5, rapid.Int64Range(2, 5).Draw(t, "needed")
		}
		for s := range int64(6) {
			low, high, err := r.between(s)
			if err != nil {
				t.Fatal(err)
			}
			short, err := r.short(int(s))
			if err != nil {
				t.Fatal(err)
			}
			if short < low-1e-9 || short > high+1e-9 {
				t.Fatalf("stock %d: shortfall %v, said to lie from %v to %v", s, short, low, high)
			}
		}
	})
}

// TestOddsOverEnds: chains that are too long to follow end the rows, and do not hold up
// who asks: this one once took more than a minute.
func TestOddsOverEnds(t *testing.T) {
	rate, err := NewRate(1, 5000)
	if err != nil {
		t.Fatal(err)
	}
	_, short, err := Repaired{Hours: 6216, Repairable: 0.7, TurnaroundHours: 50}.OddsOver(rate, 10, 200, 1e-7)
	if err != nil {
		t.Fatal(err)
	}
	if len(short) < 10 || len(short) > 150 {
		t.Errorf("%d stocks are followed", len(short))
	}
	for s := 1; s < len(short); s++ {
		if short[s] > short[s-1]+1e-9 {
			t.Errorf("shortfall %v of %d pieces, %v of one less", short[s], s, short[s-1])
		}
	}
}
