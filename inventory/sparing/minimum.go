package sparing

import "math"

// MinimumLine is an item of which pieces are taken from a shelf now and then, whatever
// for. Quantities are in its smallest unit.
type MinimumLine struct {
	Takes          []int64 // how much each time, in DaysSeen
	DaysSeen       float64 // above 0
	DaysToDelivery float64
	GoodStock      int64   // there, and fit for use until the delivery
	Target         float64 // probability that the minimum shall suffice
	// RateKnown takes the rate seen for the true one; else it is as uncertain as so few
	// takes leave it.
	RateKnown bool
}

// MinimumAnswer is how much of an item is to lie there now.
type MinimumAnswer struct {
	PerDay      float64 // quantity taken in a day, in the mean
	Expected    float64 // quantity taken until the delivery, in the mean
	Batch       float64 // Σq²/Σq of the takes: how much goes at a time; 1 for single pieces
	Minimum     int64   // the smallest stock that reaches the target
	Sufficiency float64 // probability that GoodStock suffices
}

// Minimum works out a minimum level from what was taken so far. Takes are assumed to come
// singly, independently and at a constant rate; runs that are planned are for
// [NeedConsumable]. Of what was never taken the minimum is 0.
//
// Single pieces have Poisson demand. Takes of q pieces make it compound: its mean is
// n E[q] and its variance n E[q²]. It is stood for by c times a Poisson demand of mean
// m/c with c = E[q²]/E[q], which has that mean and variance, and is exact where all
// takes are alike. The rate of these is known from m/c of them, with half a one more for
// what was known before (Jeffreys, as [NewRate] says), so that their count is
// [GammaPoisson].
//
// Source: mean and variance of a compound Poisson sum, Ross, Introduction to Probability
// Models, section 5.4.2, from memory.
func Minimum(in MinimumLine) (MinimumAnswer, error) {
	err := firstError(
		checkPositive("days seen", in.DaysSeen),
		checkNotNegative("days to delivery", in.DaysToDelivery),
		checkCount("good stock", in.GoodStock),
		checkProbability("target probability", in.Target),
	)
	sum, squares := 0.0, 0.0
	for _, q := range in.Takes {
		err = firstError(err, checkCount("quantity taken", q))
		sum += float64(q)
		squares += float64(q) * float64(q)
	}
	if err != nil {
		return MinimumAnswer{}, err
	}
	out := MinimumAnswer{Batch: 1}
	if sum > 0 {
		out.Batch = squares / sum
	}
	out.PerDay = sum / in.DaysSeen
	out.Expected = out.PerDay * in.DaysToDelivery
	demand, err := in.demand(sum / out.Batch)
	if err != nil {
		return MinimumAnswer{}, err
	}
	batches, err := SmallestStock(demand, in.Target)
	if err != nil {
		return MinimumAnswer{}, err
	}
	// What rounding adds to a product of whole numbers is no piece.
	out.Minimum = int64(math.Ceil(float64(batches) * out.Batch * (1 - 1e-12)))
	out.Sufficiency = demand.CDF(int64(math.Floor(float64(in.GoodStock) / out.Batch * (1 + 1e-12))))
	return out, nil
}

// demand is how many batches will be taken, after so many were in the days seen.
func (in *MinimumLine) demand(batches float64) (Demand, error) {
	if in.RateKnown || batches == 0 {
		return NewPoisson(batches / in.DaysSeen * in.DaysToDelivery)
	}
	const jeffreys = 0.5
	rate, err := NewRate(batches+jeffreys, in.DaysSeen)
	if err != nil {
		return nil, err
	}
	return rate.Demand(in.DaysToDelivery)
}
