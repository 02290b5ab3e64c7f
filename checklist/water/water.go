// Package water computes what water does at depth: pressure, density, freezing
// point and speed of sound of sea water, and the pressure in a hole filled with
// fresh water.
//
// Two descriptions of sea water are in use and must not be mixed: EOS-80 with the
// depth of UNESCO 44 (1983), and TEOS-10 (2010), whose depths differ from it by up
// to 1 m at 10,000 dbar. Names say TEOS10 where they mean the second; the others
// are UNESCO 44.
//
// Pressures are sea pressures, zero at the surface, in decibars; gauges that are
// zeroed in air show that. Temperatures are °C on the scale of 1990, as
// thermometers show them; the scale of 1968, which UNESCO 44 is written in, is
// converted inside. Latitudes are in degrees and their sign does not matter.
// Salinities are practical (PSS-78), or absolute in g/kg where it says so.
//
// Everything is pure, gives the same bits on every machine (see
// [pulk/schema/steady]) and refuses a value outside the range of its source with a
// [fault.Outside].
package water

import (
	"math"

	"pulk/schema/fault"
	"pulk/schema/steady"
)

const (
	depthSource = "depth in sea water (UNESCO 44)"

	decibarsMax     = 10_000
	scale1968Of1990 = 1.00024 // t68 = 1.00024 t90
)

// celsius1968 returns a temperature of the scale of 1990 on that of 1968.
func celsius1968(celsius float64) float64 { return float64(scale1968Of1990 * celsius) }

func latitude(degrees float64) fault.Bound {
	return fault.Bound{What: "latitude", Value: degrees, Least: -90, Most: 90, Unit: "°"}
}

func pressure(decibars float64) fault.Bound {
	return fault.Bound{What: "pressure", Value: decibars, Most: decibarsMax, Unit: "dbar"}
}

func practicalSalinity(s, least, most float64) fault.Bound {
	return fault.Bound{What: "salinity", Value: s, Least: least, Most: most}
}

func temperature(celsius, least, most float64) fault.Bound {
	return fault.Bound{What: "temperature", Value: celsius, Least: least, Most: most, Unit: "°C"}
}

// sineSquared returns the square of the sine of a latitude.
func sineSquared(latitudeDegrees float64) float64 {
	sine := steady.SinDegrees(latitudeDegrees)
	return float64(sine * sine)
}

// invert returns the x from low to high where an increasing function is y, to 1e-12
// of it: by the chord between the ends, of which one that stays twice counts half (the
// Illinois rule), so that both close in.
func invert(f func(float64) float64, y, low, high float64) float64 {
	under, over := f(low)-y, f(high)-y
	if under >= 0 {
		return low
	}
	if over <= 0 {
		return high
	}
	last, side := low, 0
	for range 100 {
		x := low - float64(under*(high-low))/(over-under)
		if difference := math.Abs(x - last); difference <= 1e-12*max(math.Abs(x), 1) {
			return x
		}
		last = x
		if off := f(x) - y; off < 0 {
			low, under = x, off
			if side < 0 {
				over = float64(over * 0.5)
			}
			side = -1
		} else {
			high, over = x, off
			if side > 0 {
				under = float64(under * 0.5)
			}
			side = 1
		}
	}
	return last
}

// SeaDepth returns the depth in metres in sea water at a sea pressure of 0 to
// 10,000 dbar. It assumes a standard ocean of 0 °C and salinity 35.
//
// Source: Fofonoff & Millard (1983), UNESCO Technical Papers in Marine Science 44,
// section 4.
func SeaDepth(decibars, latitudeDegrees float64) (float64, error) {
	if err := fault.AllWithin(depthSource, pressure(decibars), latitude(latitudeDegrees)); err != nil {
		return 0, err
	}
	return depthOf(decibars, sineSquared(latitudeDegrees)), nil
}

func depthOf(decibars, sineSquared float64) float64 {
	gravity := float64(9.780318*steady.Poly(sineSquared, 1, 5.2788e-3, 2.36e-5)) + float64(1.092e-6*decibars)
	return steady.Poly(decibars, 0, 9.72659, -2.2512e-5, 2.279e-10, -1.82e-15) / gravity
}

// SeaPressure returns the sea pressure in dbar at a depth in metres, from the
// surface down to where [SeaDepth] has 10,000 dbar, about 9,700 m: it is the
// inverse of it.
func SeaPressure(depthMetres, latitudeDegrees float64) (float64, error) {
	if err := fault.AllWithin(depthSource, latitude(latitudeDegrees)); err != nil {
		return 0, err
	}
	square := sineSquared(latitudeDegrees)
	deepest := depthOf(decibarsMax, square)
	if err := fault.Within("depth", depthMetres, 0, math.Floor(deepest), "m", depthSource); err != nil {
		return 0, err
	}
	return invert(func(decibars float64) float64 { return depthOf(decibars, square) }, depthMetres, 0, decibarsMax), nil
}

// FreezingPoint returns the temperature in °C at which sea water freezes, saturated
// with air, at a salinity of 4 to 40 and a sea pressure of 0 to 500 dbar.
//
// Source: Millero & Leung (1976), UNESCO 44 (1983), section 5.
func FreezingPoint(salinity, decibars float64) (float64, error) {
	shallow := pressure(decibars)
	shallow.Most = 500
	if err := fault.AllWithin("the freezing point of sea water (UNESCO 44)", practicalSalinity(salinity, 4, 40), shallow); err != nil {
		return 0, err
	}
	root := math.Sqrt(salinity)
	fresh := float64(steady.Poly(root, -0.0575, 1.710523e-3, -2.154996e-4) * salinity)
	return (fresh - float64(7.53e-4*decibars)) / scale1968Of1990, nil
}
