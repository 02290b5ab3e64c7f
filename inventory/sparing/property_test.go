package sparing

import (
	"errors"
	"math"
	"testing"

	"gonum.org/v1/gonum/mathext"
	"pgregory.net/rapid"
)

// drawLog draws a number evenly in its logarithm.
func drawLog(t *rapid.T, label string, low, high float64) float64 {
	return math.Exp(rapid.Float64Range(math.Log(low), math.Log(high)).Draw(t, label))
}

func drawRate(t *rapid.T) Rate {
	r, err := NewRate(drawLog(t, "shape", 0.05, 1e4), drawLog(t, "exposureHours", 1, 1e7))
	if err != nil {
		t.Fatal(err)
	}
	return r
}

// drawDemand draws either kind with a mean up to some 1000 pieces.
func drawDemand(t *rapid.T) Demand {
	if rapid.Bool().Draw(t, "rateIsKnown") {
		d, err := NewPoisson(drawLog(t, "mean", 1e-6, 1000))
		if err != nil {
			t.Fatal(err)
		}
		return d
	}
	r := drawRate(t)
	d, err := r.Demand(r.exposureHours * drawLog(t, "mean", 1e-6, 1000) / r.shape)
	if err != nil {
		t.Fatal(err)
	}
	return d
}

func drawTarget(t *rapid.T) float64 {
	if rapid.Bool().Draw(t, "targetNearOne") {
		return 1 - drawLog(t, "shortfall", 1e-14, 0.1)
	}
	return rapid.Float64Range(1e-6, 0.999).Draw(t, "target")
}

func smallestStock(t *rapid.T, d Demand, target float64) int64 {
	k, err := SmallestStock(d, target)
	if err != nil {
		t.Fatal(err)
	}
	return k
}

func TestSmallestStockIsMinimal(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		d, target := drawDemand(t), drawTarget(t)
		k := smallestStock(t, d, target)
		if !reachedWithin(d, k, target, 1) {
			t.Errorf("%+v: %d do not reach %v: shortfall %v", d, k, target, d.Survival(k))
		}
		if k > 0 && reachedWithin(d, k-1, target, -1) {
			t.Errorf("%+v: %d are not the fewest for %v: with one less the shortfall is %v", d, k, target, d.Survival(k-1))
		}
	})
}

// reachedWithin tells by both tails whether k pieces reach the target, with the
// slack for rounding given (sign 1) or asked for on top (sign -1).
func reachedWithin(d Demand, k int64, target, sign float64) bool {
	relative, absolute := 2*sign*tieRelative, 2*sign*tieAbsolute
	return d.Survival(k) <= (1-target)*(1+relative)+absolute &&
		d.CDF(k) >= target*(1-relative)-absolute
}

func TestSmallestStockOfCDFIsSameStock(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		d := drawDemand(t)
		k := rapid.Int64Range(0, 2*int64(d.Mean())+2).Draw(t, "k")
		target := d.CDF(k)
		if target < 1e-300 || target > 1-1e-6 || d.PointProbability(k) < 1e-9*target {
			t.Skip("neighbours cannot be told apart by their probability")
		}
		if got := smallestStock(t, d, target); got != k {
			t.Errorf("SmallestStock(%+v, CDF(%d) = %v) = %d", d, k, target, got)
		}
	})
}

func TestSmallestStockGrowsWithTarget(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		d, a, b := drawDemand(t), drawTarget(t), drawTarget(t)
		low, high := min(a, b), max(a, b)
		if k, l := smallestStock(t, d, low), smallestStock(t, d, high); k > l {
			t.Errorf("%+v: %d for %v but %d for %v", d, k, low, l, high)
		}
	})
}

func TestDistributionsAddUp(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		d := drawDemand(t)
		k := rapid.Int64Range(0, 3*int64(d.Mean())+20).Draw(t, "k")
		if got := d.CDF(k) + d.Survival(k); math.Abs(got-1) > 1e-11 {
			t.Errorf("%+v: CDF(%d) + Survival(%d) = %v, want 1", d, k, k, got)
		}
		got, want := d.CDF(k)-d.CDF(k-1), d.PointProbability(k)
		if math.Abs(got-want) > 1e-11 {
			t.Errorf("%+v: CDF(%d) - CDF(%d) = %v, want PointProbability %v", d, k, k-1, got, want)
		}
	})
}

// The incomplete beta function gives the same tails by another way, accurate
// while the shape is moderate: P(X <= k) = I_p(a, k+1), p = 1/(1+ratio).
func TestGammaPoissonAgreesWithIncompleteBeta(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		shape := drawLog(t, "shape", 0.1, 100)
		ratio := drawLog(t, "mean", 1e-4, 100) / shape
		d := GammaPoisson{shape, ratio}
		k := rapid.Int64Range(0, 300).Draw(t, "k")
		q := ratio / (1 + ratio)
		want := mathext.RegIncBeta(float64(k)+1, shape, q)
		if got := d.Survival(k); math.Abs(got-want) > 1e-10*want+1e-300 {
			t.Errorf("%+v: Survival(%d) = %v, want %v", d, k, got, want)
		}
	})
}

