package main

import (
	"pulk/checklist/attach"
	"pulk/checklist/run"
	"pulk/schema/kind"
	"pulk/sync/clock"
)

// attachments tells of what was attached to the unit, to the runs on it, and to its
// nonconformances.
func (b *dossierBuilder) attachments() error {
	if err := b.attachedTo(b.unit.ID); err != nil {
		return err
	}
	for id := range b.told {
		if err := b.attachedTo(id); err != nil {
			return err
		}
	}
	return nil
}

func (b *dossierBuilder) attachedTo(entity clock.Dot) error {
	list, err := attach.Of(b.tx, entity)
	if err != nil {
		return err
	}
	for _, a := range list {
		row, err := attachRowOf(b.tx, a)
		if err != nil {
			return err
		}
		line := dossierLine{Kind: kind.AttachAdd.Name, Text: "attached " + a.Name + afterColon(a.Note)}
		if entity != b.unit.ID {
			line.Text += " (about " + row.About + ")"
		}
		if a.Step != run.NoStep {
			if line.Step, err = b.reader.StepID(entity, a.Step); err != nil {
				return err
			}
			line.Run, line.Text = b.tx.Name(entity), "attached "+a.Name+afterColon(a.Note)
		}
		if err := b.add(line, a.ID, a.At, a.Person, clock.Dot{}); err != nil {
			return err
		}
	}
	return nil
}
