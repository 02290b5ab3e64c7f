package main

import (
	"cmp"
	"fmt"
	"math"
	"slices"
	"time"

	"pulk/inventory/stock"
	"pulk/inventory/unit"
	"pulk/schema/kind"
	"pulk/sync/changelog"
	"pulk/sync/clock"
)

// movementKinds names the kinds of movement.
var movementKinds = map[*kind.Kind]string{kind.StockReceive: "receive", kind.StockMove: "move", kind.StockIssue: "issue",
	kind.StockCount: "count", kind.StockScrap: "scrap"}

// unitKinds names what happens to units.
var unitKinds = map[*kind.Kind]string{kind.UnitAdd: "add", kind.UnitMove: "move", kind.UnitInstall: "install", kind.UnitRemove: "remove", kind.UnitFail: "fail", kind.UnitCalibrate: "calibrate"}

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
		if err := b.addUnit(e); err != nil {
			return err
		}
	}
	return b.addDue()
}

func (b *dayBuilder) addUnit(e changelog.Recorded) error {
	about := clock.Dot{}
	if e.Kind == kind.Void && e.Values[1].Ref.IsZero() {
		var err error
		if about, err = unit.OfCalibration(b.tx, e.Values[0].Ref); err != nil {
			return err
		}
	}
	if unitKinds[e.Kind] == "" && !isUnitState(e) && about.IsZero() {
		return nil
	}
	event, err := b.unitEvent(e, about)
	if err == nil {
		b.report.Units = append(b.report.Units, event)
	}
	return err
}

// addDue tells whose calibration ends soon, or has ended.
func (b *dayBuilder) addDue() error {
	byUnit, err := unit.AllCalibrations(b.tx)
	if err != nil {
		return err
	}
	today := b.report.MadeAt.UTC().Truncate(24 * time.Hour)
	for id, list := range byUnit {
		standing := unit.Standing(list)
		if standing == nil {
			continue
		}
		due, err := time.Parse(time.DateOnly, standing.Due)
		days := int(math.Floor(due.Sub(today).Hours() / 24))
		if err != nil || days > expiryDays {
			continue
		}
		name, err := b.describe(id)
		if err != nil {
			return err
		}
		b.report.Due = append(b.report.Due, dayDue{Unit: name, Due: standing.Due, Days: days})
	}
	slices.SortFunc(b.report.Due, func(x, y dayDue) int { return cmp.Or(cmp.Compare(x.Due, y.Due), cmp.Compare(x.Unit, y.Unit)) })
	return nil
}

// said says when a calibration is due.
func (d *dayDue) said() string {
	if d.Days < 0 {
		return fmt.Sprintf("calibration OVERDUE since %s, %d days", d.Due, -d.Days)
	}
	return fmt.Sprintf("calibration holds to %s, %d days", d.Due, d.Days)
}

// isUnitState reports whether a change gives a unit another state.
func isUnitState(e changelog.Recorded) bool {
	return e.Kind == kind.AssignText && kind.FieldID(e.Values[1].Num) == kind.FieldUnitState
}

// addLevels tells what runs short, what stands below zero and what expires.
func (b *dayBuilder) addLevels() error {
	levels, err := stock.Levels(b.tx)
	if err != nil {
		return err
	}
	items, err := stock.Items(b.tx)
	if err != nil {
		return err
	}
	made := b.report.MadeAt
	b.report.Needs.Short, b.report.Expiring = []dayShort{}, []dayExpiry{}
	for _, l := range levels {
		if l.Quantity < 0 {
			b.report.Needs.Short = append(b.report.Needs.Short, dayShort{Item: l.Item.PartNumber, Name: l.Item.Name, Place: l.Location.Code,
				Have: l.Quantity, Minimum: l.Item.Minimums[l.Location.Code], Unit: l.Item.UnitOfIssue, BelowZero: true})
		}
	}
	for _, s := range stock.Shortages(levels, items, stock.Day(made)) {
		b.report.Needs.Short = append(b.report.Needs.Short, dayShort{Item: s.Item.PartNumber, Name: s.Item.Name, Place: s.Location,
			Have: s.Quantity, Minimum: s.Minimum, Unit: s.Item.UnitOfIssue})
	}
	for _, l := range stock.Expiring(levels, stock.Day(made.AddDate(0, 0, expiryDays+1))) {
		expires, err := time.Parse(time.DateOnly, l.Expires)
		if err != nil {
			continue // not a date: written by hand elsewhere; stock list shows it
		}
		days := int(math.Floor(expires.Sub(made.UTC().Truncate(24*time.Hour)).Hours() / 24))
		b.report.Expiring = append(b.report.Expiring, dayExpiry{Item: l.Item.PartNumber, Name: l.Item.Name, Lot: l.Lot, Place: l.Location.Code,
			Quantity: l.Quantity, Unit: l.Item.UnitOfIssue, Expires: l.Expires, Days: days})
	}
	return nil
}