func TestGammaPoissonNearsPoissonAsPriorSharpens(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		mean := drawLog(t, "mean", 0.01, 200)
		weight := drawLog(t, "pseudoFailures", 10, 1e12)
		prior, err := RateFromMTBF(1000, weight)
		if err != nil {
			t.Fatal(err)
		}
		uncertain, err := prior.Demand(1000 * mean)
		if err != nil {
			t.Fatal(err)
		}
		known, err := NewPoisson(mean)
		if err != nil {
			t.Fatal(err)
		}
		k := rapid.Int64Range(0, 2*int64(mean)+10).Draw(t, "k")
		// Total variation distance of a mixed Poisson from the Poisson with the
		// same mean is at most Var(Λ) (1 - e^-m) / m, here m/weight for the
		// ratio: Barbour, Holst & Janson (1992), theorem 1.C (from memory).
		bound := mean/weight + 1e-11
		if got, want := uncertain.CDF(k), known.CDF(k); math.Abs(got-want) > bound {
			t.Errorf("mean %v, weight %v: CDF(%d) = %v, Poisson %v, more than %v apart", mean, weight, k, got, want, bound)
		}
	})
}

func TestPosteriorNearsDataAsExposureGrows(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		prior := drawRate(t)
		failures := rapid.Int64Range(1, 50).Draw(t, "failures")
		hours := drawLog(t, "unitHours", 100, 1e6)
		seen := float64(failures) / hours
		distanceBefore := math.Inf(1)
		for scale := int64(1); scale <= 1e9; scale *= 1000 {
			posterior, err := prior.After(failures*scale, hours*float64(scale))
			if err != nil {
				t.Fatal(err)
			}
			mean, err := posterior.MeanPerHour()
			if err != nil {
				t.Fatal(err)
			}
			distance := math.Abs(mean/seen - 1)
			if distance > distanceBefore+1e-12 {
				t.Errorf("at %d times the data the mean is %v of the rate seen, further than before", scale, mean/seen)
			}
			// |(a+f)/(b+T) ÷ f/T - 1| = |aT - fb| / f(b+T), at most a/f + b/T.
			atMost := prior.shape/float64(failures*scale) + prior.exposureHours/(hours*float64(scale))
			if distance > atMost+1e-12 {
				t.Errorf("at %d times the data the mean is off the rate seen by %v, want at most %v", scale, distance, atMost)
			}
			distanceBefore = distance
		}
	})
}

func TestAfterInTwoStepsIsAfterInOne(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		prior := drawRate(t)
		f, g := rapid.Int64Range(0, 50).Draw(t, "f"), rapid.Int64Range(0, 50).Draw(t, "g")
		first, err := prior.After(f, 1000)
		if err != nil {
			t.Fatal(err)
		}
		second, err := first.After(g, 500)
		if err != nil {
			t.Fatal(err)
		}
		once, err := prior.After(f+g, 1500)
		if err != nil {
			t.Fatal(err)
		}
		if math.Abs(second.shape/once.shape-1) > 1e-14 || math.Abs(second.exposureHours/once.exposureHours-1) > 1e-14 {
			t.Errorf("in two steps %+v, in one %+v", second, once)
		}
	})
}

func TestIntervalHoldsItsProbability(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		r := drawRate(t)
		probability := rapid.Float64Range(0.01, 0.999999).Draw(t, "probability")
		interval, err := r.IntervalPerHour(probability)
		if err != nil {
			t.Fatal(err)
		}
		tail := (1 - probability) / 2
		below := mathext.GammaIncReg(r.shape, r.exposureHours*interval.Low)
		above := mathext.GammaIncRegComp(r.shape, r.exposureHours*interval.High)
		if math.Abs(below/tail-1) > 1e-9 || math.Abs(above/tail-1) > 1e-9 {
			t.Errorf("%+v: %v leaves out %v below and %v above, want %v each", r, interval, below, above, tail)
		}
	})
}

