package kitbook

import "math"

// Forecast is a probability that was given for something, and whether it came.
type Forecast struct {
	Probability float64
	Came        bool
}

func (f Forecast) outcome() float64 {
	if f.Came {
		return 1
	}
	return 0
}

// Calibration is how good a row of forecasts was.
type Calibration struct {
	Forecasts int
	// Brier is the mean squared distance of the probabilities from 1 where it came and
	// from 0 where it did not: 0 is the best, 0.25 what even odds for everything give.
	// Brier (1950) sums over both sides, which is twice as much.
	Brier float64
	// Expected is what Brier would be in the mean if the probabilities were right.
	Expected float64
	// Always is what it is for the one who always says how often it came: worth
	// something only with hindsight.
	Always float64
	// Z is by how many standard errors Brier is off Expected; beyond 2 either way the
	// probabilities are doubtful. 0 where every forecast was certain or even.
	Z            float64
	Failed       int     // forecasts that did not come
	FailExpected float64 // the sum of their complements
	Bins         []Bin
}

// Bin is the forecasts of one range of probabilities.
type Bin struct {
	From, To  float64 // the range, its end not in it but for 1
	Forecasts int
	Mean      float64 // of the probabilities
	Came      int
}

// edges of the bins. Odds of stocks crowd towards 1.
var edges = []float64{0, 0.5, 0.8, 0.9, 0.95, 0.99, 1}

// Calibrate judges forecasts.
//
// Sources: Brier (1950), Monthly Weather Review 78, 1, and the AMS Glossary of
// Meteorology for the score; Spiegelhalter (1986), Statistics in Medicine 5, 421,
// for Z.
func Calibrate(list []Forecast) Calibration {
	out := Calibration{Forecasts: len(list)}
	for i := range edges[1:] {
		out.Bins = append(out.Bins, Bin{From: edges[i], To: edges[i+1]})
	}
	came, sum, spread := 0.0, 0.0, 0.0
	for _, f := range list {
		p, o := f.Probability, f.outcome()
		out.Brier += (p - o) * (p - o)
		out.Expected += p * (1 - p)
		out.FailExpected += 1 - p
		sum += (o - p) * (1 - 2*p)
		spread += (1 - 2*p) * (1 - 2*p) * p * (1 - p)
		if came += o; !f.Came {
			out.Failed++
		}
		b := &out.Bins[binOf(p)]
		b.Forecasts++
		b.Mean += p
		if f.Came {
			b.Came++
		}
	}
	if n := float64(len(list)); n > 0 {
		out.Brier, out.Expected = out.Brier/n, out.Expected/n
		out.Always = came / n * (1 - came/n)
	}
	if spread > 0 {
		out.Z = sum / math.Sqrt(spread)
	}
	for i := range out.Bins {
		if b := &out.Bins[i]; b.Forecasts > 0 {
			b.Mean /= float64(b.Forecasts)
		}
	}
	return out
}

func binOf(p float64) int {
	for i := len(edges) - 2; i > 0; i-- {
		if p >= edges[i] {
			return i
		}
	}
	return 0
}
