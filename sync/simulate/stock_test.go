package simulate_test

import (
	"fmt"
	"math/rand/v2"

	"pulk/checklist/crew"
	"pulk/inventory/stock"
	"pulk/schema/kind"
	"pulk/sync/change"
	"pulk/sync/changelog"
	"pulk/sync/clock"
	"pulk/sync/simulate"
)

func stockProjections() []changelog.Projector { return []changelog.Projector{stock.Projection{}} }

var (
	partNumbers = []string{"CON-014", "SEAL-2"}
	placeCodes  = []string{"store", "hut", "hold"}
	lots        = []string{"", "L1", "L2"}
)

// setUpStock adds items, stock and units. Places are there already, in the order of
// placeCodes.
func setUpStock(tx *changelog.Tx, places []clock.Dot) error {
	for _, part := range partNumbers {
		values := []change.Value{change.Text(part), change.Text(part), change.Text("spares"), change.Text("each")}
		for len(values) < len(kind.ItemAdd.Columns) {
			values = append(values, change.Value{})
		}
		item := tx.Add(change.New(kind.ItemAdd, values...))
		tx.Add(change.New(kind.StockReceive, change.Ref(item), change.Text(""), change.Ref(places[0]), change.Num(20), change.Text(""), change.Text("")))
		for n := range 2 {
			tx.Add(change.New(kind.UnitAdd, change.Ref(item), change.Text(fmt.Sprintf("%s-%d", part, n)), change.Text(""), change.Ref(places[0]), change.Text("received")))
		}
	}
	return nil
}

// stockDeed moves stock, or does something with a unit.
func (w *world) stockDeed(m *machine, verb string, r *rand.Rand) (string, func(*changelog.Tx, *crew.Person) error) {
	if verb == "unit" {
		return w.unitDeed(m, r)
	}
	part, lot := partNumbers[r.IntN(len(partNumbers))], lots[r.IntN(len(lots))]
	from, to := r.IntN(len(placeCodes)), r.IntN(len(placeCodes))
	quantity, dice := 1+r.Int64N(12), r.IntN(10)
	return fmt.Sprintf("moves stock (%d) of %s lot %q, %d, %s %s", dice, part, lot, quantity, placeCodes[from], placeCodes[to]), func(tx *changelog.Tx, _ *crew.Person) error {
		item, err := stock.FindItem(tx, part)
		if err != nil {
			return err
		}
		var at [2]*stock.Location
		for i, code := range []string{placeCodes[from], placeCodes[to]} {
			if at[i], err = stock.FindLocation(tx, code); err != nil {
				return err
			}
		}
		switch {
		case dice < 2:
			_, err = stock.Receive(tx, item, lot, at[0], quantity, "", "")
		case dice < 5:
			_, err = stock.Move(tx, item, stock.AnyLot, at[0], at[1], quantity, "", "")
		case dice < 7:
			_, err = stock.Issue(tx, item, stock.AnyLot, at[0], quantity, clock.Dot{}, 0, "", "")
		case dice == 7:
			_, err = stock.Count(tx, item, lot, at[0], quantity, "counted")
		case dice == 8:
			_, err = stock.Scrap(tx, item, lot, at[0], quantity, "wet")
		default:
			return w.voidMovement(m, tx, r)
		}
		return err
	}
}

func (w *world) voidMovement(m *machine, tx *changelog.Tx, r *rand.Rand) error {
	var here []*fact
	for _, f := range w.m.moves {
		if m.knew.Has(f.N) {
			here = append(here, f)
		}
	}
	if len(here) == 0 {
		return nil
	}
	_, err := stock.Void(tx, m.dot(here[r.IntN(len(here))].ID), "mistaken")
	return err
}

