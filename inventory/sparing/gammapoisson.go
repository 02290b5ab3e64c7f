package sparing

import (
	"fmt"
	"math"
)

// MaxExposureRatio is how many times longer than the exposure that the rate is
// known from the coming exposure may be. Beyond it the prior, not any
// knowledge, makes the answer.
const MaxExposureRatio = 1e5

// GammaPoisson is the demand for an item whose failure rate is uncertain: the
// negative binomial distribution. The zero value expects no demand. Get one
// from [Rate.Demand].
//
// Probabilities are summed term by term, not taken from an incomplete beta
// function: gonum's loses digits as the shape grows (measured, v0.17.0: 7e-10
// at shape 1e6, 6e-4 at 1e12) and a sharp prior has a large shape. The relative
// error of the sums is about 1e-15 times the larger of 1000 and the mean.
type GammaPoisson struct {
	shape float64 // a of the rate
	ratio float64 // coming exposure over the exposure b of the rate
}

// Demand returns the demand in comingUnitHours hours of service, summed over
// all units. The rate must be proper: see [Rate].
func (r Rate) Demand(comingUnitHours float64) (GammaPoisson, error) {
	err := firstError(r.check(), checkNotNegative("coming exposure (unit-hours)", comingUnitHours))
	if err != nil {
		return GammaPoisson{}, err
	}
	d := GammaPoisson{r.shape, comingUnitHours / r.exposureHours}
	if d.ratio > MaxExposureRatio {
		return GammaPoisson{}, &InputError{
			"coming exposure over the exposure that the rate is known from", d.ratio,
			fmt.Sprintf("at most %.0f; give a prior that weighs more", float64(MaxExposureRatio)),
		}
	}
	if err := checkMeanDemand(d.Mean()); err != nil {
		return GammaPoisson{}, err
	}
	return d, nil
}

// Mean implements [Demand].
func (d GammaPoisson) Mean() float64 { return d.shape * d.ratio }

// PointProbability implements [Demand].
func (d GammaPoisson) PointProbability(k int64) float64 {
	if k < 0 {
		return 0
	}
	_, point := d.sumTo(k)
	return point
}

// CDF implements [Demand].
func (d GammaPoisson) CDF(k int64) float64 {
	switch {
	case k < 0:
		return 0
	case float64(k) < d.Mean():
		sum, _ := d.sumTo(k)
		return min(sum, 1)
	}
	return 1 - d.sumAbove(k)
}

// Survival implements [Demand].
func (d GammaPoisson) Survival(k int64) float64 {
	switch {
	case k < 0:
		return 1
	case float64(k) < d.Mean():
		sum, _ := d.sumTo(k)
		return max(1-sum, 0)
	}
	return d.sumAbove(k)
}

// leastTerm is the smallest normal float, where sums end. Below it a term times
// a factor near 1 rounds to itself, and would never reach 0.
const leastTerm = 0x1p-1022

// step returns P(X = k+1) / P(X = k).
func (d GammaPoisson) step(k int64) float64 {
	q := d.ratio / (1 + d.ratio)
	return q * (d.shape + float64(k)) / (float64(k) + 1)
}

// sumTo returns P(X <= k) and P(X = k). Terms are relative to P(X = 0), which
// underflows for large means, so its logarithm is kept apart. Rescalings are
// counted, not subtracted one by one: that cost seven digits at a mean of 1e6.
func (d GammaPoisson) sumTo(k int64) (sum, point float64) {
	const big = 0x1p600 // a power of two divides without rounding
	term, total, rescalings := 1.0, 1.0, 0
	for i := int64(0); i < k; i++ {
		term *= d.step(i)
		total += term
		if total > big {
			term, total = term/big, total/big
			rescalings++
		}
		if term < leastTerm { // past the mode: what follows is smaller still
			term = 0
			break
		}
	}
	logScale := float64(rescalings)*math.Log(big) - d.shape*math.Log1p(d.ratio)
	return math.Exp(logScale + math.Log(total)), math.Exp(logScale + math.Log(term))
}

// sumAbove returns P(X > k) for k at or above the mean, hence above the mode:
// there the terms fall, ever closer to a factor ratio/(1+ratio) each, so that
// some 40 (1+ratio) terms above the bulk exhaust it.
func (d GammaPoisson) sumAbove(k int64) float64 {
	const negligible = 1e-18
	_, term := d.sumTo(k)
	term *= d.step(k)
	total := term
	for i := k + 1; term >= leastTerm; i++ {
		factor := d.step(i)
		term *= factor
		total += term
		// What is left is less than a geometric series of these factors.
		if limit := max(factor, d.step(i+1)); limit < 1 && term < negligible*total*(1-limit) {
			break
		}
	}
	return min(total, 1)
}
