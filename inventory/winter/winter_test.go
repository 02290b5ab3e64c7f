package winter

import (
	"context"
	"errors"
	"flag"
	"math"
	"reflect"
	"testing"

	"gonum.org/v1/gonum/mathext"

	"pulk/inventory/sparing"
)

var trials = flag.Int("trials", 40000, "winters to play against each formula")

const hours = 5000

func must[T any](v T, err error) T {
	if err != nil {
		panic(err)
	}
	return v
}

func poisson(mean float64) sparing.Poisson { return must(sparing.NewPoisson(mean)) }

func groupOdds(units, needed, stock int64, demand sparing.Demand) float64 {
	odds, _, err := sparing.Group{Units: units, Needed: needed, Failures: demand}.Odds(stock)
	return must(odds, err)[stock]
}

func repairedOdds(rate, share, turnaround float64, stock int64) float64 {
	odds, _, err := sparing.Repaired{FailuresPerHour: rate, Hours: hours, Repairable: share, TurnaroundHours: turnaround}.Odds(stock)
	return must(odds, err)[stock]
}

func repairedGroupOdds(r sparing.Repaired, stock int64) float64 {
	odds, _, err := r.Odds(stock)
	return must(odds, err)[stock]
}

func oddsOver(r sparing.Repaired, rate sparing.Rate, stock int64) float64 {
	odds, _, err := r.OddsOver(rate, r.Units, stock, 0)
	return must(odds, err)[stock]
}

// wearOdds are those of a stock for Weibull lives of a mean, known from so many failures.
func wearOdds(shape, mean float64, failures int, ages []float64, stock int64) float64 {
	w := sparing.Weibull{Shape: shape, ScaleHours: mean / math.Gamma(1+1/shape), Failures: failures}
	demand, err := w.Demand(ages, hours)
	return must(demand, err).CDF(stock)
}

