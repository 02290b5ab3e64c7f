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
// singly, independently and at the rate seen, which is taken as known, so that little
// history makes it too sure of itself; runs that are planned are for [NeedConsumable].
//
// Single pieces have Poisson demand. Takes of q pieces make it compound: its mean is
// n E[q] and its variance n E[q²]. It is stood for by c times a Poisson demand of mean
// m/c with c = E[q²]/E[q], which has that mean and variance, and is exact where all
// takes are alike.
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
	demand, err := NewPoisson(out.Expected / out.Batch)
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
