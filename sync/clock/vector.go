package clock

import (
	"maps"
	"slices"
)

// Vector is a vector clock: for each lane the highest sequence number known.
// A missing lane counts as 0. A nil Vector knows nothing and may be read.
type Vector map[Lane]uint64

// Order is how two vector clocks stand to each other.
type Order int

// The four answers of [Vector.Compare].
const (
	Equal Order = iota
	Before
	After
	Concurrent
)

func (o Order) String() string {
	return [...]string{"equal", "before", "after", "concurrent"}[o]
}

// Compare says whether v happened before, after, at or beside w.
func (v Vector) Compare(w Vector) Order {
	less, more := v.lacks(w), w.lacks(v)
	switch {
	case less && more:
		return Concurrent
	case less:
		return Before
	case more:
		return After
	}
	return Equal
}

// Covers reports whether v has all that w has.
func (v Vector) Covers(w Vector) bool { return !v.lacks(w) }

func (v Vector) lacks(w Vector) bool {
	for lane, seq := range w {
		if v[lane] < seq {
			return true
		}
	}
	return false
}

// Has reports whether a site with clock v knew the change d.
func (v Vector) Has(d Dot) bool { return v[d.Lane] >= d.Seq && d.Seq > 0 }

// Clone returns a copy that may be changed.
func (v Vector) Clone() Vector {
	if v == nil {
		return Vector{}
	}
	return maps.Clone(v)
}

// Merge raises v to know all that w knows.
func (v Vector) Merge(w Vector) {
	for lane, seq := range w {
		v[lane] = max(v[lane], seq)
	}
}

// Lanes returns the lanes in order.
func (v Vector) Lanes() []Lane {
	return slices.SortedFunc(maps.Keys(v), Lane.Compare)
}
