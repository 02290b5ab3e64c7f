package stock

import (
	"slices"
	"strconv"
	"strings"

	"pulk/inventory/grid"
	"pulk/schema/fault"
	"pulk/schema/kind"
	"pulk/sync/change"
	"pulk/sync/changelog"
)

// Bounds of a catalogue file.
const (
	MaxCatalogueBytes = 4 << 20
	MaxCatalogueRows  = 20_000
)

// UnitsOfIssue are those that quantities are counted in.
var UnitsOfIssue = []string{"each", "set", "pair", "pack", "roll", "m", "kg", "g", "L", "mL"}

var catalogueColumns = []grid.Column[Item]{
	grid.Of("part_number", func(it *Item, cell string) string { it.PartNumber = cell; return grid.Needed(cell) }),
	grid.Of("name", func(it *Item, cell string) string { it.Name = cell; return grid.Needed(cell) }),
	grid.Of("group", func(it *Item, cell string) string { it.Group = cell; return "" }),
	grid.Of("unit_of_issue", func(it *Item, cell string) string {
		it.UnitOfIssue = cell
		if !slices.Contains(UnitsOfIssue, cell) {
			return "one of " + strings.Join(UnitsOfIssue, ", ")
		}
		return ""
	}),
	grid.Of("serialised", func(it *Item, cell string) string {
		it.Serialised = cell == "yes"
		if cell != "yes" && cell != "no" {
			return "yes or no"
		}
		return ""
	}),
	grid.Of("mass_grams", number(func(it *Item) *int64 { return &it.MassGrams })),
	grid.Of("length_mm", number(func(it *Item) *int64 { return &it.LengthMM })),
	grid.Of("width_mm", number(func(it *Item) *int64 { return &it.WidthMM })),
	grid.Of("height_mm", number(func(it *Item) *int64 { return &it.HeightMM })),
	grid.Of("shelf_life_days", number(func(it *Item) *int64 { return &it.ShelfLifeDays })),
	grid.Of("un_number", func(it *Item, cell string) string {
		it.UNNumber = cell
		if cell != "" && (len(cell) != 4 || strings.Trim(cell, "0123456789") != "") {
			return "the four digits of a UN number, or nothing"
		}
		return ""
	}),
	grid.Of("price_cents", number(func(it *Item) *int64 { return &it.PriceCents })),
	grid.Of("prior_mtbf_hours", number(func(it *Item) *int64 { return &it.PriorMTBFHours })),
}

// maxNumber keeps every sum of quantities, masses and prices far from overflow.
const maxNumber = 1_000_000_000_000

func number(field func(*Item) *int64) func(*Item, string) string {
	return func(it *Item, cell string) string {
		if cell == "" {
			return ""
		}
		n, err := strconv.ParseInt(cell, 10, 64)
		if err != nil || n < 0 || n > maxNumber || cell != strconv.FormatInt(n, 10) {
			return "a whole number from 0, or nothing"
		}
		*field(it) = n
		return ""
	}
}

// catalogueForm is what a catalogue looks like: the columns of testdata/README.md in
// that order.
var catalogueForm = grid.Form[Item]{Columns: catalogueColumns, Keys: []grid.Key{{Column: 0, Noun: "part number"}}, BytesMax: MaxCatalogueBytes, RowsMax: MaxCatalogueRows}

// ParseCatalogue reads a catalogue. It returns either items or what is wrong with
// every bad cell, never both.
func ParseCatalogue(source []byte) ([]*Item, []grid.CellError) { return catalogueForm.Parse(source) }

// Imported tells what importing a catalogue did.
type Imported struct {
	Added, Changed, Same int
}

// Import takes a catalogue into the store: new part numbers are added, of known
// ones the cells that differ are assigned. Nothing is taken away.
func Import(tx *changelog.Tx, items []*Item) (Imported, error) {
	var done Imported
	for _, it := range items {
		ids, err := itemsByPart(tx, it.PartNumber)
		if err != nil {
			return done, err
		}
		if len(ids) > 1 {
			return done, fault.Hint("see: pulk conflict list", "%d items have the part number %q", len(ids), it.PartNumber)
		}
		if len(ids) == 0 {
			tx.Add(it.addition())
			done.Added++
			continue
		}
		known, err := ItemByID(tx, ids[0])
		if err != nil {
			return done, err
		}
		if n := assignDifferences(tx, known, it); n > 0 {
			done.Changed++
		} else {
			done.Same++
		}
	}
	return done, nil
}

func (it *Item) addition() change.Change {
	serialised := int64(0)
	if it.Serialised {
		serialised = 1
	}
	return change.New(kind.ItemAdd, change.Text(it.PartNumber), change.Text(it.Name), change.Text(it.Group), change.Text(it.UnitOfIssue),
		change.Num(serialised), change.Num(it.MassGrams), change.Num(it.LengthMM), change.Num(it.WidthMM), change.Num(it.HeightMM),
		change.Num(it.ShelfLifeDays), change.Text(it.UNNumber), change.Num(it.PriceCents), change.Num(it.PriorMTBFHours))
}

// assignDifferences assigns the fields in which next differs, and says how many.
func assignDifferences(tx *changelog.Tx, known, next *Item) int {
	before, after := known.addition(), next.addition()
	n := 0
	for _, set := range kind.ItemAdd.Sets {
		was, is := before.Values[set.Value], after.Values[set.Value]
		if was == is {
			continue
		}
		n++
		if kind.ItemAdd.Columns[set.Value].Type == kind.Text {
			tx.AssignText(known.ID, set.Field, "", is.Text, "catalogue")
		} else {
			tx.AssignInt(known.ID, set.Field, "", is.Num, "catalogue")
		}
	}
	return n
}
