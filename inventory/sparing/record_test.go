package sparing

import (
	"math"
	"testing"
)

func TestZeroFailuresGiveOneBoundOnly(t *testing.T) {
	r := Record{UnitHours: 8760}
	if _, ok, err := r.MTBFUpperHours(0.9); ok || err != nil {
		t.Errorf("MTBFUpperHours: ok %v, error %v; want no bound and no error", ok, err)
	}
	if _, ok, err := r.MTBFIntervalHours(0.9); ok || err != nil {
		t.Errorf("MTBFIntervalHours: ok %v, error %v; want no bounds and no error", ok, err)
	}
	if _, ok, err := r.RateIntervalPerHour(0.9); ok || err != nil {
		t.Errorf("RateIntervalPerHour: ok %v, error %v; want no bounds and no error", ok, err)
	}
	if hours, err := r.MTBFLowerHours(0.9); err != nil || hours <= 0 {
		t.Errorf("MTBFLowerHours = %v, error %v; want a bound", hours, err)
	}
}

// Two-sided 90 % and one-sided 95 % share the lower bound.
func TestTwoSidedBoundIsOneSidedOfHalfTheRest(t *testing.T) {
	for _, censoring := range []Censoring{TimeTerminated, FailureTerminated} {
		r := Record{UnitHours: 800, Failures: 2, Censoring: censoring}
		both, ok, err := r.MTBFIntervalHours(0.90)
		if err != nil || !ok {
			t.Fatal(ok, err)
		}
		one, err := r.MTBFLowerHours(0.95)
		if err != nil {
			t.Fatal(err)
		}
		if math.Abs(both.Low/one-1) > 1e-12 {
			t.Errorf("censoring %d: two-sided 0.90 gives %v h, one-sided 0.95 gives %v h", censoring, both.Low, one)
		}
	}
}
