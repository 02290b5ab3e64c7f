package kit

import (
	"context"
	"errors"
	"math"
	"slices"
	"testing"

	"pgregory.net/rapid"

	"pulk/inventory/sparing"
)

// seen are runs on record that took about what was planned.
func seen(perRun int64, used ...int64) (list []sparing.RunUse) {
	for _, n := range used {
		list = append(list, sparing.RunUse{Planned: perRun, Used: n})
	}
	return list
}

// sums are the same runs, as one experience.
func sums(list []sparing.RunUse) (out sparing.Experience) {
	for _, r := range list {
		out.Planned, out.Used = out.Planned+r.Planned, out.Used+r.Used
	}
	return out
}

// tape is a consumable of which four runs are known.
func tape(runs, perRun int64) Part {
	past := seen(10, 9, 12, 10, 13)
	return Part{PartNumber: "TAPE", Uses: []sparing.Use{{Runs: runs, PerRun: perRun}}, PastRuns: past, Experience: sums(past), MassGrams: 90, LengthMM: 50, WidthMM: 50, HeightMM: 40, PriceCents: 300}
}

func line(t testing.TB, p *Plan, part string, basis Basis) *Line {
	t.Helper()
	for i := range p.Lines {
		if l := &p.Lines[i]; l.PartNumber == part && l.Basis == basis {
			return l
		}
	}
	t.Fatalf("no line %s, %s", part, basis)
	return nil
}

// TestFitSharesWithConsumables: no other choice of a few pieces of each spare and
// consumable that keeps to the caps, and sends consumables as planned at least, has
// better odds, by plain multiplication over all of them.
func TestFitSharesWithConsumables(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		parts := someParts(t)
		parts = append(parts[:min(2, len(parts))], tape(rapid.Int64Range(1, 4).Draw(t, "runs"), rapid.Int64Range(1, 2).Draw(t, "per run")))
		plan, err := Make(request, parts)
		if err != nil {
			t.Fatal(err)
		}
		caps := Caps{rapid.Float64Range(2000, 30_000).Draw(t, "grams"), rapid.Float64Range(2, 60).Draw(t, "litres"), rapid.Float64Range(5000, 300_000).Draw(t, "cents")}
		got, err := plan.Fit(context.Background(), caps, Wish{}, Settings{})
		if err != nil || !got.Proven {
			t.Fatalf("%+v, %v", got, err)
		}
		best := 0.0
		var try func(i int, use Caps, odds float64)
		try = func(i int, use Caps, odds float64) {
			if i == len(plan.Lines) {
				best = max(best, odds)
				return
			}
			l, from := &plan.Lines[i], int64(0)
			if l.Basis == Consumable {
				from = l.Send
			}
			for n := from; n < from+10; n++ {
				next := use
				for r, more := range l.use(n) {
					if next[r] += more; next[r] > caps[r] {
						return
					}
				}
				suffices, _ := l.Suffices(l.Good + n)
				try(i+1, next, odds*suffices)
			}
		}
		try(0, Caps{}, 1)
		if best > got.Odds*(1+1.01*EqualOdds) {
			t.Fatalf("odds %v; another choice has %v", got.Odds, best)
		}
		product, used := 1.0, 0.0
		for i := range got.Plan.Lines {
			l := &got.Plan.Lines[i]
			product *= l.OddsSent
			if l.Basis == Consumable {
				used += float64(l.Send * l.MassGrams)
			}
		}
		if math.Abs(product-got.Odds) > 1e-9 || got.Used[Mass] != used || got.Floor[Mass] > got.Use[Mass] {
			t.Fatalf("odds %v, consumables %v g of %v, at least %v; the lines say %v and %v g", got.Odds, got.Used[Mass], got.Use[Mass], got.Floor[Mass], product, used)
		}
	})
}

