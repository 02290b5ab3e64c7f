package kit

import (
	"cmp"
	"fmt"
	"strconv"

	"pulk/inventory/grid"
)

// Class says how much hangs on an item.
type Class int

// The classes, in the words of vital-essential-desirable analysis (common practice).
const (
	Essential Class = iota // counts in the odds
	Vital                  // counts in the odds, and in those of the vital ones alone
	Desirable              // may run out: left at what is there, and out of the odds
)

func (c Class) String() string { return [...]string{"essential", "vital", "desirable"}[c] }

// Terms are what a planner says of one item. The zero value asks for nothing: all
// units must work, pieces go singly, nothing is repaired on site.
type Terms struct {
	Class Class
	// Needed is how many of the units in service must work; 0 is all of them. The
	// others are left dead where no spare is left.
	Needed int64
	// Pack is how many pieces go together; 0 is 1. PackGrams and PackLitres are what
	// one full pack weighs and takes up with its crate; 0 is so many times a piece.
	Pack                  int64
	PackGrams, PackLitres int64
	Least                 int64 // pieces to send
	Most                  int64 // pieces to send; 0 is no limit
	// RepairPercent is how many of a hundred failed units can be repaired on site. Each
	// then takes a time that is exponentially distributed with the mean RepairHours.
	RepairPercent, RepairHours int64
	// Storage are the temperatures between which a piece must be kept.
	Storage Range
}

// Range is a range of temperatures in degrees Celsius; an end that is nil is open.
type Range struct{ Low, High *float64 }

// Breach says by how many degrees a place that is as cold as low and as warm as high
// goes below and above a range; 0 where it does not.
func (r Range) Breach(low, high float64) (below, above float64) {
	if r.Low != nil {
		below = max(0, *r.Low-low)
	}
	if r.High != nil {
		above = max(0, high-*r.High)
	}
	return below, above
}

func (t Terms) pack() int64 { return max(1, t.Pack) }

// whole rounds pieces up to whole packs.
func (t Terms) whole(pieces int64) int64 {
	return (max(0, pieces) + t.pack() - 1) / t.pack() * t.pack()
}

// mostWhole is the most pieces in whole packs that may be sent.
func (t Terms) mostWhole() int64 {
	if t.Most == 0 {
		return mostPieces
	}
	return t.Most / t.pack() * t.pack()
}

func (t Terms) check(installed int64) error {
	switch {
	case t.Needed > installed && installed > 0:
		return &TermsError{fmt.Sprintf("%d of its units must work, and %d are in service", t.Needed, installed)}
	case t.Most > 0 && t.whole(t.Least) > t.mostWhole():
		return t.clash()
	}
	return nil
}

// clash says that the bounds of an item leave no number of packs.
func (t Terms) clash() error {
	return &TermsError{fmt.Sprintf("at least %d and at most %d pieces cannot both be, in packs of %d", t.Least, t.Most, t.pack())}
}

// TermsError says that what is asked of an item cannot be.
type TermsError struct{ What string }

func (e *TermsError) Error() string { return e.What }

// ItemTerms is a row of a table of terms.
type ItemTerms struct {
	PartNumber string
	Terms
}

// Bounds of a table of terms.
const (
	MaxTermsBytes = 1 << 20
	MaxTermsRows  = 20_000
)

const maxCount = 1_000_000_000

var termsForm = grid.Form[ItemTerms]{BytesMax: MaxTermsBytes, RowsMax: MaxTermsRows, Keys: []grid.Key{{Column: 0, Noun: "part number"}}, Columns: []grid.Column[ItemTerms]{
	grid.Of("part_number", func(t *ItemTerms, cell string) string { t.PartNumber = cell; return grid.Needed(cell) }),
	grid.Of("class", func(t *ItemTerms, cell string) string {
		for _, class := range []Class{Essential, Vital, Desirable} {
			if t.Class = class; cmp.Or(cell, "essential") == class.String() {
				return ""
			}
		}
		return "vital, essential, desirable, or nothing for essential"
	}),
	grid.Of("needed", func(t *ItemTerms, cell string) string { return count(cell, 1, maxCount, &t.Needed) }),
	grid.Of("pack", func(t *ItemTerms, cell string) string { return count(cell, 1, maxCount, &t.Pack) }),
	grid.Of("pack_grams", func(t *ItemTerms, cell string) string { return count(cell, 1, maxCount, &t.PackGrams) }),
	grid.Of("pack_litres", func(t *ItemTerms, cell string) string { return count(cell, 1, maxCount, &t.PackLitres) }),
	grid.Of("least", func(t *ItemTerms, cell string) string { return count(cell, 0, maxCount, &t.Least) }),
	grid.Of("most", func(t *ItemTerms, cell string) string { return count(cell, 1, maxCount, &t.Most) }),
	grid.Of("repair_percent", func(t *ItemTerms, cell string) string { return count(cell, 0, 100, &t.RepairPercent) }),
	grid.Of("repair_hours", func(t *ItemTerms, cell string) string {
		if expected := count(cell, 1, maxCount, &t.RepairHours); expected != "" {
			return expected
		}
		if (t.RepairPercent > 0) != (t.RepairHours > 0) {
			return "hours where repair_percent is above 0, and only there"
		}
		return ""
	}),
	grid.Of("store_above_degc", func(t *ItemTerms, cell string) string { return degrees(cell, &t.Storage.Low) }),
	grid.Of("store_below_degc", func(t *ItemTerms, cell string) string {
		if expected := degrees(cell, &t.Storage.High); expected != "" {
			return expected
		}
		if r := t.Storage; r.Low != nil && r.High != nil && *r.Low >= *r.High {
			return "more than store_above_degc"
		}
		return ""
	}),
}}

// degrees reads a temperature or nothing, which leaves it open.
func degrees(cell string, into **float64) string {
	if cell == "" {
		return ""
	}
	x, err := strconv.ParseFloat(cell, 64)
	if err != nil || !(x >= -273.15 && x <= 1000) {
		return "degrees Celsius, as -20, or nothing"
	}
	*into = &x
	return ""
}

// ParseTerms reads a table of terms, whose columns are those of docs/kit-terms.md:
// either rows or what is wrong with every bad cell.
func ParseTerms(source []byte) ([]*ItemTerms, []grid.CellError) { return termsForm.Parse(source) }

// count reads a whole number or nothing, which stays 0.
func count(cell string, least, most int64, into *int64) string {
	if cell == "" {
		return ""
	}
	n, err := strconv.ParseInt(cell, 10, 64)
	if err != nil || n < least || n > most {
		return fmt.Sprintf("a whole number from %d to %d, or nothing", least, most)
	}
	*into = n
	return ""
}
