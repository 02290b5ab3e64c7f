package cable

import (
	"pulk/schema/fault"
	"pulk/schema/steady"
)

// InsulationAt returns an insulation resistance, measured at one temperature, as it
// would be at another, in its own unit. halvingKelvin is the warming that halves it:
// 10 K for old rotating machines by IEEE 43; a cable needs the figure of its maker,
// 1 to 50 K. Temperatures are -20 to 70 °C: a frozen cable hides its water, and what
// is measured on ice says little.
//
// Source: IEEE Std 43-2013, section 6.3 (a factor of 2 for each 10 °C); the maker's
// data for a cable.
func InsulationAt(wantedCelsius, resistance, measuredCelsius, halvingKelvin float64) (float64, error) {
	err := fault.AllWithin("the halving rule of insulation resistance",
		fault.Bound{What: "insulation resistance", Value: resistance, Most: 1e15},
		fault.Bound{What: "temperature when measured", Value: measuredCelsius, Least: -20, Most: 70, Unit: "°C"},
		fault.Bound{What: "temperature wanted", Value: wantedCelsius, Least: -20, Most: 70, Unit: "°C"},
		fault.Bound{What: "warming that halves it", Value: halvingKelvin, Least: 1, Most: 50, Unit: "K"})
	if err != nil {
		return 0, err
	}
	return float64(resistance * steady.Pow(2, (measuredCelsius-wantedCelsius)/halvingKelvin)), nil
}

// PolarisationIndexOhmsMax is the resistance after one minute above which the
// polarisation index says nothing: the current is then too small to be measured.
//
// Source: IEEE Std 43-2013 (at 40 °C, for rotating machines).
const PolarisationIndexOhmsMax = 5e9

// PolarisationIndex returns the insulation resistance after ten minutes over that
// after one, both in ohm, 1 ohm to [PolarisationIndexOhmsMax] after one
// minute. A dry insulation has 2 or more.
//
// Source: IEEE Std 43-2013, section 6.
func PolarisationIndex(tenMinuteOhms, oneMinuteOhms float64) (float64, error) {
	err := fault.AllWithin("the polarisation index (IEEE 43)",
		fault.Bound{What: "resistance after one minute", Value: oneMinuteOhms, Least: 1, Most: PolarisationIndexOhmsMax, Unit: "ohm"},
		fault.Bound{What: "resistance after ten minutes", Value: tenMinuteOhms, Most: 1e15, Unit: "ohm"})
	if err != nil {
		return 0, err
	}
	return tenMinuteOhms / oneMinuteOhms, nil
}
