// Package cable computes what a cable should measure and bear: the loss of a fibre
// link, insulation resistance at another temperature, voltage drop, and the tension
// at the top.
//
// Everything is pure, gives the same bits on every machine (see
// [pulk/schema/steady]) and refuses a value outside the range stated with a
// [fault.Outside]. Tension and insulation can kill: a figure from here is the check
// of a figure that a competent person has, by the maker's data and local rules, and
// not a licence to lift or to switch on.
package cable

import (
	"pulk/schema/fault"
	"pulk/schema/steady"
)

// Link is a fibre from connector to connector.
type Link struct {
	LengthKilometres     float64 // 0 to 1,000
	DecibelsPerKilometre float64 // of the fibre at the wavelength measured at, 0 to 10
	Splices              float64 // how many, 0 to 1,000
	DecibelsPerSplice    float64 // 0 to 3
	Connectors           float64 // mated pairs, 0 to 1,000
	DecibelsPerConnector float64 // 0 to 3
}

// Loss returns the loss of a link in dB: that of the fibre, the splices and the
// connectors, added up. Above it an allowance for repairs is the caller's.
//
// Source: the sum rule of ANSI/TIA-568.3 and of ITU-T G.652 appendix I; what each
// part may lose is in those, and in the maker's data. The ranges are common practice:
// beyond them there is a slip of units.
func (l Link) Loss() (float64, error) {
	err := fault.AllWithin("the loss of a fibre link",
		fault.Bound{What: "length", Value: l.LengthKilometres, Most: 1000, Unit: "km"},
		fault.Bound{What: "fibre loss", Value: l.DecibelsPerKilometre, Most: 10, Unit: "dB/km"},
		fault.Bound{What: "number of splices", Value: l.Splices, Most: 1000},
		fault.Bound{What: "splice loss", Value: l.DecibelsPerSplice, Most: 3, Unit: "dB"},
		fault.Bound{What: "number of connectors", Value: l.Connectors, Most: 1000},
		fault.Bound{What: "connector loss", Value: l.DecibelsPerConnector, Most: 3, Unit: "dB"})
	if err != nil {
		return 0, err
	}
	return float64(l.LengthKilometres*l.DecibelsPerKilometre) + float64(l.Splices*l.DecibelsPerSplice) +
		float64(l.Connectors*l.DecibelsPerConnector), nil
}

// LossBetween returns the loss in dB from a power sent to a power received, in one
// unit, each of 1e-12 to 1e6: 10 log10(sent / received).
func LossBetween(sent, received float64) (float64, error) {
	err := fault.AllWithin("the loss between two powers",
		fault.Bound{What: "power sent", Value: sent, Least: 1e-12, Most: 1e6},
		fault.Bound{What: "power received", Value: received, Least: 1e-12, Most: 1e6})
	if err != nil {
		return 0, err
	}
	return float64(10 * steady.Log10(sent/received)), nil
}

// VoltageDrop returns the voltage lost in V along a pair of conductors, there and
// back, at a current of 0 to 1,000 A, a resistance of one conductor of 0 to 10,000
// ohm/km at 20 °C, a length of 0 to 1,000 km and a conductor of -100 to 100 °C.
//
// Source: Ohm's law; copper has 0.00393 of its resistance at 20 °C more for each K
// (IEC 60028 for annealed copper; the range is common practice).
func VoltageDrop(amperes, ohmsPerKilometre, lengthKilometres, conductorCelsius float64) (float64, error) {
	const copperPerKelvin = 0.00393
	err := fault.AllWithin("the voltage drop along copper",
		fault.Bound{What: "current", Value: amperes, Most: 1000, Unit: "A"},
		fault.Bound{What: "resistance", Value: ohmsPerKilometre, Most: 10_000, Unit: "ohm/km"},
		fault.Bound{What: "length", Value: lengthKilometres, Most: 1000, Unit: "km"},
		fault.Bound{What: "conductor temperature", Value: conductorCelsius, Least: -100, Most: 100, Unit: "°C"})
	if err != nil {
		return 0, err
	}
	warmer := 1 + float64(copperPerKelvin*(conductorCelsius-20))
	return steady.Times(2, amperes, ohmsPerKilometre, lengthKilometres, warmer), nil
}
