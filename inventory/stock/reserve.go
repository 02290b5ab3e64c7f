package stock

import (
	"cmp"
	"slices"
	"time"

	"pulk/schema/kind"
	"pulk/sync/clock"
)

// Reservation keeps a quantity of an item at a place for a run, of whatever lots are fit
// for use. What is issued to the run from there is taken from it.
type Reservation struct {
	ID       clock.Dot
	Run      clock.Dot
	Item, At clock.Dot
	Quantity int64 // units of issue, above 0
	Note     string
	Person   clock.Dot
	Since    time.Time
	Ended    clock.Dot // the change that ended it, or none
	RunOver  clock.Dot // the change that ended its run, or none

	// Knew tells what its author knew: what was issued before is not taken from it.
	Knew func(clock.Dot) bool
}

// Outstanding returns what is still kept by each reservation. An issue is taken from the
// earliest reservation of its run that is not used up. What was kept for a run that has
// ended is kept no more, also by who had not heard of the end.
func Outstanding(reservations []Reservation, movements []Movement) map[clock.Dot]int64 {
	ordered := slices.SortedFunc(slices.Values(reservations), func(a, b Reservation) int {
		return cmp.Or(a.Since.Compare(b.Since), a.ID.Compare(b.ID))
	})
	issues := slices.SortedFunc(slices.Values(movements), func(a, b Movement) int { return a.ID.Compare(b.ID) })
	open := map[clock.Dot]int64{}
	for _, r := range ordered {
		open[r.ID] = r.Quantity
	}
	for _, m := range issues {
		if m.Kind != kind.StockIssue || m.Run.IsZero() || !m.Voided.IsZero() {
			continue
		}
		left := m.Quantity
		for _, r := range ordered {
			if r.Run != m.Run || r.Item != m.Item || r.At != m.From || r.Knew(m.ID) {
				continue
			}
			n := min(left, open[r.ID])
			open[r.ID] -= n
			left -= n
		}
	}
	for _, r := range ordered {
		if !r.Ended.IsZero() || !r.RunOver.IsZero() || open[r.ID] <= 0 {
			delete(open, r.ID)
		}
	}
	return open
}

// Free is what of an item at a place nobody has reserved.
type Free struct {
	OnHand   int64 // fit for use: in date and in no quarantine
	Reserved int64 // for any run
}

// Free returns what may be taken without a reservation; below 0 where more is reserved
// than is there.
func (f Free) Free() int64 { return f.OnHand - f.Reserved }

// Fit adds up what of the stacks can be issued on a day (YYYY-MM-DD).
func Fit(stacks []Stack, day string) int64 {
	n := int64(0)
	for _, s := range stacks {
		if s.fit(day) {
			n += s.Quantity
		}
	}
	return n
}
