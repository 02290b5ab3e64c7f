package sparing

// Censoring says what ended an observation.
type Censoring int

const (
	// TimeTerminated means that observing ended at a time fixed beforehand, or
	// now: the usual case in service.
	TimeTerminated Censoring = iota
	// FailureTerminated means that observing ended with the last failure.
	FailureTerminated
)

// Record is what was seen of a kind of unit that fails at a constant rate and
// is repaired or replaced at once. Its methods give the classical bounds, which
// use no prior. Confidence is above 0 and below 1; a two-sided confidence of
// 0.90 gives the same lower bound as a one-sided of 0.95.
type Record struct {
	UnitHours float64 // hours of service summed over all units, above 0
	Failures  int64
	Censoring Censoring
}

// RateUpperPerHour returns the upper bound of the failure rate per unit-hour at
// a one-sided confidence. It exists with zero failures too.
func (r Record) RateUpperPerHour(oneSidedConfidence float64) (float64, error) {
	if err := r.check(oneSidedConfidence); err != nil {
		return 0, err
	}
	return gammaQuantile(r.upperShape(), oneSidedConfidence) / r.UnitHours, nil
}

// RateLowerPerHour returns the lower bound of the failure rate per unit-hour at
// a one-sided confidence. With zero failures none exists and ok is false.
func (r Record) RateLowerPerHour(oneSidedConfidence float64) (perHour float64, ok bool, err error) {
	if err := r.check(oneSidedConfidence); err != nil {
		return 0, false, err
	}
	if r.Failures == 0 {
		return 0, false, nil
	}
	return gammaUpperQuantile(float64(r.Failures), oneSidedConfidence) / r.UnitHours, true, nil
}

// RateIntervalPerHour returns both bounds of the failure rate per unit-hour at
// a two-sided confidence. With zero failures ok is false.
func (r Record) RateIntervalPerHour(twoSidedConfidence float64) (bounds Interval, ok bool, err error) {
	if err := r.check(twoSidedConfidence); err != nil {
		return Interval{}, false, err
	}
	if r.Failures == 0 {
		return Interval{}, false, nil
	}
	tail := (1 - twoSidedConfidence) / 2
	return Interval{
		Low:  gammaQuantile(float64(r.Failures), tail) / r.UnitHours,
		High: gammaUpperQuantile(r.upperShape(), tail) / r.UnitHours,
	}, true, nil
}

// MTBFLowerHours returns the lower bound of the mean time between failures, in
// hours, at a one-sided confidence. It exists with zero failures too.
func (r Record) MTBFLowerHours(oneSidedConfidence float64) (float64, error) {
	perHour, err := r.RateUpperPerHour(oneSidedConfidence)
	if err != nil {
		return 0, err
	}
	return 1 / perHour, nil
}

// MTBFUpperHours returns the upper bound of the mean time between failures, in
// hours, at a one-sided confidence. With zero failures none exists and ok is
// false.
func (r Record) MTBFUpperHours(oneSidedConfidence float64) (hours float64, ok bool, err error) {
	perHour, ok, err := r.RateLowerPerHour(oneSidedConfidence)
	if err != nil || !ok {
		return 0, ok, err
	}
	return 1 / perHour, true, nil
}

// MTBFIntervalHours returns both bounds of the mean time between failures, in
// hours, at a two-sided confidence. With zero failures ok is false: only
// [Record.MTBFLowerHours] can be stated.
func (r Record) MTBFIntervalHours(twoSidedConfidence float64) (bounds Interval, ok bool, err error) {
	rate, ok, err := r.RateIntervalPerHour(twoSidedConfidence)
	if err != nil || !ok {
		return Interval{}, ok, err
	}
	return Interval{Low: 1 / rate.High, High: 1 / rate.Low}, true, nil
}

// TestLengthFactor returns how many times the MTBF that is to be shown a test
// must last, in unit-hours, so that failuresAllowed failures or fewer show it
// at a one-sided confidence.
//
// Source: NIST/SEMATECH e-Handbook of Statistical Methods, section 8.3.1.1.
func TestLengthFactor(failuresAllowed int64, oneSidedConfidence float64) (float64, error) {
	return Record{UnitHours: 1, Failures: failuresAllowed}.RateUpperPerHour(oneSidedConfidence)
}

// upperShape is half the degrees of freedom of the upper rate bound. A fixed
// end leaves the interval to the next failure unfinished: it counts as one.
func (r Record) upperShape() float64 {
	if r.Censoring == FailureTerminated {
		return float64(r.Failures)
	}
	return float64(r.Failures) + 1
}

func (r Record) check(confidence float64) error {
	err := firstError(
		checkPositive("unit-hours observed", r.UnitHours),
		checkCount("failures observed", r.Failures),
		checkProbability("confidence", confidence),
	)
	switch {
	case err != nil:
		return err
	case r.Censoring != TimeTerminated && r.Censoring != FailureTerminated:
		return &InputError{"censoring", float64(r.Censoring), "TimeTerminated or FailureTerminated"}
	case r.Censoring == FailureTerminated && r.Failures == 0:
		return &InputError{"failures observed", 0, "at least 1 when a failure ended the observation"}
	}
	return nil
}