// TestFormulasAgainstPlay: what sparing works out is what happens, within four
// standard errors of the play. Seeds are fixed; other seeds by -count with
// another -trials.
func TestFormulasAgainstPlay(t *testing.T) {
	sure := []Delivery{{hours, 1}}
	rate := must(sparing.NewRate(2.5, 20000)) // failures, unit-hours
	tests := []struct {
		name   string
		winter Winter
		want   float64
	}{
		{"spares", Winter{Items: []Item{{Units: 12, Needed: 12, Stock: 2, Rate: 2e-5}}, Deliveries: sure}, poisson(12 * 2e-5 * hours).CDF(2)},
		{"three_items", Winter{Items: []Item{
			{Units: 12, Needed: 12, Stock: 2, Rate: 2e-5},
			{Units: 3, Needed: 3, Stock: 1, Rate: 4e-5},
			{Units: 1, Needed: 1, Stock: 4, Rate: 5e-4},
		}, Deliveries: sure}, poisson(1.2).CDF(2) * poisson(0.6).CDF(1) * poisson(2.5).CDF(4)},
		{"uncertain_rate", Winter{Items: []Item{{Units: 4, Needed: 4, Stock: 3, Rate: 2.5 / 20000, RateShape: 2.5}}, Deliveries: sure}, must(rate.Demand(4 * hours)).CDF(3)},
		{"group", Winter{Items: []Item{{Units: 6, Needed: 4, Stock: 1, Rate: 1e-4}}, Deliveries: sure}, groupOdds(6, 4, 1, poisson(3))},
		{"group_of_uncertain_rate", Winter{Items: []Item{{Units: 6, Needed: 4, Stock: 1, Rate: 2.5 / 20000, RateShape: 2.5}}, Deliveries: sure}, groupOdds(6, 4, 1, must(rate.Demand(6*hours)))},
		{"repair", Winter{Items: []Item{{Units: 5, Needed: 5, Stock: 2, Rate: 2e-4, Repairable: 0.7, TurnaroundHours: 300}}, Deliveries: sure}, repairedOdds(1e-3, 0.7, 300, 2)},
		{"repair_of_all", Winter{Items: []Item{{Units: 5, Needed: 5, Stock: 3, Rate: 4e-4, Repairable: 1, TurnaroundHours: 500}}, Deliveries: sure}, repairedOdds(2e-3, 1, 500, 3)},
		{"repair_of_a_group", Winter{Items: []Item{{Units: 5, Needed: 3, Stock: 1, Rate: 4e-4, Repairable: 0.6, TurnaroundHours: 600}}, Deliveries: sure},
			repairedGroupOdds(sparing.Repaired{FailuresPerHour: 2e-3, Hours: hours, Repairable: 0.6, TurnaroundHours: 600, Units: 5, Needed: 3}, 1)},
		{"repair_of_a_group_of_uncertain_rate", Winter{Items: []Item{{Units: 5, Needed: 4, Stock: 2, Rate: 2.5 / 20000, RateShape: 2.5, Repairable: 0.6, TurnaroundHours: 600}}, Deliveries: sure},
			oddsOver(sparing.Repaired{Hours: hours, Repairable: 0.6, TurnaroundHours: 600, Units: 5, Needed: 4}, rate, 2)},
		{"wear_out_of_known_scale", Winter{Items: []Item{{Units: 3, Needed: 3, Stock: 2, Rate: 1 / 5000.0, WearShape: 2.5, Ages: []float64{0, 2000, 4500}}}, Deliveries: sure}, wearOdds(2.5, 5000, 1_000_000, []float64{0, 2000, 4500}, 2)},
		{"wear_out", Winter{Items: []Item{{Units: 3, Needed: 3, Stock: 2, Rate: 1 / 5000.0, WearShape: 2.5, WearKnown: 5, Ages: []float64{0, 2000, 4500}}}, Deliveries: sure}, wearOdds(2.5, 5000, 5, []float64{0, 2000, 4500}, 2)},
		{"runs_that_use_up", Winter{Consumables: []Consumable{{Stock: 14, Runs: []Runs{{3, 1.5, 2}, {1, 0.5, 2}}}}, Deliveries: sure}, mathext.GammaIncReg(5, 7)},
		{"runs_and_spares", Winter{Items: []Item{{Units: 12, Needed: 12, Stock: 2, Rate: 2e-5}}, Consumables: []Consumable{{Stock: 90, Runs: []Runs{{200, 0.4, 1}}}, {Stock: 0}}, Deliveries: sure},
			poisson(1.2).CDF(2) * mathext.GammaIncReg(80, 90)},
		{"late_delivery", Winter{Items: []Item{
			{Units: 12, Needed: 12, Stock: 3, Rate: 2e-5},
			{Units: 3, Needed: 3, Stock: 2, Rate: 4e-5},
		}, Deliveries: []Delivery{{hours, 0.6}, {1.5 * hours, 0.3}, {3 * hours, 0.1}}},
			0.6*poisson(1.2).CDF(3)*poisson(0.6).CDF(2) + 0.3*poisson(1.8).CDF(3)*poisson(0.9).CDF(2) + 0.1*poisson(3.6).CDF(3)*poisson(1.8).CDF(2)},
	}
	for i, test := range tests {
		t.Run(test.name, func(t *testing.T) {
			got, err := Play(context.Background(), test.winter, uint64(100+i), *trials)
			if err != nil {
				t.Fatal(err)
			}
			deviation := math.Sqrt(test.want * (1 - test.want) / float64(got.Trials))
			z := (got.Odds - test.want) / deviation
			if !(math.Abs(z) <= 4) {
				t.Errorf("played %.5f ± %.5f, worked out %.5f: z = %.1f", got.Odds, got.StandardError, test.want, z)
			}
			t.Logf("played %.5f ± %.5f, worked out %.5f: z = %.2f", got.Odds, got.StandardError, test.want, z)
		})
	}
}

// TestPlayTellsWrongFormulas: the play is sharp enough to refuse answers that are
// nearly right.
func TestPlayTellsWrongFormulas(t *testing.T) {
	late := Winter{Items: []Item{
		{Units: 12, Needed: 12, Stock: 3, Rate: 2e-5},
		{Units: 3, Needed: 3, Stock: 2, Rate: 4e-5},
	}, Deliveries: []Delivery{{hours, 0.6}, {1.5 * hours, 0.3}, {3 * hours, 0.1}}}
	average := func(mean float64, stock int64) float64 {
		return 0.6*poisson(mean).CDF(stock) + 0.3*poisson(1.5*mean).CDF(stock) + 0.1*poisson(3*mean).CDF(stock)
	}
	repair := Winter{Items: []Item{{Units: 5, Needed: 5, Stock: 2, Rate: 2e-4, Repairable: 0.7, TurnaroundHours: 300}}, Deliveries: []Delivery{{hours, 1}}}
	for name, test := range map[string]struct {
		winter Winter
		wrong  float64
	}{
		"product_of_averages_over_dates": {late, average(1.2, 3) * average(0.6, 2)},
		"repair_judged_at_the_end":       {repair, poisson(0.3*1e-3*hours + 0.7*1e-3*300).CDF(2)},
		"repair_left_out":                {repair, poisson(5).CDF(2)},
	} {
		got, err := Play(context.Background(), test.winter, 7, *trials)
		if err != nil {
			t.Fatal(err)
		}
		if math.Abs(got.Odds-test.wrong) < 4*got.StandardError {
			t.Errorf("%s: played %.5f ± %.5f cannot tell %.5f from it", name, got.Odds, got.StandardError, test.wrong)
		}
	}
}

