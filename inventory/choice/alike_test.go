package choice

import (
	"context"
	"math"
	"testing"
)

// TestManyAlike: kits of lines alike, where most choices are the same but for the
// names, are proven quickly, and as merging them one by one says.
func TestManyAlike(t *testing.T) {
	const copies = 12
	for seed := range uint64(12) {
		base := kitProblem(t, 100+seed, 1+int(seed)%3, 0.7)
		p := Problem{Caps: []float64{0}}
		for _, item := range base.Items {
			for range copies {
				alike := Item{}
				for _, o := range item.Options {
					alike.Options = append(alike.Options, Option{o.Value, o.Use[:1]})
				}
				p.Items = append(p.Items, alike)
			}
		}
		p.Caps[0] = math.Floor(base.Caps[0]*copies*(0.3+0.06*float64(seed))) - 7
		front, err := Frontier(p, 0, 1e6)
		if err != nil {
			t.Fatal(err)
		}
		r, err := Best(context.Background(), p, Settings{MaxNodes: 20000})
		if want := front[len(front)-1].Value; err != nil || !r.Proven || math.Abs(r.Value-want) > 1e-10*math.Abs(want) {
			t.Errorf("seed %d: value %v, bound %v, proven %v after %d nodes, error %v; merging gives %v", seed, r.Value, r.Bound, r.Proven, r.Nodes, err, want)
		}
	}
}
