package sparing

import (
	"math"

	"gonum.org/v1/gonum/mathext"
)

// Poisson is the demand for an item whose failure rate is taken as known. The
// zero value expects no demand.
type Poisson struct {
	mean float64
}

// NewPoisson returns the Poisson demand with the given mean, in pieces, from 0
// to [MaxMeanDemand].
func NewPoisson(meanDemand float64) (Poisson, error) {
	if err := checkMeanDemand(meanDemand); err != nil {
		return Poisson{}, err
	}
	return Poisson{meanDemand}, nil
}

// NewFleetPoisson returns the demand of units alike that share one pool of
// spares and run hoursEach hours each at failuresPerHour.
func NewFleetPoisson(units int64, failuresPerHour, hoursEach float64) (Poisson, error) {
	err := firstError(
		checkCount("units in service", units),
		checkNotNegative("failure rate (1/h)", failuresPerHour),
		checkNotNegative("hours each", hoursEach),
	)
	if err != nil {
		return Poisson{}, err
	}
	return NewPoisson(float64(units) * failuresPerHour * hoursEach)
}

// Mean implements [Demand].
func (p Poisson) Mean() float64 { return p.mean }

// PointProbability implements [Demand]. It goes through log-gamma, which
// leaves a relative error of about 1e-15 times the mean.
func (p Poisson) PointProbability(k int64) float64 {
	switch {
	case k < 0:
		return 0
	case p.mean == 0 && k == 0:
		return 1
	case p.mean == 0:
		return 0
	}
	// Not through distuv, which links all of LAPACK: 3 MB of a program that old laptops run.
	logFactorial, _ := math.Lgamma(float64(k) + 1)
	return math.Exp(float64(k)*math.Log(p.mean) - p.mean - logFactorial)
}

// CDF implements [Demand].
func (p Poisson) CDF(k int64) float64 {
	switch {
	case k < 0:
		return 0
	case p.mean == 0:
		return 1
	}
	return mathext.GammaIncRegComp(float64(k)+1, p.mean)
}

// Survival implements [Demand].
func (p Poisson) Survival(k int64) float64 {
	switch {
	case k < 0:
		return 1
	case p.mean == 0:
		return 0
	}
	// Not 1 - CDF, which loses what is small.
	return mathext.GammaIncReg(float64(k)+1, p.mean)
}
