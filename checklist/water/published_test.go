package water_test

import (
	"math"
	"testing"

	"pulk/checklist/water"
	"pulk/testdata/checks/published"
)

// UNESCO 44 is written in temperatures of the scale of 1968.
func celsius(t *testing.T, row published.Row) float64 {
	return row.Number(t, "temp_c_ipts68") / 1.00024
}

func density(t *testing.T, row published.Row, salinity, celsius float64) float64 {
	return published.Must(water.Density(salinity, celsius, row.Number(t, "pressure_dbar")))(t)
}

func ownDensity(t *testing.T, row published.Row) float64 {
	return density(t, row, row.Number(t, "salinity_pss78"), celsius(t, row))
}

var computed = map[string]func(*testing.T, published.Row) float64{
	"depth_from_pressure_unesco83": func(t *testing.T, row published.Row) float64 {
		return published.Must(water.SeaDepth(row.Number(t, "pressure_dbar"), row.Number(t, "latitude_deg")))(t)
	},
	"freezing_point_unesco83": func(t *testing.T, row published.Row) float64 {
		return 1.00024 * published.Must(water.FreezingPoint(row.Number(t, "salinity_pss78"), row.Number(t, "pressure_dbar")))(t)
	},
	"sound_speed_unesco83": func(t *testing.T, row published.Row) float64 {
		return published.Must(water.SoundSpeed(row.Number(t, "salinity_pss78"), celsius(t, row), row.Number(t, "pressure_dbar")))(t)
	},
	"density_eos80":         ownDensity,
	"density_anomaly_eos80": func(t *testing.T, row published.Row) float64 { return ownDensity(t, row) - 1000 },
	// Printed as reciprocals of the densities printed beside them, which have five
	// digits after the point: what those were rounded by shows in the ninth digit.
	"specific_volume_eos80": func(t *testing.T, row published.Row) float64 {
		return 1e3 / (math.Round(ownDensity(t, row)*1e5) / 1e5)
	},
	"specific_volume_anomaly_eos80": func(t *testing.T, row published.Row) float64 {
		return 1e8 * (1/ownDensity(t, row) - 1/density(t, row, 35, 0))
	},
	"z_from_p_teos10": func(t *testing.T, row published.Row) float64 {
		return -published.Must(water.SeaDepthTEOS10(row.Number(t, "pressure_dbar"), row.Number(t, "latitude_deg")))(t)
	},
	"p_from_z_teos10": func(t *testing.T, row published.Row) float64 {
		return published.Must(water.SeaPressureTEOS10(-row.Number(t, "z_m"), row.Number(t, "latitude_deg")))(t)
	},
	"gravity_teos10": func(t *testing.T, row published.Row) float64 {
		return published.Must(water.Gravity(row.Number(t, "pressure_dbar"), row.Number(t, "latitude_deg")))(t)
	},
	"sound_speed_teos10": func(t *testing.T, row published.Row) float64 {
		return published.Must(water.SoundSpeedTEOS10(row.Number(t, "SA_g_kg"), row.Number(t, "CT_c"), row.Number(t, "pressure_dbar")))(t)
	},
	"density_teos10": func(t *testing.T, row published.Row) float64 {
		return published.Must(water.DensityTEOS10(row.Number(t, "SA_g_kg"), row.Number(t, "CT_c"), row.Number(t, "pressure_dbar")))(t)
	},
}

func TestSeaWater(t *testing.T) { published.Check(t, "seawater.csv", 342, computed) }
