package stock

import (
	"slices"
	"time"

	"pulk/inventory/sparing"
	"pulk/schema/fault"
	"pulk/schema/kind"
	"pulk/sync/changelog"
	"pulk/sync/clock"
)

// LowRequest asks what is to lie at a place until the next delivery.
type LowRequest struct {
	Now      time.Time
	Until    time.Time // the next delivery
	At       *Location // with all places in it; nil: everywhere
	DaysPast int       // how far back what was issued tells the demand
	Target   float64   // probability, for each item by itself, that its minimum suffices
}

// Low is an item with its minimum, worked out from what was issued. Quantities are in its
// unit of issue.
type Low struct {
	Item     *Item
	Good     int64 // there, in no quarantine and in date until the delivery
	Reserved int64 // there, for runs that have not ended
	Issues   int   // in the days that tell the demand
	Taken    int64
	sparing.MinimumAnswer
	Set int64 // the minimum set by somebody for this place; 0 for none
}

// Level is how much is to lie there: what was worked out or set, whichever is more.
func (l Low) Level() int64 { return max(l.Minimum, l.Set) }

// Free is what nobody has reserved; below 0 where more is reserved than is fit for use
// until the delivery.
func (l Low) Free() int64 { return l.Good - l.Reserved }

// Missing is how much less than the level is free; 0 for nothing.
func (l Low) Missing() int64 { return max(0, l.Level()-l.Free()) }

// Lows works out the minimum of every item that was issued there, or for which one is
// set, in the order of part numbers, and tells of how many days the demand was taken:
// fewer than asked for where the record there is younger.
func Lows(tx *changelog.Tx, in LowRequest) ([]Low, float64, error) {
	places, err := Locations(tx)
	if err != nil {
		return nil, 0, err
	}
	here := func(clock.Dot) bool { return true }
	code := ""
	if in.At != nil {
		within := Within(places, in.At.ID)
		here, code = func(place clock.Dot) bool { return within[place] }, in.At.Code
	}
	takes, days, err := taken(tx, in, here)
	if err != nil {
		return nil, 0, err
	}
	levels, err := Levels(tx)
	if err != nil {
		return nil, 0, err
	}
	items, err := Items(tx)
	if err != nil {
		return nil, 0, err
	}
	good := map[clock.Dot]int64{}
	for _, l := range levels {
		if here(l.Location.ID) && !l.Quarantined && (l.Expires == "" || l.Expires >= Day(in.Until)) {
			good[l.Item.ID] += max(0, l.Quantity)
		}
	}
	reserved, err := reservedFor(tx, here)
	if err != nil {
		return nil, 0, err
	}
	var list []Low
	for _, it := range items {
		low := Low{Item: it, Good: good[it.ID], Reserved: reserved[it.ID], Issues: len(takes[it.ID]), Set: it.Minimums[code]}
		if it.Serialised || low.Issues == 0 && low.Set == 0 {
			continue
		}
		for _, n := range takes[it.ID] {
			low.Taken += n
		}
		low.MinimumAnswer, err = sparing.Minimum(sparing.MinimumLine{Takes: takes[it.ID], DaysSeen: days, DaysToDelivery: in.Until.Sub(in.Now).Hours() / 24,
			GoodStock: max(0, low.Free()), Target: in.Target})
		if err != nil {
			return nil, 0, err
		}
		list = append(list, low)
	}
	return list, days, nil
}

// reservedFor adds up what is reserved, by item.
func reservedFor(tx *changelog.Tx, here func(clock.Dot) bool) (map[clock.Dot]int64, error) {
	kept, err := Reservations(tx, clock.Dot{})
	out := map[clock.Dot]int64{}
	for _, k := range kept {
		if here(k.At) {
			out[k.Item] += k.Outstanding
		}
	}
	return out, err
}

// taken collects what was issued, by item, and of how many days that is.
func taken(tx *changelog.Tx, in LowRequest, here func(clock.Dot) bool) (map[clock.Dot][]int64, float64, error) {
	all, err := Movements(tx)
	if err != nil {
		return nil, 0, err
	}
	begins, first := in.Now.AddDate(0, 0, -in.DaysPast), in.Now
	takes := map[clock.Dot][]int64{}
	apart := map[clock.Dot]bool{} // kits that were taken apart were not asked for
	for _, group := range balanced(all) {
		apart[group[0].ID] = group[0].Kind == kind.StockIssue
	}
	for _, m := range all {
		if !m.Voided.IsZero() || !here(m.From) && !here(m.To) {
			continue
		}
		info, err := tx.Info(m.ID)
		if err != nil {
			return nil, 0, err
		}
		at := info.At.Time()
		if at.Before(first) {
			first = at
		}
		if m.Kind == kind.StockIssue && !apart[m.ID] && here(m.From) && !at.Before(begins) && !at.After(in.Now) {
			item := m.Item
			if !m.Instead.IsZero() {
				item = m.Instead // that is what was asked for
			}
			takes[item] = append(takes[item], m.Quantity)
		}
	}
	if first.After(begins) {
		begins = first
	}
	days := in.Now.Sub(begins).Hours() / 24
	if days < 1 {
		return nil, 0, fault.Hint("set minimums by hand until there is more: pulk item minimum; or plan by failures and runs: pulk kit plan", "the record of stock there is younger than a day, which tells no demand")
	}
	return takes, days, nil
}

// Within returns a place and all that lie in it.
func Within(places []*Location, root clock.Dot) map[clock.Dot]bool {
	within := map[clock.Dot]bool{root: true}
	for grown := true; grown; {
		grown = slices.ContainsFunc(places, func(l *Location) bool {
			if within[l.ID] || l.Parent.IsZero() || !within[l.Parent] {
				return false
			}
			within[l.ID] = true
			return true
		})
	}
	return within
}
