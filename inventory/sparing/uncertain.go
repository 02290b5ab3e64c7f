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
const leastWeight = 1e-10

// maxWork bounds what following the chains of one item may take, in additions: some
// tenths of a second.
const maxWork = 1e8

// OddsOver is [Repaired.Odds] where the failure rate of each of so many units is only
// known as rate says; FailuresPerHour is not looked at. The rate is the same for all
// units, and stays. The rows end early, with the first stock whose shortfall is below
// enough, or where the chains of the next are too long to follow: who needs more can
// take the shortfall without repair, which is never less.
func (r Repaired) OddsOver(rate Rate, units, most int64, enough float64) (odds, shortfall []float64, err error) {
	r.FailuresPerHour = 0
	if err := firstError(rate.check(), r.check(0), checkPositive("turn-around (h)", r.TurnaroundHours)); err != nil {
		return nil, nil, err
	}
	if units < 1 || units > maxGroup || r.Units != 0 && r.Units != units {
		return nil, nil, &InputError{"units", float64(units), "from 1 to 1000, and those of the group"}
	}
	work := 0.0
	for s := int64(0); s <= min(most, maxRepaired-r.mayDie()); s++ {
		short, sure, err := 0.0, 0.0, error(nil)
		var follow []ratePoint
		for _, p := range rate.points(s) {
			one := r
			one.FailuresPerHour = p.perHour * float64(units)
			switch low, high, err := one.between(s); {
			case err != nil:
				return nil, nil, err
			case p.weight*high < leastWeight:
			case p.weight*(1-low) < leastWeight:
				sure += p.weight
			default:
				follow = append(follow, p)
				work += one.work(s)
			}
		}
		if work > maxWork && s > 0 {
			break
		}
		for _, p := range follow {
			r.FailuresPerHour = p.perHour * float64(units)
			var one float64
			if one, err = r.short(int(s)); err != nil {
				return nil, nil, err
			}
			short += p.weight * one
		}
		short = min(1, short+sure)
		odds, shortfall = append(odds, 1-short), append(shortfall, short)
		if short < enough {
			break
		}
	}
	return odds, shortfall, nil
}

// between bounds the shortfall of a stock: without any repair it is greater, and with
// repair in no time it is less, as only what is scrapped counts.
func (r Repaired) between(stock int64) (low, high float64, err error) {
	all, err := NewPoisson(r.FailuresPerHour * r.Hours)
	if err != nil {
		return 0, 0, err
	}
	scrapped, err := NewPoisson(r.FailuresPerHour * r.Hours * (1 - r.Repairable))
	if err != nil {
		return 0, 0, err
	}
	if low = scrapped.Survival(stock); r.mayDie() > 0 {
		low = 0 // places die, and failures come more slowly
	}
	return low, all.Survival(stock), nil
}

// work is about how many additions short takes.
func (r Repaired) work(stock int64) float64 {
	away := float64(stock + r.mayDie())
	return (r.FailuresPerHour*r.Hours + away*r.Hours/r.TurnaroundHours + 10) * (away + 1) * (away + 2) * 2
}
