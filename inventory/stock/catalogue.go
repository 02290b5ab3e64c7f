package stock

import (
	"bytes"
	"encoding/csv"
	"errors"
	"fmt"
	"io"
	"slices"
	"strconv"
	"strings"
	"unicode/utf8"

	"pulk/schema/fault"
	"pulk/schema/kind"
	"pulk/sync/change"
	"pulk/sync/changelog"
)

// Bounds of a catalogue file.
const (
	MaxCatalogueBytes = 8 << 20
	MaxCatalogueRows  = 100_000
	maxCell           = 1000
)

// UnitsOfIssue are those that quantities are counted in.
var UnitsOfIssue = []string{"each", "set", "pair", "pack", "roll", "m", "kg", "g", "L", "mL"}

// CellError says what is wrong with one cell of a catalogue file.
type CellError struct {
	Line, Column int // from 1; Column counts cells, 0 is the line as a whole
	What         string
	Expected     string
}

func (e CellError) String() string {
	text := fmt.Sprintf("%d:%d: %s", e.Line, e.Column, e.What)
	if e.Expected != "" {
		text += "; expected " + e.Expected
	}
	return text
}

// catalogueColumn is a column of the file, and how a cell of it is read.
type catalogueColumn struct {
	name string
	read func(it *Item, cell string) (expected string)
}

var catalogueColumns = []catalogueColumn{
	{"part_number", func(it *Item, cell string) string { it.PartNumber = cell; return needed(cell) }},
	{"name", func(it *Item, cell string) string { it.Name = cell; return needed(cell) }},
	{"group", func(it *Item, cell string) string { it.Group = cell; return "" }},
	{"unit_of_issue", func(it *Item, cell string) string {
		it.UnitOfIssue = cell
		if !slices.Contains(UnitsOfIssue, cell) {
			return "one of " + strings.Join(UnitsOfIssue, ", ")
		}
		return ""
	}},
	{"serialised", func(it *Item, cell string) string {
		it.Serialised = cell == "yes"
		if cell != "yes" && cell != "no" {
			return "yes or no"
		}
		return ""
	}},
	{"mass_grams", number(func(it *Item) *int64 { return &it.MassGrams })},
	{"length_mm", number(func(it *Item) *int64 { return &it.LengthMM })},
	{"width_mm", number(func(it *Item) *int64 { return &it.WidthMM })},
	{"height_mm", number(func(it *Item) *int64 { return &it.HeightMM })},
	{"shelf_life_days", number(func(it *Item) *int64 { return &it.ShelfLifeDays })},
	{"un_number", func(it *Item, cell string) string {
		it.UNNumber = cell
		if cell != "" && (len(cell) != 4 || strings.Trim(cell, "0123456789") != "") {
			return "the four digits of a UN number, or nothing"
		}
		return ""
	}},
	{"price_cents", number(func(it *Item) *int64 { return &it.PriceCents })},
	{"prior_mtbf_hours", number(func(it *Item) *int64 { return &it.PriorMTBFHours })},
}

func needed(cell string) string {
	if cell == "" {
		return "a text"
	}
	return ""
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

// ParseCatalogue reads a catalogue: CSV (RFC 4180) in UTF-8 with the columns of
// testdata/README.md in that order. It returns either items or what is wrong with
// every bad cell, never both.
func ParseCatalogue(source []byte) ([]*Item, []CellError) {
	if len(source) > MaxCatalogueBytes {
		return nil, []CellError{{Line: 1, What: fmt.Sprintf("the file has %d bytes", len(source)), Expected: fmt.Sprintf("at most %d", MaxCatalogueBytes)}}
	}
	source = bytes.TrimPrefix(source, []byte("\xef\xbb\xbf"))
	if !utf8.Valid(source) {
		return nil, []CellError{{Line: 1 + bytes.Count(source[:validPrefix(source)], []byte("\n")), What: "not UTF-8", Expected: "text saved as UTF-8"}}
	}
	p := catalogueParser{reader: csv.NewReader(bytes.NewReader(source)), lines: map[string]int{}}
	p.reader.FieldsPerRecord = -1
	p.reader.ReuseRecord = true
	p.run()
	if len(p.faults) > 0 {
		return nil, p.faults
	}
	return p.items, nil
}

func validPrefix(source []byte) int {
	n := 0
	for n < len(source) {
		r, size := utf8.DecodeRune(source[n:])
		if r == utf8.RuneError && size <= 1 {
			return n
		}
		n += size
	}
	return n
}

type catalogueParser struct {
	reader *csv.Reader
	items  []*Item
	lines  map[string]int // line of each part number
	faults []CellError
}

// maxFaults bounds how many bad cells are told at once.
const maxFaults = 1000

func (p *catalogueParser) fault(line, column int, expected, format string, args ...any) {
	if len(p.faults) < maxFaults {
		p.faults = append(p.faults, CellError{line, column, fmt.Sprintf(format, args...), expected})
	}
}

func (p *catalogueParser) run() {
	for row := 0; row <= MaxCatalogueRows; row++ {
		cells, err := p.reader.Read()
		line := 0
		if len(cells) > 0 {
			line, _ = p.reader.FieldPos(0)
		}
		var syntax *csv.ParseError
		switch {
		case errors.Is(err, io.EOF) && row == 0:
			p.fault(1, 0, "a line with the names of the columns", "the file is empty")
			return
		case errors.Is(err, io.EOF):
			return
		case errors.As(err, &syntax):
			p.fault(syntax.Line, 0, "quotes as in RFC 4180", "%s", syntax.Err)
			return
		case err != nil:
			p.fault(line, 0, "", "%s", err)
			return
		case row == 0:
			if !p.heading(cells) {
				return
			}
		default:
			p.row(line, cells)
		}
	}
	p.fault(0, 0, fmt.Sprintf("at most %d", MaxCatalogueRows), "too many lines")
}

func (p *catalogueParser) heading(cells []string) bool {
	for i, column := range catalogueColumns {
		if i >= len(cells) {
			p.fault(1, i+1, column.name, "the column is missing")
		} else if cells[i] != column.name {
			p.fault(1, i+1, column.name, "the column is called %q", cut(cells[i]))
		}
	}
	if len(cells) > len(catalogueColumns) {
		p.fault(1, len(catalogueColumns)+1, "nothing", "a column too many")
	}
	return len(p.faults) == 0
}

func (p *catalogueParser) row(line int, cells []string) {
	if len(cells) != len(catalogueColumns) {
		p.fault(line, len(cells), fmt.Sprintf("%d cells", len(catalogueColumns)), "the line has %d cells", len(cells))
		return
	}
	it := &Item{}
	for i, column := range catalogueColumns {
		cell := strings.Clone(cells[i])
		if expected := column.read(it, cell); expected != "" {
			p.fault(line, i+1, expected, "%s is %q", column.name, cut(cell))
		} else if len(cell) > maxCell || strings.ContainsAny(cell, "\x00\n\r") || cell != strings.TrimSpace(cell) {
			p.fault(line, i+1, "one line of text without spaces around it", "%s is %q", column.name, cut(cell))
		}
	}
	if first, ok := p.lines[it.PartNumber]; ok && it.PartNumber != "" {
		p.fault(line, 1, "each part number once", "part number %q stands in line %d already", cut(it.PartNumber), first)
	}
	p.lines[it.PartNumber] = line
	p.items = append(p.items, it)
}

func cut(text string) string {
	if len(text) > 60 {
		return text[:60] + "…"
	}
	return text
}

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