// unitDeed moves, installs, removes or fails a unit, or changes its state.
func (w *world) unitDeed(m *machine, r *rand.Rand) (string, func(*changelog.Tx, *crew.Person) error) {
	var units []simulate.ID
	for _, at := range w.m.slots {
		if at.field == kind.FieldUnitState && m.knew.Has(at.entity.N) {
			units = append(units, at.entity)
		}
	}
	places := w.m.places(m.knew)
	if len(units) == 0 || len(places) == 0 {
		return "", nil
	}
	unit, other, place := change.Ref(m.dot(units[r.IntN(len(units))])), change.Ref(m.dot(units[r.IntN(len(units))])), change.Ref(m.dot(places[r.IntN(len(places))]))
	slot, state := change.Text([]string{"1", "2"}[r.IntN(2)]), kind.UnitStates[r.IntN(len(kind.UnitStates))]
	none, dice := change.Value{}, r.IntN(5)
	return fmt.Sprintf("handles a unit (%d)", dice), func(tx *changelog.Tx, _ *crew.Person) error {
		switch dice {
		case 0:
			tx.Add(change.New(kind.UnitMove, unit, none, place, none))
		case 1:
			tx.Add(change.New(kind.UnitInstall, unit, other, slot, none))
		case 2:
			tx.Add(change.New(kind.UnitRemove, unit, other, slot, place, none))
		case 3:
			tx.SetClass(clock.Expedited)
			tx.Add(change.New(kind.UnitFail, unit, change.Num(-1), change.Text("leak"), none, change.Text("failed")))
		case 4:
			tx.AssignText(unit.Ref, kind.FieldUnitState, "", state, "")
		}
		return nil
	}
}

// sortStock books movements of stock.
func (m *model) sortStock(f *fact) {
	switch f.kind {
	case kind.StockReceive, kind.StockMove, kind.StockIssue, kind.StockCount, kind.StockScrap:
		m.moves = append(m.moves, f)
	}
}

// shelf is where a lot lies.
type shelf struct {
	item  simulate.ID
	lot   string
	place simulate.ID
}

// balance adds up what lies where, by the movements that are here and that nobody
// whose word is here has voided.
func (m *model) balance(here simulate.Bits) map[shelf]int64 {
	voided := map[simulate.ID]bool{}
	for _, f := range m.facts {
		if f.kind == kind.Void && here.Has(f.N) {
			voided[f.target] = true
		}
	}
	lies := map[shelf]int64{}
	for _, f := range m.moves {
		if !here.Has(f.N) || voided[f.ID] {
			continue
		}
		item, lot := f.refs[0], f.v[1].Text
		switch f.kind {
		case kind.StockReceive:
			lies[shelf{item, lot, f.refs[2]}] += f.v[3].Num
		case kind.StockMove:
			lies[shelf{item, lot, f.refs[2]}] -= f.v[4].Num
			lies[shelf{item, lot, f.refs[3]}] += f.v[4].Num
		case kind.StockIssue, kind.StockScrap:
			lies[shelf{item, lot, f.refs[2]}] -= f.v[3].Num
		case kind.StockCount:
			lies[shelf{item, lot, f.refs[2]}] += f.v[3].Num - f.v[4].Num
		}
	}
	for at, n := range lies {
		if n == 0 {
			delete(lies, at)
		}
	}
	return lies
}

// compareStock: every movement is there once, and everything lies where the model
// says.
func (w *world) compareStock(m *machine) {
	var all []stock.Movement
	var below int
	m.view(func(tx *changelog.Tx) (err error) {
		if all, err = stock.Movements(tx); err != nil {
			return err
		}
		return stock.Projection{}.Conflicts(tx, func(c changelog.Conflict) error {
			if c.Kind == "stock below zero" {
				below++
			}
			return nil
		})
	})
	got := map[simulate.ID]bool{}
	for _, movement := range all {
		got[m.idOf(movement.ID)] = true
	}
	want := 0
	for _, f := range w.m.moves {
		if !m.knew.Has(f.N) {
			continue
		}
		if want++; !got[f.ID] {
			w.fail("%s does not show movement %s", m.name, w.show(f.ID))
		}
	}
	if len(all) != want {
		w.fail("%s shows %d movements; there are %d", m.name, len(all), want)
	}
	w.counts["movements"] += want
	lies, negative := w.m.balance(m.knew), 0
	for at, n := range stock.Balance(all) {
		key := shelf{m.idOf(at.Item), at.Lot, m.idOf(at.Location)}
		if lies[key] != n {
			w.fail("%s: %d of lot %q of item %s lie at %s; the model says %d", m.name, n, at.Lot, w.show(key.item), w.show(key.place), lies[key])
		}
		if n < 0 {
			negative++
		}
		delete(lies, key)
	}
	if len(lies) > 0 {
		w.fail("%s: nothing lies on %d shelves where the model has something", m.name, len(lies))
	}
	if negative != below {
		w.fail("%s shows %d shelves below zero; the model has %d", m.name, below, negative)
	}
	w.counts["shelves below zero"] += negative
}
