package manifest

import (
	"cmp"
	"fmt"
	"slices"

	"pulk/inventory/stock"
	"pulk/sync/changelog"
	"pulk/sync/clock"
)

// Conflicts implements [changelog.Conflicter]: a crate on two manifests neither of which
// is done, and a crate that was taken in twice, by people who had not heard of each
// other.
func (Projection) Conflicts(tx *changelog.Tx, found func(changelog.Conflict) error) error {
	list, err := conflicts(tx)
	return changelog.Found(found, list, err)
}

func conflicts(tx *changelog.Tx) ([]changelog.Conflict, error) {
	all, err := List(tx)
	if err != nil {
		return nil, err
	}
	var list []changelog.Conflict
	on := map[clock.Dot][]*Manifest{}
	for _, m := range all {
		for _, c := range m.Crates {
			if !m.Voided && m.Booked(c.ID) == nil {
				on[c.ID] = append(on[c.ID], m)
			}
		}
		twice, err := bookedTwice(tx, m)
		if err != nil {
			return nil, err
		}
		list = append(list, twice...)
	}
	for crate, manifests := range on {
		if len(manifests) < 2 {
			continue
		}
		code, err := stock.LocationLabel(tx, crate)
		if err != nil {
			return nil, err
		}
		c := changelog.Conflict{ID: "manifests-of:" + tx.Name(crate), Kind: "crate on two manifests",
			What:   fmt.Sprintf("crate %s is on %d manifests", code, len(manifests)),
			Advice: "the one that it does not go with: pulk manifest void MANIFEST --why REASON, and make it anew without the crate"}
		for _, m := range manifests {
			c.Sides = append(c.Sides, changelog.Side{Dot: m.ID, What: "on manifest " + m.Code})
		}
		list = append(list, c)
	}
	slices.SortFunc(list, func(a, b changelog.Conflict) int { return cmp.Compare(a.ID, b.ID) })
	return list, nil
}

func bookedTwice(tx *changelog.Tx, m *Manifest) ([]changelog.Conflict, error) {
	var list []changelog.Conflict
	for _, crate := range m.Crates {
		code, err := stock.LocationLabel(tx, crate.ID)
		if err != nil {
			return nil, err
		}
		c := changelog.Conflict{ID: fmt.Sprintf("booked-twice:%s:%s", m.Code, tx.Name(crate.ID)), Kind: "crate taken in twice",
			What:   fmt.Sprintf("crate %s of manifest %s was taken in by people who had not heard of each other: what was short or over may be on record twice", code, m.Code),
			Advice: "look what lies there, then void one of the two: pulk manifest void BOOKING --why REASON; what it moved is taken back with it"}
		for _, b := range m.Bookings {
			if b.Crate == crate.ID {
				at, err := stock.LocationLabel(tx, b.At)
				if err != nil {
					return nil, err
				}
				c.Sides = append(c.Sides, changelog.Side{Dot: b.ID, What: fmt.Sprintf("taken in at %s; differences: %d", at, len(b.Findings))})
			}
		}
		if len(c.Sides) > 1 {
			list = append(list, c)
		}
	}
	return list, nil
}
