package simulate_test

import (
	"fmt"
	"math/rand/v2"
	"sync"

	"pulk/checklist/ask"
	"pulk/checklist/attach"
	"pulk/checklist/conditions"
	"pulk/checklist/crew"
	"pulk/inventory/count"
	"pulk/inventory/kitbook"
	"pulk/inventory/manifest"
	"pulk/inventory/unit"
	"pulk/schema/decimal"
	"pulk/schema/kind"
	"pulk/sync/change"
	"pulk/sync/changelog"
	"pulk/sync/clock"
	"pulk/sync/linkbook"
	"pulk/sync/simulate"
)

// The earlier version of the program knows the kinds below firstLater, and the fields
// that came with those alone.
const (
	firstLater      = kind.FirstDescribed
	firstLaterField = kind.FieldAttachWanted
)

var linkSettings = map[string]string{"open": "always", "out_bits_per_second": "2400", "back_bits_per_second": "2400"}

// versions makes sure that while one season plays a machine of the earlier version no
// other season plays anything: the tables of kinds are the process's. A season holds
// it for reading, and lets others in between any two events.
var versions sync.RWMutex

// pause lets other seasons play machines of the earlier version.
func (w *world) pause() {
	if w.inOld == nil {
		versions.RUnlock()
		versions.RLock()
	}
}

// as runs fn by the program that a machine has.
func (m *machine) as(fn func()) {
	if !m.old || m.w.inOld == m {
		fn()
		return
	}
	versions.RUnlock()
	versions.Lock()
	back := kind.Until(firstLater, firstLaterField)
	m.w.inOld = m
	defer func() {
		m.w.inOld = nil
		back()
		versions.Unlock()
		versions.RLock()
	}()
	fn()
}

// projectors are those that the program of a machine has.
func (m *machine) projectors() []changelog.Projector {
	if m.old {
		return projections()
	}
	return append(projections(), attach.Projection{}, ask.Projection{}, linkbook.Projection{}, crew.Personal{}, conditions.Projection{}, unit.Projection{}, kitbook.Projection{}, count.Projection{}, manifest.Projection{})
}

// upgrade gives a machine the later program: it makes its projections anew.
func (m *machine) upgrade() {
	if !m.old {
		return
	}
	m.close()
	m.old = false
	m.open()
	m.refresh()
	m.w.counts["upgrades"]++
	m.w.tell("%s gets the later program", m.name)
	m.w.compareUnknown(m)
	m.w.compareLater(m)
}

// knows reports whether the program of a machine knows the kind of an entry.
func (m *machine) knows(f *fact) bool { return !m.old || f.kind.ID < firstLater }

