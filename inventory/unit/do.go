package unit

import (
	"fmt"
	"slices"
	"strings"

	"pulk/inventory/stock"
	"pulk/schema/fault"
	"pulk/schema/kind"
	"pulk/sync/change"
	"pulk/sync/changelog"
	"pulk/sync/clock"
)

// UnknownHours is the hours in service at a failure where nobody knows them.
const UnknownHours = -1

// MaxHours is the most hours in service that a failure can tell: over 100 years.
const MaxHours = 1_000_000

const (
	maxSerial = 40
	maxSlot   = 40
)

// checkWord refuses what cannot be typed as one word of a command line.
func checkWord(what, text string, most int) error {
	if text == "" || len(text) > most || strings.ContainsAny(text, " \t\r\n:,") {
		return fault.Misuse(fmt.Sprintf("use 1 to %d characters without spaces, colons and commas", most), "%q cannot be %s", text, what)
	}
	return nil
}

// Add makes a unit known, in state received, at a location or (none) nowhere yet.
// It is refused for a serial that a unit of the item has.
func Add(tx *changelog.Tx, it *stock.Item, serial, lot string, at clock.Dot) (clock.Dot, error) {
	if err := checkWord("a serial", serial, maxSerial); err != nil {
		return clock.Dot{}, err
	}
	if !it.Serialised {
		return clock.Dot{}, fault.Misuse("pulk stock receive "+it.PartNumber+" QUANTITY", "%s comes without serial numbers", it.PartNumber)
	}
	list, err := unitsWith(tx, serial)
	if err != nil {
		return clock.Dot{}, err
	}
	for _, u := range list {
		if u.Item == it.ID {
			return clock.Dot{}, fault.Refuse("read the plate again; see: pulk unit show "+it.PartNumber+":"+serial, "%s %s is known already (%s)", it.PartNumber, serial, tx.Name(u.ID))
		}
	}
	return tx.Add(change.New(kind.UnitAdd, change.Ref(it.ID), change.Text(serial), change.Text(lot), change.Ref(at), change.Text(Received))), nil
}

// Move records that a unit, with all that is installed in it, was carried to a
// location. It also settles where the unit is, where people had told differently.
func Move(tx *changelog.Tx, u *Unit, to *stock.Location, note string) error {
	if u.Installed() {
		in, err := tx.Describe(u.Assembly)
		if err != nil {
			return err
		}
		return fault.Refuse(fmt.Sprintf("move that, or take it out: pulk unit remove %s --to %s --why REASON", u.Serial, to.Code), "%s is installed in %s%s", u.Serial, in, inSlot(u.Slot))
	}
	if u.Place == to.ID {
		return fault.Hint("nothing to do", "%s is at %s already", u.Serial, to.Code)
	}
	tx.Add(change.New(kind.UnitMove, change.Ref(u.ID), change.Ref(u.Place), change.Ref(to.ID), change.Text(note)))
	return nil
}

func inSlot(slot string) string {
	if slot == "" {
		return ""
	}
	return ", slot " + slot
}

// SetState gives a unit another state. All but the way received, accepted, released
// needs a reason.
func SetState(tx *changelog.Tx, u *Unit, state, why string) error {
	usual := u.State == Received && state == Accepted || u.State == Accepted && state == Released
	switch {
	case !slices.Contains(kind.UnitStates, state):
		return fault.Misuse("one of: "+strings.Join(kind.UnitStates, ", "), "%q is no state of a unit", state)
	case state == u.State && len(u.Contested) == 0:
		return fault.Hint("nothing to do", "%s is %s already", u.Serial, state)
	case why == "" && !usual:
		return fault.Misuse("give it with --why", "from %s to %s needs a reason", u.State, state)
	}
	if slices.Index(kind.UnitStates, state) < slices.Index(kind.UnitStates, Received) {
		tx.SetClass(clock.Expedited) // a stop
	}
	tx.AssignText(u.ID, kind.FieldUnitState, "", state, why)
	return nil
}

// CheckSlot refuses what cannot be the name of a slot.
func CheckSlot(slot string) error { return checkWord("a slot", slot, maxSlot) }

// OutOfUse reports whether a unit in a state must not be used.
func OutOfUse(state string) bool {
	return slices.Contains([]string{Quarantined, Failed, Scrapped}, state)
}

