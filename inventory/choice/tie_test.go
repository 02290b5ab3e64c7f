package choice

import (
	"math"
	"testing"

	"pgregory.net/rapid"
)

// TestLighter: of choices that are equal but for the slack, by trying all of them, the
// one is returned that uses least of the second resource.
func TestLighter(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		p := Problem{Caps: []float64{rapid.Float64Range(5, 40).Draw(t, "cap"), math.Inf(1)}}
		for range rapid.IntRange(1, 4).Draw(t, "items") {
			var item Item
			for range rapid.IntRange(1, 4).Draw(t, "options") {
				item.Options = append(item.Options, Option{float64(rapid.IntRange(-3, 3).Draw(t, "value")),
					[]float64{float64(rapid.IntRange(0, 10).Draw(t, "use")), float64(rapid.IntRange(0, 10).Draw(t, "grams"))}})
			}
			p.Items = append(p.Items, item)
		}
		found, err := Best(t.Context(), p, Settings{})
		if err != nil {
			return // nothing keeps to the cap
		}
		slack := float64(rapid.IntRange(0, 2).Draw(t, "slack"))
		got := Lighter(t.Context(), p, found, 1, slack, Settings{})
		least := math.Inf(1)
		var try func(i int, value, use, grams float64)
		try = func(i int, value, use, grams float64) {
			if i == len(p.Items) {
				if use <= p.Caps[0] && value >= found.Value-slack-1e-9 {
					least = min(least, grams)
				}
				return
			}
			for _, o := range p.Items[i].Options {
				try(i+1, value+o.Value, use+o.Use[0], grams+o.Use[1])
			}
		}
		try(0, 0, 0, 0)
		if got.Use[1] != least || got.Value < found.Value-slack-1e-9 || got.Use[0] > p.Caps[0] || got.Bound != found.Bound || got.Proven != found.Proven {
			t.Fatalf("found %+v; lighter %+v; the least is %g", found, got, least)
		}
	})
}
