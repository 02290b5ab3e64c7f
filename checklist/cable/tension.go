package cable

import (
	"pulk/schema/fault"
	"pulk/schema/steady"
)

// StandardGravity is the conventional acceleration of gravity in m/s². That of a
// place differs from it by at most 0.3 %.
//
// Source: 3rd CGPM (1901); ISO 80000-3.
const StandardGravity = 9.80665

// Weight returns the force in N with which a mass of 0 to 1,000,000 kg hangs in a
// fluid, of which it pushes away 0 to 1,000 m³ of 0 to 2,000 kg/m³. In air let the
// volume be 0. Below 0 it floats. The tension at the top of a cable is the sum of the
// weights of what hangs on it, the cable included; motion, ice and drag come on top.
//
// Source: Archimedes' principle; the ranges are common practice.
func Weight(massKilograms, volumeCubicMetres, fluidKilogramsPerCubicMetre float64) (float64, error) {
	err := fault.AllWithin("weight in a fluid",
		fault.Bound{What: "mass", Value: massKilograms, Most: 1e6, Unit: "kg"},
		fault.Bound{What: "volume", Value: volumeCubicMetres, Most: 1000, Unit: "m³"},
		fault.Bound{What: "density", Value: fluidKilogramsPerCubicMetre, Most: 2000, Unit: "kg/m³"})
	if err != nil {
		return 0, err
	}
	return float64(StandardGravity * (massKilograms - float64(volumeCubicMetres*fluidKilogramsPerCubicMetre))), nil
}

// ColdTension returns the tension in N that cooling adds to a cable which is held at
// both ends, as by refrozen ice: stiffness (modulus times section, 0 to 1e9 N) times
// expansion (0 to 1e-3 per K) times cooling (0 to 100 K). A cable that hangs freely
// gets shorter instead.
//
// Source: Hooke's law; stiffness and expansion are the maker's. The ranges are common
// practice.
func ColdTension(stiffnessNewtons, expansionPerKelvin, coolingKelvin float64) (float64, error) {
	err := fault.AllWithin("the tension of a held cable in cold",
		fault.Bound{What: "stiffness", Value: stiffnessNewtons, Most: 1e9, Unit: "N"},
		fault.Bound{What: "expansion", Value: expansionPerKelvin, Most: 1e-3, Unit: "per K"},
		fault.Bound{What: "cooling", Value: coolingKelvin, Most: 100, Unit: "K"})
	if err != nil {
		return 0, err
	}
	return steady.Times(stiffnessNewtons, expansionPerKelvin, coolingKelvin), nil
}

// WorkingLoad returns the load in N that a cable or sling of a breaking load of 0 to
// 1e9 N may bear with a safety factor of 2 to 20.
//
// Source: the definition of the safety factor. Which one holds is for the rules of
// the site and the maker: 5 for lifting wire rope and 10 where people hang are common
// practice.
func WorkingLoad(breakingNewtons, safetyFactor float64) (float64, error) {
	err := fault.AllWithin("a working load",
		fault.Bound{What: "breaking load", Value: breakingNewtons, Most: 1e9, Unit: "N"},
		fault.Bound{What: "safety factor", Value: safetyFactor, Least: 2, Most: 20})
	if err != nil {
		return 0, err
	}
	return breakingNewtons / safetyFactor, nil
}
