package main

import (
	"pulk/checklist/procedure"
	"pulk/inventory/stock"
	"pulk/schema/fault"
	"pulk/sync/changelog"
	"pulk/sync/clock"
)

// findUnit returns a unit by its serial.
func findUnit(_ *changelog.Tx, serial string) (clock.Dot, error) {
	return clock.Dot{}, fault.Hint("add it first", "no unit %q is known here", serial)
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
func unitToRecord(_ *changelog.Tx, _ *procedure.Step, _ string) (clock.Dot, error) {
	return clock.Dot{}, nil
}
