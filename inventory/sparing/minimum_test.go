package sparing

import (
	"math"
	"math/rand/v2"
	"slices"
	"strings"
	"testing"

	"gonum.org/v1/gonum/stat/distuv"
	"pgregory.net/rapid"
)

// Single pieces need what the published table of Poisson spares says: one piece a day
// for as many days as the mean demand.
func TestMinimumPublished(t *testing.T) {
	checked := 0
	for _, row := range readPublished(t) {
		if row.quantity != "min_spares_poisson" {
			continue
		}
		mean, target, _ := strings.Cut(row.inputs, ";")
		in := inputs{"mean": strings.TrimPrefix(mean, "mean_demand="), "target": strings.TrimPrefix(target, "target_probability="), "want": row.expected}
		p, want := in.number(t, "target"), in.count(t, "want")
		got, err := Minimum(MinimumLine{Takes: []int64{1}, DaysSeen: 1, DaysToDelivery: in.number(t, "mean"), GoodStock: want, Target: p, RateKnown: true})
		if err != nil || got.Minimum != want || got.Sufficiency < p-1e-9 {
			t.Errorf("%s: Minimum(%s) = %d, sufficient with %v, %v; want %d; source: %s", row.id, row.inputs, got.Minimum, got.Sufficiency, err, want, row.source)
		}
		checked++
	}
	if checked != 154 {
		t.Errorf("%d rows of the table were checked; it has 154", checked)
	}
}

// Takes that are all alike are counted in takes.
func TestMinimumOfEqualBatches(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		n, q := rapid.IntRange(1, 40).Draw(t, "takes"), rapid.Int64Range(1, 500).Draw(t, "batch")
		line := MinimumLine{Takes: slices.Repeat([]int64{1}, n), DaysSeen: 90, DaysToDelivery: rapid.Float64Range(0, 400).Draw(t, "days"), Target: 0.95}
		single, err := Minimum(line)
		if err != nil {
			t.Fatal(err)
		}
		line.Takes = slices.Repeat([]int64{q}, n)
		if batch, err := Minimum(line); err != nil || batch.Minimum != q*single.Minimum {
			t.Fatalf("takes of %d need %d, %v; want %d times %d", q, batch.Minimum, err, q, single.Minimum)
		}
	})
}

// Where takes differ, the minimum suffices about as often as was asked for, by playing
// the time until the delivery with takes drawn from those seen.
func TestMinimumOfMixedBatches(t *testing.T) {
	const times = 40_000
	source := rand.New(rand.NewPCG(1, 2))
	for _, c := range []struct {
		name  string
		takes []int64
		days  float64
	}{
		{"ones_and_tens", []int64{1, 1, 1, 10, 1, 1, 1, 1, 10, 1}, 270},
		{"twos_to_fives", []int64{2, 3, 5, 2, 4, 3}, 180},
		{"one_big", []int64{1, 1, 1, 1, 1, 1, 1, 1, 1, 40}, 400},
	} {
		t.Run(c.name, func(t *testing.T) {
			answer, err := Minimum(MinimumLine{Takes: c.takes, DaysSeen: 90, DaysToDelivery: c.days, Target: 0.95, RateKnown: true})
			if err != nil {
				t.Fatal(err)
			}
			number := distuv.Poisson{Lambda: float64(len(c.takes)) / 90 * c.days, Src: source}
			enough := 0
			for range times {
				taken := int64(0)
				for range int(number.Rand()) {
					taken += c.takes[source.IntN(len(c.takes))]
				}
				if taken <= answer.Minimum {
					enough++
				}
			}
			share := float64(enough) / times
			t.Logf("a minimum of %d suffices %.4f of the time", answer.Minimum, share)
			if math.Abs(share-0.95) > 0.03 {
				t.Errorf("a minimum of %d suffices %.4f of the time; want about 0.95", answer.Minimum, share)
			}
		})
	}
}