// laterDeed does something of which the earlier program does not know.
func (w *world) laterDeed(m *machine, r *rand.Rand) (string, func(*changelog.Tx, *crew.Person) error) {
	start := w.someRun(m, r)
	if m.old || start == nil {
		return "", nil
	}
	about, other := change.Ref(m.dot(start.ID)), w.machines[r.IntN(len(w.machines))]
	var photos []simulate.ID
	for _, f := range w.m.later {
		if f.kind == kind.AttachAdd && m.knew.Has(f.N) {
			photos = append(photos, f.ID)
		}
	}
	dice, text := r.IntN(15), change.Text(fmt.Sprintf("T%d", r.IntN(5)))
	return fmt.Sprintf("does what came with the later program (%d)", dice), func(tx *changelog.Tx, _ *crew.Person) error {
		switch dice {
		case 0:
			photo := tx.Add(change.New(kind.AttachAdd, about, change.Num(0), text, change.Text("image/jpeg"), change.Num(9), change.Bytes(make([]byte, 32)),
				change.Num(5), change.Bytes(make([]byte, 16)), change.Value{}))
			tx.AssignText(photo, kind.FieldAttachWanted, tx.Self().Code, kind.AttachWanted, "")
		case 1:
			tx.SetClass(clock.Expedited)
			question := tx.Add(change.New(kind.AskRaise, about, change.Num(1), change.Num(1), text))
			tx.Add(change.New(kind.AskAnswer, change.Ref(question), text))
		case 2:
			if other.site == m.site {
				return nil
			}
			_, err := linkbook.Add(tx, fmt.Sprintf("link-%d", r.IntN(9)), text.Text, other.id(), linkSettings)
			return err
		case 3:
			links, err := linkbook.List(tx)
			if err != nil || len(links) == 0 {
				return err
			}
			link := links[r.IntN(len(links))]
			if r.IntN(3) == 0 {
				linkbook.Remove(tx, link, "lost")
				return nil
			}
			linkbook.Rename(tx, link, text.Text)
		case 6:
			places := w.m.places(m.knew)
			if len(places) == 0 {
				return nil
			}
			weather := tx.Add(change.New(kind.WeatherAdd, change.Ref(m.dot(places[r.IntN(len(places))])), change.Value{Num: -305, Scale: 1}, change.Num(4), change.Num(29_000_000), change.Num(120), text))
			tx.Add(change.New(kind.StepConditions, about, change.Num(int64(r.IntN(4))), change.Ref(weather), change.Text("-41.2"), change.Num(5), change.Num(55), change.Num(0), change.Value{}))
			if r.IntN(4) == 0 {
				tx.Add(change.New(kind.Void, change.Ref(weather), change.Value{}, text))
			}
		case 4:
			if len(photos) > 0 {
				tx.SetClass(clock.Bulk)
				tx.Add(change.New(kind.AttachPreview, change.Ref(m.dot(photos[r.IntN(len(photos))])), change.Text("image/jpeg"), change.Bytes([]byte("photo"))))
			}
		case 5:
			tx.Add(change.New(kind.PaperMark, about, change.Num(int64(r.IntN(3))), change.Value{}, text, change.Text("2027-01-05"), text, change.Text("")))
		case 7:
			measure(tx, about, text, r)
		case 8:
			keepKit(tx, about, text, r)
		case 9:
			countBlind(tx, about, text, r)
		case 10:
			hold := tx.Add(change.New(kind.LotHold, about, text, change.Value{}, text))
			if r.IntN(2) == 0 {
				tx.Add(change.New(kind.LotRelease, change.Ref(hold), text))
			}
		case 11:
			kept := tx.Add(change.New(kind.StockReserve, about, about, about, change.Num(int64(1+r.IntN(9))), text))
			if r.IntN(2) == 0 {
				tx.Add(change.New(kind.ReserveEnd, change.Ref(kept), text))
			}
		case 12:
			tx.Add(change.New(kind.ItemPack, about, text, change.Num(int64(r.IntN(200))), text))
		case 13:
			tx.Add(change.New(kind.ItemSubstitute, about, about, text, change.Num(int64(r.IntN(2))), text))
			tx.Add(change.New(kind.StockInstead, about, about))
		case 14:
			sendCrate(tx, about, text, r)
		}
		return nil
	}
}

// measure writes a calibration of something, a reading taken with it, and now and then
// that the calibration is not to be relied on. The reading is of no run, as the
// model counts the entries of runs that every program knows.
func measure(tx *changelog.Tx, about, text change.Value, r *rand.Rand) {
	calibration := tx.Add(change.New(kind.UnitCalibrate, about, text, text, change.Text("2026-06-01"), change.Text("2027-06-30"), change.Text("")))
	number := func(n int64) change.Value { return change.Dec(decimal.Decimal{Mantissa: n, Scale: 1}) }
	tx.Add(change.New(kind.UnitUncertainty, change.Ref(calibration), change.Text("MOhm"), number(20), number(30), number(20)))
	tx.Add(change.New(kind.StepMeasure, change.Value{}, change.Num(0), number(int64(r.IntN(9000))), change.Num(0), change.Text("0.5 GOhm"), about,
		change.Ref(calibration), change.Text("2027-06-30"), number(150), number(20)))
	if r.IntN(3) == 0 {
		tx.Add(change.New(kind.Void, change.Ref(calibration), change.Value{}, text))
	}
}

// keepKit keeps a kit plan of two lines, and now and then voids it.
func keepKit(tx *changelog.Tx, about, text change.Value, r *rand.Rand) {
	number := func(n int64) change.Value { return change.Dec(decimal.Decimal{Mantissa: n, Scale: 6}) }
	plan := tx.Add(change.New(kind.KitPlan, text, change.Text("2027-02-15"), change.Text("2027-11-01"), change.Text("14=0.25"), change.Value{}, change.Text("lowering=2"),
		number(950_000), change.Num(1_800_000), number(0), change.Num(0), number(400_000), number(970_000), number(-1_000_000), text))
	for range 2 {
		tx.Add(change.New(kind.KitLine, change.Ref(plan), about, change.Num(int64(r.IntN(3))), change.Num(int64(r.IntN(3))), change.Num(6), change.Num(4), change.Num(1),
			number(55_000_000), number(1_500_000), number(int64(r.IntN(5_000_000))), change.Num(1), change.Num(int64(r.IntN(9))),
			number(400_000), number(990_000), change.Num(4200), number(12_000_000), change.Num(45_000)))
	}
	if r.IntN(3) == 0 {
		tx.Add(change.New(kind.Void, change.Ref(plan), change.Value{}, text))
	}
}

