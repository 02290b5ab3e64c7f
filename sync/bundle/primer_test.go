package bundle

import (
	"bytes"
	"flag"
	"fmt"
	"math/rand/v2"
	"os"
	"testing"
	"time"

	"pulk/schema/kind"
	"pulk/sync/change"
	"pulk/sync/clock"
)

var updatePrimer = flag.Bool("update-primer", false, "write primer.bundle anew; only before a format version is released")

// primerWriter makes up the work of the home institute in one week: modules are
// assembled and accepted there, stock comes and goes. It shares no names, places
// or sentences with the standard day that sizes are measured on.
type primerWriter struct {
	*rand.Rand
	lane    clock.Lane
	sets    []*change.Set
	at      time.Time
	persons []clock.Dot
}

func (w *primerWriter) pick(texts ...string) string { return texts[w.IntN(len(texts))] }

func (w *primerWriter) dot(class clock.Class, seq, index int) change.Value {
	return change.Ref(clock.Dot{Lane: clock.Lane{Site: w.lane.Site, Class: class}, Seq: uint64(seq), Index: uint16(index)})
}

func (w *primerWriter) write(changes ...change.Change) *change.Set {
	w.at = w.at.Add(time.Duration(2000+w.ExpFloat64()*30_000) * time.Millisecond)
	set := &change.Set{Lane: w.lane, Seq: uint64(len(w.sets) + 1), Campaign: 1, At: fineStamp(w.at),
		Person: w.persons[w.IntN(len(w.persons))], Changes: changes}
	w.sets = append(w.sets, set)
	return set
}

// primerBundle returns the primer's content.
func primerBundle() *Bundle {
	const home = clock.SiteID(0x0a0b0c0d)
	w := &primerWriter{Rand: rand.New(rand.NewPCG(41, 43)), lane: clock.Lane{Site: home}, at: time.Date(2026, 3, 2, 7, 30, 0, 0, time.UTC)}
	for i := range 4 {
		w.persons = append(w.persons, clock.Dot{Lane: w.lane, Seq: uint64(i + 1)})
	}
	w.catalogue()
	units := w.units()
	for round := range 3 {
		w.acceptance(units, round)
	}
	w.closing(units)
	return &Bundle{Campaign: 1, From: home, To: 2, At: fineStamp(w.at.Add(time.Hour)),
		Segments: []Segment{{Lane: w.lane, From: 1, Sets: w.sets, Statement: -1}}}
}

func (w *primerWriter) catalogue() {
	text, num := change.Text, func(n int) change.Value { return change.Num(int64(n)) }
	for i, name := range []string{"Magda Toral", "Jens Uhl", "Ruth Okello", "Sam Petit"} {
		w.write(change.New(kind.PersonAdd, text(fmt.Sprintf("p%d", i)), text(name)))
		w.write(change.New(kind.AssignText, change.Ref(w.persons[i]), num(int(kind.FieldPersonRole)),
			text(w.pick("quality", "release-authority", "technician", "cargo-officer", "deployment-lead", "drill-engineer")), text("granted"), text("")))
	}
	var places, items []change.Change
	for i, code := range []string{"LAB", "LAB-COLD", "STORE-A", "STORE-B", "PACKING", "DOCK"} {
		parent := change.Ref(clock.Dot{})
		if i > 0 {
			parent = change.Ref(clock.Dot{Lane: w.lane, Seq: 9})
		}
		places = append(places, change.New(kind.LocationAdd, text(code), text("Hall "+code), parent))
	}
	w.write(places...)
	for i, name := range []string{"Screw M5x20 A4", "Seal ring 21x2.5", "Battery cell D, lithium primary", "Cable gland M16", "Desiccant bag 30 g",
		"Fuse 2 A slow", "Glass hemisphere 13 inch", "Silicone grease tube", "Shackle 3.25 t", "Heat shrink 6 mm"} {
		items = append(items, change.New(kind.ItemAdd, text(fmt.Sprintf("TI-%04d-%d", 1010+37*i, i%3)), text(name),
			text(w.pick("fasteners", "seals", "electrical", "rigging", "consumables")), text(w.pick("each", "m", "kg", "L")), num(i%2),
			num(w.IntN(900)), num(w.IntN(300)), num(w.IntN(200)), num(w.IntN(90)), num(w.IntN(4)*365), text(w.pick("", "", "UN3090", "UN1950")),
			num(w.IntN(9000)), num(w.IntN(3)*20000)))
	}
	w.write(items...)
}

func (w *primerWriter) units() []change.Value {
	var units []change.Value
	for i := range 6 {
		set := w.write(change.New(kind.UnitAdd, w.dot(0, 10, i), change.Text(fmt.Sprintf("SN-%05d", 20417+i)), change.Text(""), w.dot(0, 9, 1), change.Text("received")))
		units = append(units, change.Ref(set.ID(0)))
	}
	return units
}

