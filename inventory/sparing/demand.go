package sparing

import (
	"fmt"
	"math"
)

// Demand is the distribution of the number of pieces of one item that will be
// asked for: [Poisson], [GammaPoisson], [Counts] or [UseDemand].
type Demand interface {
	// Mean returns the expected demand in pieces.
	Mean() float64
	// PointProbability returns P(X = k); 0 for negative k.
	PointProbability(k int64) float64
	// CDF returns P(X <= k), the probability that k pieces suffice; 0 for
	// negative k.
	CDF(k int64) float64
	// Survival returns P(X > k), the probability that k pieces run short; 1 for
	// negative k. It stays accurate where 1 - CDF(k) would be lost in rounding.
	Survival(k int64) float64
}

// maxStock bounds the search of SmallestStock. With means up to [MaxMeanDemand]
// no answer comes near it.
const maxStock = 1 << 40

// A probability may miss the target by this much and still count as reaching
// it. It covers rounding alone, so that a target equal to CDF(k) gives k.
const (
	tieRelative = 1e-12   // of the target or of its complement, where smaller
	tieAbsolute = 0x1p-53 // what a target near 1 was itself rounded by
)

// SmallestStock returns the smallest k with P(X <= k) >= target, where target
// is above 0 and below 1. It is 0 when no demand is expected. A probability
// that equals the target but for rounding (1e-12 of the smaller of target and
// 1 - target, and 1e-16) counts as reaching it.
func SmallestStock(demand Demand, target float64) (int64, error) {
	if err := checkProbability("target probability", target); err != nil {
		return 0, err
	}
	if reaches(demand, 0, target) {
		return 0, nil
	}
	// Invariant: low does not reach the target; high is tried until it does.
	// The tails fall at least geometrically, so doubling ends soon.
	low, high := int64(0), int64(math.Ceil(demand.Mean()))+1
	for !reaches(demand, high, target) {
		if low, high = high, 2*high; high > maxStock {
			return 0, &InputError{"target probability", target, fmt.Sprintf("lower: even %d pieces do not reach it", low)}
		}
	}
	for high-low > 1 {
		middle := low + (high-low)/2
		if reaches(demand, middle, target) {
			high = middle
		} else {
			low = middle
		}
	}
	return high, nil
}

// reaches compares on the side where the number compared is small, because a
// CDF near 1 has lost what distinguishes 0.99999999999 from its neighbours.
func reaches(demand Demand, k int64, target float64) bool {
	if target <= 0.5 {
		return demand.CDF(k) >= target*(1-tieRelative)
	}
	return demand.Survival(k) <= (1-target)*(1+tieRelative)+tieAbsolute
}
