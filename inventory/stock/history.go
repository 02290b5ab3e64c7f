package stock

import (
	"cmp"
	"slices"

	"pulk/schema/kind"
	"pulk/sync/clock"
)

func (m Movement) isCount() bool { return m.Kind == kind.StockCount }

// shelf is where a count was made: of other movements, where they went to or else came
// from.
func (m Movement) shelf() Shelf {
	if m.To.IsZero() {
		return Shelf{m.Item, m.Lot, m.From}
	}
	return Shelf{m.Item, m.Lot, m.To}
}

// effect is what a movement adds to a shelf; below 0 where it takes away.
func (m Movement) effect(s Shelf) int64 {
	if m.Item != s.Item || m.Lot != s.Lot || !m.Voided.IsZero() {
		return 0
	}
	n := int64(0)
	if m.To == s.Location {
		n += m.Quantity
	}
	if m.From == s.Location {
		n -= m.Quantity
	}
	return n
}

// History is what happened to a shelf where people did not hear of each other.
type History struct {
	Together int64      // what lay there by all that everybody knew
	Since    []Movement // what not everybody knew, lane by lane, each in its order
}

// Branches tells how many lanes wrote what not everybody knew.
func (h History) Branches() int {
	lanes := map[clock.Lane]bool{}
	for _, m := range h.Since {
		lanes[m.ID.Lane] = true
	}
	return len(lanes)
}

// Parted tells the history of a shelf from where the authors of its movements lost sight
// of each other. Everybody is the author of each lane's last movement that no later one
// knew. knows says whether the author of one movement knew another.
func Parted(s Shelf, movements []Movement, knows func(by, of clock.Dot) bool) History {
	last := map[clock.Lane]clock.Dot{}
	here := slices.DeleteFunc(slices.Clone(movements), func(m Movement) bool { return m.effect(s) == 0 })
	for _, m := range here {
		if seen, ok := last[m.ID.Lane]; !ok || seen.Compare(m.ID) < 0 {
			last[m.ID.Lane] = m.ID
		}
	}
	var heads []clock.Dot
	for _, head := range last {
		outdated := false
		for _, other := range last {
			outdated = outdated || other != head && knows(other, head)
		}
		if !outdated {
			heads = append(heads, head)
		}
	}
	var h History
	for _, m := range here {
		if slices.ContainsFunc(heads, func(head clock.Dot) bool { return head != m.ID && !knows(head, m.ID) }) {
			h.Since = append(h.Since, m)
		} else {
			h.Together += m.effect(s)
		}
	}
	slices.SortFunc(h.Since, func(a, b Movement) int { return cmp.Or(a.ID.Lane.Compare(b.ID.Lane), a.ID.Compare(b.ID)) })
	return h
}

// Unaware returns, for a count that found a difference, the movements of its shelf that
// were made before it and of which the counter had not heard, nor their authors of the
// count: the difference may be theirs, so that it is taken in twice. before says whether
// one was made before another, by the clocks. A later count that knew both ends it.
func Unaware(count Movement, movements []Movement, knows, before func(a, b clock.Dot) bool) []Movement {
	s := count.shelf()
	if count.effect(s) == 0 {
		return nil
	}
	var list []Movement
	for _, m := range movements {
		if m.ID.Lane == count.ID.Lane || m.effect(s) == 0 || !before(m.ID, count.ID) || knows(count.ID, m.ID) || knows(m.ID, count.ID) {
			continue
		}
		again := slices.ContainsFunc(movements, func(c Movement) bool {
			return c.isCount() && c.Voided.IsZero() && c.shelf() == s && knows(c.ID, count.ID) && knows(c.ID, m.ID)
		})
		if !again {
			list = append(list, m)
		}
	}
	return list
}