// acceptance carries out four runs side by side.
func (w *primerWriter) acceptance(units []change.Value, round int) {
	var runs []change.Value
	for i := range 4 {
		set := w.write(change.New(kind.RunStart, w.dot(clock.Bulk, 3+i%2, 0), units[i], w.dot(0, 9, 1), change.Text(fmt.Sprintf("Acceptance %d", 4*round+i))))
		runs = append(runs, change.Ref(set.ID(0)))
	}
	steps := [4]int{}
	for range 60 {
		i := w.IntN(4)
		run, step := runs[i], change.Num(int64(steps[i]))
		steps[i]++
		switch chance := w.IntN(100); {
		case chance < 62:
			w.write(change.New(kind.StepCheck, run, step, change.Num(0)))
		case chance < 84:
			w.write(change.New(kind.StepReading, run, step, change.Value{Num: int64(w.NormFloat64()*40) + 250*int64(w.IntN(9)), Scale: uint8(w.IntN(3))},
				change.Num(0), w.dot(0, 40+w.IntN(4), 0)))
		case chance < 86:
			w.write(change.New(kind.StepRecord, run, step, change.Text(fmt.Sprintf("SN-%05d", 20417+w.IntN(90))), units[w.IntN(6)]))
		case chance < 88:
			w.fault(run, step, units[i])
		case chance < 94:
			w.write(change.New(kind.RunNote, run, change.Num(step.Num+1), change.Text(w.remark())))
		default:
			w.write(w.stock(run, step))
		}
	}
	for i, run := range runs {
		w.write(change.New(kind.StepSign, run, change.Num(int64(steps[i])), change.Num(0), change.Text(w.pick("quality", "release-authority", "technician")),
			change.Text(""), w.dot(0, 12, 0), change.Text("")))
		w.write(change.New(kind.RunEnd, run, change.Num(0), change.Text("")))
	}
}

// fault is a reading out of limits, its nonconformance and what was decided.
func (w *primerWriter) fault(run, step, unit change.Value) {
	seq := uint64(len(w.sets) + 1)
	cause := change.Ref(clock.Dot{Lane: w.lane, Seq: seq})
	set := w.write(change.New(kind.StepReading, run, step, change.Value{Num: 4711, Scale: 2}, change.Num(int64(1+w.IntN(2))), w.dot(0, 40, 0)),
		change.New(kind.NCRaise, run, change.Num(step.Num+1), unit, cause, change.Text(w.pick("value too low", "value too high"))))
	w.write(change.New(kind.NCDispose, change.Ref(set.ID(1)), run, change.Num(int64(1+w.IntN(4))), change.Text(w.remark())))
}

func (w *primerWriter) stock(run, step change.Value) change.Change {
	item, place, none := w.dot(0, 10, w.IntN(10)), w.dot(0, 9, w.IntN(6)), change.Text("")
	lot, quantity, held := change.Text(w.pick("", "", "A-20", "A-21", "26/3")), change.Num(int64(1+w.IntN(5))), change.Num(int64(w.IntN(90)))
	switch w.IntN(6) {
	case 0:
		return change.New(kind.StockReceive, item, lot, place, quantity, change.Text(w.pick("", "2028-12-31", "2030-03-31")), none)
	case 1:
		return change.New(kind.StockMove, item, lot, place, w.dot(0, 9, w.IntN(6)), quantity, held, none)
	case 2:
		return change.New(kind.StockCount, item, lot, place, held, held, change.Text("count"))
	case 3:
		return change.New(kind.StockScrap, item, lot, place, quantity, held, change.Text(w.pick("expired", "broken")))
	}
	return change.New(kind.StockIssue, item, lot, place, quantity, held, run, change.Num(step.Num+1), none)
}

func (w *primerWriter) closing(units []change.Value) {
	for i, unit := range units[:4] {
		w.write(change.New(kind.UnitInstall, unit, units[5], change.Text(fmt.Sprintf("slot %d", i+1)), change.Ref(clock.Dot{})))
		w.write(change.New(kind.AssignText, unit, change.Num(int64(kind.FieldUnitState)), change.Text(""), change.Text(w.pick("accepted", "released", "quarantined")), change.Text("")))
	}
	w.write(change.New(kind.UnitRemove, units[0], units[5], change.Text("slot 1"), w.dot(0, 9, 2), change.Text("for another test")))
	w.write(change.New(kind.UnitFail, units[0], change.Num(310), change.Text("no answer on the bus"), change.Ref(clock.Dot{}), change.Text("failed")))
	w.write(change.New(kind.UnitMove, units[0], w.dot(0, 9, 1), w.dot(0, 9, 2), change.Text("")))
	w.write(change.New(kind.Void, w.dot(0, 60, 0), w.dot(0, 30, 0), change.Text("entered for the wrong module")))
}

// remark makes up what an engineer types in the laboratory.
func (w *primerWriter) remark() string {
	subject := w.pick("the optical window", "bolt circle", "gel layer", "flange", "main board", "calibration file", "vacuum port", "harness", "cooling fan",
		"test bench", "light source", "the cold chamber", "firmware", "packing foam", "serial number plate", "second seal", "oscilloscope", "power supply")
	state := w.pick("has been cleaned and is dry now", "shows a small bubble near the edge", "was measured twice with the same result", "is within the limit but close to it",
		"must be tested once more before shipping", "had to be replaced, the old one is broken", "is missing from the box", "works after the cable was changed",
		"was cold, left for two hours and then fine", "not as in the drawing, see photo", "torque set to 4.5 Nm", "took longer than planned", "needs a new label",
		"drifts by 3 counts per hour", "arrived with the wrong connector", "no further action")
	return subject + " " + state + w.pick("", "", "", ", to be discussed with the supplier", "; waiting for parts", " (see report)", ", repeated tomorrow morning")
}

func TestPrimerIsWhatItsWriterMakes(t *testing.T) {
	want, err := encode(primerBundle(), nil, packRaw)
	if err != nil {
		t.Fatal(err)
	}
	if *updatePrimer {
		if err := os.WriteFile("primer.bundle", want, 0o666); err != nil {
			t.Fatal(err)
		}
		return
	}
	if !bytes.Equal(primerFile, want) {
		t.Errorf("primer.bundle (%d bytes) is not what primerBundle makes (%d bytes)", len(primerFile), len(want))
	}
	if _, err := Decode(primerFile, DefaultLimits); err != nil {
		t.Errorf("primer.bundle: %v", err)
	}
}