// TestWear: of units of Weibull lifetimes without spares, each reaches the end
// with probability exp(-((a+t)/η)^β + (a/η)^β).
func TestWear(t *testing.T) {
	item := Item{Units: 1, Needed: 1, Rate: 1.0 / 8000, WearShape: 2.5, AgeHours: 3000}
	scale := 8000 / math.Gamma(1+1/2.5)
	want := math.Exp(math.Pow(3000/scale, 2.5) - math.Pow(8000/scale, 2.5))
	got, err := Play(context.Background(), Winter{Items: []Item{item}, Deliveries: []Delivery{{hours, 1}}}, 3, *trials)
	if err != nil || math.Abs(got.Odds-want) > 4*math.Sqrt(want*(1-want)/float64(*trials)) {
		t.Errorf("played %v ± %v, want %v, error %v", got.Odds, got.StandardError, want, err)
	}
}

// TestRanOut: what ran out is counted, and an item that fails with it did not fail alone.
func TestRanOut(t *testing.T) {
	w := Winter{Items: []Item{{Units: 1, Needed: 1, Rate: 1}}, Consumables: []Consumable{{Stock: 1e9, Runs: []Runs{{1, 1, 1}}}, {Runs: []Runs{{1, 1, 1}}}}, Deliveries: []Delivery{{hours, 1}}}
	got, err := Play(context.Background(), w, 1, 100)
	if err != nil || got.Won != 0 || !reflect.DeepEqual(got.RanOut, []int{0, 100}) || got.Items[0].Failed != 100 || got.Items[0].FailedAlone != 0 {
		t.Errorf("%+v, %v", got, err)
	}
}

func TestPlayIsSteadyAndStops(t *testing.T) {
	w := Winter{Items: []Item{{Units: 6, Needed: 4, Stock: 1, Rate: 1e-4}}, Deliveries: []Delivery{{hours, 1}}}
	one, err := Play(context.Background(), w, 1, 500)
	if err != nil {
		t.Fatal(err)
	}
	two, _ := Play(context.Background(), w, 1, 500)
	other, _ := Play(context.Background(), w, 2, 500)
	if !reflect.DeepEqual(one, two) || reflect.DeepEqual(one, other) {
		t.Errorf("seed 1 twice: %+v, %+v; seed 2: %+v", one, two, other)
	}
	ctx, cancel := context.WithCancel(context.Background())
	cancel()
	if _, err := Play(ctx, w, 1, 500); !errors.Is(err, context.Canceled) {
		t.Errorf("with the context over from the start: error %v", err)
	}
	for name, bad := range map[string]Winter{
		"no_delivery":  {Items: w.Items},
		"needed":       {Items: []Item{{Units: 1, Needed: 2}}, Deliveries: w.Deliveries},
		"rate":         {Items: []Item{{Rate: math.NaN()}}, Deliveries: w.Deliveries},
		"no_end":       {Items: []Item{{Units: 1, Rate: 1e9, Stock: 1 << 30}}, Deliveries: w.Deliveries},
		"probability":  {Items: w.Items, Deliveries: []Delivery{{hours, 0.5}}},
		"ages":         {Items: []Item{{Units: 2, Ages: []float64{1}}}, Deliveries: w.Deliveries},
		"no_wear":      {Items: []Item{{Units: 2, WearKnown: 3}}, Deliveries: w.Deliveries},
		"runs":         {Consumables: []Consumable{{Stock: 1, Runs: []Runs{{1, 0, 1}}}}, Deliveries: w.Deliveries},
		"too_many":     {Consumables: []Consumable{{Stock: 1, Runs: []Runs{{MaxEvents, 1, 1}, {1, 1, 1}}}}, Deliveries: w.Deliveries},
		"stock":        {Consumables: []Consumable{{Stock: math.NaN()}}, Deliveries: w.Deliveries},
		"not_a_number": {Items: w.Items, Deliveries: []Delivery{{hours, math.NaN()}}},
	} {
		if _, err := Play(context.Background(), bad, 1, 2); !errors.Is(err, errInput) {
			t.Errorf("%s: error %v", name, err)
		}
	}
}

func BenchmarkPlay(b *testing.B) {
	w := Winter{Items: []Item{{Units: 12, Needed: 12, Stock: 3, Rate: 2e-5}, {Units: 6, Needed: 4, Stock: 1, Rate: 1e-4}}, Deliveries: []Delivery{{hours, 1}}}
	for b.Loop() {
		if _, err := Play(context.Background(), w, 1, 1000); err != nil {
			b.Fatal(err)
		}
	}
}
