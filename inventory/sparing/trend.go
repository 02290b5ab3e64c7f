package sparing

import (
	"math"
	"slices"
)

// Trend says whether failures of a kind of unit come more or less often as its hours
// of service add up. Where they do a constant rate is wrong.
type Trend struct {
	Failures int
	// Laplace is the statistic of Laplace's test: about standard normal where the
	// rate is constant, above 0 where failures come more and more often.
	Laplace float64
	// PValue is the probability of a statistic at least as far from 0, either way,
	// at a constant rate.
	PValue float64
	// Beta and LambdaPerHour are the maximum likelihood estimates of the power law
	// process (Crow-AMSAA): Lambda t^Beta failures are expected in the first t hours.
	Beta, LambdaPerHour float64
	// BetaUnbiased is Beta corrected for the number of failures; NaN where too few.
	BetaUnbiased float64
	// RatePerHour is the failure intensity at the end of the observation, by the
	// power law.
	RatePerHour float64
}

// TrendFailuresMin is how many failures a test of trend needs to mean anything
// (common practice).
const TrendFailuresMin = 4

// TrendOf tests for a trend. Times are hours of service summed over all units of the
// kind, from the start of the record: of each failure, and of the end of the
// observation. At least two failures are needed, all after 0 and none after the end;
// else the error is an [*InputError]. With [FailureTerminated] the end is the last
// failure.
//
// Sources: Laplace's test and the power law process as in MIL-HDBK-189C (2011) and
// IEC 61164; NIST/SEMATECH e-Handbook of Statistical Methods, section 8.2.3.4.
func TrendOf(failureHours []float64, untilHours float64, censoring Censoring) (Trend, error) {
	times := slices.Sorted(slices.Values(failureHours))
	n := len(times)
	if n < 2 {
		return Trend{}, &InputError{"failures", float64(n), "at least 2"}
	}
	if !(times[0] > 0) || math.IsInf(times[n-1], 1) {
		return Trend{}, &InputError{"hours of a failure", times[0], "above 0, and finite"}
	}
	if !(untilHours >= times[n-1]) || math.IsInf(untilHours, 1) {
		return Trend{}, &InputError{"hours of observation", untilHours, "not before the last failure, and finite"}
	}
	used, unbiased := times, float64(n-1)
	if censoring == FailureTerminated {
		untilHours = times[n-1]
		used, unbiased = times[:n-1], float64(n-2)
	}
	sum, logs := 0.0, 0.0
	for _, t := range used {
		sum += t
		logs += math.Log(untilHours / t)
	}
	m := float64(len(used))
	out := Trend{Failures: n, Laplace: (sum/m - untilHours/2) / (untilHours * math.Sqrt(1/(12*m)))}
	out.PValue = math.Erfc(math.Abs(out.Laplace) / math.Sqrt2)
	if logs == 0 {
		return Trend{}, &InputError{"hours of a failure", times[0], "not all at the end of the observation"}
	}
	out.Beta = float64(n) / logs
	out.LambdaPerHour = float64(n) / math.Pow(untilHours, out.Beta)
	out.RatePerHour = out.LambdaPerHour * out.Beta * math.Pow(untilHours, out.Beta-1)
	if out.BetaUnbiased = math.NaN(); unbiased > 0 {
		out.BetaUnbiased = out.Beta * unbiased / float64(n)
	}
	return out, nil
}

// Expected returns how many failures the power law expects in the first hours.
func (t Trend) Expected(hours float64) float64 { return t.LambdaPerHour * math.Pow(hours, t.Beta) }
