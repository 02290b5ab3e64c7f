package main

import (
	"pulk/schema/kind"
	"pulk/sync/changelog"
	"pulk/sync/clock"
)

// movementKinds names the kinds of movement.
var movementKinds = map[*kind.Kind]string{kind.StockReceive: "receive", kind.StockMove: "move", kind.StockIssue: "issue",
	kind.StockCount: "count", kind.StockScrap: "scrap"}

// unitKinds names what happens to units.
var unitKinds = map[*kind.Kind]string{kind.UnitAdd: "add", kind.UnitMove: "move", kind.UnitInstall: "install", kind.UnitRemove: "remove", kind.UnitFail: "fail"}

// addStock tells of the day's movements, as their authors wrote them down.
func (b *dayBuilder) addStock(entries []changelog.Recorded) error {
	for _, e := range entries {
		if movementKinds[e.Kind] == "" {
			continue
		}
		m, err := b.movement(e)
		if err != nil {
			return err
		}
		b.report.Stock = append(b.report.Stock, m)
	}
	return nil
}

func (b *dayBuilder) movement(e changelog.Recorded) (dayMovement, error) {
	v := e.Values
	m := dayMovement{ID: b.tx.Name(e.Dot), At: second(e.At), Kind: movementKinds[e.Kind], Lot: v[1].Text, Voided: b.voids[e.Dot]}
	var from, to clock.Dot
	held := func(n int64) { m.Held = &n }
	switch e.Kind {
	case kind.StockReceive:
		to, m.Quantity, m.Note = v[2].Ref, v[3].Num, v[5].Text
	case kind.StockMove:
		from, to, m.Quantity, m.Note = v[2].Ref, v[3].Ref, v[4].Num, v[6].Text
		held(v[5].Num)
	case kind.StockIssue:
		from, m.Quantity, m.Note = v[2].Ref, v[3].Num, v[7].Text
		held(v[4].Num)
		if run := v[5].Ref; m.Note == "" && !run.IsZero() {
			m.Note = "for run " + b.tx.Name(run)
		}
	case kind.StockCount:
		from, to, m.Quantity, m.Note = v[2].Ref, v[2].Ref, v[3].Num, v[5].Text
		held(v[4].Num)
	case kind.StockScrap:
		from, m.Quantity, m.Note = v[2].Ref, v[3].Num, v[5].Text
		held(v[4].Num)
	}
	var err error
	if m.Person, err = b.person(e.Person); err != nil {
		return m, err
	}
	for _, name := range []struct {
		id   clock.Dot
		text *string
	}{{v[0].Ref, &m.Item}, {from, &m.From}, {to, &m.To}} {
		if *name.text, err = b.describe(name.id); err != nil {
			return m, err
		}
	}
	return m, nil
}

// addUnits tells what happened to units that day.
func (b *dayBuilder) addUnits(entries []changelog.Recorded) error {
	for _, e := range entries {
		if unitKinds[e.Kind] == "" && !isUnitState(e) {
			continue
		}
		event, err := b.unitEvent(e)
		if err != nil {
			return err
		}
		b.report.Units = append(b.report.Units, event)
	}
	return nil
}

// isUnitState reports whether a change gives a unit another state.
func isUnitState(e changelog.Recorded) bool {
	return e.Kind == kind.AssignText && kind.FieldID(e.Values[1].Num) == kind.FieldUnitState
}
