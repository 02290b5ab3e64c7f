package kitbook

import (
	"math"
	"math/rand/v2"
	"testing"

	"pgregory.net/rapid"
)

func TestBrierPublished(t *testing.T) {
	one := func(p float64, came bool) []Forecast { return []Forecast{{p, came}} }
	// Ten forecasts of rain. Source: Brier (1950), Monthly Weather Review 78, 1, Table 1,
	// from memory; its score over both sides, rain and no rain, is 0.19.
	var brier []Forecast
	for i, p := range []float64{0.7, 0.9, 0.8, 0.4, 0.2, 0, 0, 0, 0, 0.1} {
		brier = append(brier, Forecast{p, i >= 1 && i <= 3})
	}
	for _, c := range []struct {
		name   string
		list   []Forecast
		want   float64
		source string
	}{
		{"certain_and_right", one(1, true), 0, "en-academic.com/dic.nsf/enwiki/1203570, Brier score, first example"},
		{"certain_and_wrong", one(1, false), 1, "the same, second"},
		{"seventy_percent", one(0.7, true), 0.09, "the same, third"},
		{"thirty_percent", one(0.3, true), 0.49, "the same, fourth"},
		{"even", one(0.5, false), 0.25, "the same, fifth"},
		{"ten_days_of_rain", brier, 0.19 / 2, "Brier (1950), Table 1, from memory; half, as one side is counted"},
	} {
		if got := Calibrate(c.list).Brier; math.Abs(got-c.want) > 1e-12 {
			t.Errorf("%s: Brier score %v, want %v (%s)", c.name, got, c.want, c.source)
		}
	}
}

// TestCalibrationPlayed: forecasts that are right give a score as expected, and a Z
// that wanders like a standard normal; forecasts that are too sure are found out.
func TestCalibrationPlayed(t *testing.T) {
	chance := rand.New(rand.NewPCG(5, 7))
	play := func(truth func(p float64) float64) Calibration {
		var list []Forecast
		for range 400 {
			p := 1 - 0.6*chance.Float64()*chance.Float64()
			list = append(list, Forecast{p, chance.Float64() < truth(p)})
		}
		return Calibrate(list)
	}
	squares := 0.0
	const rows = 400
	for range rows {
		c := play(func(p float64) float64 { return p })
		squares += c.Z * c.Z
	}
	if mean := squares / rows; math.Abs(mean-1) > 4*math.Sqrt(2.0/rows) {
		t.Errorf("mean square of Z is %v over %d rows of right forecasts, want 1", mean, rows)
	}
	if c := play(func(p float64) float64 { return p - 0.15 }); c.Z > -3 && c.Z < 3 || c.Brier < c.Expected || float64(c.Failed) < c.FailExpected {
		t.Errorf("forecasts that are 0.15 too sure: %+v", c)
	}
}

func TestBins(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		var list []Forecast
		for range rapid.IntRange(0, 30).Draw(t, "n") {
			list = append(list, Forecast{rapid.Float64Range(0, 1).Draw(t, "p"), rapid.Bool().Draw(t, "came")})
		}
		c := Calibrate(list)
		n, failed := 0, 0
		for _, b := range c.Bins {
			n, failed = n+b.Forecasts, failed+b.Forecasts-b.Came
			if b.Forecasts > 0 && (b.Mean < b.From-1e-12 || b.Mean > b.To+1e-12) {
				t.Fatalf("mean %v of the bin from %v to %v", b.Mean, b.From, b.To)
			}
		}
		if n != len(list) || failed != c.Failed || c.Brier < 0 || c.Brier > 1 {
			t.Fatalf("%d forecasts, %d that did not come: %+v", len(list), failed, c)
		}
	})
}
