// Package count has places counted by people who are not shown the record.
//
// Who is told what ought to be there tends to find it. A [Sheet] therefore lists lots
// without quantities. A count that differs from the record is asked for once more, of
// somebody else; two that tell of the same difference settle it. Differences are
// compared, not quantities, so that stock may be drawn between the two counts. What is
// settled becomes a stock.count beside it: a movement of the difference, with what the
// record said at that moment.
package count

import (
	"cmp"
	"slices"
	"time"

	"pulk/sync/clock"
)

// Lot is a lot of an item, at the place that is counted.
type Lot struct {
	Item clock.Dot
	Name string // of the lot, or empty
}

// Compare orders by item, then lot.
func (l Lot) Compare(m Lot) int { return cmp.Or(l.Item.Compare(m.Item), cmp.Compare(l.Name, m.Name)) }

// Entry is what one person counted of a lot, in the item's unit of issue.
type Entry struct {
	ID      clock.Dot
	Lot     Lot
	Person  clock.Dot
	At      time.Time
	Counted int64
	Held    int64  // by the record at that moment, which the counter was not shown
	Alone   string // why the same person counted it again, or empty
	Voided  bool
}

// Difference is what was found beyond the record; below 0 where less was there.
func (e Entry) Difference() int64 { return e.Counted - e.Held }

// Settlement took a difference in.
type Settlement struct {
	ID       clock.Dot
	Lot      Lot
	Movement clock.Dot
	Void     bool // the movement was voided since

	// Knew tells of the entries that it was made from.
	Knew func(entry clock.Dot) bool
}

// Verdict is what an entry leads to.
type Verdict int

// The verdicts.
const (
	Recount Verdict = iota // it differs: somebody else is to count again
	AsHeld                 // it is what the record says
	Within                 // it differs by no more than the tolerance
	Agreed                 // somebody found the same difference before
)

// Judge says what an entry leads to, after the earlier ones of its lot that count.
func Judge(earlier []Entry, next Entry, tolerance int64) Verdict {
	difference := next.Difference()
	switch {
	case difference == 0:
		return AsHeld
	case slices.ContainsFunc(earlier, func(e Entry) bool { return e.Difference() == difference }):
		return Agreed
	case max(difference, -difference) <= tolerance:
		return Within
	}
	return Recount
}

// Line is a lot of a sheet and how far its count has come.
type Line struct {
	Lot     Lot
	Entries []Entry     // those that count now, the earliest first
	Settled *Settlement // nil while it is open
	Twice   bool        // settled by sites that had not heard of each other: one is too many
}

// Open reports whether the line is still to be counted.
func (l Line) Open() bool { return l.Settled == nil }

// CountedBy reports whether a person has counted the line already.
func (l Line) CountedBy(person clock.Dot) bool {
	return slices.ContainsFunc(l.Entries, func(e Entry) bool { return e.Person == person })
}

// Lines joins the lots that a sheet asks for with what was entered and settled. Lots
// that were entered without being asked for are lines too. The movement of a
// settlement may be voided: then the line is open again, and the entries that led to
// it count no more.
func Lines(asked []Lot, entries []Entry, settlements []Settlement) []Line {
	lines := map[Lot]*Line{}
	line := func(lot Lot) *Line {
		if lines[lot] == nil {
			lines[lot] = &Line{Lot: lot}
		}
		return lines[lot]
	}
	for _, lot := range asked {
		line(lot)
	}
	settlements = slices.SortedFunc(slices.Values(settlements), func(a, b Settlement) int { return a.ID.Compare(b.ID) })
	for _, s := range settlements {
		if l := line(s.Lot); !s.Void {
			l.Twice = l.Settled != nil
			l.Settled = &s
		}
	}
	for _, e := range entries {
		gone := e.Voided || slices.ContainsFunc(settlements, func(s Settlement) bool { return s.Void && s.Lot == e.Lot && s.Knew(e.ID) })
		if !gone {
			l := line(e.Lot)
			l.Entries = append(l.Entries, e)
		}
	}
	var list []Line
	for _, l := range lines {
		slices.SortFunc(l.Entries, func(a, b Entry) int { return cmp.Or(a.At.Compare(b.At), a.ID.Compare(b.ID)) })
		list = append(list, *l)
	}
	slices.SortFunc(list, func(a, b Line) int { return a.Lot.Compare(b.Lot) })
	return list
}
