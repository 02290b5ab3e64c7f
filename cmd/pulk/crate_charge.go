package main

import (
	"fmt"
	"math"

	"github.com/urfave/cli/v2"

	"pulk/inventory/crate"
	"pulk/inventory/freight"
	"pulk/schema/fault"
)

// chargeRow is what boxes alike are charged as.
type chargeRow struct {
	Box        string  `json:"box"`
	Name       string  `json:"name"`
	Count      int     `json:"count"`
	MassGrams  int64   `json:"mass_grams"`       // of one
	Volumetric float64 `json:"volumetric_grams"` // of one
	Charged    int64   `json:"charged_grams"`    // of one
	ByVolume   bool    `json:"by_volume"`        // its volume is what counts
}

func (e *env) crateCharge() *cli.Command {
	return verb{path: "pulk crate charge", usage: "what air freight charges boxes for: mass or volume", storeless: true, reads: true,
		about: "Each box is charged for its mass or for its volume over the divisor, whichever is more, rounded up. The carrier's tariff stands before this; " +
			"carriers round each side to whole centimetres first.",
		examples: []string{"pulk crate charge --boxes boxes.csv", "pulk crate charge --boxes boxes.csv --divisor 5000 --step 1000"},
		flags: []cli.Flag{
			&cli.StringFlag{Name: "boxes", Usage: "CSV `FILE` of boxes; columns: docs/crate-csv.md"},
			&cli.Int64Flag{Name: "divisor", Value: freight.AirDivisor, Usage: "volume that counts as a kilogram, in `CM³`"},
			&cli.Int64Flag{Name: "step", Value: freight.AirStepGrams, Usage: "round up to a multiple of so many `GRAMS`"}},
		action: (*call).chargeBoxes}.command(e)
}

func (c *call) chargeBoxes() error {
	boxes, err := readTable(c, "boxes", "docs/crate-csv.md", crate.ParseBoxes)
	if err != nil {
		return err
	}
	rows, mass, charged := []chargeRow{}, int64(0), int64(0)
	for _, b := range boxes {
		sides := [3]int64{int64(b.Size[0]), int64(b.Size[1]), int64(b.Size[2])}
		charge, err := freight.ChargeOf(sides, b.MassGrams, c.Int64("divisor"), c.Int64("step"))
		if err != nil {
			return fault.Misuse("like --divisor 6000 --step 500", "%s: %s", b.ID, err)
		}
		rows = append(rows, chargeRow{b.ID, b.Name, b.Count, b.MassGrams, math.Round(charge.VolumetricGrams), charge.Grams, charge.ByVolume})
		mass += b.MassGrams * int64(b.Count)
		charged += charge.Grams * int64(b.Count)
	}
	if c.asJSON() {
		return c.printJSON(rows)
	}
	t := newTable("box", "name", "count", "kg", "by volume kg", "charged kg", "for")
	kg := func(grams float64) string { return fmt.Sprintf("%.1f", grams/1000) }
	for _, r := range rows {
		of := "mass"
		if r.ByVolume {
			of = "volume"
		}
		t.add(r.Box, r.Name, r.Count, kg(float64(r.MassGrams)), kg(r.Volumetric), kg(float64(r.Charged)), of)
	}
	t.print(c.env, "")
	c.printf("\nIn all: %s kg, charged as %s kg (%d cm³ a kilogram, each piece by itself rounded up to %d g).\n", kg(float64(mass)), kg(float64(charged)), c.Int64("divisor"), c.Int64("step"))
	return nil
}