// Install puts a unit into a slot of an assembly, in a run where given. It is
// refused for a slot that holds something, a unit that is installed, is out of use,
// or is not known to lie where the assembly can be, and for the assembly itself.
func Install(tx *changelog.Tx, u, into *Unit, slot string, run clock.Dot) error {
	if err := CheckSlot(slot); err != nil {
		return err
	}
	for _, piece := range []*Unit{u, into} {
		if OutOfUse(piece.State) {
			return fault.Refuse("take another one; see: pulk unit list --state released", "%s is %s", piece.Serial, piece.State)
		}
	}
	if u.place.Conflicted() {
		return fault.Refuse("look where it is, then: pulk conflict list", "where %s is was told differently by people who had not heard of each other", u.Serial)
	}
	if u.Installed() {
		in, err := tx.Describe(u.Assembly)
		if err != nil {
			return err
		}
		return fault.Refuse("take it out first: pulk unit remove "+u.Serial+" --to LOC --why REASON", "%s is installed in %s%s already", u.Serial, in, inSlot(u.Slot))
	}
	if inside, err := isInside(tx, into, u); err != nil {
		return err
	} else if inside {
		return fault.Refuse("name the assembly that it goes into", "%s cannot be installed in itself", u.Serial)
	}
	holds, err := Occupants(tx, into.ID, slot)
	if err != nil {
		return err
	}
	if len(holds) > 0 {
		return fault.Refuse("take that out first: pulk unit remove "+holds[0].Serial+" --to LOC --why REASON", "slot %s of %s holds %s", slot, into.Serial, holds[0].Serial)
	}
	if err := freeSlots(tx, u); err != nil {
		return err
	}
	tx.Add(change.New(kind.UnitInstall, change.Ref(u.ID), change.Ref(into.ID), change.Text(slot), change.Ref(run)))
	return nil
}

// freeSlots empties the slots that still name a unit that is in none: one whose
// place was settled otherwise. Contested ones are left for people to settle.
func freeSlots(tx *changelog.Tx, u *Unit) error {
	slots, err := tx.FieldWithRef(kind.FieldUnitSlot, u.ID)
	for _, r := range slots {
		// A register found by one of its values has only that one.
		whole, err := tx.Register(r.Entity, r.Field, r.Key)
		if err != nil {
			return err
		}
		if !whole.Conflicted() {
			tx.AssignRef(r.Entity, r.Field, r.Key, clock.Dot{}, "")
		}
	}
	return err
}

// isInside reports whether a unit is another, or is installed in it, however deep.
func isInside(tx *changelog.Tx, u, other *Unit) (bool, error) {
	for range maxNesting {
		if u == nil || u.ID == other.ID {
			return u != nil, nil
		}
		if !u.Installed() {
			return false, nil
		}
		var err error
		if u, err = ByID(tx, u.Assembly); err != nil {
			return false, err
		}
	}
	return true, nil
}

// Occupants returns the units that are in a slot of an assembly, or may be: several
// where people who had not heard of each other installed one each.
func Occupants(tx *changelog.Tx, assembly clock.Dot, slot string) ([]*Unit, error) {
	r, err := tx.Register(assembly, kind.FieldUnitSlot, slot)
	if err != nil {
		return nil, err
	}
	var list []*Unit
	for _, v := range r.Values {
		u, err := ByID(tx, v.Ref)
		if err != nil {
			return nil, err
		}
		// A slot can name a unit that was found to be elsewhere: then it is free.
		if u != nil && u.mayBeIn(assembly) && !slices.ContainsFunc(list, func(o *Unit) bool { return o.ID == u.ID }) {
			list = append(list, u)
		}
	}
	return list, nil
}

// Remove takes a unit out of its assembly, to a location.
func Remove(tx *changelog.Tx, u *Unit, to *stock.Location, why string) error {
	switch {
	case why == "":
		return fault.Misuse("give it with --why", "removing needs a reason")
	case u.place.Conflicted():
		return fault.Refuse("look where it is, then: pulk conflict list", "where %s is was told differently by people who had not heard of each other", u.Serial)
	case !u.Installed():
		return fault.Refuse("to carry it elsewhere: pulk unit move "+u.Serial+" --to "+to.Code, "%s is not installed in anything", u.Serial)
	}
	r, err := tx.Register(u.Assembly, kind.FieldUnitSlot, u.Slot)
	if err != nil {
		return err
	}
	if u.Slot != "" && r.Conflicted() {
		return fault.Refuse("look which one is in it, then: pulk conflict list", "slot %s was given to several units by people who had not heard of each other", u.Slot)
	}
	tx.Add(change.New(kind.UnitRemove, change.Ref(u.ID), change.Ref(u.Assembly), change.Text(u.Slot), change.Ref(to.ID), change.Text(why)))
	return nil
}

// Fail records that a unit failed, in a run where given. hours is how long it was in
// service in all, as its meter shows, or [UnknownHours]. The news goes ahead of
// others.
func Fail(tx *changelog.Tx, u *Unit, mode string, hours int64, run clock.Dot) error {
	switch {
	case strings.TrimSpace(mode) == "":
		return fault.Misuse("say how with --mode", "a failure needs a description")
	case hours != UnknownHours && (hours < 0 || hours > MaxHours):
		return fault.Misuse("give whole hours, or leave --hours away where unknown", "%d cannot be the hours in service", hours)
	case u.State == Failed || u.State == Scrapped:
		return fault.Refuse("if it was mended since, set its state first: pulk unit state "+u.Serial+" accepted --why REASON", "%s is %s already", u.Serial, u.State)
	}
	tx.SetClass(clock.Expedited)
	tx.Add(change.New(kind.UnitFail, change.Ref(u.ID), change.Num(hours), change.Text(mode), change.Ref(run), change.Text(Failed)))
	return nil
}
