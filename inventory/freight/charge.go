// Package freight works out what carriers charge for.
package freight

import (
	"errors"
	"math"
)

// AirDivisor is the volume in cm³ that air carriers take as a kilogram. Source: IATA's
// volumetric rule (6000 cm³/kg, 166 in³/lb); some carriers ask for 5000.
const AirDivisor = 6000

// AirStepGrams is the step to which air carriers round up, 0.5 kg (IATA's rule for
// chargeable weight; a carrier's own tariff stands before it).
const AirStepGrams = 500

// Charge is what one piece is charged as.
type Charge struct {
	VolumetricGrams float64 // its volume over the divisor
	Grams           int64   // the greater of that and its mass, rounded up to the step
	ByVolume        bool    // the volume is what counts
}

// ChargeOf returns what a piece is charged as: sides outside in millimetres, gross mass in
// grams, divisor in cm³ a kilogram, step in grams. Nothing of these may be below 0,
// nor sides, divisor and step be 0. Sides are taken as they are: carriers round each to
// whole centimetres first.
func ChargeOf(sidesMM [3]int64, grams, divisor, stepGrams int64) (Charge, error) {
	if min(sidesMM[0], sidesMM[1], sidesMM[2], divisor, stepGrams) < 1 || grams < 0 ||
		max(sidesMM[0], sidesMM[1], sidesMM[2], divisor, stepGrams) > 1_000_000 || grams > 1_000_000_000_000 {
		return Charge{}, errors.New("sides, divisor and step from 1 to 1,000,000, mass from 0 to a million tonnes")
	}
	// Grams by volume are mm³ over the divisor: mm³ is 1e-3 cm³, kg is 1e3 g. A
	// whole number of steps is found without rounding errors.
	cubicMM := sidesMM[0] * sidesMM[1] * sidesMM[2]
	volumetric := up(cubicMM, divisor*stepGrams) * stepGrams
	actual := up(grams, stepGrams) * stepGrams
	return Charge{float64(cubicMM) / float64(divisor), max(volumetric, actual), float64(cubicMM)/float64(divisor) > float64(grams)}, nil
}

// up is n over d, rounded up.
func up(n, d int64) int64 {
	if n > math.MaxInt64-d {
		return math.MaxInt64 / d
	}
	return (n + d - 1) / d
}
