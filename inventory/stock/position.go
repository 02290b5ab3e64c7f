package stock

import (
	"pulk/schema/decimal"
	"pulk/schema/fault"
	"pulk/schema/kind"
	"pulk/sync/changelog"
)

// Position is where a place is, as far as formulas ask: texts as typed, empty for
// what is not told or to leave it as it is.
type Position struct {
	LatitudeDegrees string // decimal, negative south
	ElevationMetres string // decimal, above sea level; negative for a sea floor
}

// positionFields are the fields of a position with what they may be.
var positionFields = []struct {
	field       kind.FieldID
	what        string
	least, most int64
	of          func(*Position) *string
}{
	{kind.FieldLocationLatitude, "latitude", -90, 90, func(p *Position) *string { return &p.LatitudeDegrees }},
	{kind.FieldLocationElevation, "elevation", -12_000, 9_000, func(p *Position) *string { return &p.ElevationMetres }},
}

// SetPosition says where a place is. It holds for the places within it of which
// nothing else is told. Limits that were worked out from another position are worked
// out again, at every site.
func SetPosition(tx *changelog.Tx, l *Location, p Position, why string) error {
	told := false
	for _, f := range positionFields {
		text := *f.of(&p)
		if text == "" {
			continue
		}
		value, err := decimal.Parse(text)
		if err != nil {
			return fault.Misuse("give it as a decimal number such as -72.50", "the %s: %v", f.what, err)
		}
		if value.Cmp(decimal.Decimal{Mantissa: f.least}) < 0 || value.Cmp(decimal.Decimal{Mantissa: f.most}) > 0 {
			return fault.Misuse("degrees are negative south, metres are above sea level", "the %s %s is not from %d to %d", f.what, value, f.least, f.most)
		}
		tx.AssignText(l.ID, f.field, "", value.String(), why)
		told = true
	}
	if !told {
		return fault.Misuse("give --latitude, --elevation or both", "no position is given")
	}
	return nil
}