// Of a rate that nobody knows a few takes tell little: the minimum suffices about as often
// as was asked for, over worlds that have rates and histories of their own, and the one
// that takes the rate seen for the true one does not.
func TestMinimumCovers(t *testing.T) {
	const worlds, seen, ahead = 6000, 90, 180
	source := rand.New(rand.NewPCG(5, 6))
	for _, mean := range []float64{2, 6, 30} { // takes in the days seen
		held, heldKnown := 0, 0
		for range worlds {
			rate := mean / seen * (0.5 + source.Float64())
			takes := slices.Repeat([]int64{1}, int(distuv.Poisson{Lambda: rate * seen, Src: source}.Rand()))
			later := int64(distuv.Poisson{Lambda: rate * ahead, Src: source}.Rand())
			line := MinimumLine{Takes: takes, DaysSeen: seen, DaysToDelivery: ahead, Target: 0.95}
			answer, err := Minimum(line)
			if err != nil {
				t.Fatal(err)
			}
			line.RateKnown = true
			known, err := Minimum(line)
			if err != nil || known.Minimum > answer.Minimum {
				t.Fatalf("of %d takes %d with a known rate, and %d (%v)", len(takes), known.Minimum, answer.Minimum, err)
			}
			if later <= answer.Minimum {
				held++
			}
			if later <= known.Minimum {
				heldKnown++
			}
		}
		share, shareKnown := float64(held)/worlds, float64(heldKnown)/worlds
		t.Logf("%g takes: suffices in %.3f of the worlds; with the rate taken as known in %.3f", mean, share, shareKnown)
		// Where nothing was taken at all the minimum is 0, which two takes in the mean often are.
		low := map[float64]float64{2: 0.8, 6: 0.93, 30: 0.94}[mean]
		if share < low || share > 0.99 || shareKnown > 0.91 {
			t.Errorf("%g takes: suffices in %.3f of the worlds; with the rate taken as known in %.3f", mean, share, shareKnown)
		}
	}
}

// Of single pieces that nothing but the record speaks for, the minimum is the stock that a
// kit plan finds sufficient for one unit in service with so many failures in so long, on
// the same date and with the same confidence.
func TestMinimumAgreesWithNeed(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		takes := rapid.IntRange(1, 200).Draw(t, "takes")
		seen := rapid.Float64Range(1, 1000).Draw(t, "days seen")
		line := MinimumLine{Takes: slices.Repeat([]int64{1}, takes), DaysSeen: seen, DaysToDelivery: rapid.Float64Range(0.1, 2).Draw(t, "share to come") * seen,
			GoodStock: int64(rapid.IntRange(0, 300).Draw(t, "stock")), Target: rapid.SampledFrom([]float64{0.5, 0.8, 0.9, 0.95, 0.99, 0.999}).Draw(t, "target")}
		low, err := Minimum(line)
		if err != nil {
			t.Fatal(err)
		}
		nothing, err := NewRate(0.5, 0) // as inventory/kit has it where there is no datasheet
		if err != nil {
			t.Fatal(err)
		}
		plan, err := Need(Line{Installed: 1, HoursToDelivery: line.DaysToDelivery * 24, Prior: nothing, Failures: int64(takes), UnitHoursSeen: seen * 24,
			GoodStock: line.GoodStock, Target: line.Target, IntervalProbability: 0.9})
		if err != nil {
			t.Fatal(err)
		}
		if low.Minimum != plan.SufficientStock || math.Abs(low.Sufficiency-plan.SufficiencyNow) > 1e-9 {
			t.Fatalf("a minimum of %d, suffices with %v now; planned %d, with %v", low.Minimum, low.Sufficiency, plan.SufficientStock, plan.SufficiencyNow)
		}
	})
}

func TestMinimumRefuses(t *testing.T) {
	good := MinimumLine{Takes: []int64{1}, DaysSeen: 10, DaysToDelivery: 10, Target: 0.9}
	for name, spoil := range map[string]func(*MinimumLine){
		"no_time":       func(l *MinimumLine) { l.DaysSeen = 0 },
		"past_delivery": func(l *MinimumLine) { l.DaysToDelivery = -1 },
		"below_zero":    func(l *MinimumLine) { l.GoodStock = -1 },
		"taken_back":    func(l *MinimumLine) { l.Takes = []int64{-3} },
		"certain":       func(l *MinimumLine) { l.Target = 1 },
		"not_a_number":  func(l *MinimumLine) { l.DaysToDelivery = math.NaN() },
	} {
		line := good
		spoil(&line)
		if got, err := Minimum(line); err == nil {
			t.Errorf("%s: %+v; want an error", name, got)
		}
	}
	none, err := Minimum(MinimumLine{DaysSeen: 10, DaysToDelivery: 100, Target: 0.99})
	if err != nil || none.Minimum != 0 || none.Sufficiency != 1 {
		t.Errorf("nothing was taken: %+v, %v; want a minimum of 0", none, err)
	}
}
