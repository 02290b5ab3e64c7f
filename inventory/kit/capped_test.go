package kit

import (
	"context"
	"errors"
	"math"
	"testing"

	"pgregory.net/rapid"

	"pulk/inventory/choice"
	"pulk/inventory/sparing"
)

// someParts draws a few parts that fail often enough to matter.
func someParts(t *rapid.T) []Part {
	var parts []Part
	for i := range rapid.IntRange(1, 4).Draw(t, "parts") {
		side := rapid.Int64Range(50, 300).Draw(t, "side")
		parts = append(parts, Part{PartNumber: string(rune('A' + i)), Installed: rapid.Int64Range(1, 20).Draw(t, "installed"),
			PriorMTBFHours: rapid.Int64Range(5000, 200_000).Draw(t, "mtbf"), Good: rapid.Int64Range(0, 3).Draw(t, "good"),
			Failures: rapid.Int64Range(0, 2).Draw(t, "failures"), UnitHoursSeen: float64(rapid.Int64Range(1, 50_000).Draw(t, "hours")),
			MassGrams: rapid.Int64Range(100, 9000).Draw(t, "mass"), LengthMM: side, WidthMM: side, HeightMM: side, PriceCents: rapid.Int64Range(100, 90_000).Draw(t, "price")})
	}
	return parts
}

// TestFitAgainstAll: no other choice of up to six pieces of each spare that keeps to
// the caps has better odds, by plain multiplication over all of them.
func TestFitAgainstAll(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		plan, err := Make(request, someParts(t))
		if err != nil {
			t.Fatal(err)
		}
		caps := Caps{rapid.Float64Range(0, 30_000).Draw(t, "grams"), rapid.Float64Range(0, 60).Draw(t, "litres"), rapid.Float64Range(0, 300_000).Draw(t, "cents")}
		got, err := plan.Fit(context.Background(), caps, Wish{}, choice.Settings{})
		if err != nil || !got.Proven {
			t.Fatalf("%+v, %v", got, err)
		}
		for r := range caps {
			if got.Use[r] > caps[r]+1e-9 {
				t.Fatalf("uses %g of %s; the cap is %g", got.Use[r], Resource(r), caps[r])
			}
		}
		product, demands := 1.0, []sparing.Demand{}
		for i := range got.Plan.Lines {
			l := &got.Plan.Lines[i]
			demand, err := l.rate.Demand(float64(l.Installed) * plan.Hours)
			if err != nil {
				t.Fatal(err)
			}
			demands = append(demands, demand)
			product *= demand.CDF(l.Good + l.Send)
		}
		if math.Abs(product-got.Odds) > 1e-9 {
			t.Fatalf("odds %v; the product over what is sent is %v", got.Odds, product)
		}
		best := 0.0
		var try func(i int, use Caps, odds float64)
		try = func(i int, use Caps, odds float64) {
			if i == len(plan.Lines) {
				best = max(best, odds)
				return
			}
			l := &plan.Lines[i]
			for n := range int64(7) {
				next := use
				for r, use := range l.use(n) {
					if next[r] += use; next[r] > caps[r] {
						return
					}
				}
				try(i+1, next, odds*demands[i].CDF(l.Good+n))
			}
		}
		try(0, Caps{}, 1)
		if best > got.Odds*(1+1.01*EqualOdds) {
			t.Fatalf("odds %v; another choice has %v", got.Odds, best)
		}
		if got.Bound < got.Odds-1e-12 {
			t.Fatalf("bound %v below the odds %v", got.Bound, got.Odds)
		}
	})
}

// TestLighterOfEqual: with caps that hold nothing back the lightest is taken of what is
// equal, and not all that makes the odds a little better.
func TestLighterOfEqual(t *testing.T) {
	plan, err := Make(request, []Part{{PartNumber: "PMP", Installed: 3, PriorMTBFHours: 9000, MassGrams: 4000}, {PartNumber: "FAN", Installed: 4, PriorMTBFHours: 25_000, MassGrams: 350}})
	if err != nil {
		t.Fatal(err)
	}
	got, err := plan.Fit(t.Context(), NoCaps(), Wish{}, Settings{})
	if err != nil || !got.Proven {
		t.Fatalf("%+v, %v", got, err)
	}
	light, err := plan.Lightest(t.Context(), NoCaps(), Wish{}, got.Bound*(1-EqualOdds), Settings{})
	if err != nil || math.Abs(light.Use[Mass]-got.Use[Mass]) > 1e-6 {
		t.Errorf("%g g for odds of %v; %g g are enough for as good ones (%v)", got.Use[Mass], got.Odds, light.Use[Mass], err)
	}
	if got.Bound-got.Odds < EqualOdds/10 {
		t.Errorf("odds %v of at most %v: nothing was saved", got.Odds, got.Bound)
	}
	dated, err := Make(late(), []Part{{PartNumber: "PMP", Installed: 3, PriorMTBFHours: 9000, MassGrams: 4000}, {PartNumber: "FAN", Installed: 4, PriorMTBFHours: 25_000, MassGrams: 350}})
	if err != nil {
		t.Fatal(err)
	}
	over, err := dated.Fit(t.Context(), NoCaps(), Wish{}, Settings{})
	if err != nil || over.Bound-over.Odds > 2*EqualOdds || over.Bound-over.Odds < EqualOdds/10 {
		t.Errorf("over dates: odds %v of at most %v, %v", over.Odds, over.Bound, err)
	}
}

