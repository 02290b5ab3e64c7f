package main

import (
	"errors"

	"pulk/checklist/procedure"
	"pulk/inventory/stock"
	"pulk/inventory/unit"
	"pulk/schema/fault"
	"pulk/sync/changelog"
	"pulk/sync/clock"
)

// findUnit returns a unit by its serial.
func findUnit(tx *changelog.Tx, serial string) (clock.Dot, error) {
	u, err := unit.FindBySerial(tx, serial)
	if err != nil {
		return clock.Dot{}, err
	}
	return u.ID, nil
}

// findLocation returns a location by its code.
func findLocation(tx *changelog.Tx, code string) (clock.Dot, error) {
	l, err := stock.FindLocation(tx, code)
	if err != nil {
		return clock.Dot{}, err
	}
	return l.ID, nil
}

// unitToRecord returns the unit that a record step names by serial; none for texts.
// The unit must be known, and be of the part that the step asks for.
func unitToRecord(tx *changelog.Tx, step *procedure.Step, text string) (clock.Dot, error) {
	if step.Record == nil || step.Record.What != procedure.RecordSerial || text == "" {
		return clock.Dot{}, nil
	}
	part := step.Record.Part
	u, err := unit.FindBySerial(tx, text)
	if u, err = amongTwins(tx, u, part, text, err); err != nil {
		return clock.Dot{}, unknownSerial(step, text, err)
	}
	if part == "" {
		return u.ID, nil
	}
	is, err := partOf(tx, u.Item)
	if err != nil {
		return clock.Dot{}, err
	}
	if is != part {
		return clock.Dot{}, fault.Refuse("scan the unit that is really there; it has to be one of "+part, "step %s is for %s, but %s is %s", step.ID, part, u.Serial, is)
	}
	return u.ID, nil
}

// amongTwins looks again where units of several items have the serial and the step
// says which item it is for.
func amongTwins(tx *changelog.Tx, u *unit.Unit, part, serial string, err error) (*unit.Unit, error) {
	var misuse *fault.Usage
	if part != "" && errors.As(err, &misuse) {
		return unit.FindBySerial(tx, part+":"+serial)
	}
	return u, err
}

// unknownSerial makes a refusal of a unit that was not found: a step records only
// units that are known.
func unknownSerial(step *procedure.Step, serial string, err error) error {
	part := step.Record.Part
	if part == "" {
		part = "PART"
	}
	if errors.Is(err, unit.ErrUnknown) {
		return fault.Refuse("read the plate again; if it is new here: pulk unit add "+serial+" --part "+part, "step %s: no unit has the serial %q", step.ID, serial)
	}
	return err
}

// partOf returns the part number of an item, or the id of one that is not here yet.
func partOf(tx *changelog.Tx, item clock.Dot) (string, error) {
	it, err := stock.ItemByID(tx, item)
	if err != nil || it == nil {
		return tx.Name(item) + " (not here yet)", err
	}
	return it.PartNumber, nil
}
