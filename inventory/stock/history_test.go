package stock

import (
	"fmt"
	"testing"

	"pgregory.net/rapid"

	"pulk/schema/kind"
	"pulk/sync/clock"
)

// at is the n-th movement of a site.
func at(site clock.SiteID, n int) clock.Dot {
	return clock.Dot{Lane: clock.Lane{Site: site}, Seq: uint64(n)}
}

// knowledge says up to where each site's movement had heard of the other: what a site
// wrote itself it knows.
type knowledge map[clock.Dot]int

func (k knowledge) knows(by, of clock.Dot) bool {
	if by.Lane == of.Lane {
		return of.Seq < by.Seq
	}
	return of.Seq <= uint64(k[by])
}

func TestParted(t *testing.T) {
	shelf := Shelf{Item: dot(3), Lot: "L1", Location: dot(4)}
	move := func(id clock.Dot, n int64) Movement {
		m := Movement{ID: id, Kind: kind.StockIssue, Item: shelf.Item, Lot: shelf.Lot, From: shelf.Location, Quantity: -n}
		if n > 0 {
			m.Kind, m.From, m.To, m.Quantity = kind.StockReceive, clock.Dot{}, shelf.Location, n
		}
		return m
	}
	received := move(at(1, 1), 9)
	voided := move(at(1, 2), -5)
	voided.Voided = dot(99)
	elsewhere := move(at(1, 2), -5)
	elsewhere.Lot = "L2"
	for _, c := range []struct {
		name      string
		movements []Movement
		knew      knowledge
		together  int64
		since     string
		branches  int
	}{
		{"nothing", nil, nil, 0, "", 0},
		{"one_site", []Movement{received, move(at(1, 2), -4)}, nil, 5, "", 0},
		{"each_drew_alone", []Movement{received, move(at(1, 2), -4), move(at(2, 1), -7)}, knowledge{at(2, 1): 1}, 9, "1/2 2/1 ", 2},
		{"in_any_order", []Movement{move(at(2, 1), -7), move(at(1, 2), -4), received}, knowledge{at(2, 1): 1}, 9, "1/2 2/1 ", 2},
		{"the_later_knew", []Movement{received, move(at(1, 2), -4), move(at(2, 1), -7)}, knowledge{at(2, 1): 2}, -2, "", 0},
		{"several_each", []Movement{received, move(at(1, 2), -4), move(at(1, 3), 2), move(at(2, 1), -3), move(at(2, 2), -5)}, knowledge{at(2, 1): 1, at(2, 2): 1}, 9, "1/2 1/3 2/1 2/2 ", 2},
		{"met_and_parted_again", []Movement{received, move(at(1, 2), -4), move(at(2, 1), -3), move(at(1, 3), -2), move(at(2, 2), -1)},
			knowledge{at(2, 1): 1, at(1, 3): 1, at(2, 2): 2}, 2, "1/3 2/2 ", 2},
		{"voided_and_elsewhere", []Movement{received, voided, elsewhere}, nil, 9, "", 0},
	} {
		h := Parted(shelf, c.movements, c.knew.knows)
		since := ""
		for _, m := range h.Since {
			since += fmt.Sprintf("%d/%d ", m.ID.Site, m.ID.Seq)
		}
		if h.Together != c.together || since != c.since || h.Branches() != c.branches {
			t.Errorf("%s: together %d, since %q in %d; want %d, %q in %d", c.name, h.Together, since, h.Branches(), c.together, c.since, c.branches)
		}
	}
}

// What lay there together and what came since is what lies there.
func TestPartedAddsUp(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		shelf := Shelf{Item: dot(3), Lot: "L1", Location: dot(4)}
		var movements []Movement
		knew, written := knowledge{}, map[clock.SiteID]int{}
		heard := map[clock.SiteID]int{}
		for range rapid.IntRange(0, 20).Draw(t, "n") {
			site := clock.SiteID(rapid.IntRange(1, 2).Draw(t, "site"))
			if rapid.IntRange(0, 3).Draw(t, "hears") == 0 {
				heard[site] = written[3-site]
			}
			written[site]++
			m := Movement{ID: at(site, written[site]), Kind: kind.StockMove, Item: shelf.Item, Lot: shelf.Lot, Quantity: rapid.Int64Range(1, 9).Draw(t, "quantity")}
			if m.From, m.To = dot(5), shelf.Location; rapid.Bool().Draw(t, "out") {
				m.From, m.To = m.To, m.From
			}
			knew[m.ID] = heard[site]
			movements = append(movements, m)
		}
		h := Parted(shelf, rapid.Permutation(movements).Draw(t, "order"), knew.knows)
		sum := h.Together
		for _, m := range h.Since {
			sum += m.effect(shelf)
		}
		if want := Balance(movements)[shelf]; sum != want {
			t.Fatalf("together %d and since %d movements: %d; want %d", h.Together, len(h.Since), sum, want)
		}
	})
}

func TestUnaware(t *testing.T) {
	count := Movement{ID: at(1, 5), Kind: kind.StockCount, Item: dot(3), From: dot(4), Quantity: 3, Held: 9}
	issue := Movement{ID: at(2, 1), Kind: kind.StockIssue, Item: dot(3), From: dot(4), Quantity: 3}
	asHeld := count
	asHeld.Quantity = 0
	again := Movement{ID: at(1, 6), Kind: kind.StockCount, Item: dot(3), To: dot(4), Quantity: 0, Held: 3}
	gone := issue
	gone.Voided = dot(99)
	other := issue
	other.From = dot(7)
	earlier := func(clock.Dot, clock.Dot) bool { return true }
	later := func(clock.Dot, clock.Dot) bool { return false }
	for _, c := range []struct {
		name   string
		count  Movement
		others []Movement
		knew   knowledge
		before func(a, b clock.Dot) bool
		want   int
	}{
		{"missed", count, []Movement{issue}, knowledge{}, earlier, 1},
		{"came_after", count, []Movement{issue}, knowledge{}, later, 0},
		{"counter_knew", count, []Movement{issue}, knowledge{at(1, 5): 1}, earlier, 0},
		{"issuer_knew", count, []Movement{issue}, knowledge{at(2, 1): 5}, earlier, 0},
		{"as_held", asHeld, []Movement{issue}, knowledge{}, earlier, 0},
		{"voided", count, []Movement{gone}, knowledge{}, earlier, 0},
		{"another_shelf", count, []Movement{other}, knowledge{}, earlier, 0},
		{"counted_again", count, []Movement{issue, again}, knowledge{at(1, 6): 1}, earlier, 0},
		{"counted_again_without_knowing", count, []Movement{issue, again}, knowledge{}, earlier, 1},
	} {
		if got := Unaware(c.count, append(c.others, c.count), c.knew.knows, c.before); len(got) != c.want {
			t.Errorf("%s: %v; want %d", c.name, got, c.want)
		}
	}
}