// countBlind opens a count, enters what was found, and now and then settles or voids it.
func countBlind(tx *changelog.Tx, about, text change.Value, r *rand.Rand) {
	sheet := change.Ref(tx.Add(change.New(kind.CountOpen, about, change.Num(2), text)))
	entry := tx.Add(change.New(kind.CountEnter, sheet, about, text, change.Num(int64(r.IntN(9))), change.Num(int64(r.IntN(9))-2), change.Text("")))
	switch r.IntN(3) {
	case 0:
		tx.Add(change.New(kind.CountSettle, sheet, about, text, change.Ref(entry)))
	case 1:
		tx.Add(change.New(kind.Void, change.Ref(entry), change.Value{}, text))
	}
}

// sendCrate weighs a crate, lists and sends it, takes it in, and now and then takes one of
// these back.
func sendCrate(tx *changelog.Tx, about, text change.Value, r *rand.Rand) {
	number := func(n int) change.Value { return change.Num(int64(r.IntN(n))) }
	weighing := tx.Add(change.New(kind.CrateWeigh, about, number(90_000), number(90_000), text, text))
	id := tx.Add(change.New(kind.ManifestMake, about, about, about, change.Text("2027-01-20"), text, text, text, text))
	m := change.Ref(id)
	tx.Add(change.New(kind.ManifestCrate, m, about, change.Num(1), number(2000), number(2000), number(2000), number(9000), number(90_000), number(2), text, change.Text("-20..5")))
	tx.Add(change.New(kind.ManifestLine, m, about, about, text, change.Value{}, number(9), number(900)))
	tx.Add(change.New(kind.ManifestSend, m, change.Text("2026-11-20"), text, text))
	scan := tx.Add(change.New(kind.ManifestScan, m, about, about, text, change.Value{}, number(9), number(3), number(2), text, change.Text("-18"), change.Text("2"), text))
	booking := tx.Add(change.New(kind.ManifestBook, m, about, about, text))
	tx.Add(change.New(kind.ManifestFinding, m, about, about, text, change.Value{}, number(5), number(9), change.Ref(scan)))
	tx.AssignText(about.Ref, kind.FieldLocationOutside, "", "1200x800x600", "")
	tx.AssignInt(about.Ref, kind.FieldLocationTareGrams, "", 28_000, "")
	if undo := []clock.Dot{weighing, id, scan, booking}; r.IntN(3) == 0 {
		tx.Add(change.New(kind.Void, change.Ref(undo[r.IntN(len(undo))]), change.Value{}, text))
	}
}

// compareLater: what came with the later program is shown by it, and by no other.
func (w *world) compareLater(m *machine) {
	for table, k := range map[string]*kind.Kind{"attachment": kind.AttachAdd, "attachment_preview": kind.AttachPreview, "link": kind.LinkAdd, "question": kind.AskRaise, "answer": kind.AskAnswer,
		"paper_mark": kind.PaperMark, "calibration": kind.UnitCalibrate, "calibration_statement": kind.UnitUncertainty, "confidant": kind.SiteConfide, "arrival": kind.PersonArrive, "clearance": kind.PersonClearance, "weather": kind.WeatherAdd, "step_conditions": kind.StepConditions, "kit_plan": kind.KitPlan, "kit_line": kind.KitLine,
		"count_sheet": kind.CountOpen, "count_entry": kind.CountEnter, "count_settled": kind.CountSettle, "lot_hold": kind.LotHold, "lot_release": kind.LotRelease, "reservation": kind.StockReserve, "reservation_end": kind.ReserveEnd, "item_pack": kind.ItemPack, "item_substitute": kind.ItemSubstitute, "stock_instead": kind.StockInstead,
		"crate_weighing": kind.CrateWeigh, "manifest": kind.ManifestMake, "manifest_crate": kind.ManifestCrate, "manifest_line": kind.ManifestLine, "manifest_send": kind.ManifestSend,
		"manifest_scan": kind.ManifestScan, "manifest_book": kind.ManifestBook, "manifest_finding": kind.ManifestFinding} {
		if m.old {
			return
		}
		want, got := 0, 0
		for _, f := range w.m.later {
			if f.kind == k && m.knew.Has(f.N) {
				want++
			}
		}
		m.view(func(tx *changelog.Tx) error {
			_, err := tx.Row("SELECT count(*) FROM "+table, nil, &got)
			return err
		})
		if got != want {
			w.fail("%s has %d rows in table %s; the model has %d", m.name, got, table, want)
		}
	}
}

// unknownTo lists the changes that the program of a machine does not know.
func (m *model) unknownTo(machine *machine) []simulate.ID {
	list := append([]simulate.ID{}, m.unknown...)
	for _, f := range m.later {
		if !machine.knows(f) {
			list = append(list, f.ID)
		}
	}
	return list
}
