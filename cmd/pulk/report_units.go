package main

import (
	"fmt"
	"slices"

	"pulk/schema/kind"
	"pulk/sync/changelog"
	"pulk/sync/clock"
)

// unitEvent tells what happened to a unit: the one that the change is about, or, where
// that is given, the one whose calibration it voids.
func (b *dayBuilder) unitEvent(e changelog.Recorded, calibrated clock.Dot) (dayUnitEvent, error) {
	v := e.Values
	event := dayUnitEvent{ID: b.tx.Name(e.Dot), At: second(e.At), Kind: unitKinds[e.Kind]}
	unit, names := v[0].Ref, []clock.Dot{}
	if !calibrated.IsZero() {
		unit = calibrated
	}
	switch e.Kind {
	case kind.UnitAdd:
		unit, names = e.Dot, []clock.Dot{v[3].Ref}
	case kind.UnitMove:
		names = []clock.Dot{v[1].Ref, v[2].Ref}
	case kind.UnitInstall:
		names = []clock.Dot{v[1].Ref}
	case kind.UnitRemove:
		names = []clock.Dot{v[1].Ref, v[3].Ref}
	}
	var words []string
	for _, id := range names {
		text, err := b.describe(id)
		if err != nil {
			return event, err
		}
		if text == "" {
			text = "nowhere"
		}
		words = append(words, text)
	}
	var err error
	if event.Person, err = b.person(e.Person); err != nil {
		return event, err
	}
	if event.Unit, err = b.describe(unit); err != nil {
		return event, err
	}
	event.fill(e, words)
	return event, nil
}

// fill says what happened; words name the other things concerned.
func (u *dayUnitEvent) fill(e changelog.Recorded, words []string) {
	v := e.Values
	switch e.Kind {
	case kind.UnitAdd:
		u.Text = fmt.Sprintf("known from here on, state %s, at %s", v[4].Text, words[0])
	case kind.UnitMove:
		u.Text = fmt.Sprintf("moved from %s to %s%s", words[0], words[1], afterColon(v[3].Text))
	case kind.UnitInstall:
		u.Text = fmt.Sprintf("installed in %s, slot %s", words[0], v[2].Text)
	case kind.UnitRemove:
		u.Text = fmt.Sprintf("removed from %s, slot %s, to %s%s", words[0], v[2].Text, words[1], afterColon(v[4].Text))
	case kind.UnitCalibrate:
		u.Text = fmt.Sprintf("calibrated on %s, certificate %s, due %s", v[3].Text, v[1].Text, v[4].Text)
	case kind.Void:
		u.Kind, u.Bad = "recall", true
		u.Text = "calibration VOIDED" + afterColon(v[2].Text)
	case kind.UnitFail:
		u.Bad = true
		u.Text = "FAILED" + afterColon(v[2].Text)
		if hours := v[1].Num; hours >= 0 {
			u.Text += fmt.Sprintf(" (after %d h in service)", hours)
		} else {
			u.Text += " (hours in service unknown)"
		}
	default:
		u.Kind, u.Text = "state", fmt.Sprintf("state set to %s%s", v[3].Text, afterColon(v[4].Text))
		u.Bad = slices.Index(kind.UnitStates, v[3].Text) < slices.Index(kind.UnitStates, "received")
	}
}

func afterColon(text string) string {
	if text == "" {
		return ""
	}
	return ": " + text
}
