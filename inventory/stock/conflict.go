package stock

import (
	"cmp"
	"fmt"
	"maps"
	"slices"
	"strings"

	"pulk/schema/kind"
	"pulk/sync/changelog"
	"pulk/sync/clock"
)

// Conflicts implements [changelog.Conflicter]: stock below zero, counts that did not know
// of a movement, lots issued by people who had not heard of their quarantine, stock that
// was reserved twice, packs of two sizes, two items with one part number, two locations with one code.
func (Projection) Conflicts(tx *changelog.Tx, found func(changelog.Conflict) error) error {
	holds, err := Holds(tx)
	if err != nil {
		return err
	}
	lies := map[spot]int64{}
	err = eachLot(tx, func(lot []Movement) error {
		balance, on := Balance(lot), byShelf(lot)
		for shelf, n := range balance {
			lies[spot{shelf.Item, shelf.Location}] += n
		}
		list, err := belowZero(tx, balance, on)
		if err := changelog.Found(found, list, err); err != nil {
			return err
		}
		list, err = countedUnaware(tx, lot, on)
		if err := changelog.Found(found, list, err); err != nil {
			return err
		}
		list, err = issuedInQuarantine(tx, holds, lot)
		return changelog.Found(found, list, err)
	})
	if err != nil {
		return err
	}
	for _, find := range []func() ([]changelog.Conflict, error){
		func() ([]changelog.Conflict, error) { return reservedTwice(tx, lies) },
		func() ([]changelog.Conflict, error) { return packedTwice(tx) },
		func() ([]changelog.Conflict, error) { return doubled(tx, "item", "part_number", "item") },
		func() ([]changelog.Conflict, error) { return doubled(tx, "location", "code", "location") },
	} {
		list, err := find()
		if err := changelog.Found(found, list, err); err != nil {
			return err
		}
	}
	return nil
}

// belowZero lists the shelves from which more was drawn than was there; on holds the
// movements of each.
func belowZero(tx *changelog.Tx, balance map[Shelf]int64, on map[Shelf][]Movement) ([]changelog.Conflict, error) {
	var list []changelog.Conflict
	for _, shelf := range slices.SortedFunc(maps.Keys(balance), Shelf.Compare) {
		if balance[shelf] >= 0 {
			continue
		}
		item, err := tx.Describe(shelf.Item)
		if err != nil {
			return nil, err
		}
		place, err := LocationLabel(tx, shelf.Location)
		if err != nil {
			return nil, err
		}
		history, err := partedOn(tx, shelf, on[shelf])
		if err != nil {
			return nil, err
		}
		c := changelog.Conflict{ID: fmt.Sprintf("below-zero:%s:%s:%s", tx.Name(shelf.Item), place, shelf.Lot), Kind: "stock below zero",
			What:   fmt.Sprintf("%s at %s stands at %d: more was drawn than was there, by people who each saw enough", item, place, balance[shelf]),
			Advice: fmt.Sprintf("count the shelf: pulk stock count PART N --at %s --why REASON; or void a draw that did not happen", place)}
		if err := addHistory(tx, &c, shelf, history, on[shelf]); err != nil {
			return nil, err
		}
		list = append(list, c)
	}
	return list, nil
}

// byShelf sorts movements by the shelves that they are about, in their order. Who asks
// each shelf about all movements needs the square of the time, and of the memory.
func byShelf(all []Movement) map[Shelf][]Movement {
	on := map[Shelf][]Movement{}
	for _, m := range all {
		for _, place := range []clock.Dot{m.From, m.To} {
			if s := (Shelf{m.Item, m.Lot, place}); !place.IsZero() {
				on[s] = append(on[s], m)
			}
		}
	}
	return on
}

// partedOn tells where the authors of a shelf's movements lost sight of each other.
func partedOn(tx *changelog.Tx, shelf Shelf, here []Movement) (History, error) {
	var failed error
	history := Parted(shelf, here, knowing(tx, &failed))
	return history, failed
}

