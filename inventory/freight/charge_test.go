package freight

import (
	"math"
	"strconv"
	"strings"
	"testing"

	"pgregory.net/rapid"

	"pulk/testdata/checks/published"
)

// TestPublished: rows of testdata/checks/cargo_dangerous_goods.csv, whose sources stand
// in the file.
func TestPublished(t *testing.T) {
	checked := 0
	for _, row := range published.Read(t, "cargo_dangerous_goods.csv") {
		if row.Quantity != "volumetric_weight" && row.Quantity != "chargeable_weight" {
			continue
		}
		tenths := func(key string) int64 { return int64(math.Round(row.Number(t, key) * 10)) } // cm to mm
		step := int64(1)
		if row.Quantity == "chargeable_weight" {
			switch rounding := row.Text(t, "rounding"); {
			case strings.Contains(rounding, "whole kg"):
				step = 1000
			case strings.Contains(rounding, "0.5 kg"):
				step = 500
			default:
				t.Fatalf("%s: rounding %q", row.ID, rounding)
			}
		}
		got, err := ChargeOf([3]int64{tenths("length_cm"), tenths("width_cm"), tenths("height_cm")}, int64(math.Round(row.Number(t, "gross_kg")*1000)), int64(row.Number(t, "divisor")), step)
		if err != nil {
			t.Fatalf("%s: %v", row.ID, err)
		}
		want, err := strconv.ParseFloat(row.Expected, 64)
		if err != nil {
			t.Fatalf("%s: %v", row.ID, err)
		}
		kilograms, tolerance := float64(got.Grams)/1000, 0.0
		if row.Quantity == "volumetric_weight" {
			kilograms, tolerance = got.VolumetricGrams/1000, 1e-5
		}
		if math.Abs(kilograms-want) > tolerance {
			t.Errorf("%s: %v kg; %s has %v", row.ID, kilograms, row.Source, want)
		}
		checked++
	}
	if checked < 15 {
		t.Errorf("%d rows were checked", checked)
	}
}

// TestSteps: what is charged is a whole number of steps, no less than mass and volume
// ask for, and less than a step more than the greater of them.
func TestSteps(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		side := rapid.Int64Range(1, 20_000)
		sides := [3]int64{side.Draw(t, "l"), side.Draw(t, "w"), side.Draw(t, "h")}
		grams, divisor, step := rapid.Int64Range(0, 10_000_000).Draw(t, "g"), rapid.Int64Range(1000, 8000).Draw(t, "divisor"), rapid.Int64Range(1, 2000).Draw(t, "step")
		got, err := ChargeOf(sides, grams, divisor, step)
		if err != nil {
			t.Fatal(err)
		}
		least := max(float64(grams), got.VolumetricGrams)
		if over := float64(got.Grams) - least; got.Grams%step != 0 || over < -1e-6*least || over >= float64(step) {
			t.Errorf("%+v for %v, %d g, divisor %d, step %d", got, sides, grams, divisor, step)
		}
	})
	for _, bad := range [][6]int64{{0, 1, 1, 1, 6000, 500}, {1, 1, 1, -1, 6000, 500}, {1, 1, 1, 1, 0, 500}, {1, 1, 1, 1, 6000, 0}, {2_000_000, 1, 1, 1, 6000, 500}} {
		if got, err := ChargeOf([3]int64{bad[0], bad[1], bad[2]}, bad[3], bad[4], bad[5]); err == nil {
			t.Errorf("%v: %+v", bad, got)
		}
	}
}
