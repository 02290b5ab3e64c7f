// Package manifest sends crates from place to place and takes them in at the far end.
//
// A crate is a location with sides; what is in it lies at it. A [Manifest] is the list
// of crates that go together, with what was in each when it was made. While they are
// under way they are at a location of its own, so that nothing counts as there before
// it has arrived. At the far end crates and pieces are scanned; booking a crate takes
// it in: what differs from the list becomes a movement (short, over) or a
// nonconformance (damaged, at a wrong temperature). What is short stays under way by
// the record, until it is found or written off.
package manifest

import (
	"cmp"
	"slices"
	"time"

	"pulk/inventory/stock"
	"pulk/schema/decimal"
	"pulk/sync/clock"
)

// Line is what is in a crate: a quantity of a lot, in the item's unit of issue, or a
// unit with what is installed in it.
type Line struct {
	Item     clock.Dot
	Lot      string
	Unit     clock.Dot // none for stock
	Quantity int64     // 1 for a unit
	Grams    int64     // of all of it; 0 where nothing is known
}

// Piece is what a line is about.
type Piece struct {
	Item clock.Dot
	Lot  string
	Unit clock.Dot
}

// Piece is what the line is about.
func (l Line) Piece() Piece { return Piece{l.Item, l.Lot, l.Unit} }

// IsCrate reports whether it is no piece but the crate itself.
func (p Piece) IsCrate() bool { return p.Item.IsZero() && p.Unit.IsZero() }

// Compare orders by item, lot, unit.
func (p Piece) Compare(q Piece) int {
	return cmp.Or(p.Item.Compare(q.Item), cmp.Compare(p.Lot, q.Lot), p.Unit.Compare(q.Unit))
}

// Crate is one piece of a manifest, as it was when that was made.
type Crate struct {
	ID         clock.Dot // the location
	Piece      int       // from 1
	SidesMM    [3]int64
	TareGrams  int64
	GrossGrams int64
	Weighed    bool // the gross mass was read from a scale
	Seal       string
	Kept       stock.Span
	Lines      []Line
}

// Condition is how something arrived.
type Condition int

// The conditions, as they are on the wire.
const (
	Good Condition = iota
	Damaged
	WrongTemperature
)

func (c Condition) String() string {
	return [...]string{"good", "damaged", "wrong temperature"}[min(max(c, 0), WrongTemperature)]
}

// Reading is the lowest and the highest temperature that a logger shows, in °C.
type Reading struct {
	Lowest, Highest decimal.Decimal
	Told            bool
}

// Scan is what somebody found on arrival.
type Scan struct {
	ID        clock.Dot
	Crate     clock.Dot
	Piece     Piece // of nothing for the crate itself
	Quantity  int64
	Condition Condition
	Whole     bool // a crate that was taken unopened, its seal unbroken
	Seal      string
	Logger    Reading
	Note      string
	Person    clock.Dot
	At        time.Time
}

// What is a way to differ from a manifest.
type What int

// The differences, as they are on the wire.
const (
	Short   What = 1 + iota // listed and not found
	Over                    // found and not listed
	Harmed                  // found damaged
	TooWarm                 // found at a temperature that it is not to be kept at, warm or cold
)

func (w What) String() string {
	return [...]string{"", "short", "over", "damaged", "wrong temperature"}[min(max(w, 0), TooWarm)]
}

// Finding is one difference of a crate.
type Finding struct {
	What     What
	Piece    Piece // of nothing: the crate itself
	Quantity int64 // 0 for the crate itself
	Note     string
	Cause    clock.Dot // the scan that showed it, or none
	Became   clock.Dot // the movement or nonconformance, once it is booked
}

// Arrived reports whether a crate was scanned itself, or a piece in it.
func Arrived(crate clock.Dot, scans []Scan) bool {
	return slices.ContainsFunc(scans, func(s Scan) bool { return s.Crate == crate })
}

// Whole reports whether a crate was taken unopened: its seal was found unbroken.
func Whole(crate clock.Dot, scans []Scan) bool {
	return slices.ContainsFunc(scans, func(s Scan) bool { return s.Crate == crate && s.Piece.IsCrate() && s.Whole })
}

// Found is how much of a piece was scanned; of a unit at most 1.
func Found(crate clock.Dot, piece Piece, scans []Scan) int64 {
	n := int64(0)
	for _, s := range scans {
		if s.Crate == crate && s.Piece == piece {
			n += s.Quantity
		}
	}
	if !piece.Unit.IsZero() {
		n = min(n, 1)
	}
	return n
}

