// Package stock knows items, where they lie, and the movements that add up to what
// is there.
//
// Guarantees: a movement is never edited or erased; a mistake is put right by
// voiding it, with a reason. What lies somewhere is the sum of its movements, so
// two sites can draw from one shelf without having heard of each other and still
// add up; where they drew more than was there, that is a conflict.
package stock

import (
	"fmt"
	"strings"

	"pulk/schema/fault"
	"pulk/schema/kind"
	"pulk/sync/change"
	"pulk/sync/changelog"
	"pulk/sync/clock"
)

// Item is a line of the catalogue. Numbers are 0, and texts empty, where unknown.
type Item struct {
	ID             clock.Dot
	PartNumber     string
	Name           string
	Group          string
	UnitOfIssue    string // each, m, kg, …; quantities are whole numbers of it
	Serialised     bool
	MassGrams      int64
	LengthMM       int64
	WidthMM        int64
	HeightMM       int64
	ShelfLifeDays  int64
	UNNumber       string
	PriceCents     int64
	PriorMTBFHours int64
	Minimums       map[string]int64  // by location code; "" for all places together
	LotExpiry      map[string]string // by lot: YYYY-MM-DD
	Hazard         map[string]string // of dangerous goods: what is told, see Goods
	Contested      []string          // names of fields with values in conflict: they read as unknown

	hazardContested map[string]bool // keys of Hazard with values in conflict
}

// apply takes in the value of one field.
func (it *Item) apply(r changelog.Register, v changelog.Value, stands bool) {
	if !stands && r.Conflicted() {
		it.Contested = append(it.Contested, kind.LookupField(r.Field).Name)
	}
	switch r.Field {
	case kind.FieldItemName:
		it.Name = v.Text
	case kind.FieldItemGroup:
		it.Group = v.Text
	case kind.FieldItemUnitOfIssue:
		it.UnitOfIssue = v.Text
	case kind.FieldItemSerialised:
		it.Serialised = v.Int != 0
	case kind.FieldItemMassGrams:
		it.MassGrams = v.Int
	case kind.FieldItemLengthMM:
		it.LengthMM = v.Int
	case kind.FieldItemWidthMM:
		it.WidthMM = v.Int
	case kind.FieldItemHeightMM:
		it.HeightMM = v.Int
	case kind.FieldItemShelfLifeDays:
		it.ShelfLifeDays = v.Int
	case kind.FieldItemUNNumber:
		it.UNNumber = v.Text
	case kind.FieldItemPriceCents:
		it.PriceCents = v.Int
	case kind.FieldItemPriorMTBFHours:
		it.PriorMTBFHours = v.Int
	case kind.FieldItemMinimum:
		if stands {
			it.Minimums[r.Key] = v.Int
		}
	case kind.FieldItemLotExpiry:
		if stands {
			it.LotExpiry[r.Key] = v.Text
		}
	case kind.FieldItemHazard:
		if stands {
			it.Hazard[r.Key] = v.Text
		} else {
			it.hazardContested[r.Key] = true
		}
	}
}

// FindItem returns the item with a part number.
func FindItem(tx *changelog.Tx, partNumber string) (*Item, error) {
	ids, err := itemsByPart(tx, partNumber)
	switch {
	case err != nil:
		return nil, err
	case len(ids) == 0:
		return nil, fault.Hint("see: pulk item list", "no item has the part number %q", partNumber)
	case len(ids) > 1:
		return nil, fault.Hint("see: pulk conflict list", "%d items have the part number %q", len(ids), partNumber)
	}
	return ItemByID(tx, ids[0])
}

// ItemByID returns an item; nil, without error, where it is not here yet.
func ItemByID(tx *changelog.Tx, id clock.Dot) (*Item, error) {
	it := &Item{ID: id, Minimums: map[string]int64{}, LotExpiry: map[string]string{}, Hazard: map[string]string{}, hazardContested: map[string]bool{}}
	found, err := tx.Row("SELECT part_number FROM item WHERE dot = ?", []any{id.Key()}, &it.PartNumber)
	if err != nil || !found {
		return nil, err
	}
	fields, err := tx.Fields(id)
	if err != nil {
		return nil, err
	}
	for _, r := range fields {
		v, stands, err := tx.Stands(r)
		if err != nil {
			return nil, err
		}
		it.apply(r, v, stands)
	}
	return it, nil
}

// Items returns all items in the order of their part numbers.
func Items(tx *changelog.Tx) ([]*Item, error) {
	ids, err := tx.Dots("SELECT dot FROM item ORDER BY part_number, dot")
	if err != nil {
		return nil, err
	}
	var list []*Item
	for _, id := range ids {
		it, err := ItemByID(tx, id)
		if err != nil {
			return nil, err
		}
		list = append(list, it)
	}
	return list, nil
}

