package cable_test

import (
	"errors"
	"fmt"
	"math"
	"testing"

	"pgregory.net/rapid"

	"pulk/checklist/cable"
	"pulk/schema/fault"
)

func TestForces(t *testing.T) {
	for _, c := range []struct {
		name      string
		got       func() (float64, error)
		want, off float64
		source    string
	}{
		{"in_air", func() (float64, error) { return cable.Weight(1000, 0, 0) }, 9806.65, 1e-9, "definition of the kilogram-force, 3rd CGPM (1901)"},
		{"glass_sphere_floats", func() (float64, error) { return cable.Weight(17.7, 0.0430, 1025) }, -258.6, 0.5,
			"a 17-inch glass float of 17.7 kg and about 43 L has about 26 kg of buoyancy in sea water: data sheets of glass floats, from memory"},
		{"copper_in_water", func() (float64, error) { return cable.Weight(8.96, 0.001, 1000) }, 78.06, 0.01, "Archimedes: 8.96 kg of copper are 1 L; 7.96 kg in water"},
		{"steel_held_in_cold", func() (float64, error) { return cable.ColdTension(200e9*1e-4, 12e-6, 50) }, 12000, 1e-6, "2.4 MPa per K in held steel, handbooks, from memory"},
		{"working_load", func() (float64, error) { return cable.WorkingLoad(60_000, 5) }, 12_000, 0, "definition of the safety factor"},
		{"voltage_drop", func() (float64, error) { return cable.VoltageDrop(10, 7.41, 0.1, 20) }, 14.82, 1e-9, "2.5 mm² copper has 7.41 ohm/km at 20 °C (IEC 60228, class 2, from memory); Ohm's law"},
		{"voltage_drop_cold", func() (float64, error) { return cable.VoltageDrop(10, 7.41, 0.1, -30) }, 11.91, 0.01, "IEC 60028: 0.00393 per K, so 0.8035 of the resistance at -30 °C"},
	} {
		t.Run(c.name, func(t *testing.T) {
			got, err := c.got()
			if err != nil || math.Abs(got-c.want) > c.off {
				t.Errorf("%v, %v; want %v ± %v (%s)", got, err, c.want, c.off, c.source)
			}
		})
	}
}

func TestOutside(t *testing.T) {
	for name, call := range map[string]func() (float64, error){
		"negative_length":   cable.Link{LengthKilometres: -1}.Loss,
		"metres_for_km":     cable.Link{LengthKilometres: 4200}.Loss,
		"no_power":          func() (float64, error) { return cable.LossBetween(1, 0) },
		"frozen_insulation": func() (float64, error) { return cable.InsulationAt(20, 100, -30, 10) },
		"dry_beyond_index":  func() (float64, error) { return cable.PolarisationIndex(1e10, 6e9) },
		"heavy":             func() (float64, error) { return cable.Weight(2e6, 0, 0) },
		"factor_of_one":     func() (float64, error) { return cable.WorkingLoad(1000, 1) },
		"not_a_number":      func() (float64, error) { return cable.VoltageDrop(math.NaN(), 1, 1, 20) },
		"cooling_as_change": func() (float64, error) { return cable.ColdTension(1e6, 1e-5, -20) },
	} {
		t.Run(name, func(t *testing.T) {
			var outside *fault.Outside
			if got, err := call(); !errors.As(err, &outside) {
				t.Errorf("%v, %v; want a range", got, err)
			}
		})
	}
}

// Correcting to another temperature and back changes nothing; warmer means less.
func TestInsulationThereAndBack(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		from, to := rapid.Float64Range(-20, 70).Draw(t, "from"), rapid.Float64Range(-20, 70).Draw(t, "to")
		halving := rapid.Float64Range(1, 50).Draw(t, "halving")
		there, err := cable.InsulationAt(to, 100, from, halving)
		if err != nil {
			t.Fatal(err)
		}
		if (there < 100) != (to > from) && there != 100 {
			t.Fatalf("100 at %v is %v at %v", from, there, to)
		}
		if there > 1e15 {
			return
		}
		back, err := cable.InsulationAt(from, there, to, halving)
		if err != nil || math.Abs(back-100) > 1e-9 {
			t.Fatalf("100 at %v is %v at %v, and %v back (%v)", from, there, to, back, err)
		}
	})
}

func ExampleLink_Loss() {
	landing := cable.Link{LengthKilometres: 12.4, DecibelsPerKilometre: 0.25, Splices: 3, DecibelsPerSplice: 0.1, Connectors: 2, DecibelsPerConnector: 0.5}
	decibels, err := landing.Loss()
	fmt.Printf("%.2f dB %v\n", decibels, err)
	// Output: 4.40 dB <nil>
}
