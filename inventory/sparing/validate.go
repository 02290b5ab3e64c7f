package sparing

import (
	"fmt"
	"math"
)

// MaxMeanDemand is the largest expected demand, in pieces, that is answered.
// More of one item between two deliveries is a slip in the units.
const MaxMeanDemand = 1e6

// InputError tells which input cannot be computed with, and what is wanted.
type InputError struct {
	Field string  // in words, with its unit
	Value float64 // as given
	Want  string  // what it must be
}

// Error implements error.
func (e *InputError) Error() string {
	return fmt.Sprintf("%s is %v: it must be %s", e.Field, e.Value, e.Want)
}

func checkNotNegative(field string, value float64) error {
	if math.IsNaN(value) || math.IsInf(value, 0) || value < 0 {
		return &InputError{field, value, "a finite number, zero or more"}
	}
	return nil
}

func checkPositive(field string, value float64) error {
	if math.IsNaN(value) || math.IsInf(value, 0) || value <= 0 {
		return &InputError{field, value, "a finite number above zero"}
	}
	return nil
}

// checkProbability refuses 0 and 1 too: no finite stock is certain to suffice,
// and an interval of probability 1 is the whole axis.
func checkProbability(field string, value float64) error {
	if math.IsNaN(value) || value <= 0 || value >= 1 {
		return &InputError{field, value, "above 0 and below 1 (0.95, not 95)"}
	}
	return nil
}

func checkCount(field string, count int64) error {
	if count < 0 {
		return &InputError{field, float64(count), "zero or more"}
	}
	return nil
}

func checkMeanDemand(mean float64) error {
	const field = "mean demand (pieces)"
	if err := checkNotNegative(field, mean); err != nil {
		return err
	}
	if mean > MaxMeanDemand {
		return &InputError{field, mean, fmt.Sprintf("at most %.0f; check the units of rate and hours", float64(MaxMeanDemand))}
	}
	return nil
}

// firstError returns the first error that is not nil.
func firstError(errs ...error) error {
	for _, err := range errs {
		if err != nil {
			return err
		}
	}
	return nil
}
