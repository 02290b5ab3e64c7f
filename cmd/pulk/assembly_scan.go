package main

import (
	"fmt"
	"slices"

	"pulk/checklist/procedure"
	"pulk/checklist/run"
	"pulk/inventory/assembly"
	"pulk/inventory/unit"
	"pulk/schema/fault"
	"pulk/schema/kind"
	"pulk/sync/changelog"
	"pulk/sync/clock"
)

// fillsSlot reports whether a step puts what it records into a slot of the target.
func fillsSlot(step procedure.Step) bool { return step.Record != nil && step.Record.Slot != "" }

// slotsOfNothing warns where a run would fill slots and names no assembly.
func slotsOfNothing(tx *changelog.Tx, revision procedure.Revision, target clock.Dot) (string, error) {
	p, err := procedure.Load(tx, revision.ID)
	if err != nil || p == nil || !target.IsZero() || !slices.ContainsFunc(p.Steps, fillsSlot) {
		return "", err
	}
	return "note: its steps fill slots of the unit named with --target; without one they only record serials", nil
}

// fitScanned puts a unit that a record step scanned into the slot that the step names,
// and says where it is now. Nothing is done for a step that names none.
func fitScanned(tx *changelog.Tx, doing *run.Doing, n int, scanned clock.Dot) (string, error) {
	step := doing.Steps[n].Step
	if !fillsSlot(*step) || doing.Target.IsZero() {
		return "", nil
	}
	target, err := unit.ByID(tx, doing.Target)
	if err == nil && target == nil {
		err = fault.Refuse("wait for the bundle that brings it", "the unit that this run is carried out on is not here yet")
	}
	if err != nil {
		return "", err
	}
	a, err := assembly.Load(tx, target)
	if err != nil {
		return "", err
	}
	u, err := unit.ByID(tx, scanned)
	if err != nil {
		return "", err
	}
	wire, err := run.StepOnWire(tx, doing.Run, n)
	if err != nil {
		return "", err
	}
	next := fitted(a, step.Record.Slot)
	err = assembly.Fit(tx, a, u, assembly.Fitting{Slot: step.Record.Slot, Run: doing.Run, Step: wire})
	return fmt.Sprintf(" in slot %s of %s; %s", step.Record.Slot, target.Serial, next), err
}

// voidEntry voids an entry of a run, and says so. A unit that its scan put into a slot
// is taken out again.
func voidEntry(tx *changelog.Tx, doing *run.Doing, id clock.Dot, why string) (string, error) {
	if err := doing.Void(id, why); err != nil {
		return "", err
	}
	said := tx.Name(id) + " is voided; it stays on record"
	scan, err := tx.Entry(id)
	if err != nil || scan.Kind != kind.StepRecord || scan.Values[3].Ref.IsZero() {
		return said, err
	}
	out, err := assembly.Undo(tx, id, scan.Values[3].Ref, why)
	if out {
		said += ", and " + scan.Values[2].Text + " is out of its slot again"
	}
	return said, err
}
