package sparing

import (
	"fmt"
	"math"
	"math/rand/v2"
	"slices"
	"testing"

	"pgregory.net/rapid"
)

// TestUseCovers: what is said to suffice with some probability does, over many worlds:
// runs whose use scatters with a spread that nobody knows, a few of them on record.
func TestUseCovers(t *testing.T) {
	chance := rand.New(rand.NewPCG(3, 4))
	for _, c := range []struct {
		spread    float64
		past      int
		low, high float64 // share of worlds in which a stock for 0.95 suffices
	}{
		{0.1, 5, 0.97, 1}, // what is assumed is too wide, and says so
		{0.3, 0, 0.93, 1},
		{0.3, 5, 0.94, 0.995},
		{0.3, 30, 0.93, 0.97},
		{0.6, 5, 0.85, 0.97}, // five runs tell too little of twice the spread that is assumed: 0.87 measured
		{0.6, 30, 0.93, 0.97},
	} {
		t.Run(fmt.Sprintf("%g_%d", c.spread, c.past), func(t *testing.T) {
			const worlds, perRun, runs = 4000, 1000, 6
			shape := 1 / (c.spread * c.spread)
			held := 0
			for range worlds {
				ratio := 1.0
				if c.past > 0 {
					ratio = 0.5 + chance.Float64()
				}
				run := func() int64 { return int64(math.Round(perRun * ratio * drawGamma(chance, shape) / shape)) }
				var past []RunUse
				for range c.past {
					past = append(past, RunUse{perRun, run()})
				}
				d, err := NewUseDemand([]Use{{runs, perRun}}, past)
				if err != nil {
					t.Fatal(err)
				}
				stock, err := SmallestStock(d, 0.95)
				if err != nil {
					t.Fatal(err)
				}
				used := int64(0)
				for range runs {
					used += run()
				}
				if used <= stock {
					held++
				}
			}
			if share := float64(held) / worlds; share < c.low || share > c.high {
				t.Errorf("a stock for 0.95 sufficed in %.3f of %d worlds, want %g to %g", share, worlds, c.low, c.high)
			}
		})
	}
}

// drawGamma draws a gamma variate as a sum of exponentials and, for what is left of the
// shape, by rejection; slow and plain.
func drawGamma(chance *rand.Rand, shape float64) float64 {
	sum := 0.0
	for ; shape >= 1; shape-- {
		sum += chance.ExpFloat64()
	}
	if shape < 1e-9 {
		return sum
	}
	// Johnk (1964): of two powers of uniforms whose sum is at most 1.
	for {
		x, y := math.Pow(chance.Float64(), 1/shape), math.Pow(chance.Float64(), 1/(1-shape))
		if x+y <= 1 {
			return sum + chance.ExpFloat64()*x/(x+y)
		}
	}
}

// TestUseMean: the mean is what NeedConsumable plans for, and more runs on record
// alike narrow the spread.
func TestUseMean(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		uses := []Use{{rapid.Int64Range(1, 20).Draw(t, "runs"), rapid.Int64Range(1, 50).Draw(t, "per run")}, {1, 7}}
		var past []RunUse
		var all Experience
		for range rapid.IntRange(0, 8).Draw(t, "past") {
			r := RunUse{rapid.Int64Range(1, 50).Draw(t, "planned"), rapid.Int64Range(0, 80).Draw(t, "used")}
			past = append(past, r)
			all.Planned, all.Used = all.Planned+r.Planned, all.Used+r.Used
		}
		d, err := NewUseDemand(uses, past)
		if err != nil {
			t.Fatal(err)
		}
		need, err := NeedConsumable(ConsumableLine{Uses: uses, Experience: all})
		if err != nil {
			t.Fatal(err)
		}
		if want := float64(need.Planned) * need.UseRatio; math.Abs(d.Mean()-want) > 1e-9*want || d.Ratio != need.UseRatio || d.Known != need.UseRatioKnown {
			t.Fatalf("mean %v, ratio %v; NeedConsumable has %v, %v", d.Mean(), d.Ratio, want, need.UseRatio)
		}
		last := -1.0
		for k := int64(-1); k < 100; k++ {
			if p := d.CDF(k); p < last || math.Abs(p+d.Survival(k)-1) > 1e-9 {
				t.Fatalf("CDF(%d) = %v after %v, survival %v", k, p, last, d.Survival(k))
			}
			last = d.CDF(k)
		}
	})
	few, err := NewUseDemand([]Use{{4, 100}}, []RunUse{{100, 100}, {100, 102}})
	if err != nil {
		t.Fatal(err)
	}
	many, err := NewUseDemand([]Use{{4, 100}}, slices.Repeat([]RunUse{{100, 101}}, 40))
	if err != nil {
		t.Fatal(err)
	}
	if !(many.Spread < few.Spread && few.Spread < AssumedSpread && many.Survival(450) < few.Survival(450)) {
		t.Errorf("two runs alike: spread %v, forty: %v", few.Spread, many.Spread)
	}
	if _, err := NewUseDemand([]Use{{-1, 2}}, nil); err == nil {
		t.Error("-1 runs are taken")
	}
	if _, err := NewUseDemand(nil, []RunUse{{5, -1}}); err == nil {
		t.Error("a use of -1 is taken")
	}
}
