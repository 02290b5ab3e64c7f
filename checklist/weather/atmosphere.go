package weather

import (
	"pulk/schema/fault"
	"pulk/schema/steady"
)

// The lowest layer of the standard atmosphere.
//
// Source: ICAO Doc 7488/3 (1993), the same figures as ISO 2533:1975.
const (
	seaLevelKelvin       = 288.15
	seaLevelHectopascals = 1013.25
	lapseKelvinPerMetre  = 0.0065
	zeroCelsiusKelvin    = 273.15
	earthRadiusMetres    = 6_356_766.0
	exponent             = 9.80665 / (287.05287 * lapseKelvinPerMetre) // g0 / (R lapse), 5.25588

	atmosphereSource = "the standard atmosphere (ICAO, ISO 2533) below 11 km"
)

// StandardPressure returns the pressure in hPa of the standard atmosphere at a
// height of -2,000 to 11,000 geopotential metres. Maps and receivers give
// geometric metres: see [Geopotential].
//
// The air of a polar place is thinner: what its barometer says, see
// [PressureAltitude], is what a body feels.
func StandardPressure(geopotentialMetres float64) (float64, error) {
	kelvin, err := standardKelvin(geopotentialMetres)
	if err != nil {
		return 0, err
	}
	return float64(seaLevelHectopascals * steady.Pow(kelvin/seaLevelKelvin, exponent)), nil
}

// StandardTemperature returns the temperature in °C of the standard atmosphere at
// a height of -2,000 to 11,000 geopotential metres.
func StandardTemperature(geopotentialMetres float64) (float64, error) {
	kelvin, err := standardKelvin(geopotentialMetres)
	return kelvin - zeroCelsiusKelvin, err
}

func standardKelvin(geopotentialMetres float64) (float64, error) {
	err := fault.Within("height", geopotentialMetres, -2000, 11_000, "m", atmosphereSource)
	return seaLevelKelvin - float64(lapseKelvinPerMetre*geopotentialMetres), err
}

// PressureAltitude returns the height in geopotential metres at which the standard
// atmosphere has the given pressure, of 226.32 to 1,277.74 hPa.
func PressureAltitude(hectopascals float64) (float64, error) {
	if err := fault.Within("pressure", hectopascals, 226.32, 1277.74, "hPa", atmosphereSource); err != nil {
		return 0, err
	}
	return seaLevelKelvin / lapseKelvinPerMetre * (1 - steady.Pow(hectopascals/seaLevelHectopascals, 1/exponent)), nil
}

// Geopotential turns a height in geometric metres, as on a map, into geopotential
// metres: H = r z / (r + z). At 3,000 m it is 1.4 m less.
//
// Source: ISO 2533:1975, with its earth radius of 6,356,766 m.
func Geopotential(geometricMetres float64) float64 {
	return float64(earthRadiusMetres*geometricMetres) / (earthRadiusMetres + geometricMetres)
}
