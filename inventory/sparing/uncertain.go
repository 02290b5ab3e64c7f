package sparing

import "math"

// ratePoint is a failure rate, per unit-hour, and how probable it is.
type ratePoint struct{ perHour, weight float64 }

// points cuts the distribution of a rate into points, for the sum over it of what
// changes with the rate as the odds of a stock do. The density over the logarithm of
// the rate falls off fast on both sides, so that the plain rule of equal steps gains
// digits exponentially as the step shrinks (Trefethen and Weideman 2014, SIAM Review
// 56, 385); how sharp it is goes with the failures seen and the stock together.
func (r Rate) points(stock int64) []ratePoint {
	step := min(0.4, 0.8/math.Sqrt(r.shape+float64(stock)+1))
	logNorm, _ := math.Lgamma(r.shape)
	var list []ratePoint
	for t := math.Log(r.shape + 8*math.Sqrt(r.shape) + 30); ; t -= step {
		weight := step * math.Exp(r.shape*t-math.Exp(t)-logNorm)
		if weight > leastWeight {
			list = append(list, ratePoint{math.Exp(t) / r.exposureHours, weight})
		} else if t < math.Log(r.shape) {
			return list
		}
	}
}

// leastWeight is what may be left out of a sum over rates, in each of its terms.
const leastWeight = 1e-12

// OddsOver is [Repaired.Odds] where the failure rate of each of so many units is only
// known as rate says; FailuresPerHour is not looked at. The rate is the same for all
// units, and stays. The rows end early, with the first stock whose shortfall is below
// enough.
func (r Repaired) OddsOver(rate Rate, units, most int64, enough float64) (odds, shortfall []float64, err error) {
	r.FailuresPerHour = 0
	if err := firstError(rate.check(), r.check(0), checkPositive("turn-around (h)", r.TurnaroundHours)); err != nil {
		return nil, nil, err
	}
	if units < 1 || units > maxGroup || r.Units != 0 && r.Units != units {
		return nil, nil, &InputError{"units", float64(units), "from 1 to 1000, and those of the group"}
	}
	for s := int64(0); s <= min(most, maxRepaired-r.mayDie()); s++ {
		short := 0.0
		for _, p := range rate.points(s) {
			r.FailuresPerHour = p.perHour * float64(units)
			// No repair brings more failures than would use up the stock without it.
			failures, err := NewPoisson(r.FailuresPerHour * r.Hours)
			if err != nil {
				return nil, nil, err
			}
			if p.weight*failures.Survival(s) < leastWeight {
				continue
			}
			one, err := r.short(int(s))
			if err != nil {
				return nil, nil, err
			}
			short += p.weight * one
		}
		odds, shortfall = append(odds, 1-min(1, short)), append(shortfall, min(1, short))
		if short < enough {
			break
		}
	}
	return odds, shortfall, nil
}
