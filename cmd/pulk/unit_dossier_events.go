package main

import (
	"fmt"
	"slices"
	"strings"

	"pulk/inventory/unit"
	"pulk/schema/kind"
	"pulk/sync/clock"
)

// events tells of what happened to the unit, to what was put into it, and of the
// ways on which its assembly carried it.
func (b *dossierBuilder) events(events []unit.Event) error {
	carried, err := b.carried(events)
	if err != nil {
		return err
	}
	where := "-"
	for _, e := range append(slices.Clone(events), carried...) {
		if where, err = b.event(e, where); err != nil {
			return err
		}
	}
	return nil
}

// carried returns the moves of each assembly while the unit was in it.
func (b *dossierBuilder) carried(events []unit.Event) ([]unit.Event, error) {
	var list []unit.Event
	for i, e := range events {
		if e.Part || e.Kind != kind.UnitInstall {
			continue
		}
		until := clock.Stamp(1<<64 - 1)
		for _, later := range events[i+1:] {
			if !later.Part && later.Kind != kind.UnitFail && later.Kind != kind.AssignText {
				until = later.At
				break
			}
		}
		ways, err := unit.Events(b.tx, e.Assembly)
		if err != nil {
			return nil, err
		}
		for _, way := range ways {
			if way.Kind == kind.UnitMove && way.At > e.At && way.At < until {
				way.Part = true
				list = append(list, way)
			}
		}
	}
	return list, nil
}

// event tells of one event of a unit that was somewhere before; it returns where it
// is after.
func (b *dossierBuilder) event(e unit.Event, before string) (after string, err error) {
	line := dossierLine{Kind: e.Kind.Name, Bad: !e.Part && badEvent(e)}
	if !e.Run.IsZero() {
		line.Run = b.tx.Name(e.Run)
	}
	words := map[clock.Dot]string{}
	for _, id := range []clock.Dot{e.Unit, e.Assembly, e.From, e.To} {
		text, err := b.tx.Describe(id)
		if err != nil {
			return before, err
		}
		words[id] = strings.TrimPrefix(text, "location ")
	}
	after = before
	switch {
	case e.Part || e.Kind == kind.UnitFail || e.Kind == kind.AssignText:
	case e.Kind == kind.UnitInstall:
		after = strings.TrimPrefix(words[e.Assembly], "unit ")
	case !e.To.IsZero():
		after = strings.TrimPrefix(words[e.To], "unit ")
	}
	line.Where = after
	if e.Part && e.Kind == kind.UnitMove {
		line.Where = words[e.To]
	}
	line.Text = eventText(e, words)
	return after, b.keep(line, e.Dot, e.At, e.Person)
}

func badEvent(e unit.Event) bool {
	return e.Kind == kind.UnitFail ||
		e.Kind == kind.AssignText && slices.Index(kind.UnitStates, e.State) < slices.Index(kind.UnitStates, unit.Received)
}

// eventText says what happened to a unit; words name what is concerned.
func eventText(e unit.Event, words map[clock.Dot]string) string {
	who := ""
	if e.Part {
		who = words[e.Unit] + " "
	}
	switch e.Kind {
	case kind.UnitAdd:
		return "added, " + e.State
	case kind.UnitMove:
		if e.Part {
			return fmt.Sprintf("carried in %sfrom %s to %s%s", who, words[e.From], words[e.To], afterColon(e.Text))
		}
		return fmt.Sprintf("moved from %s to %s%s", words[e.From], words[e.To], afterColon(e.Text))
	case kind.UnitInstall:
		return fmt.Sprintf("%sinstalled in %s, slot %s", who, words[e.Assembly], e.Slot)
	case kind.UnitRemove:
		return fmt.Sprintf("%sremoved from %s, slot %s, to %s%s", who, words[e.Assembly], e.Slot, words[e.To], afterColon(e.Text))
	case kind.UnitFail:
		hours := "hours in service unknown"
		if e.Hours != unit.UnknownHours {
			hours = fmt.Sprintf("after %d h in service", e.Hours)
		}
		return fmt.Sprintf("FAILED: %s (%s)", e.Text, hours)
	case kind.UnitCalibrate:
		return who + "calibrated, certificate " + e.Text
	case kind.AssignText:
		return "state " + e.State + afterColon(e.Text)
	}
	if !e.Assembly.IsZero() {
		return fmt.Sprintf("slot %s of %s given to %s%s", e.Slot, words[e.Assembly], words[e.Unit], afterColon(e.Text))
	}
	return "place settled: " + words[e.To] + afterColon(e.Text)
}