// Findings compares what was scanned of a crate with what is listed: the crate itself
// first, then by piece. A crate that was taken whole holds what is listed, but for
// the pieces that were scanned all the same. Of a crate of which nothing was scanned
// there is nothing to find: it has not arrived.
func Findings(c Crate, scans []Scan) []Finding {
	if !Arrived(c.ID, scans) {
		return nil
	}
	found := harm(c, scans)
	whole := Whole(c.ID, scans)
	listed := map[Piece]int64{}
	for _, l := range c.Lines {
		listed[l.Piece()] += l.Quantity
	}
	seen := map[Piece]bool{}
	for _, s := range scans {
		if s.Crate == c.ID && !s.Piece.IsCrate() {
			seen[s.Piece] = true
		}
	}
	for piece, want := range listed {
		got := Found(c.ID, piece, scans)
		switch {
		case whole && !seen[piece]:
		case got < want:
			found = append(found, Finding{What: Short, Piece: piece, Quantity: want - got})
		case got > want:
			found = append(found, Finding{What: Over, Piece: piece, Quantity: got - want})
		}
	}
	for piece := range seen {
		if listed[piece] == 0 {
			found = append(found, Finding{What: Over, Piece: piece, Quantity: Found(c.ID, piece, scans)})
		}
	}
	slices.SortFunc(found, func(a, b Finding) int {
		return cmp.Or(a.Piece.Compare(b.Piece), cmp.Compare(a.What, b.What), a.Cause.Compare(b.Cause))
	})
	return found
}

// harm is what was found damaged, or at a wrong temperature: as somebody said, or as
// the logger of the crate shows.
func harm(c Crate, scans []Scan) []Finding {
	var found []Finding
	for _, s := range scans {
		if s.Crate != c.ID {
			continue
		}
		f := Finding{Piece: s.Piece, Quantity: s.Quantity, Note: s.Note, Cause: s.ID}
		if s.Piece.IsCrate() {
			f.Quantity = 0
		}
		switch {
		case s.Condition == Damaged:
			f.What = Harmed
		case s.Condition == WrongTemperature, s.Logger.Told && !c.Kept.Keeps(s.Logger.Lowest, s.Logger.Highest):
			f.What = TooWarm
		default:
			continue
		}
		found = append(found, f)
	}
	return found
}

// Booking took a crate in at a place.
type Booking struct {
	ID       clock.Dot
	Crate    clock.Dot
	At       clock.Dot
	Note     string
	Person   clock.Dot
	Made     time.Time
	Findings []Finding
}

// Sending says that the crates left.
type Sending struct {
	ID      clock.Dot
	Day     string // YYYY-MM-DD
	Carrier string
	Note    string
}

// Manifest is a list of crates that go together.
type Manifest struct {
	ID        clock.Dot
	Code      string
	Transit   clock.Dot // the location where the crates are while under way
	From, To  clock.Dot
	Needed    string // on site by then, YYYY-MM-DD, or empty
	Route     string
	Consignor string
	Consignee string
	Note      string
	Person    clock.Dot
	Made      time.Time
	VoidWhy   string
	Voided    bool
	Sent      *Sending // nil where nothing is known of it
	Crates    []Crate
	Scans     []Scan // that count, the earliest first
	Bookings  []Booking
}

// Booked is the booking of a crate, the first where there are several; nil for none.
func (m *Manifest) Booked(crate clock.Dot) *Booking {
	for i := range m.Bookings {
		if m.Bookings[i].Crate == crate {
			return &m.Bookings[i]
		}
	}
	return nil
}

// Crate is a crate of the manifest; nil if it is not on it.
func (m *Manifest) Crate(id clock.Dot) *Crate {
	for i := range m.Crates {
		if m.Crates[i].ID == id {
			return &m.Crates[i]
		}
	}
	return nil
}

// GrossGrams is what all crates weigh together.
func (m *Manifest) GrossGrams() int64 {
	n := int64(0)
	for _, c := range m.Crates {
		n += c.GrossGrams
	}
	return n
}

// Litres is the volume of all crates together, outside.
func (m *Manifest) Litres() float64 {
	litres := 0.0
	for _, c := range m.Crates {
		litres += c.Litres()
	}
	return litres
}

// Litres is the volume of a crate, outside.
func (c Crate) Litres() float64 {
	return float64(c.SidesMM[0]) * float64(c.SidesMM[1]) * float64(c.SidesMM[2]) / 1e6
}

// State is how far a manifest has come.
type State string

// The states.
const (
	Made        State = "made"
	UnderWay    State = "under way"
	PartArrived State = "part arrived" // some crates are booked
	Arrives     State = "arrived"      // all are
	IsVoid      State = "voided"
)

// State is how far the manifest has come.
func (m *Manifest) State() State {
	booked := 0
	for _, c := range m.Crates {
		if m.Booked(c.ID) != nil {
			booked++
		}
	}
	switch {
	case m.Voided:
		return IsVoid
	case booked > 0 && booked == len(m.Crates):
		return Arrives
	case booked > 0:
		return PartArrived
	case m.Sent != nil:
		return UnderWay
	}
	return Made
}
