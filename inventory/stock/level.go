package stock

import (
	"cmp"
	"maps"
	"slices"
	"time"

	"pulk/sync/changelog"
	"pulk/sync/clock"
)

// Level is what lies of a lot of an item at a place.
type Level struct {
	Item     *Item
	Location *Location
	Lot      string
	Quantity int64
	Expires  string // YYYY-MM-DD, or empty

	Quarantined bool
}

// Short is an item of which less is there than there is to be.
type Short struct {
	Item     *Item
	Location string // code, or empty for all places together
	Quantity int64
	Minimum  int64
}

// Levels returns what lies where, by place, then part number, then lot.
func Levels(tx *changelog.Tx) ([]Level, error) {
	balance, err := Balances(tx)
	if err != nil {
		return nil, err
	}
	items, err := Items(tx)
	if err != nil {
		return nil, err
	}
	places, err := Locations(tx)
	if err != nil {
		return nil, err
	}
	holds, err := Holds(tx)
	if err != nil {
		return nil, err
	}
	return levels(balance, items, places, holds), nil
}

// levels joins a balance with the items and places that it names. What names an
// item or a place that is not here yet is left out until it is.
func levels(balance map[Shelf]int64, items []*Item, places []*Location, holds []Hold) []Level {
	itemByID, placeByID := map[clock.Dot]*Item{}, map[clock.Dot]*Location{}
	for _, it := range items {
		itemByID[it.ID] = it
	}
	for _, l := range places {
		placeByID[l.ID] = l
	}
	var list []Level
	for shelf, n := range balance {
		it, place := itemByID[shelf.Item], placeByID[shelf.Location]
		if it != nil && place != nil {
			list = append(list, Level{it, place, shelf.Lot, n, it.LotExpiry[shelf.Lot], Quarantined(holds, shelf)})
		}
	}
	slices.SortFunc(list, func(a, b Level) int {
		return cmp.Or(cmp.Compare(a.Location.Code, b.Location.Code), cmp.Compare(a.Item.PartNumber, b.Item.PartNumber),
			cmp.Compare(a.Lot, b.Lot), a.Item.ID.Compare(b.Item.ID), a.Location.ID.Compare(b.Location.ID))
	})
	return list
}

// Shortages returns the items of which less lies at a place, or in all places
// together, than the minimum set for it. What has expired on the given day, or is in
// quarantine, does not count.
func Shortages(levels []Level, items []*Item, day string) []Short {
	type place struct {
		item clock.Dot
		code string
	}
	have := map[place]int64{}
	for _, l := range levels {
		if l.Quarantined || l.Expires != "" && l.Expires < day {
			continue
		}
		have[place{l.Item.ID, l.Location.Code}] += l.Quantity
		have[place{l.Item.ID, ""}] += l.Quantity
	}
	var list []Short
	for _, it := range items {
		for _, code := range slices.Sorted(maps.Keys(it.Minimums)) {
			if n := have[place{it.ID, code}]; n < it.Minimums[code] {
				list = append(list, Short{it, code, n, it.Minimums[code]})
			}
		}
	}
	return list
}

// FitAt adds up what of an item at a place can be issued on a day.
func FitAt(levels []Level, item, at clock.Dot, day string) int64 {
	var stacks []Stack
	for _, l := range levels {
		if l.Item.ID == item && l.Location.ID == at {
			stacks = append(stacks, Stack{l.Lot, l.Quantity, l.Expires, l.Quarantined})
		}
	}
	return Fit(stacks, day)
}

// Expiring returns the levels that expire before a day, expired ones too, the
// first to expire first.
func Expiring(levels []Level, before string) []Level {
	var list []Level
	for _, l := range levels {
		if l.Expires != "" && l.Expires < before && l.Quantity > 0 {
			list = append(list, l)
		}
	}
	slices.SortStableFunc(list, func(a, b Level) int { return cmp.Compare(a.Expires, b.Expires) })
	return list
}

// Day returns a time's day in UTC as expiry dates are written.
func Day(t time.Time) string { return t.UTC().Format(time.DateOnly) }
