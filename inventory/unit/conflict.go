package unit

import (
	"fmt"

	"pulk/schema/kind"
	"pulk/sync/changelog"
)

// Conflicts implements [changelog.Conflicter]: one serial of one item added by two
// sites, until all but one are scrapped; and a unit that is in an assembly but in
// none of its slots, since the slot was settled for another. A unit in two places is
// a conflict of its field.
func (Projection) Conflicts(tx *changelog.Tx, found func(changelog.Conflict) error) error {
	list, err := conflicts(tx)
	return changelog.Found(found, list, err)
}

func conflicts(tx *changelog.Tx) ([]changelog.Conflict, error) {
	list, err := twins(tx)
	if err != nil {
		return nil, err
	}
	more, err := slotless(tx)
	return append(list, more...), err
}

func twins(tx *changelog.Tx) ([]changelog.Conflict, error) {
	rows, err := doubled(tx)
	if err != nil {
		return nil, err
	}
	var list []changelog.Conflict
	for start := 0; start < len(rows); {
		end := start
		var sides []changelog.Side
		for ; end < len(rows) && rows[end].Serial == rows[start].Serial && rows[end].Item == rows[start].Item; end++ {
			if err := fillOne(tx, rows[end]); err != nil {
				return nil, err
			}
			if rows[end].State != Scrapped {
				sides = append(sides, changelog.Side{Dot: rows[end].ID, What: fmt.Sprintf("unit %s, %s", tx.Name(rows[end].ID), rows[end].State)})
			}
		}
		if len(sides) > 1 {
			part, err := partNumber(tx, rows[start].Item)
			if err != nil {
				return nil, err
			}
			list = append(list, changelog.Conflict{ID: "unit:" + part + ":" + rows[start].Serial, Kind: "two units with one serial",
				What:   fmt.Sprintf("%s %s was added %d times by people who had not heard of each other; it cannot be used by its serial until one is left", part, rows[start].Serial, len(sides)),
				Advice: "look which record is right, move what belongs to it, and end the others by their ids: pulk unit state ID scrapped --why REASON", Sides: sides})
		}
		start = end
	}
	return list, nil
}

func slotless(tx *changelog.Tx) ([]changelog.Conflict, error) {
	all, err := List(tx, Filter{})
	if err != nil {
		return nil, err
	}
	var list []changelog.Conflict
	for _, u := range all {
		if !u.Installed() || u.Slot != "" {
			continue
		}
		in, err := tx.Describe(u.Assembly)
		if err != nil {
			return nil, err
		}
		c := changelog.Conflict{ID: "slotless:" + tx.Name(u.ID), Kind: "unit in no slot",
			What:   fmt.Sprintf("unit %s is recorded as installed in %s, but in none of its slots: another unit was recorded there", u.Serial, in),
			Advice: fmt.Sprintf("look where it is: pulk unit remove %s --to LOC --why REASON", u.Serial)}
		for _, v := range u.place.Values {
			c.Sides = append(c.Sides, changelog.Side{Dot: v.Dot, What: kind.LookupField(kind.FieldUnitPlace).Name + ": " + in})
		}
		list = append(list, c)
	}
	return list, nil
}