// knowing says what the authors of changes knew. What goes wrong ends up in failed.
func knowing(tx *changelog.Tx, failed *error) func(by, of clock.Dot) bool {
	return func(by, of clock.Dot) bool {
		ctx, err := tx.Context(by)
		if err != nil {
			*failed = err
			return false
		}
		return ctx.Has(of)
	}
}

// addHistory tells what all knew, and then what each site did that the others did not
// know. Where all knew everything, as after a void, it tells of all that was drawn.
func addHistory(tx *changelog.Tx, c *changelog.Conflict, shelf Shelf, h History, here []Movement) error {
	if h.Branches() < 2 {
		for _, m := range here {
			if m.effect(shelf) < 0 {
				c.Sides = append(c.Sides, changelog.Side{Dot: m.ID, What: deedText(m, shelf)})
			}
		}
		return nil
	}
	sums, order := map[string]int64{}, []string{}
	for _, m := range h.Since {
		c.Sides = append(c.Sides, changelog.Side{Dot: m.ID, What: deedText(m, shelf)})
		site, _, err := tx.SiteByID(m.ID.Site)
		if err != nil {
			return err
		}
		if _, ok := sums[site.Code]; !ok {
			order = append(order, site.Code)
		}
		sums[site.Code] += m.effect(shelf)
	}
	var parts []string
	for _, code := range order {
		parts = append(parts, fmt.Sprintf("%+d at %s", sums[code], code))
	}
	c.What += fmt.Sprintf(". All knew of %d there; then came, unknown to the others, %s", h.Together, strings.Join(parts, " and "))
	return nil
}

// deedText tells of a movement as one side of a conflict about a shelf.
func deedText(m Movement, shelf Shelf) string {
	switch {
	case m.isCount():
		return fmt.Sprintf("count %d, believed %d there", m.Held+m.effect(shelf), m.Held)
	case m.effect(shelf) > 0:
		return fmt.Sprintf("%s %d to here", verbOf(m.Kind), m.Quantity)
	}
	return fmt.Sprintf("%s %d, believed %d there", verbOf(m.Kind), m.Quantity, m.Held)
}

// countedUnaware lists the counts whose difference may be a movement of which the counter
// had not heard.
func countedUnaware(tx *changelog.Tx, all []Movement, on map[Shelf][]Movement) ([]changelog.Conflict, error) {
	var failed error
	before := func(a, b clock.Dot) bool {
		x, err := tx.Info(a)
		y, errB := tx.Info(b)
		failed = cmp.Or(failed, err, errB)
		return x.At < y.At
	}
	var list []changelog.Conflict
	for _, count := range all {
		if !count.isCount() || !count.Voided.IsZero() || count.Quantity == 0 {
			continue
		}
		shelf := count.shelf()
		missed := Unaware(count, on[shelf], knowing(tx, &failed), before)
		if len(missed) == 0 {
			continue
		}
		c, err := unawareOf(tx, count, shelf, missed)
		if err != nil {
			return nil, err
		}
		list = append(list, c)
	}
	return list, failed
}

func unawareOf(tx *changelog.Tx, count Movement, shelf Shelf, missed []Movement) (changelog.Conflict, error) {
	item, err := tx.Describe(shelf.Item)
	if err != nil {
		return changelog.Conflict{}, err
	}
	place, err := LocationLabel(tx, shelf.Location)
	name := tx.Name(count.ID)
	c := changelog.Conflict{ID: "count:" + name, Kind: "counted without knowing",
		What: fmt.Sprintf("%s at %s was counted by somebody who had not heard of what happened there before: the difference may be that, taken in twice", item, place),
		Advice: fmt.Sprintf("count again, which ends this: pulk stock count PART N --at %s --why REASON; or, if that explains it, void the count: pulk stock void %s --why REASON",
			place, name),
		Sides: []changelog.Side{{Dot: count.ID, What: deedText(count, shelf)}}}
	for _, m := range missed {
		c.Sides = append(c.Sides, changelog.Side{Dot: m.ID, What: deedText(m, shelf)})
	}
	return c, err
}

func verbOf(k *kind.Kind) string {
	_, verb, _ := strings.Cut(k.Name, ".")
	return verb
}
