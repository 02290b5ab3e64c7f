// Package unit knows serialised pieces: where each is, what it is installed in, what
// state it is in, and all that ever happened to it.
//
// A unit lies at a location or is installed in a slot of another unit, its assembly.
// What is installed goes where its assembly goes, so only the assembly is moved.
// Start at [FindBySerial], [List] and [Events].
package unit

import (
	"cmp"
	"errors"
	"slices"
	"strings"

	"pulk/inventory/stock"
	"pulk/schema/fault"
	"pulk/schema/kind"
	"pulk/sync/changelog"
	"pulk/sync/clock"
)

// The states of a unit. [kind.UnitStates] orders them from stop to go; of states set
// by people who had not heard of each other the most careful one counts.
const (
	Received    = "received"
	Accepted    = "accepted"
	Released    = "released"
	Quarantined = "quarantined"
	Failed      = "failed"
	Scrapped    = "scrapped"
)

// Unit is one serialised piece.
type Unit struct {
	ID     clock.Dot
	Item   clock.Dot
	Serial string
	Lot    string
	State  string
	// Place is the location where it lies: of an installed unit that of the outermost
	// assembly. None where unknown or in conflict.
	Place clock.Dot
	// Assembly is the unit that it is installed in, or none; Slot is the slot there,
	// empty where the record names none.
	Assembly clock.Dot
	Slot     string
	// Contested names the fields with values that had not seen each other.
	Contested []string

	place changelog.Register // with every value that may hold
}

// Installed reports whether the unit is in an assembly.
func (u *Unit) Installed() bool { return !u.Assembly.IsZero() }

// mayBeIn reports whether some value of the unit's place is a place.
func (u *Unit) mayBeIn(place clock.Dot) bool {
	return slices.ContainsFunc(u.place.Values, func(v changelog.Value) bool { return v.Ref == place })
}

// ErrUnknown is in the error of FindBySerial for a serial that no unit has.
var ErrUnknown = errors.New("no unit has the serial")

// FindBySerial returns the unit with a serial, given as SERIAL, as PART:SERIAL
// where units of several items have it, or as the id of the change that added it.
func FindBySerial(tx *changelog.Tx, text string) (*Unit, error) {
	part, serial := "", strings.TrimSpace(text)
	if cut := strings.LastIndexByte(serial, ':'); cut >= 0 {
		part, serial = serial[:cut], serial[cut+1:]
	}
	list, err := bySerial(tx, serial)
	if err != nil {
		return nil, err
	}
	if part != "" {
		item, err := stock.FindItem(tx, part)
		if err != nil {
			return nil, err
		}
		list = slices.DeleteFunc(list, func(u *Unit) bool { return u.Item != item.ID })
	}
	if len(list) > 1 {
		list, err = onlyOne(tx, serial, list)
	}
	switch {
	case err != nil:
		return nil, err
	case len(list) == 1:
		return list[0], nil
	}
	if id, err := tx.ParseName(text); err == nil {
		if u, err := ByID(tx, id); u != nil || err != nil {
			return u, err
		}
	}
	return nil, fault.Hint("add it first: pulk unit add "+serial+" --part PART --at LOC", "%w %q", ErrUnknown, text)
}

// onlyOne chooses among units with one serial: the only one that is not scrapped,
// if they are of one item.
func onlyOne(tx *changelog.Tx, serial string, list []*Unit) ([]*Unit, error) {
	var forms []string
	for _, u := range list {
		part, err := partNumber(tx, u.Item)
		if err != nil {
			return nil, err
		}
		if form := part + ":" + serial; !slices.Contains(forms, form) {
			forms = append(forms, form)
		}
	}
	if len(forms) > 1 {
		return nil, fault.Misuse("say which: "+strings.Join(forms, " or "), "units of %d items have the serial %q", len(forms), serial)
	}
	left := slices.DeleteFunc(slices.Clone(list), func(u *Unit) bool { return u.State == Scrapped })
	if len(left) == 1 {
		return left, nil
	}
	var ids []string
	for _, u := range list {
		ids = append(ids, tx.Name(u.ID))
	}
	return nil, fault.Hint("see: pulk conflict list; until then name one by its id: "+strings.Join(ids, " or "), "%s was added %d times by sites that had not heard of each other", forms[0], len(list))
}

func partNumber(tx *changelog.Tx, item clock.Dot) (string, error) {
	it, err := stock.ItemByID(tx, item)
	if err != nil {
		return "", err
	}
	if it == nil {
		return tx.Name(item), nil
	}
	return it.PartNumber, nil
}

func bySerial(tx *changelog.Tx, serial string) ([]*Unit, error) {
	list, err := unitsWith(tx, serial)
	for i := 0; i < len(list) && err == nil; i++ {
		err = fillOne(tx, list[i])
	}
	return list, err
}

// ByID returns a unit; nil, without error, where it is not here yet.
func ByID(tx *changelog.Tx, id clock.Dot) (*Unit, error) {
	u, err := unitWith(tx, id)
	if u == nil || err != nil {
		return nil, err
	}
	return u, fillOne(tx, u)
}

