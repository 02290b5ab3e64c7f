package freight

import (
	"fmt"
	"math"
	"strconv"

	"pulk/inventory/grid"
)

// Bounds of the table.
const (
	MaxBytes = 1 << 18
	MaxLegs  = 50
)

// row is a line of the table as it is read, before its cells are held against each other.
type row struct {
	Leg
	departs       string
	from, until   Day
	season        [2]bool // which ends are told
	cancel        float64
	hasCancel     bool
	after         [2]float64
	hasAfter      [2]bool
	tripsAreKnown bool
}

var legForm = grid.Form[row]{BytesMax: MaxBytes, RowsMax: MaxLegs, Keys: []grid.Key{{Column: 0, Noun: "leg"}}, Columns: []grid.Column[row]{
	grid.Of("leg", func(r *row, cell string) string { r.Code = cell; return grid.Needed(cell) }),
	grid.Of("from", func(r *row, cell string) string { r.From = cell; return grid.Needed(cell) }),
	grid.Of("to", func(r *row, cell string) string { r.To = cell; return grid.Needed(cell) }),
	grid.Of("mode", func(r *row, cell string) string { r.Mode = cell; return grid.Needed(cell) }),
	grid.Of("departs", func(r *row, cell string) string { r.departs = cell; return grid.Needed(cell) }),
	grid.Of("season_from", func(r *row, cell string) string { return date(cell, &r.from, &r.season[0]) }),
	grid.Of("season_until", func(r *row, cell string) string { return date(cell, &r.until, &r.season[1]) }),
	grid.Of("cutoff_days", func(r *row, cell string) string { return count(cell, 0, MaxDays, 0, &r.CutoffDays) }),
	grid.Of("transit_days", func(r *row, cell string) string {
		var err error
		if r.Transit, err = ParseTransit(cell); err != nil {
			return err.Error()
		}
		return ""
	}),
	grid.Of("cancel", func(r *row, cell string) string { return share(cell, &r.cancel, &r.hasCancel) }),
	grid.Of("good_after_good", func(r *row, cell string) string { return share(cell, &r.after[0], &r.hasAfter[0]) }),
	grid.Of("bad_after_bad", func(r *row, cell string) string { return share(cell, &r.after[1], &r.hasAfter[1]) }),
	grid.Of("retry_days", func(r *row, cell string) string { return count(cell, 0, MaxDays, 0, &r.RetryDays) }),
	grid.Of("window_days", func(r *row, cell string) string { return count(cell, 1, maxWindow, 1, &r.WindowDays) }),
	grid.Of("trips", func(r *row, cell string) string {
		r.tripsAreKnown = cell != ""
		return count(cell, 1, maxTrips, 1, &r.Trips)
	}),
	grid.Of("trip_mass_grams", func(r *row, cell string) string { return limit(cell, 1_000_000_000_000, &r.Limits.Grams) }),
	grid.Of("trip_volume_litres", func(r *row, cell string) string { return limit(cell, 1_000_000_000, &r.Limits.Litres) }),
	grid.Of("trip_pieces", func(r *row, cell string) string {
		if cell == "" {
			return ""
		}
		return count(cell, 1, maxFitPieces, 0, &r.Limits.Pieces)
	}),
	grid.Of("piece_mass_grams", func(r *row, cell string) string { return limit(cell, 1_000_000_000, &r.Limits.PieceGrams) }),
	grid.Of("door_wide_mm", func(r *row, cell string) string { return limit(cell, 100_000, &r.Limits.Door[0]) }),
	grid.Of("door_high_mm", func(r *row, cell string) string { return limit(cell, 100_000, &r.Limits.Door[1]) }),
	grid.Of("divisor_cm3_per_kg", func(r *row, cell string) string { return limit(cell, 1_000_000, &r.Limits.Divisor) }),
	grid.Of("charge_step_grams", func(r *row, cell string) string { return limit(cell, 1_000_000, &r.Limits.StepGrams) }),
}}

// ParseLegs reads a table of legs, in their order: a route, or what is wrong with every bad
// cell, or what its cells say that cannot be. Counted tells of each leg whether its table
// says how many trips the load takes.
func ParseLegs(source []byte) (route Route, counted []bool, faults []grid.CellError, err error) {
	rows, faults := legForm.Parse(source)
	if len(faults) > 0 {
		return nil, nil, faults, nil
	}
	for _, r := range rows {
		l, err := r.leg()
		if err != nil {
			return nil, nil, nil, fmt.Errorf("leg %s: %w", r.Code, err)
		}
		route, counted = append(route, l), append(counted, r.tripsAreKnown)
	}
	if err := route.Check(); err != nil {
		return nil, nil, nil, err
	}
	return route, counted, nil, nil
}

// leg holds the cells of a line against each other.
func (r *row) leg() (Leg, error) {
	l := r.Leg
	dated := r.departs[0] >= '0' && r.departs[0] <= '9'
	switch {
	case dated && (r.season[0] || r.season[1]):
		return l, fmt.Errorf("departures are dates, or days of a season, not both")
	case !dated && !(r.season[0] && r.season[1]):
		return l, fmt.Errorf("give season_from and season_until, between which it departs %s", r.departs)
	}
	var err error
	if l.Departures, err = ParseDepartures(r.departs, r.from, r.until); err != nil {
		return l, err
	}
	switch {
	case r.hasAfter[0] != r.hasAfter[1]:
		return l, fmt.Errorf("good_after_good and bad_after_bad go together")
	case r.hasCancel && r.hasAfter[0]:
		return l, fmt.Errorf("give cancel, or good_after_good and bad_after_bad, not both")
	case r.hasAfter[0]:
		l.Weather = Weather{r.after[0], r.after[1]}
	default:
		l.Weather = Independent(r.cancel)
	}
	if (l.Limits.Door[0] == 0) != (l.Limits.Door[1] == 0) {
		return l, fmt.Errorf("a door has a width and a height")
	}
	if l.Limits.Divisor > 0 && l.Limits.StepGrams == 0 {
		l.Limits.StepGrams = AirStepGrams
	}
	return l, nil
}

func date(cell string, into *Day, told *bool) string {
	if cell == "" {
		return ""
	}
	d, err := ParseDay(cell)
	if err != nil {
		return "a date as 2027-01-20, or nothing"
	}
	*into, *told = d, true
	return ""
}

// count reads a whole number; an empty cell stands for none.
func count(cell string, least, most, none int, into *int) string {
	if *into = none; cell == "" {
		return ""
	}
	n, err := strconv.Atoi(cell)
	if err != nil || n < least || n > most {
		return fmt.Sprintf("a whole number from %d to %d, or nothing for %d", least, most, none)
	}
	*into = n
	return ""
}

func limit(cell string, most int64, into *int64) string {
	if cell == "" {
		return ""
	}
	n, err := strconv.ParseInt(cell, 10, 64)
	if err != nil || n < 1 || n > most {
		return fmt.Sprintf("a whole number from 1 to %d, or nothing for no limit", most)
	}
	*into = n
	return ""
}

func share(cell string, into *float64, told *bool) string {
	if cell == "" {
		return ""
	}
	p, err := strconv.ParseFloat(cell, 64)
	if err != nil || math.IsNaN(p) || p < 0 || p > 1 {
		return "a probability from 0 to 1, or nothing"
	}
	*into, *told = p, true
	return ""
}
