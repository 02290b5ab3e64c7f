package water

import (
	"math"

	"pulk/schema/fault"
	"pulk/schema/steady"
)

const (
	teos10DepthSource = "depth in sea water (TEOS-10)"

	standardOceanSalinity = 35.16504 // g/kg
	gravityGradient       = 2.26e-7  // 1/m
)

// reduced returns the root of salinity in which the specific volume is a
// polynomial: of (S + 24 g/kg) in 40 g/kg of practical salinity.
func reduced(salinityGramsPerKilogram float64) float64 {
	return math.Sqrt((salinityGramsPerKilogram + 24) / (40 * (standardOceanSalinity / 35)))
}

// volumeTerms returns the coefficients of the specific volume in m³/kg as a
// polynomial in the pressure in 10,000 dbar, at one salinity and temperature.
func volumeTerms(salinityGramsPerKilogram, conservativeCelsius float64) [7]float64 {
	x, y := reduced(salinityGramsPerKilogram), conservativeCelsius/40
	var byPressure [7]float64
	for i := len(specificVolumeTerms) - 1; i >= 0; i-- {
		var row [7]float64
		for j := len(specificVolumeTerms[i]) - 1; j >= 0; j-- {
			for k := range row {
				row[k] = float64(row[k] * x)
			}
			for k, c := range specificVolumeTerms[i][j] {
				row[k] += c
			}
		}
		for k := range row {
			byPressure[k] = float64(byPressure[k]*y) + row[k]
		}
	}
	return byPressure
}

func checkTEOS10(salinityGramsPerKilogram, conservativeCelsius, decibars float64) error {
	return fault.AllWithin("TEOS-10",
		fault.Bound{What: "absolute salinity", Value: salinityGramsPerKilogram, Most: 42, Unit: "g/kg"},
		fault.Bound{What: "conservative temperature", Value: conservativeCelsius, Least: -2, Most: 40, Unit: "°C"},
		pressure(decibars))
}

// DensityTEOS10 returns the density of sea water in kg/m³, at an absolute salinity
// of 0 to 42 g/kg, a conservative temperature of -2 to 40 °C and a sea pressure of 0
// to 10,000 dbar.
//
// Source: IOC, SCOR and IAPSO (2010), TEOS-10; the 75-term polynomial of Roquet et
// al. (2015).
func DensityTEOS10(salinityGramsPerKilogram, conservativeCelsius, decibars float64) (float64, error) {
	if err := checkTEOS10(salinityGramsPerKilogram, conservativeCelsius, decibars); err != nil {
		return 0, err
	}
	terms := volumeTerms(salinityGramsPerKilogram, conservativeCelsius)
	return 1 / steady.Poly(decibars*1e-4, terms[:]...), nil
}

// SoundSpeedTEOS10 returns the speed of sound in m/s, in the range of
// [DensityTEOS10] and from the same polynomial.
func SoundSpeedTEOS10(salinityGramsPerKilogram, conservativeCelsius, decibars float64) (float64, error) {
	if err := checkTEOS10(salinityGramsPerKilogram, conservativeCelsius, decibars); err != nil {
		return 0, err
	}
	terms := volumeTerms(salinityGramsPerKilogram, conservativeCelsius)
	var slope [6]float64 // of the volume, per 10,000 dbar
	for k := range slope {
		slope[k] = float64(float64(k+1) * terms[k+1])
	}
	z := decibars * 1e-4
	return float64(1e4 * float64(steady.Poly(z, terms[:]...)*math.Sqrt(-1/steady.Poly(z, slope[:]...)))), nil
}

// Gravity returns the acceleration of gravity in m/s² at a height in metres above
// the surface (negative below).
//
// Source: Moritz (2000) as in the TEOS-10 manual, appendix D.
func Gravity(heightMetres, latitudeDegrees float64) (float64, error) {
	height := fault.Bound{What: "height", Value: heightMetres, Least: -10_000, Most: 10_000, Unit: "m"}
	if err := fault.AllWithin("gravity (TEOS-10)", height, latitude(latitudeDegrees)); err != nil {
		return 0, err
	}
	return float64(surfaceGravity(sineSquared(latitudeDegrees)) * (1 - float64(gravityGradient*heightMetres))), nil
}

func surfaceGravity(sineSquared float64) float64 {
	return float64(9.780327 * steady.Poly(sineSquared, 1, 5.2792e-3, 2.32e-5))
}

// enthalpy returns the enthalpy in J/kg that a standard ocean has gained from the
// surface to a pressure: the integral of its specific volume over pressure.
func enthalpy(decibars float64) float64 {
	terms := volumeTerms(standardOceanSalinity, 0)
	var integral [8]float64
	for k, c := range terms {
		integral[k+1] = c / float64(k+1)
	}
	return float64(1e8 * steady.Poly(decibars*1e-4, integral[:]...))
}

// SeaDepthTEOS10 returns the depth in metres (positive downwards) at a sea pressure
// of 0 to 10,000 dbar, in a standard ocean without dynamic height.
//
// Source: TEOS-10, gsw_z_from_p of the GSW toolbox, version 3.05.
func SeaDepthTEOS10(decibars, latitudeDegrees float64) (float64, error) {
	if err := fault.AllWithin(teos10DepthSource, pressure(decibars), latitude(latitudeDegrees)); err != nil {
		return 0, err
	}
	return depthTEOS10(decibars, surfaceGravity(sineSquared(latitudeDegrees))), nil
}

// depthTEOS10 solves enthalpy = g depth + ½ gradient g depth².
func depthTEOS10(decibars, gravity float64) float64 {
	h := enthalpy(decibars)
	return 2 * h / (gravity + math.Sqrt(float64(gravity*gravity)+steady.Times(2, gravityGradient, gravity, h)))
}

// SeaPressureTEOS10 is the inverse of [SeaDepthTEOS10]: the sea pressure in dbar at
// a depth in metres, down to where that has 10,000 dbar.
func SeaPressureTEOS10(depthMetres, latitudeDegrees float64) (float64, error) {
	if err := fault.AllWithin(teos10DepthSource, latitude(latitudeDegrees)); err != nil {
		return 0, err
	}
	gravity := surfaceGravity(sineSquared(latitudeDegrees))
	deepest := depthTEOS10(decibarsMax, gravity)
	if err := fault.Within("depth", depthMetres, 0, math.Floor(deepest), "m", teos10DepthSource); err != nil {
		return 0, err
	}
	return invert(func(decibars float64) float64 { return depthTEOS10(decibars, gravity) }, depthMetres, 0, decibarsMax), nil
}
