package water

import (
	"math"

	"pulk/schema/fault"
	"pulk/schema/steady"
)

const holeSource = "a hole filled with fresh water at 0 °C (EOS-80, salinity 0)"

// HoleDepthMetresMax is as deep as [HolePressure] goes: no ice sheet is thicker
// than about 4,800 m.
const HoleDepthMetresMax = 5000

// HolePressure returns the gauge pressure in dbar at a depth in metres below the
// water level of a hole in ice that is filled with fresh water at 0 °C, 0 to 5,000
// m. Depths below the surface of the snow or the floor of a hut are more than that:
// take off how deep the level stands.
//
// It adds up the weight of the water: the depth at pressure p is the integral of
// 1 / (density gravity) from 0 to p, with the density of EOS-80 at salinity 0 and
// the gravity of the latitude. Water in a hole is a little colder than 0 °C under
// pressure, and brine, fuel or cuttings in it make it heavier or lighter; antifreeze
// fluids are not water: give their column a formula of its own.
//
// Source: the hydrostatic equation; Millero et al. (1980), UNESCO 44 (1983), section
// 3; gravity as [Gravity].
func HolePressure(depthMetres, latitudeDegrees float64) (float64, error) {
	depth := fault.Bound{What: "depth in the hole", Value: depthMetres, Most: HoleDepthMetresMax, Unit: "m"}
	if err := fault.AllWithin(holeSource, depth, latitude(latitudeDegrees)); err != nil {
		return 0, err
	}
	gravity := surfaceGravity(sineSquared(latitudeDegrees))
	return invert(func(decibars float64) float64 { return holeDepth(decibars, gravity) }, depthMetres, 0, 6000), nil
}

// HoleDepth is the inverse of [HolePressure]: the depth in metres below the water
// level at a gauge pressure of 0 to 5,000 dbar.
func HoleDepth(decibars, latitudeDegrees float64) (float64, error) {
	shallow := pressure(decibars)
	shallow.Most = 5000
	if err := fault.AllWithin(holeSource, shallow, latitude(latitudeDegrees)); err != nil {
		return 0, err
	}
	return holeDepth(decibars, surfaceGravity(sineSquared(latitudeDegrees))), nil
}

// holeDepth solves integral of dp/density = g depth + ½ gradient g depth², as for
// sea water. The integrand is so smooth that Simpson's rule on 16 parts is good to
// 1e-9.
func holeDepth(decibars, gravity float64) float64 {
	const parts = 16
	step := decibars / parts
	sum := 0.0
	for i := range parts + 1 {
		weight := 2.0
		switch {
		case i == 0 || i == parts:
			weight = 1
		case i%2 == 1:
			weight = 4
		}
		sum += weight / density(0, 0, float64(float64(i)*step))
	}
	work := steady.Times(sum, step, 1e4) / 3 // J/kg
	return 2 * work / (gravity + math.Sqrt(float64(gravity*gravity)+steady.Times(2, gravityGradient, gravity, work)))
}