// TestWintersUseUp: played run by run, consumables beside spares agree with the formulas
// within the error of the play, also where runs of several sizes take from one stock,
// and the delivery may be late.
func TestWintersUseUp(t *testing.T) {
	glue := tape(30, 20)
	glue.PartNumber, glue.Good = "GLUE", 100
	glue.Uses = append(glue.Uses, sparing.Use{Runs: 4, PerRun: 150}, sparing.Use{Runs: 0, PerRun: 5})
	parts := []Part{
		{PartNumber: "PMP", Installed: 3, PriorMTBFHours: 9000, Failures: 2, UnitHoursSeen: 15_000, Good: 1, MassGrams: 4000},
		tape(6, 10), glue,
	}
	for _, r := range []Request{request, late()} {
		plan, err := Make(r, parts)
		if err != nil {
			t.Fatal(err)
		}
		for _, grams := range []float64{130_000, 145_000, 170_000, 250_000} {
			caps := NoCaps()
			caps[Mass] = grams
			got, err := plan.Fit(t.Context(), caps, Wish{}, Settings{})
			if err != nil {
				t.Fatal(err)
			}
			agreesWithPlay(t, got, uint64(grams))
			if got.Odds < 0.02 || got.Odds > 0.9999 {
				t.Errorf("%g g: odds %v leave nothing to compare", grams, got.Odds)
			}
		}
	}
}

// TestWishesOfConsumables: what is asked of a consumable, and which ones are in the odds.
func TestWishesOfConsumables(t *testing.T) {
	unknown := Part{PartNumber: "RAG", Uses: []sparing.Use{{Runs: 3, PerRun: 4}}, MassGrams: 10}
	parts := []Part{{PartNumber: "PMP", Installed: 3, PriorMTBFHours: 9000, MassGrams: 4000}, tape(6, 10), unknown}
	plan, err := Make(request, parts)
	if err != nil {
		t.Fatal(err)
	}
	if l := line(t, plan, "TAPE", Consumable); l.Send != 66 || !l.Counts() {
		t.Fatalf("planned %+v; 6 runs of 10, × 44/40", l)
	}
	caps := NoCaps()
	caps[Mass] = 20_000
	for _, c := range []struct {
		name        string
		wish        Wish
		low, high   int64 // of what is sent of the consumable
		minor       int
		unscattered int
	}{
		{"more than planned where it pays", Wish{}, 67, 200, 0, 1},
		{"not more than asked", Wish{Most: map[string]int64{"TAPE": 70}}, 67, 70, 0, 1},
		{"less than planned, as asked", Wish{Most: map[string]int64{"TAPE": 5}}, 0, 5, 0, 1},
		{"planned away", Wish{Most: map[string]int64{"TAPE": 0}}, 0, 0, 0, 1},
		{"at least", Wish{Least: map[string]int64{"TAPE": 120}}, 120, 200, 0, 1},
		{"at least less than planned", Wish{Least: map[string]int64{"TAPE": 10}}, 67, 200, 0, 1},
		{"may run out: as planned", Wish{Minor: map[string]bool{"TAPE": true}}, 66, 66, 1, 1},
		{"of unknown scatter: at least", Wish{Least: map[string]int64{"RAG": 40}}, 67, 200, 0, 1},
	} {
		got, err := plan.Fit(t.Context(), caps, c.wish, Settings{})
		if err != nil {
			t.Errorf("%s: %v", c.name, err)
			continue
		}
		l, rag := line(t, got.Plan, "TAPE", Consumable), line(t, got.Plan, "RAG", Consumable)
		if l.Send < c.low || l.Send > c.high || got.Minor != c.minor || got.Unscattered != c.unscattered {
			t.Errorf("%s: sends %d, %d and %d left out", c.name, l.Send, got.Minor, got.Unscattered)
		}
		if want := max(12, c.wish.Least["RAG"]); rag.Send != want || rag.OddsKnown {
			t.Errorf("%s: sends %d of what nobody knows how it scatters; want %d", c.name, rag.Send, want)
		}
		if got.Use[Mass] > caps[Mass] {
			t.Errorf("%s: %g g", c.name, got.Use[Mass])
		}
	}
	caps[Mass] = 6000
	var over *OverError
	if _, err := plan.Fit(t.Context(), caps, Wish{}, Settings{}); !errors.As(err, &over) || over.Use != 66*90+120 || len(over.Largest) != 2 || over.Largest[0] != (Share{"TAPE", 66 * 90}) {
		t.Errorf("consumables as planned weigh 6060 g: %v", err)
	}
	withReserve := request
	withReserve.UseTarget = 0.9
	if plan, err = Make(withReserve, parts); err != nil {
		t.Fatal(err)
	}
	got, err := plan.Fit(t.Context(), NoCaps(), Wish{}, Settings{})
	if err != nil || got.Unscattered != 0 || line(t, got.Plan, "RAG", Consumable).OddsSent < 0.9 {
		t.Errorf("with a reserve the assumed spread counts: %+v, %v", got, err)
	}
}