func fillOne(tx *changelog.Tx, u *Unit) error {
	l := &lookup{
		register: func(id clock.Dot, f kind.FieldID) (changelog.Register, error) { return tx.Register(id, f, "") },
		slots:    func(id clock.Dot) ([]changelog.Register, error) { return tx.FieldWithRef(kind.FieldUnitSlot, id) },
		isUnit: func(id clock.Dot) (bool, error) {
			other, err := unitWith(tx, id)
			return other != nil, err
		},
	}
	return l.fill(tx, u)
}

// Filter selects units; empty fields select all.
type Filter struct {
	Item  clock.Dot
	At    clock.Dot // a location; what is installed in a unit there counts as there
	In    clock.Dot // an assembly: what is directly in it
	State string
}

// List returns the units that a filter selects, in the order of serial and id.
func List(tx *changelog.Tx, f Filter) ([]*Unit, error) {
	all, err := units(tx)
	if err != nil {
		return nil, err
	}
	l, err := lookupAll(tx, all)
	if err != nil {
		return nil, err
	}
	var list []*Unit
	for _, u := range all {
		if err := l.fill(tx, u); err != nil {
			return nil, err
		}
		if (f.Item.IsZero() || u.Item == f.Item) && (f.At.IsZero() || u.Place == f.At) &&
			(f.In.IsZero() || u.Assembly == f.In) && (f.State == "" || u.State == f.State) {
			list = append(list, u)
		}
	}
	slices.SortFunc(list, func(a, b *Unit) int { return cmp.Or(cmp.Compare(a.Serial, b.Serial), a.ID.Compare(b.ID)) })
	return list, nil
}

// lookup reads what a unit's fields say: one by one, or from maps of all of them.
type lookup struct {
	register func(clock.Dot, kind.FieldID) (changelog.Register, error)
	slots    func(unit clock.Dot) ([]changelog.Register, error)
	isUnit   func(clock.Dot) (bool, error)
}

func lookupAll(tx *changelog.Tx, all []*Unit) (*lookup, error) {
	known := map[clock.Dot]bool{}
	for _, u := range all {
		known[u.ID] = true
	}
	fields := map[kind.FieldID]map[clock.Dot]changelog.Register{kind.FieldUnitPlace: {}, kind.FieldUnitState: {}}
	for f, byEntity := range fields {
		list, err := tx.FieldOfAll(f)
		if err != nil {
			return nil, err
		}
		for _, r := range list {
			byEntity[r.Entity] = r
		}
	}
	list, err := tx.FieldOfAll(kind.FieldUnitSlot)
	if err != nil {
		return nil, err
	}
	slots := map[clock.Dot][]changelog.Register{}
	for _, r := range list {
		for _, v := range r.Values {
			slots[v.Ref] = append(slots[v.Ref], r)
		}
	}
	return &lookup{
		register: func(id clock.Dot, f kind.FieldID) (changelog.Register, error) { return fields[f][id], nil },
		slots:    func(id clock.Dot) ([]changelog.Register, error) { return slots[id], nil },
		isUnit:   func(id clock.Dot) (bool, error) { return known[id], nil },
	}, nil
}

// maxNesting bounds how deep assemblies are followed: two sites could each have
// installed one of two units in the other.
const maxNesting = 16

func (l *lookup) fill(tx *changelog.Tx, u *Unit) error {
	var err error
	if u.place, err = l.register(u.ID, kind.FieldUnitPlace); err != nil {
		return err
	}
	state, err := l.register(u.ID, kind.FieldUnitState)
	if err != nil {
		return err
	}
	value, _, err := tx.Stands(state)
	if err != nil {
		return err
	}
	u.State = value.Text
	for _, r := range []changelog.Register{u.place, state} {
		if r.Conflicted() {
			u.Contested = append(u.Contested, kind.LookupField(r.Field).Name)
		}
	}
	at, ok, err := tx.Stands(u.place)
	if err != nil || !ok {
		return err
	}
	slots, err := l.slots(u.ID)
	if err != nil {
		return err
	}
	for _, r := range slots {
		if r.Entity == at.Ref {
			u.Assembly, u.Slot = at.Ref, r.Key
		}
	}
	if in, err := l.isUnit(at.Ref); err != nil {
		return err
	} else if in {
		u.Assembly = at.Ref
	}
	u.Place, err = l.outermost(tx, at.Ref)
	return err
}

// outermost follows assemblies from a place to the location where they lie.
func (l *lookup) outermost(tx *changelog.Tx, at clock.Dot) (clock.Dot, error) {
	for range maxNesting {
		in, err := l.isUnit(at)
		if err != nil || !in {
			return at, err
		}
		r, err := l.register(at, kind.FieldUnitPlace)
		if err != nil {
			return clock.Dot{}, err
		}
		value, ok, err := tx.Stands(r)
		if err != nil || !ok {
			return clock.Dot{}, err
		}
		at = value.Ref
	}
	return clock.Dot{}, nil
}
