package sparing

import (
	"math"

	"gonum.org/v1/gonum/mathext"
)

// Interval is a range of values, both ends included.
type Interval struct {
	Low, High float64
}

// Rate is what is known of a failure rate: a gamma distribution with a shape,
// which reads as a count of failures, and an exposure in unit-hours, in which
// they would have been seen. Make one with [NewRate] or [RateFromMTBF]; the
// zero value is refused everywhere.
//
// A rate with exposure 0 is improper: it can be updated by [Rate.After] but has
// no mean, quantile or demand before that, and those return an error.
type Rate struct {
	shape         float64
	exposureHours float64
}

// NewRate returns the gamma distribution with a shape above 0 and an exposure
// of 0 unit-hours or more. NewRate(0.5, 0) is the Jeffreys prior.
func NewRate(shape, exposureHours float64) (Rate, error) {
	err := firstError(
		checkPositive("shape of the rate", shape),
		checkNotNegative("exposure of the rate (unit-hours)", exposureHours),
	)
	if err != nil {
		return Rate{}, err
	}
	return Rate{shape, exposureHours}, nil
}

// RateFromMTBF returns a prior with mean 1/mtbfHours that weighs as much as
// pseudoFailures failures really seen. With weight 1, the fair choice for a
// datasheet figure of unknown origin (common practice), the shape is 1 and the
// exposure mtbfHours.
func RateFromMTBF(mtbfHours, pseudoFailures float64) (Rate, error) {
	err := firstError(
		checkPositive("MTBF (h)", mtbfHours),
		checkPositive("weight of the MTBF (pseudo-failures)", pseudoFailures),
	)
	if err != nil {
		return Rate{}, err
	}
	return NewRate(pseudoFailures, pseudoFailures*mtbfHours)
}

// Shape returns the shape of the gamma distribution, a number of failures.
func (r Rate) Shape() float64 { return r.shape }

// ExposureHours returns the exposure of the gamma distribution in unit-hours.
func (r Rate) ExposureHours() float64 { return r.exposureHours }

// After returns what is known once failures were seen in unitHours hours of
// service, summed over all units. Failures in no time at all are refused.
func (r Rate) After(failures int64, unitHours float64) (Rate, error) {
	err := firstError(
		checkPositive("shape of the prior", r.shape),
		checkCount("failures seen", failures),
		checkNotNegative("unit-hours seen", unitHours),
	)
	if err != nil {
		return Rate{}, err
	}
	if failures > 0 && unitHours == 0 {
		return Rate{}, &InputError{"unit-hours seen", 0, "above zero when failures were seen"}
	}
	return NewRate(r.shape+float64(failures), r.exposureHours+unitHours)
}

// Stressed is the rate of units whose hours count as so many each, above 0.
func (r Rate) Stressed(factor float64) (Rate, error) {
	if err := firstError(r.check(), checkPositive("stress", factor)); err != nil {
		return Rate{}, err
	}
	return NewRate(r.shape, r.exposureHours/factor)
}

// MeanPerHour returns the mean rate in failures per unit-hour.
func (r Rate) MeanPerHour() (float64, error) {
	if err := r.check(); err != nil {
		return 0, err
	}
	return r.shape / r.exposureHours, nil
}

// CDF returns the probability that the rate is at most failuresPerHour.
func (r Rate) CDF(failuresPerHour float64) (float64, error) {
	err := firstError(r.check(), checkNotNegative("failure rate (1/h)", failuresPerHour))
	if err != nil {
		return 0, err
	}
	return mathext.GammaIncReg(r.shape, r.exposureHours*failuresPerHour), nil
}

// QuantilePerHour returns the rate, in failures per unit-hour, that the true
// one stays below with the given probability.
func (r Rate) QuantilePerHour(probability float64) (float64, error) {
	err := firstError(r.check(), checkProbability("probability of the quantile", probability))
	if err != nil {
		return 0, err
	}
	return gammaQuantile(r.shape, probability) / r.exposureHours, nil
}

// IntervalPerHour returns the central credible interval, in failures per
// unit-hour: it holds the true rate with the given probability, and as much is
// left out above as below.
func (r Rate) IntervalPerHour(probability float64) (Interval, error) {
	err := firstError(r.check(), checkProbability("probability of the interval", probability))
	if err != nil {
		return Interval{}, err
	}
	tail := (1 - probability) / 2
	return Interval{
		Low:  gammaQuantile(r.shape, tail) / r.exposureHours,
		High: gammaUpperQuantile(r.shape, tail) / r.exposureHours,
	}, nil
}

// check refuses the zero value and improper rates.
func (r Rate) check() error {
	return firstError(
		checkPositive("shape of the rate", r.shape),
		checkPositive("exposure of the rate (unit-hours)", r.exposureHours),
	)
}

// gammaQuantile returns x with P(shape, x) = p, for p above 0 and below 1. It
// is 0 where x underflows, as it does for shapes much below 1.
func gammaQuantile(shape, p float64) float64 {
	if p > 0.5 {
		return gammaUpperQuantile(shape, 1-p)
	}
	x := mathext.GammaIncRegInv(shape, p)
	if x > 0 && math.Abs(mathext.GammaIncReg(shape, x)/p-1) < 1e-10 {
		return x
	}
	// gonum v0.17.0 gives 0 for quantiles far below 1, such as shape 0.5,
	// p 1e-12. Halve the interval of ln x instead: it needs no derivative.
	low, high := math.Log(math.SmallestNonzeroFloat64), math.Log(shape+1)
	if mathext.GammaIncReg(shape, math.Exp(low)) > p {
		return 0
	}
	for range 100 {
		middle := low + (high-low)/2
		if mathext.GammaIncReg(shape, math.Exp(middle)) < p {
			low = middle
		} else {
			high = middle
		}
	}
	return math.Exp(high)
}

// gammaUpperQuantile returns x with P(shape, x) = 1 - tail. Asking for the tail
// keeps the digits that 1 - tail would lose.
func gammaUpperQuantile(shape, tail float64) float64 {
	if tail > 0.5 {
		return gammaQuantile(shape, 1-tail)
	}
	return mathext.GammaIncRegCompInv(shape, tail)
}
