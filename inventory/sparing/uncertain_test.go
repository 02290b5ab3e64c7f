package sparing

import (
	"math"
	"testing"
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