// TestWinters: played winters agree with the formulas within the error of the play.
func TestWinters(t *testing.T) {
	parts := []Part{
		{PartNumber: "PMP", Installed: 3, PriorMTBFHours: 9000, Failures: 2, UnitHoursSeen: 15_000, Good: 1, MassGrams: 4000},
		{PartNumber: "FAN", Installed: 12, PriorMTBFHours: 40_000, Good: 2, MassGrams: 300},
		{PartNumber: "NEW", Installed: 5, Failures: 1, UnitHoursSeen: 30_000, MassGrams: 800},
	}
	plan, err := Make(request, parts)
	if err != nil {
		t.Fatal(err)
	}
	for _, grams := range []float64{0, 4000, 9000, 20_000} {
		caps := NoCaps()
		caps[Mass] = grams
		got, err := plan.Fit(t.Context(), caps, Wish{}, choice.Settings{})
		if err != nil {
			t.Fatal(err)
		}
		agreesWithPlay(t, got, 7+uint64(grams))
	}
}

// agreesWithPlay holds the odds of a choice to played winters.
func agreesWithPlay(t *testing.T, got *Capped, seed uint64) {
	t.Helper()
	played, err := got.Plan.Simulate(t.Context(), 40_000, seed, Wish{})
	if err != nil {
		t.Fatal(err)
	}
	if z := (played.Odds - got.Odds) / played.Error; math.Abs(z) > 4 {
		t.Errorf("under %g g: odds %v, %v ± %v by %d winters: %.1f errors apart", got.Caps[Mass], got.Odds, played.Odds, played.Error, played.Played, z)
	}
}

func TestFitWishes(t *testing.T) {
	parts := []Part{{PartNumber: "PMP", Installed: 3, PriorMTBFHours: 9000, MassGrams: 4000}, {PartNumber: "FAN", Installed: 12, PriorMTBFHours: 9000},
		{PartNumber: "TAPE", Uses: []sparing.Use{{Runs: 2, PerRun: 3}}, MassGrams: 100}}
	plan, err := Make(request, parts)
	if err != nil {
		t.Fatal(err)
	}
	caps := NoCaps()
	caps[Mass] = 12_700
	sent := func(c *Capped) (out [3]int64) {
		for i, l := range c.Plan.Lines {
			out[i] = l.Send
		}
		return out
	}
	for _, c := range []struct {
		name string
		wish Wish
		want [3]int64
	}{
		{"unknown mass is not sent", Wish{}, [3]int64{3, 0, 6}},
		{"a floor for it is", Wish{Least: map[string]int64{"FAN": 4}}, [3]int64{3, 4, 6}},
		{"a ceiling", Wish{Most: map[string]int64{"PMP": 1}}, [3]int64{1, 0, 6}},
		{"minor", Wish{Minor: map[string]bool{"PMP": true}}, [3]int64{0, 0, 6}},
	} {
		got, err := plan.Fit(t.Context(), caps, c.wish, choice.Settings{})
		if err != nil || sent(got) != c.want {
			t.Errorf("%s: sends %v, %v; want %v", c.name, sent(got), err, c.want)
			continue
		}
		if len(got.Unpriced) != 1 || got.Unpriced[0] != "FAN" || got.Used[Mass] != 600 {
			t.Errorf("%s: unpriced %v, consumables %v", c.name, got.Unpriced, got.Used)
		}
	}
	caps[Mass] = 500
	var over *OverError
	if _, err := plan.Fit(t.Context(), caps, Wish{}, choice.Settings{}); !errors.As(err, &over) || over.Use != 600 {
		t.Errorf("consumables beyond the cap: %v", err)
	}
	caps[Mass] = 4000
	if _, err := plan.Fit(t.Context(), caps, Wish{Least: map[string]int64{"PMP": 2}}, choice.Settings{}); !errors.As(err, &over) || over.Use != 8600 || over.Most != 4000 {
		t.Errorf("wishes beyond the cap: %v", err)
	}
}

// TestLightest: the least mass for some odds has them, and the best odds for a gram
// less do not reach them.
func TestLightest(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		plan, err := Make(request, someParts(t))
		if err != nil {
			t.Fatal(err)
		}
		odds := rapid.Float64Range(0.5, 0.9999).Draw(t, "odds")
		got, err := plan.Lightest(context.Background(), NoCaps(), Wish{}, odds, Settings{})
		if err != nil || !got.Proven || got.Odds < odds*(1-1e-11) {
			t.Fatalf("%+v, %v", got, err)
		}
		if got.Use[Mass] == 0 {
			return
		}
		caps := NoCaps()
		caps[Mass] = got.Use[Mass] - 1
		less, err := plan.Fit(context.Background(), caps, Wish{}, Settings{})
		if err != nil || less.Odds >= odds {
			t.Fatalf("a gram less gives %+v, %v", less, err)
		}
	})
	plan, err := Make(request, []Part{{PartNumber: "PMP", Installed: 3, PriorMTBFHours: 9000, MassGrams: 4000}})
	if err != nil {
		t.Fatal(err)
	}
	caps := NoCaps()
	caps[Volume] = 10 // the volume of a pump is not known, so that none is sent
	var reach *ReachError
	if _, err := plan.Lightest(t.Context(), caps, Wish{}, 0.9, Settings{}); !errors.As(err, &reach) || reach.Most > 0.5 {
		t.Errorf("odds out of reach: %v", err)
	}
}
