package choice

import (
	"context"
	"math"
	"testing"

	"pgregory.net/rapid"
)

// TestBestOddsAgainstEveryChoice: the odds said are those of the plan, no plan
// beats the ceiling, and the plan is at least as good as that of any one case.
func TestBestOddsAgainstEveryChoice(t *testing.T) {
	missed, tried := 0, 0
	rapid.Check(t, func(t *rapid.T) {
		p := Problem{Caps: []float64{float64(rapid.IntRange(5, 60).Draw(t, "cap"))}}
		cases := []Case{{Probability: 0.6}, {Probability: 0.3}, {Probability: 0.1}}
		for range rapid.IntRange(1, 5).Draw(t, "items") {
			mean := rapid.Float64Range(0.05, 3).Draw(t, "mean")
			use := float64(rapid.IntRange(1, 20).Draw(t, "use"))
			late := []float64{1, rapid.Float64Range(1, 2).Draw(t, "late"), rapid.Float64Range(1, 4).Draw(t, "later")}
			var item Item
			for s := range 5 {
				item.Options = append(item.Options, Option{0, []float64{use * float64(s)}})
			}
			p.Items = append(p.Items, item)
			for c := range cases {
				var values []float64
				sum, term := 0.0, math.Exp(-mean*late[c])
				for s := range 5 {
					sum += term
					values = append(values, math.Log(sum))
					term *= mean * late[c] / float64(s+1)
				}
				cases[c].Values = append(cases[c].Values, values)
			}
		}
		r, err := BestOdds(context.Background(), p, cases, Settings{})
		if err != nil {
			t.Fatal(err)
		}
		best := 0.0
		everyChoice(p, func(chosen []int, _ float64, _ []float64) {
			odds, _ := p.odds(cases, chosen)
			best = max(best, odds)
		})
		tried++
		if r.Odds < best*(1-1e-9) {
			missed++
		}
		if odds, _ := p.odds(cases, r.Chosen); odds != r.Odds || r.Odds > best*(1+1e-12) || r.Ceiling < best*(1-1e-12) || r.Odds < 0.98*best {
			t.Errorf("odds %v (the plan's own %v), ceiling %v; the best of all is %v", r.Odds, odds, r.Ceiling, best)
		}
		for c := range cases {
			alone, err := Best(context.Background(), p.mixed(cases, c, nil), Settings{})
			if err != nil {
				t.Fatal(err)
			}
			if odds, _ := p.odds(cases, alone.Chosen); odds > r.Odds*(1+1e-12) {
				t.Errorf("the plan for case %d alone has odds %v, above %v", c, odds, r.Odds)
			}
		}
	})
	t.Logf("%d of %d plans were not the best of all", missed, tried)
}

func TestBestOddsRefuses(t *testing.T) {
	p := Problem{Caps: []float64{1}, Items: []Item{{Options: []Option{{0, []float64{0}}}}}}
	for _, cases := range [][]Case{
		nil,
		{{0.5, [][]float64{{0}}}},
		{{1, nil}},
		{{1, [][]float64{{0, 0}}}},
		{{math.NaN(), [][]float64{{0}}}},
	} {
		if _, err := BestOdds(context.Background(), p, cases, Settings{}); err == nil {
			t.Errorf("%+v is taken", cases)
		}
	}
}