// Garwood's bounds are those rates at which the record, or one more extreme, has
// exactly the probability left over by the confidence.
func TestRateBoundsLeaveOutTheirShare(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		r := Record{
			UnitHours: drawLog(t, "unitHours", 1, 1e8),
			Failures:  rapid.Int64Range(1, 500).Draw(t, "failures"),
			Censoring: Censoring(rapid.IntRange(0, 1).Draw(t, "censoring")),
		}
		confidence := rapid.Float64Range(0.01, 0.9999).Draw(t, "confidence")
		upper, err := r.RateUpperPerHour(confidence)
		if err != nil {
			t.Fatal(err)
		}
		lower, ok, err := r.RateLowerPerHour(confidence)
		if err != nil || !ok {
			t.Fatal(ok, err)
		}
		atMost := r.Failures // failures that the upper bound makes improbable
		if r.Censoring == FailureTerminated {
			atMost-- // the last one is sure to come: it ended the observation
		}
		if got := (Poisson{upper * r.UnitHours}).CDF(atMost); math.Abs(got-(1-confidence)) > 1e-9 {
			t.Errorf("%+v: at the upper bound P(X <= %d) = %v, want %v", r, atMost, got, 1-confidence)
		}
		if got := (Poisson{lower * r.UnitHours}).Survival(r.Failures - 1); math.Abs(got-(1-confidence)) > 1e-9 {
			t.Errorf("%+v: at the lower bound P(X >= %d) = %v, want %v", r, r.Failures, got, 1-confidence)
		}
	})
}

// badNumber draws what no quantity here may be.
func badNumber(t *rapid.T) float64 {
	return rapid.SampledFrom([]float64{math.NaN(), math.Inf(1), math.Inf(-1), -1, -math.SmallestNonzeroFloat64}).Draw(t, "bad")
}

func TestBadInputIsNeverSilent(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		bad := badNumber(t)
		badProbability := rapid.SampledFrom([]float64{bad, 0, 1, 95}).Draw(t, "badProbability")
		good, demand := Rate{1, 1000}, Poisson{1}
		record := Record{UnitHours: 1000, Failures: 1}
		calls := map[string]func() error{
			"NewPoisson":                   func() error { _, err := NewPoisson(bad); return err },
			"NewFleetPoisson rate":         func() error { _, err := NewFleetPoisson(1, bad, 1); return err },
			"NewFleetPoisson hours":        func() error { _, err := NewFleetPoisson(1, 1, bad); return err },
			"NewFleetPoisson units":        func() error { _, err := NewFleetPoisson(-1, 1, 1); return err },
			"SmallestStock":                func() error { _, err := SmallestStock(demand, badProbability); return err },
			"NewRate shape":                func() error { _, err := NewRate(bad, 1); return err },
			"NewRate exposure":             func() error { _, err := NewRate(1, bad); return err },
			"RateFromMTBF":                 func() error { _, err := RateFromMTBF(bad, 1); return err },
			"RateFromMTBF weight":          func() error { _, err := RateFromMTBF(1, bad); return err },
			"After hours":                  func() error { _, err := good.After(1, bad); return err },
			"After failures":               func() error { _, err := good.After(-1, 1); return err },
			"After no hours":               func() error { _, err := good.After(1, 0); return err },
			"After zero value":             func() error { _, err := Rate{}.After(1, 1); return err },
			"CDF":                          func() error { _, err := good.CDF(bad); return err },
			"QuantilePerHour":              func() error { _, err := good.QuantilePerHour(badProbability); return err },
			"IntervalPerHour":              func() error { _, err := good.IntervalPerHour(badProbability); return err },
			"MeanPerHour improper":         func() error { _, err := Rate{0.5, 0}.MeanPerHour(); return err },
			"QuantilePerHour improper":     func() error { _, err := Rate{0.5, 0}.QuantilePerHour(0.5); return err },
			"Demand improper":              func() error { _, err := Rate{0.5, 0}.Demand(1); return err },
			"Demand":                       func() error { _, err := good.Demand(bad); return err },
			"Demand ratio":                 func() error { _, err := Rate{0.1, 1}.Demand(2e5); return err },
			"Demand mean":                  func() error { _, err := Rate{1000, 1}.Demand(2e3); return err },
			"RateUpperPerHour hours":       func() error { _, err := Record{UnitHours: bad}.RateUpperPerHour(0.9); return err },
			"RateUpperPerHour no hours":    func() error { _, err := Record{}.RateUpperPerHour(0.9); return err },
			"RateUpperPerHour failures":    func() error { _, err := Record{1, -1, 0}.RateUpperPerHour(0.9); return err },
			"RateUpperPerHour censoring":   func() error { _, err := Record{1, 1, 7}.RateUpperPerHour(0.9); return err },
			"RateUpperPerHour no failure":  func() error { _, err := Record{1, 0, FailureTerminated}.RateUpperPerHour(0.9); return err },
			"MTBFLowerHours confidence":    func() error { _, err := record.MTBFLowerHours(badProbability); return err },
			"MTBFUpperHours confidence":    func() error { _, _, err := record.MTBFUpperHours(badProbability); return err },
			"MTBFIntervalHours confidence": func() error { _, _, err := record.MTBFIntervalHours(badProbability); return err },
			"TestLengthFactor":             func() error { _, err := TestLengthFactor(-1, 0.9); return err },
		}
		for name, call := range calls {
			var input *InputError
			if err := call(); !errors.As(err, &input) {
				t.Errorf("%s with %v or %v: error %v, want an *InputError", name, bad, badProbability, err)
			}
		}
	})
}
