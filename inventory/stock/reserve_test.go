package stock

import (
	"fmt"
	"testing"
	"time"

	"pgregory.net/rapid"

	"pulk/schema/kind"
	"pulk/sync/clock"
)

func never(clock.Dot) bool { return false }

func TestOutstanding(t *testing.T) {
	hole3, hole4, ring, hut, cage := dot(1), dot(2), dot(3), dot(4), dot(5)
	at := func(minute int) time.Time { return time.Date(2027, 1, 5, 6, minute, 0, 0, time.UTC) }
	first := Reservation{ID: dot(10), Run: hole3, Item: ring, At: hut, Quantity: 5, Since: at(1), Knew: never}
	second := Reservation{ID: dot(12), Run: hole3, Item: ring, At: hut, Quantity: 3, Since: at(2), Knew: func(d clock.Dot) bool { return d == dot(11) }}
	other := Reservation{ID: dot(13), Run: hole4, Item: ring, At: hut, Quantity: 4, Since: at(0), Knew: never}
	issue := func(n int, run clock.Dot, quantity int64) Movement {
		return Movement{ID: dot(n), Kind: kind.StockIssue, Item: ring, From: hut, Run: run, Quantity: quantity}
	}
	ended := first
	ended.Ended = dot(30)
	over := other
	over.RunOver = dot(32)
	voided := issue(14, hole3, 2)
	voided.Voided = dot(31)
	elsewhere := issue(14, hole3, 2)
	elsewhere.From = cage
	for _, c := range []struct {
		name         string
		reservations []Reservation
		movements    []Movement
		want         string
	}{
		{"nothing_issued", []Reservation{first, other}, nil, "first 5 second 0 other 4"},
		{"some_issued", []Reservation{first, other}, []Movement{issue(14, hole3, 2)}, "first 3 second 0 other 4"},
		{"goes_on_in_the_next", []Reservation{second, first}, []Movement{issue(14, hole3, 6)}, "first 0 second 2 other 0"},
		{"more_than_was_kept", []Reservation{first}, []Movement{issue(14, hole3, 9)}, "first 0 second 0 other 0"},
		{"issued_before_it_was_kept", []Reservation{second}, []Movement{issue(11, hole3, 3)}, "first 0 second 3 other 0"},
		{"for_no_run", []Reservation{first}, []Movement{issue(14, clock.Dot{}, 3)}, "first 5 second 0 other 0"},
		{"voided", []Reservation{first}, []Movement{voided}, "first 5 second 0 other 0"},
		{"from_elsewhere", []Reservation{first}, []Movement{elsewhere}, "first 5 second 0 other 0"},
		{"ended", []Reservation{ended, second}, []Movement{issue(14, hole3, 5)}, "first 0 second 3 other 0"},
		{"run_over", []Reservation{first, over}, nil, "first 5 second 0 other 0"},
	} {
		open := Outstanding(c.reservations, c.movements)
		if got := fmt.Sprintf("first %d second %d other %d", open[first.ID], open[second.ID], open[other.ID]); got != c.want {
			t.Errorf("%s: %s; want %s", c.name, got, c.want)
		}
	}
}

// What is kept and what was taken from it is what was reserved; the order in which it
// came does not matter.
func TestOutstandingAddsUp(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		var reservations []Reservation
		var movements []Movement
		reserved, issued := map[clock.Dot]int64{}, map[clock.Dot]int64{}
		for i := range rapid.IntRange(0, 12).Draw(t, "n") {
			run, n := dot(rapid.IntRange(1, 2).Draw(t, "run")), rapid.Int64Range(1, 9).Draw(t, "quantity")
			if rapid.Bool().Draw(t, "reserves") {
				reservations = append(reservations, Reservation{ID: dot(100 + i), Run: run, Item: dot(3), At: dot(4), Quantity: n, Knew: never})
				reserved[run] += n
				continue
			}
			movements = append(movements, Movement{ID: dot(100 + i), Kind: kind.StockIssue, Item: dot(3), From: dot(4), Run: run, Quantity: n})
			issued[run] += n
		}
		open := Outstanding(rapid.Permutation(reservations).Draw(t, "order"), rapid.Permutation(movements).Draw(t, "order of movements"))
		kept := map[clock.Dot]int64{}
		for _, r := range reservations {
			kept[r.Run] += open[r.ID]
		}
		for _, run := range []clock.Dot{dot(1), dot(2)} {
			if want := max(0, reserved[run]-issued[run]); kept[run] != want {
				t.Fatalf("%d are kept; want %d of %d with %d issued", kept[run], want, reserved[run], issued[run])
			}
		}
	})
}
