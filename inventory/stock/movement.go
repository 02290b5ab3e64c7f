package stock

import (
	"cmp"
	"maps"
	"slices"

	"pulk/schema/kind"
	"pulk/sync/clock"
)

// Movement is a fact about stock: a quantity of one lot of an item went from one
// place to another. No place means outside: bought, used up, thrown away.
type Movement struct {
	ID       clock.Dot
	Kind     *kind.Kind // how it came about: receive, move, issue, count, scrap
	Item     clock.Dot
	Lot      string
	From, To clock.Dot
	Quantity int64 // above 0; 0 for a count that found what was expected
	Held     int64 // what the person believed to be at From (at At, for a count) before
	Run      clock.Dot
	Step     int // place in the run's revision plus one; 0 for none
	Note     string
	Voided   clock.Dot // the change that voided it, or none
	Instead  clock.Dot // the item in whose place it was taken, or none
}

// Shelf is a lot of an item at a place.
type Shelf struct {
	Item     clock.Dot
	Lot      string
	Location clock.Dot
}

// Compare orders by item, lot, location.
func (s Shelf) Compare(t Shelf) int {
	return cmp.Or(s.Item.Compare(t.Item), cmp.Compare(s.Lot, t.Lot), s.Location.Compare(t.Location))
}

// Balance returns what lies where: the sum of the movements that are not voided.
// Shelves that come to nothing are left out; one below zero shows that more was
// drawn than was there.
func Balance(movements []Movement) map[Shelf]int64 {
	sum := sums{}
	for _, m := range movements {
		sum.add(m)
	}
	return sum.balance()
}

// sums is what movements add up to so far.
type sums map[Shelf]int64

func (s sums) add(m Movement) {
	if !m.Voided.IsZero() {
		return
	}
	if !m.From.IsZero() {
		s[Shelf{m.Item, m.Lot, m.From}] -= m.Quantity
	}
	if !m.To.IsZero() {
		s[Shelf{m.Item, m.Lot, m.To}] += m.Quantity
	}
}

// balance returns the sums without the shelves that come to nothing.
func (s sums) balance() map[Shelf]int64 {
	maps.DeleteFunc(s, func(_ Shelf, n int64) bool { return n == 0 })
	return s
}

// Stack is a lot with what lies of it at one place.
type Stack struct {
	Lot      string
	Quantity int64
	Expires  string // YYYY-MM-DD, or empty

	Quarantined bool
}

// FirstExpired orders lots as they are to be used: what expires first goes first,
// what never expires last, ties by lot.
func FirstExpired(stacks []Stack) []Stack {
	ordered := slices.Clone(stacks)
	slices.SortFunc(ordered, func(a, b Stack) int {
		if (a.Expires == "") != (b.Expires == "") {
			if a.Expires == "" {
				return 1
			}
			return -1
		}
		return cmp.Or(cmp.Compare(a.Expires, b.Expires), cmp.Compare(a.Lot, b.Lot))
	})
	return ordered
}

// Draw is a quantity taken from one lot.
type Draw struct {
	Lot      string
	Quantity int64
	Held     int64 // what lay there before
}

// Pick takes a quantity from lots, first expired first out, leaving out what is in
// quarantine or has expired on the given day (YYYY-MM-DD). missing is what they do not hold.
func Pick(stacks []Stack, quantity int64, day string) (draws []Draw, missing int64) {
	for _, s := range FirstExpired(stacks) {
		if !s.fit(day) {
			continue
		}
		n := min(quantity, s.Quantity)
		if n == 0 {
			break
		}
		draws = append(draws, Draw{s.Lot, n, s.Quantity})
		quantity -= n
	}
	return draws, quantity
}
