// Package weather computes what air and wind do at a place: the wind chill index
// and the standard atmosphere.
//
// Everything is pure, gives the same bits on every machine (see
// [pulk/schema/steady]) and refuses a value outside the range of its source with a
// [fault.Outside]. What a figure means for people is not said here: medical staff
// and local rules decide who may work outside, and for how long.
package weather

import (
	"math"

	"pulk/schema/fault"
	"pulk/schema/steady"
)

const chillSource = "the wind chill charts of 2001"

// WindChill returns the wind chill index of 2001, a figure that feels like °C, at
// an air temperature of -60 to 10 °C and a wind, measured at a height of 10 m, of
// 5 to 110 km/h. It is not rounded; charts show whole numbers.
//
// It is made for a walking adult at sea level: thin air at height is not in it.
//
// Source: Environment Canada and the U.S. National Weather Service, index of 2001,
// W = 13.12 + 0.6215 T - 11.37 V^0.16 + 0.3965 T V^0.16. Environment Canada gives
// it from 5 km/h on; the National Weather Service up to 50 °F (10 °C). Neither
// states a lowest temperature or a strongest wind: the charts end at -50 °C and at
// 60 mph (97 km/h), and the range here goes a little further (common practice).
func WindChill(airCelsius, windKilometresPerHour float64) (float64, error) {
	err := fault.AllWithin(chillSource,
		fault.Bound{What: "air temperature", Value: airCelsius, Least: -60, Most: 10, Unit: "°C"},
		fault.Bound{What: "wind speed", Value: windKilometresPerHour, Least: 5, Most: 110, Unit: "km/h"})
	if err != nil {
		return 0, err
	}
	wind := steady.Pow(windKilometresPerHour, 0.16)
	return steady.Poly(airCelsius, 13.12-float64(11.37*wind), 0.6215+float64(0.3965*wind)), nil
}

// WindChillFahrenheit returns the index in °F, at an air temperature of -76 to 50 °F
// and a wind over 3 mph, up to 68. Its rounded coefficients differ a little from those of
// [WindChill]: near a half the two charts may round apart.
//
// Source: U.S. National Weather Service, index of 2001,
// W = 35.74 + 0.6215 T - 35.75 V^0.16 + 0.4275 T V^0.16, "valid at or below 50 °F
// and above 3 mph".
func WindChillFahrenheit(airFahrenheit, windMilesPerHour float64) (float64, error) {
	err := fault.AllWithin(chillSource,
		fault.Bound{What: "air temperature", Value: airFahrenheit, Least: -76, Most: 50, Unit: "°F"},
		fault.Bound{What: "wind speed", Value: windMilesPerHour, Least: math.Nextafter(3, 4), Most: 68, Unit: "mph"})
	if err != nil {
		return 0, err
	}
	wind := steady.Pow(windMilesPerHour, 0.16)
	return steady.Poly(airFahrenheit, 35.74-float64(35.75*wind), 0.6215+float64(0.4275*wind)), nil
}

// LightWindChill returns the index for a wind under 5 km/h, from calm on, at an air
// temperature of -60 to 0 °C. At 5 km/h it differs from [WindChill] by some tenths.
//
// Source: Environment Canada, W = T + (-1.59 + 0.1345 T) V / 5; from memory.
func LightWindChill(airCelsius, windKilometresPerHour float64) (float64, error) {
	err := fault.AllWithin("the wind chill formula for light wind",
		fault.Bound{What: "air temperature", Value: airCelsius, Least: -60, Most: 0, Unit: "°C"},
		fault.Bound{What: "wind speed", Value: windKilometresPerHour, Least: 0, Most: 5, Unit: "km/h"})
	if err != nil {
		return 0, err
	}
	return airCelsius + float64(steady.Poly(airCelsius, -1.59, 0.1345)*windKilometresPerHour)/5, nil
}
