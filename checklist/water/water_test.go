package water_test

import (
	"errors"
	"fmt"
	"math"
	"strings"
	"testing"

	"pgregory.net/rapid"

	"pulk/checklist/water"
	"pulk/schema/fault"
)

// both is a pressure and a depth that should be inverse to each other.
type both struct {
	name            string
	depth, pressure func(value, latitude float64) (float64, error)
	decibarsMax     float64
}

var pairs = []both{
	{"UNESCO 44", water.SeaDepth, water.SeaPressure, 9999},
	{"TEOS-10", water.SeaDepthTEOS10, water.SeaPressureTEOS10, 9999},
	{"hole", water.HoleDepth, water.HolePressure, 4999},
}

// Depth and pressure undo each other, and each grows with the other.
func TestInverse(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		for _, p := range pairs {
			latitude := rapid.Float64Range(-90, 90).Draw(t, "latitude")
			decibars := rapid.Float64Range(0, p.decibarsMax).Draw(t, "decibars")
			depth, err := p.depth(decibars, latitude)
			if err != nil {
				t.Fatal(err)
			}
			back, err := p.pressure(depth, latitude)
			var outside *fault.Outside
			if errors.As(err, &outside) && depth > outside.Most-1 {
				continue // the last metre, which the whole-metre limit cuts off
			}
			if err != nil || math.Abs(back-decibars) > 1e-6 {
				t.Fatalf("%s: %v dbar at %v° is %v m, which is %v dbar (%v)", p.name, decibars, latitude, depth, back, err)
			}
			deeper, err := p.depth(decibars+0.5, latitude)
			if err != nil || deeper <= depth {
				t.Fatalf("%s: %v m at %v dbar, %v m at half a decibar more (%v)", p.name, depth, decibars, deeper, err)
			}
			mirrored, _ := p.depth(decibars, -latitude)
			if mirrored != depth {
				t.Fatalf("%s: %v m north, %v m south", p.name, depth, mirrored)
			}
		}
	})
}

// The two descriptions of sea water differ by about 1 m at most.
func TestDescriptionsAgree(t *testing.T) {
	for decibars := 0.0; decibars <= 10_000; decibars += 500 {
		unesco, _ := water.SeaDepth(decibars, -70)
		teos, _ := water.SeaDepthTEOS10(decibars, -70)
		if difference := math.Abs(unesco - teos); difference > 1.3 {
			t.Errorf("%v dbar: %v m and %v m", decibars, unesco, teos)
		}
	}
}

// A hole of fresh water, against the density of pure water at 0 °C that IAPWS-95
// gives: 999.84 kg/m³ at the surface, 1004.9 at 10 MPa, 1009.8 at 20 MPa (from
// memory, good to 0.1). The mean over the first 1000 m is then about 1002.3, over
// 2000 m 1004.8.
func TestHole(t *testing.T) {
	const south = 9.8321849 // m/s² at the pole, WGS 84 (published)
	for _, c := range []struct{ depth, meanDensity float64 }{{1000, 1002.3}, {2000, 1004.8}} {
		got, err := water.HolePressure(c.depth, -90)
		if want := c.depth * c.meanDensity * south / 1e4; err != nil || math.Abs(got-want) > 0.0005*want {
			t.Errorf("%v m: %v dbar, %v; want %v within 0.05 %%", c.depth, got, err, want)
		}
	}
}

func TestOutside(t *testing.T) {
	for _, c := range []struct {
		name string
		call func() (float64, error)
		says string
	}{
		{"depth over range", func() (float64, error) { return water.SeaDepth(10_001, 0) }, "pressure 10001 dbar is outside 0 to 10000 dbar, the range of depth in sea water (UNESCO 44)"},
		{"latitude", func() (float64, error) { return water.SeaPressure(100, 91) }, "latitude 91 ° is outside -90 to 90 °"},
		{"too deep", func() (float64, error) { return water.SeaPressure(9800, 0) }, "depth 9800 m is outside 0 to 9725 m"},
		{"fresh for freezing", func() (float64, error) { return water.FreezingPoint(2, 0) }, "salinity 2 is outside 4 to 40"},
		{"deep for freezing", func() (float64, error) { return water.FreezingPoint(35, 501) }, "pressure 501 dbar is outside 0 to 500 dbar"},
		{"cold for sound", func() (float64, error) { return water.SoundSpeed(35, -0.1, 0) }, "temperature -0.1 °C is outside 0 to 40 °C"},
		{"not a number", func() (float64, error) { return water.Density(35, math.NaN(), 0) }, "temperature NaN"},
		{"TEOS-10 salinity", func() (float64, error) { return water.DensityTEOS10(43, 0, 0) }, "absolute salinity 43 g/kg is outside 0 to 42 g/kg"},
		{"hole", func() (float64, error) { return water.HolePressure(5001, -90) }, "depth in the hole 5001 m is outside 0 to 5000 m"},
	} {
		t.Run(strings.ReplaceAll(c.name, " ", "_"), func(t *testing.T) {
			got, err := c.call()
			var outside *fault.Outside
			if !errors.As(err, &outside) || !strings.Contains(err.Error(), c.says) {
				t.Errorf("%v, %v; want an error with %q", got, err, c.says)
			}
		})
	}
}

func ExampleHolePressure() {
	decibars, err := water.HolePressure(2450, -90)
	fmt.Printf("%.0f dbar %v\n", decibars, err)
	_, err = water.HolePressure(6000, -90)
	fmt.Println(err)
	// Output:
	// 2424 dbar <nil>
	// depth in the hole 6000 m is outside 0 to 5000 m, the range of a hole filled with fresh water at 0 °C (EOS-80, salinity 0)
}
