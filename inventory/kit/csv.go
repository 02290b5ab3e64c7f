package kit

import (
	"encoding/csv"
	"io"
	"strconv"

	"pulk/inventory/grid"
)

// columns are those of docs/kit-csv.md.
var columns = []string{"part_number", "name", "basis", "unit_of_issue", "installed", "failures_seen", "unit_hours_seen", "rate_per_hour",
	"rate_low_per_hour", "rate_high_per_hour", "use_ratio", "expected", "sufficient", "there", "send", "odds_now", "odds_sent", "mass_grams", "volume_litres"}

// WriteCSV writes all lines of a plan as CSV (RFC 4180). Texts that a spreadsheet
// would take for a formula get an apostrophe in front.
func (p *Plan) WriteCSV(w io.Writer) error {
	out := csv.NewWriter(w)
	if err := out.Write(columns); err != nil {
		return err
	}
	for _, l := range p.Lines {
		if err := out.Write(l.cells()); err != nil {
			return err
		}
	}
	out.Flush()
	return out.Error()
}

func (l *Line) cells() []string {
	number := func(x float64) string { return strconv.FormatFloat(x, 'g', 6, 64) }
	whole := func(n int64) string { return strconv.FormatInt(n, 10) }
	cells := []string{grid.AsText(l.PartNumber), grid.AsText(l.Name), string(l.Basis), grid.AsText(l.UnitOfIssue), whole(l.Installed), whole(l.Failures), number(l.UnitHoursSeen)}
	if l.Basis == Spare {
		cells = append(cells, number(l.RatePerHour), number(l.RateLowPerHour), number(l.RateHighPerHour), "")
	} else {
		cells = append(cells, "", "", "", number(l.UseRatio))
	}
	cells = append(cells, number(l.Expected), whole(l.Sufficient), whole(l.Good), whole(l.Send))
	if l.OddsKnown {
		cells = append(cells, number(l.OddsNow), number(l.OddsSent))
	} else {
		cells = append(cells, "", "")
	}
	return append(cells, known(whole(l.SendMassGrams), l.MassKnown), known(number(l.SendLitres), l.VolumeKnown))
}

func known(text string, isKnown bool) string {
	if isKnown {
		return text
	}
	return ""
}
