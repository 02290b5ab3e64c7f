package kit

import (
	"context"
	"fmt"
	"math"
	"math/rand/v2"
	"testing"
	"time"

	"pulk/inventory/sparing"
)

// manyParts invents a catalogue: spares whose failures and masses lie some decades apart,
// and consumables of which five runs are on record, some counted by the piece and some by
// the thousand.
func manyParts(seed uint64, spares, consumables int) []Part {
	chance := rand.New(rand.NewPCG(seed, 77))
	between := func(low, high float64) int64 { return int64(low * math.Pow(high/low, chance.Float64())) }
	var parts []Part
	for i := range spares + consumables {
		p := Part{PartNumber: fmt.Sprintf("P%03d", i), MassGrams: between(20, 40_000), LengthMM: between(40, 500), WidthMM: between(40, 300), HeightMM: between(20, 300), PriceCents: between(100, 500_000)}
		if i < spares {
			p.Installed, p.PriorMTBFHours, p.Good = between(1, 20), between(4000, 400_000), between(1, 4)-1
			if chance.IntN(5) == 0 {
				p.Terms = Terms{Pack: 4}
			}
		} else {
			perRun := between(1, 400)
			p.MassGrams, p.PriceCents = 1+p.MassGrams/perRun/10, 1+p.PriceCents/perRun/10
			p.LengthMM, p.WidthMM, p.HeightMM = 20, 20, 20
			p.Uses = []sparing.Use{{Runs: between(2, 60), PerRun: perRun}}
			for range 5 {
				r := sparing.RunUse{Planned: perRun, Used: int64(float64(perRun)*(0.6+0.8*chance.Float64()) + 0.5)}
				p.PastRuns = append(p.PastRuns, r)
				p.Experience.Planned, p.Experience.Used = p.Experience.Planned+r.Planned, p.Experience.Used+r.Used
			}
		}
		parts = append(parts, p)
	}
	return parts
}

// BenchmarkFit300 chooses 250 spares and 50 consumables under three caps, which leave a
// share of what each item by itself would take for 0.95 beyond what must be sent.
func BenchmarkFit300(b *testing.B) {
	worst, proven, kits := 0.0, 0, 0
	for b.Loop() {
		worst, proven, kits = 0, 0, 0
		for seed, share := range []float64{0.5, 0.8, 1, 1.3, 1.6, 2} {
			plan, err := Make(request, manyParts(uint64(seed), 250, 50))
			if err != nil {
				b.Fatal(err)
			}
			var caps Caps
			for i := range plan.Lines {
				l, part := &plan.Lines[i], share
				if l.Basis == Consumable {
					part = 1 + share/2
				}
				for r, use := range l.use(l.Send) {
					caps[r] += part * use
				}
			}
			start := time.Now()
			ctx, cancel := context.WithTimeout(context.Background(), 5*time.Second)
			got, err := plan.Fit(ctx, caps, Wish{}, Settings{})
			cancel()
			if err != nil {
				b.Fatal(err)
			}
			gap := got.Bound/got.Odds - 1
			b.Logf("share %.1f: %.0f of %.0f kg, odds %.6g, at most %.6g: gap %.2g %%, %d nodes, proven %v, %.2f s", share, got.Use[Mass]/1000, caps[Mass]/1000, got.Odds, got.Bound, 100*gap, got.Nodes, got.Proven, time.Since(start).Seconds())
			worst = max(worst, gap)
			if kits++; got.Proven {
				proven++
			}
		}
	}
	b.ReportMetric(b.Elapsed().Seconds()/float64(b.N)/float64(kits), "s/kit")
	b.ReportMetric(100*worst, "%gap-worst")
	b.ReportMetric(float64(proven), "proven")
	b.ReportMetric(0, "ns/op")
}