// SetMinimum says how many of an item are to be at a location, or in all.
func SetMinimum(tx *changelog.Tx, it *Item, location string, quantity int64) error {
	if quantity < 0 {
		return fault.Misuse("give 0 or more", "a minimum of %d is below zero", quantity)
	}
	tx.AssignInt(it.ID, kind.FieldItemMinimum, location, quantity, "")
	return nil
}

// Location is a place where stock and units lie.
type Location struct {
	ID     clock.Dot
	Code   string
	Name   string
	Parent clock.Dot // or none
	// LastTransport is the day, YYYY-MM-DD, on which the last transport leaves; empty
	// where none is told, or sites disagree.
	LastTransport string

	// Position is where it is; empty where nothing is told of the place itself, or
	// sites disagree.
	Position Position

	// Outline makes it a crate; all zero where nothing is told, or sites disagree.
	Outline Outline

	transportContested bool
}

// AddLocation adds a location. The code must be free.
func AddLocation(tx *changelog.Tx, code, name string, parent clock.Dot) (clock.Dot, error) {
	if code == "" || strings.ContainsAny(code, " \t,:@") {
		return clock.Dot{}, fault.Misuse("use letters, digits and hyphens", "%q cannot be the code of a location", code)
	}
	ids, err := locationsByCode(tx, code)
	if err != nil {
		return clock.Dot{}, err
	}
	if len(ids) > 0 {
		return clock.Dot{}, fault.Hint("choose another code", "location %q is already there", code)
	}
	if name == "" {
		name = code
	}
	return tx.Add(change.New(kind.LocationAdd, change.Text(code), change.Text(name), change.Ref(parent))), nil
}

// FindLocation returns the location with a code.
func FindLocation(tx *changelog.Tx, code string) (*Location, error) {
	ids, err := locationsByCode(tx, code)
	switch {
	case err != nil:
		return nil, err
	case len(ids) == 0:
		return nil, fault.Hint("see: pulk location list", "no location has the code %q", code)
	case len(ids) > 1:
		return nil, fault.Hint("see: pulk conflict list", "%d locations have the code %q", len(ids), code)
	}
	return locationByID(tx, ids[0])
}

// Locations returns all locations in the order of their codes.
func Locations(tx *changelog.Tx) ([]*Location, error) {
	ids, err := tx.Dots("SELECT dot FROM location ORDER BY code, dot")
	if err != nil {
		return nil, err
	}
	var list []*Location
	for _, id := range ids {
		l, err := locationByID(tx, id)
		if err != nil {
			return nil, err
		}
		list = append(list, l)
	}
	return list, nil
}

// LocationByID returns a location; nil, without error, where there is none with that
// id here.
func LocationByID(tx *changelog.Tx, id clock.Dot) (*Location, error) {
	l, err := locationByID(tx, id)
	if err != nil || l.Code == "" {
		return nil, err
	}
	return l, nil
}

func locationByID(tx *changelog.Tx, id clock.Dot) (*Location, error) {
	l := &Location{ID: id}
	if _, err := tx.Row("SELECT code FROM location WHERE dot = ?", []any{id.Key()}, &l.Code); err != nil {
		return nil, err
	}
	fields, err := tx.Fields(id)
	if err != nil {
		return nil, err
	}
	for _, r := range fields {
		v, stands, err := tx.Stands(r)
		if err != nil {
			return nil, err
		}
		switch {
		case r.Field == kind.FieldLocationName && stands:
			l.Name = v.Text
		case r.Field == kind.FieldLocationParent && stands:
			l.Parent = v.Ref
		case r.Field == kind.FieldLocationLastTransport:
			l.transportContested = !stands
			if stands {
				l.LastTransport = v.Text
			}
		case stands:
			for _, f := range positionFields {
				if r.Field == f.field {
					*f.of(&l.Position) = v.Text
				}
			}
			l.Outline.apply(r.Field, v)
		}
	}
	return l, nil
}

// LocationLabel returns a location's code; "-" for outside.
func LocationLabel(tx *changelog.Tx, id clock.Dot) (string, error) {
	if id.IsZero() {
		return "-", nil
	}
	var code string
	found, err := tx.Row("SELECT code FROM location WHERE dot = ?", []any{id.Key()}, &code)
	if err == nil && !found {
		code = fmt.Sprintf("%s (not here yet)", tx.Name(id))
	}
	return code, err
}
