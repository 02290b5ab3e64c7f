package sparing

import "math"

// ExpectedShort returns the expected number of pieces asked for beyond stock:
// the sum over x > stock of (x - stock) P(X = x), which is also the sum of
// P(X > k) over k >= stock. For what is in repair at one moment this is the
// expected number of backorders. A negative stock counts as demand.
func ExpectedShort(demand Demand, stock int64) float64 {
	if stock < 0 {
		return demand.Mean() - float64(stock)
	}
	sum := 0.0
	for k := stock; ; k++ {
		survival := demand.Survival(k)
		sum += survival
		// Beyond the mean the tail falls at least as fast as a geometric series
		// whose ratio is that of the last two terms.
		if survival <= 1e-17*sum || survival == 0 || float64(k-stock) > 1e7 {
			return sum
		}
	}
}

// EqualShare returns the probability that every one of installed units must
// reach for all of them together to reach target: target^(1/installed). It is
// the rule of thumb that shares a target out evenly, whatever the units weigh.
func EqualShare(target float64, installed int64) (float64, error) {
	if err := checkProbability("target probability", target); err != nil {
		return 0, err
	}
	if installed < 1 {
		return 0, &InputError{"units installed", float64(installed), "at least 1"}
	}
	return math.Pow(target, 1/float64(installed)), nil
}
