package cable_test

import (
	"testing"

	"pulk/checklist/cable"
	"pulk/testdata/checks/published"
)

func loss(t *testing.T, row published.Row) float64 {
	link := cable.Link{
		LengthKilometres: row.Number(t, "length_km"), DecibelsPerKilometre: row.Number(t, "fibre_db_per_km"),
		Splices: row.Number(t, "splices"), DecibelsPerSplice: row.Number(t, "splice_db"),
		Connectors: row.Number(t, "connectors"), DecibelsPerConnector: row.Number(t, "connector_db"),
	}
	return published.Must(link.Loss())(t) + row.Number(t, "other_db")
}

func insulationAt(t *testing.T, row published.Row, base, measured float64) float64 {
	return published.Must(cable.InsulationAt(base, measured, row.Number(t, "temp_c"), 10))(t)
}

var computed = map[string]func(*testing.T, published.Row) float64{
	"link_loss_db":   loss,
	"link_margin_db": func(t *testing.T, row published.Row) float64 { return row.Number(t, "budget_db") - loss(t, row) },
	"loss_db_from_powers": func(t *testing.T, row published.Row) float64 {
		return published.Must(cable.LossBetween(row.Number(t, "power_in_mw"), row.Number(t, "power_out_mw")))(t)
	},
	"dbm_from_mw": func(t *testing.T, row published.Row) float64 {
		return published.Must(cable.LossBetween(row.Number(t, "power_mw"), 1))(t)
	},
	"insulation_temp_factor_to_20c": func(t *testing.T, row published.Row) float64 { return insulationAt(t, row, 20, 1) },
	"insulation_temp_factor_to_40c": func(t *testing.T, row published.Row) float64 {
		if row.Text(t, "rule") != "halving per 10 C" {
			t.Skip("the equation for thermosetting windings, from memory, is not offered: cables have no such winding")
		}
		return insulationAt(t, row, 40, 1)
	},
	"insulation_resistance_corrected": func(t *testing.T, row published.Row) float64 {
		return insulationAt(t, row, row.Number(t, "base_c"), row.Number(t, "measured_mohm"))
	},
	"polarisation_index": func(t *testing.T, row published.Row) float64 {
		return published.Must(cable.PolarisationIndex(1e6*row.Number(t, "r_10min_mohm"), 1e6*row.Number(t, "r_1min_mohm")))(t)
	},
}

func TestPublished(t *testing.T) { published.Check(t, "cable_electrical.csv", 38, computed) }