// TestRisks: what is likeliest to run out stands first, and what is left out of the odds is
// not named.
func TestRisks(t *testing.T) {
	plan, err := Make(request, []Part{tape(6, 10), {PartNumber: "PMP", Installed: 3, PriorMTBFHours: 9000, MassGrams: 4000},
		{PartNumber: "RAG", Uses: []sparing.Use{{Runs: 3, PerRun: 4}}, MassGrams: 10}})
	if err != nil {
		t.Fatal(err)
	}
	risks := plan.Risks()
	if len(risks) != 2 || risks[0].PartNumber != "TAPE" || risks[1].PartNumber != "PMP" || math.Abs(risks[1].Risk()-(1-risks[1].OddsSent)) > 1e-12 {
		t.Errorf("%d at risk: %+v", len(risks), risks)
	}
}

// TestSpareAndConsumable: of a part that fails and is used up too, a piece that is there
// is counted for one of both.
func TestSpareAndConsumable(t *testing.T) {
	both := tape(6, 10)
	both.Installed, both.PriorMTBFHours, both.Good = 2, 40_000, 50
	plan, err := Make(request, []Part{both})
	if err != nil {
		t.Fatal(err)
	}
	spare, used := line(t, plan, "TAPE", Spare), line(t, plan, "TAPE", Consumable)
	if spare.Good+used.Good != 50 || spare.Good != spare.Sufficient || used.Send != 66-used.Good {
		t.Errorf("%d and %d of 50 there, %d to send", spare.Good, used.Good, used.Send)
	}
}

// TestStepsOfConsumables: what is counted by the thousand is chosen in steps, and what is
// given up by that is little.
func TestStepsOfConsumables(t *testing.T) {
	cable := tape(40, 500)
	cable.PartNumber = "CABLE"
	plan, err := Make(request, []Part{cable})
	if err != nil {
		t.Fatal(err)
	}
	l := line(t, plan, "CABLE", Consumable)
	step := l.step(l.Send, Terms{})
	if step < 50 || step > 500 {
		t.Errorf("steps of %d beyond %d", step, l.Send)
	}
	caps := NoCaps()
	caps[Mass] = float64(l.Send*l.MassGrams) * 1.3
	got, err := plan.Fit(t.Context(), caps, Wish{}, Settings{})
	if err != nil {
		t.Fatal(err)
	}
	exact, _ := l.Suffices(int64(caps[Mass]) / l.MassGrams)
	if got.Odds > exact || exact-got.Odds > 0.01 {
		t.Errorf("odds %v; %v with what the cap allows to the metre", got.Odds, exact)
	}
	if l.step(l.Send, Terms{Pack: 7})%7 != 0 {
		t.Error("steps are not in whole packs")
	}
	if !slices.IsSorted(append([]float64{l.OddsNow}, l.OddsSent, got.Odds)) {
		t.Errorf("odds %v now, %v as planned, %v chosen", l.OddsNow, l.OddsSent, got.Odds)
	}
}
