package stock

import (
	"fmt"
	"strconv"
	"strings"

	"pulk/schema/decimal"
	"pulk/schema/fault"
	"pulk/schema/kind"
	"pulk/sync/changelog"
	"pulk/sync/clock"
)

// Outline is what a crate is from outside. What a crate holds lies at it, as at any
// location; where it stands is the location that it is in.
type Outline struct {
	SidesMM       [3]int64 // length, width, height
	TareGrams     int64    // empty
	GrossGramsMax int64    // packed, at most; 0 where nothing is told
	Kept          Span     // between which temperatures
}

// IsCrate reports whether the location is a crate.
func (l *Location) IsCrate() bool { return l.Outline.SidesMM != [3]int64{} }

// Span is between which temperatures, in °C, something is kept. The zero Span is
// none.
type Span struct {
	Lowest, Highest decimal.Decimal
	Told            bool
}

// ParseSpan reads a span as -20..5; an empty text is none.
func ParseSpan(text string) (Span, error) {
	if text == "" {
		return Span{}, nil
	}
	low, high, cut := strings.Cut(text, "..")
	s := Span{Told: true}
	var errs [2]error
	s.Lowest, errs[0] = decimal.Parse(low)
	s.Highest, errs[1] = decimal.Parse(high)
	if !cut || errs[0] != nil || errs[1] != nil || s.Lowest.Cmp(s.Highest) >= 0 ||
		s.Lowest.Cmp(decimal.Decimal{Mantissa: -273}) < 0 || s.Highest.Cmp(decimal.Decimal{Mantissa: 1000}) > 0 {
		return Span{}, fault.Misuse("like -20..5, in °C, the lower one first", "%q is no span of temperatures", text)
	}
	return s, nil
}

func (s Span) String() string {
	if !s.Told {
		return ""
	}
	return s.Lowest.String() + ".." + s.Highest.String()
}

// Keeps reports whether a lowest and a highest temperature lie within the span. None
// lies outside of one that is not told.
func (s Span) Keeps(lowest, highest decimal.Decimal) bool {
	return !s.Told || s.Lowest.Cmp(lowest) <= 0 && s.Highest.Cmp(highest) >= 0
}

// Bounds of what is told of a crate.
const (
	MaxSideMM     = 100_000
	MaxCrateGrams = 1_000_000_000
)

// ParseSides reads outer sides in mm, as 1200x800x600: length, width, height.
func ParseSides(text string) ([3]int64, error) {
	var sides [3]int64
	parts := strings.Split(strings.ToLower(strings.ReplaceAll(text, "×", "x")), "x")
	ok := len(parts) == 3
	for i := 0; ok && i < 3; i++ {
		n, err := strconv.ParseInt(strings.TrimSpace(parts[i]), 10, 64)
		sides[i], ok = n, err == nil && n >= 1 && n <= MaxSideMM
	}
	if !ok {
		return [3]int64{}, fault.Misuse("like 1200x800x600: length, width and height outside, in mm", "%q are no three sides", text)
	}
	return sides, nil
}

// SidesText is the sides as they are typed.
func SidesText(sides [3]int64) string { return fmt.Sprintf("%dx%dx%d", sides[0], sides[1], sides[2]) }

// apply takes in the value of a field. What a damaged program wrote reads as not told.
func (o *Outline) apply(field kind.FieldID, v changelog.Value) {
	switch field {
	case kind.FieldLocationOutside:
		o.SidesMM, _ = ParseSides(v.Text)
	case kind.FieldLocationTareGrams:
		o.TareGrams = v.Int
	case kind.FieldLocationGrossMaxGrams:
		o.GrossGramsMax = v.Int
	case kind.FieldLocationKept:
		o.Kept, _ = ParseSpan(v.Text)
	}
}

// SetOutline makes a location a crate, or changes what is told of one.
func SetOutline(tx *changelog.Tx, l *Location, o Outline, why string) error {
	switch {
	case min(o.SidesMM[0], o.SidesMM[1], o.SidesMM[2]) < 1:
		return fault.Misuse("give them with --outside 1200x800x600, in mm", "a crate has a length, a width and a height")
	case o.TareGrams < 0 || o.GrossGramsMax < 0 || max(o.TareGrams, o.GrossGramsMax) > MaxCrateGrams:
		return fault.Misuse("from 0 to a thousand tonnes", "no crate weighs that")
	case o.GrossGramsMax > 0 && o.GrossGramsMax <= o.TareGrams:
		return fault.Misuse("the most that it may weigh packed is more than it weighs empty", "the crate may hold nothing")
	}
	was := l.Outline
	if was.SidesMM != o.SidesMM {
		tx.AssignText(l.ID, kind.FieldLocationOutside, "", SidesText(o.SidesMM), why)
	}
	if was.TareGrams != o.TareGrams || !l.IsCrate() {
		tx.AssignInt(l.ID, kind.FieldLocationTareGrams, "", o.TareGrams, why)
	}
	if was.GrossGramsMax != o.GrossGramsMax {
		tx.AssignInt(l.ID, kind.FieldLocationGrossMaxGrams, "", o.GrossGramsMax, why)
	}
	if was.Kept.String() != o.Kept.String() {
		tx.AssignText(l.ID, kind.FieldLocationKept, "", o.Kept.String(), why)
	}
	return nil
}

// Put says that a location, with all that lies at it and in it, is in another now; nowhere
// where to is none.
func Put(tx *changelog.Tx, l *Location, to clock.Dot, why string) error {
	places, err := Locations(tx)
	if err != nil {
		return err
	}
	if Within(places, l.ID)[to] {
		return fault.Misuse("name the place that it stands at", "%s cannot be in itself", l.Code)
	}
	tx.AssignRef(l.ID, kind.FieldLocationParent, "", to, why)
	return nil
}

// Voided reports whether something that is no entry of a run was voided, and why.
func Voided(tx *changelog.Tx, id clock.Dot) (bool, string, error) {
	var why string
	found, err := tx.Row("SELECT why FROM loose_void WHERE target = ? ORDER BY dot LIMIT 1", []any{id.Key()}, &why)
	return found, why, err
}
