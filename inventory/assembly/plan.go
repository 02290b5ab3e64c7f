package assembly

import (
	"fmt"
	"strings"
	"unicode/utf8"

	"pulk/inventory/grid"
	"pulk/inventory/unit"
	"pulk/schema/decimal"
	"pulk/sync/clock"
)

// Plan says what is to go into each slot of an assembly, in the order of the work.
type Plan struct {
	ID     clock.Dot
	Title  string
	Datum  string           // what depths count from, in words: "collar of hole 6"
	Length *decimal.Decimal // of the assembly, in metres, or nil
	Source clock.Dot        // the revision of the procedure that it was taken from, or none
	Slots  []Slot
}

// Slot is one place of a plan.
type Slot struct {
	Name     string           // unique in the plan
	Part     string           // part number expected; empty means any
	Position *decimal.Decimal // along the assembly from its upper end, in metres, or nil
	Depth    *decimal.Decimal // below the datum, in metres, or nil
	Channel  string           // the fibre or channel it answers on, unique in the plan, or empty
	Note     string
}

// Slot returns the slot with a name, or nil.
func (p *Plan) Slot(name string) *Slot {
	for i := range p.Slots {
		if p.Slots[i].Name == name {
			return &p.Slots[i]
		}
	}
	return nil
}

// Bounds of a plan.
const (
	SlotsMax    = 1000
	bytesMax    = 1 << 20
	channelMax  = 40
	textMax     = 200
	numberMax   = 100_000 // metres
	numberForm  = "metres as a decimal number from -100000 to 100000, or nothing"
	channelForm = "a fibre or channel of 1 to 40 characters without spaces, or nothing"
)

// planForm is what a plan looks like as a file: docs/assembly-plan.md.
var planForm = grid.Form[Slot]{
	Columns: []grid.Column[Slot]{
		grid.Of("slot", func(s *Slot, cell string) string {
			s.Name = cell
			if unit.CheckSlot(cell) != nil {
				return "1 to 40 characters without spaces, colons and commas"
			}
			return ""
		}),
		grid.Of("part_number", func(s *Slot, cell string) string { s.Part = cell; return "" }),
		grid.Of("position_m", metres(func(s *Slot) **decimal.Decimal { return &s.Position })),
		grid.Of("depth_m", metres(func(s *Slot) **decimal.Decimal { return &s.Depth })),
		grid.Of("channel", func(s *Slot, cell string) string {
			s.Channel = cell
			if CheckChannel(cell) != nil {
				return channelForm
			}
			return ""
		}),
		grid.Of("note", func(s *Slot, cell string) string {
			s.Note = cell
			if utf8.RuneCountInString(cell) > textMax {
				return fmt.Sprintf("at most %d characters", textMax)
			}
			return ""
		}),
	},
	Keys:     []grid.Key{{Column: 0, Noun: "slot"}, {Column: 4, Noun: "channel"}},
	BytesMax: bytesMax, RowsMax: SlotsMax,
}

// ParsePlan reads the slots of a plan from CSV as in docs/assembly-plan.md. It returns
// either slots or what is wrong with every bad cell, never both.
func ParsePlan(source []byte) ([]Slot, []grid.CellError) {
	rows, faults := planForm.Parse(source)
	if len(faults) == 0 && len(rows) == 0 {
		return nil, []grid.CellError{{Line: 2, What: "the plan has no slot", Expected: "a line for each slot, in order"}}
	}
	var slots []Slot
	for _, row := range rows {
		slots = append(slots, *row)
	}
	return slots, faults
}

func metres(field func(*Slot) **decimal.Decimal) func(*Slot, string) string {
	return func(s *Slot, cell string) string {
		number, err := ParseMetres(cell)
		if err != nil {
			return numberForm
		}
		*field(s) = number
		return ""
	}
}

// ParseMetres reads a length or depth in metres; nil for no text.
func ParseMetres(text string) (*decimal.Decimal, error) {
	if text == "" {
		return nil, nil
	}
	number, err := decimal.Parse(text)
	if err != nil {
		return nil, err
	}
	if f := number.Float64(); f > numberMax || f < -numberMax {
		return nil, fmt.Errorf("%s m is too far", text)
	}
	return &number, nil
}

// metresText is what ParseMetres reads: the digits as written, or nothing.
func metresText(number *decimal.Decimal) string {
	if number == nil {
		return ""
	}
	return number.String()
}

// CheckChannel refuses what is no channel; none at all is fine.
func CheckChannel(text string) error {
	if len(text) > channelMax || strings.ContainsAny(text, " \t\r\n") {
		return fmt.Errorf("%q is no channel: give %s", text, channelForm)
	}
	return nil
}
