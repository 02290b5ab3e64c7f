package fragment

import (
	"fmt"
	"math"
	"math/rand/v2"
	"slices"
	"testing"

	"github.com/klauspost/reedsolomon"
	"gonum.org/v1/gonum/stat/distuv"
)

// TestOddsAgainstBinomial loses fragments at random and joins the rest. How often
// that succeeds must agree with the binomial distribution: at most Parity of Total
// are lost. docs/decisions/fragments.md shows the odds that it prints.
func TestOddsAgainstBinomial(t *testing.T) {
	const trials = 200
	parcel := noise(12_000, 11)
	for _, share := range []float64{0, 0.1, 0.3, 0.5} {
		c, list := cutAll(t, parcel, 340, share)
		line := fmt.Sprintf("%d + %d (%.1f %% more):", c.Data, c.Parity, 100*float64(c.Parity)/float64(c.Data))
		for _, loss := range []float64{0.01, 0.05, 0.1, 0.2, 0.3} {
			random, joined := rand.New(rand.NewPCG(5, uint64(loss*100))), 0
			for range trials {
				bodies := make([][]byte, c.Total())
				for place, f := range list {
					if random.Float64() >= loss {
						bodies[place] = f.Body
					}
				}
				if _, err := c.Join(bodies); err == nil {
					joined++
				}
			}
			odds := distuv.Binomial{N: float64(c.Total()), P: loss}.CDF(float64(c.Parity))
			got, sigma := float64(joined)/trials, math.Sqrt(odds*(1-odds)/trials)
			if math.Abs(got-odds) > 4*sigma+1e-3 {
				t.Errorf("%d + %d at a loss of %g: %.4f joined; the binomial distribution says %.4f", c.Data, c.Parity, loss, got, odds)
			}
			line += fmt.Sprintf("  %.0f %% lost: %.4f (%.4f)", 100*loss, got, odds)
		}
		t.Log(line)
	}
}

// BenchmarkJoin rebuilds a parcel of which as much is lost as there is parity; "library"
// does so with the matrices of klauspost/reedsolomon, which go to 256 fragments.
func BenchmarkJoin(b *testing.B) {
	for _, row := range []struct {
		name             string
		length, maxBytes int
		share            float64
	}{
		{"day_340", 12_000, 340, 0.3}, {"60kB_340", 60_000, 340, 0.3}, {"200kB_340", 200_000, 340, 0.3}, {"1MB_340", 1 << 20, 340, 0.2},
		{"3MB_50kB", 3 << 20, 50_000, 0.3}, {"1MB_1kB", 1 << 20, 1000, 0.3}, {"5MB_2.5kB_half", MaxParcel, 2590, 1},
	} {
		c, list := cutAll(b, noise(row.length, 1), row.maxBytes, row.share)
		bodies := make([][]byte, c.Total())
		for _, f := range list[c.Parity:] {
			bodies[f.Place] = f.Body
		}
		run := func(name string, join func() error) {
			b.Run(name, func(b *testing.B) {
				b.SetBytes(int64(row.length))
				b.ReportAllocs()
				for b.Loop() {
					if err := join(); err != nil {
						b.Fatal(err)
					}
				}
				b.ReportMetric(float64(c.Data), "k")
				b.ReportMetric(float64(c.Parity), "m")
			})
		}
		run(row.name, func() error { _, err := c.Join(bodies); return err })
		if c.wide() {
			continue
		}
		run(row.name+"/library", func() error {
			shards := slices.Clone(bodies)
			if last := shards[c.Data-1]; last != nil {
				shards[c.Data-1] = c.padded(c.Data-1, last)
			}
			code, err := reedsolomon.New(c.Data, c.Parity, reedsolomon.WithMaxGoroutines(1), reedsolomon.WithInversionCache(false))
			if err == nil {
				err = code.ReconstructData(shards)
			}
			if err == nil {
				shards[c.Data-1] = shards[c.Data-1][:c.bodySize(c.Data-1)]
				_, err = c.put(shards[:c.Data])
			}
			return err
		})
	}
}
