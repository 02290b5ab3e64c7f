package simulate_test

import (
	"errors"
	"fmt"
	"slices"

	"pulk/checklist/procedure"
	"pulk/checklist/run"
	"pulk/schema/kind"
	"pulk/sync/changelog"
	"pulk/sync/simulate"
)

// checkRun compares every gate of a run at one machine with the model.
func (w *world) checkRun(m *machine, start *fact) {
	if !m.knew.Has(start.N) {
		w.checkAwaitedRun(m, start)
		return
	}
	w.counts["gate checks"]++
	m.view(func(tx *changelog.Tx) error {
		record, err := run.Load(tx, m.dot(start.ID))
		if err != nil {
			return err
		}
		w.compareEntries(m, start, record)
		w.compareGates(m, start, run.Evaluate(record))
		return nil
	})
}

// checkAwaitedRun: entries of a run whose start is not here yet are there, each once.
func (w *world) checkAwaitedRun(m *machine, start *fact) {
	if w.forked {
		return // it cannot be told by which name it goes here
	}
	want, got := 0, 0
	for _, f := range w.m.byRun[start.ID] {
		if m.knew.Has(f.N) && m.knows(f) {
			want++
		}
	}
	m.view(func(tx *changelog.Tx) error {
		if _, err := run.Load(tx, w.wireDot(start.ID)); !errors.Is(err, run.ErrNotHere) {
			w.fail("%s: run %s, whose start is not here: %v", m.name, w.show(start.ID), err)
		}
		_, err := tx.Row("SELECT count(*) FROM run_entry WHERE run = ?", []any{w.wireDot(start.ID).Key()}, &got)
		return err
	})
	if got != want {
		w.fail("%s has %d entries of run %s, whose start is not here; there are %d", m.name, got, w.show(start.ID), want)
	}
	if want > 0 {
		w.counts["runs awaited"]++
	}
}

// halfKnown reports whether a machine lacks part of a forked lane: one history, or
// the end of one that was lost with a store and that somebody had seen. It cannot
// tell then which history those people knew, so it may keep shut a gate that the
// model has open; never the reverse.
func (w *world) halfKnown(m *machine) bool {
	return w.forked && w.h.ForkInPart(m.knew) || w.misled(m)
}

// compareEntries: no entry of the run that is here is missing, doubled or made up.
func (w *world) compareEntries(m *machine, start *fact, record *run.Record) {
	got := map[simulate.ID]bool{}
	for i := range record.Entries {
		id := m.idOf(record.Entries[i].Dot)
		if got[id] {
			w.fail("%s shows entry %s of run %s twice", m.name, w.show(id), w.show(start.ID))
		}
		got[id] = true
	}
	want := 0
	for _, f := range w.m.byRun[start.ID] {
		if m.knew.Has(f.N) && m.knows(f) {
			want++
			if !got[f.ID] {
				w.fail("%s does not show entry %s (%s) of run %s", m.name, w.show(f.ID), f.kind.Name, w.show(start.ID))
			}
		}
	}
	if want != len(got) {
		w.fail("%s shows %d entries of run %s; there are %d", m.name, len(got), w.show(start.ID), want)
	}
}

func (w *world) compareGates(m *machine, start *fact, state *run.State) {
	g := w.m.gatesOf(m.knew, start, m.old)
	if len(g.steps) != len(state.Steps) {
		w.fail("%s: run %s has %d steps; the model has %d", m.name, w.show(start.ID), len(state.Steps), len(g.steps))
	}
	half := w.halfKnown(m)
	for n := range state.Steps {
		gate := state.Steps[n].Gate
		if half {
			if state.Steps[n].Done && !g.done(m.knew, n) {
				w.fail("%s: run %s step %s is done or open, and half of a forked lane is not here; the model says it is not", m.name, w.show(start.ID), state.Steps[n].Step.ID)
			}
			continue
		}
		if gate == nil {
			if got, want := state.Steps[n].Done, g.done(m.knew, n); got != want {
				w.fail("%s: run %s step %s done: %v; the model says %v", m.name, w.show(start.ID), state.Steps[n].Step.ID, got, want)
			}
			continue
		}
		for i := range gate.SignOffs {
			s := &gate.SignOffs[i]
			f := w.m.facts[m.idOf(s.Entry.Dot)]
			want := g.standing(m.knew, f, n)
			got := string(s.Standing)
			switch s.Standing {
			case run.Holds, run.Overtaken, run.Reopened, run.Unsettled:
			default:
				got = noGood
			}
			if got != want {
				w.fail("%s: run %s gate %s: sign-off %s %q; the model says %q", m.name, w.show(start.ID), state.Steps[n].Step.ID, w.show(f.ID), s.Standing, want)
			}
		}
		if want := g.open(m.knew, n); gate.Open != want {
			w.fail("%s: run %s gate %s open: %v; the model says %v", m.name, w.show(start.ID), state.Steps[n].Step.ID, gate.Open, want)
		}
		if gate.Open {
			w.counts["gates open"]++
		}
	}
}

// mustHaveBeenOpen: whoever did what cannot be undone had every gate before it
// open, by what their store held.
func (w *world) mustHaveBeenOpen(m *machine, c *simulate.Commit, start *fact, step int) {
	g := w.m.gatesOf(c.Knew, start, m.old)
	for n := range step {
		if g.steps[n].Sign != nil && !g.open(c.Knew, n) {
			w.fail("%s: irreversible step %s of run %s was done behind gate %s, shut in its author's own view", m.name, g.steps[step].ID, w.show(start.ID), g.steps[n].ID)
		}
	}
}

func (w *world) difference(a, b *machine) string {
	var here, there map[string]changelog.Digest
	a.view(func(tx *changelog.Tx) (err error) { here, err = tx.Digests(); return err })
	b.view(func(tx *changelog.Tx) (err error) { there, err = tx.Digests(); return err })
	var tables []string
	for table := range here {
		if here[table] != there[table] {
			tables = append(tables, table)
		}
	}
	slices.Sort(tables)
	return fmt.Sprint(tables)
}

// compareRegisters: each field holds exactly the values that the model says; more of
// them where it cannot be known what was replaced.
func (w *world) compareRegisters(m *machine) {
	half := w.halfKnown(m)
	m.view(func(tx *changelog.Tx) error {
		for _, at := range w.m.slots {
			if !m.knew.Has(at.entity.N) {
				continue
			}
			register, err := tx.Register(m.dot(at.entity), at.field, at.key)
			if err != nil {
				return err
			}
			assigns := slices.DeleteFunc(slices.Clone(w.m.assigns[at]), func(a *assignment) bool { return !m.knows(a.fact) })
			want := standing(m.knew, assigns)
			var got []simulate.ID
			for _, v := range register.Values {
				got = append(got, m.idOf(v.Dot))
			}
			same := len(got) == len(want) || len(got) > len(want) && half
			for _, a := range want {
				same = same && slices.Contains(got, a.ID)
			}
			if !same {
				w.fail("%s: field %s of %s holds %d values; the model says %d", m.name, fieldName(at.field), w.show(at.entity), len(got), len(want))
			}
			if err := w.compareHistory(m, tx, at, assigns); err != nil {
				return err
			}
		}
		return nil
	})
}

// compareHistory: no value that a field ever got is forgotten.
func (w *world) compareHistory(m *machine, tx *changelog.Tx, at slotKey, assigns []*assignment) error {
	history, err := tx.History(m.dot(at.entity), at.field, at.key)
	got := map[simulate.ID]changelog.Value{}
	for _, a := range history {
		got[m.idOf(a.Dot)] = a.Value
	}
	for _, a := range assigns {
		value, found := got[a.ID]
		if found != m.knew.Has(a.N) || found && (value.Text != a.value.Text || value.Int != a.value.Num) {
			w.fail("%s: history of field %s of %s: %s is there: %t, %+v", m.name, fieldName(at.field), w.show(at.entity), w.show(a.ID), found, value)
		}
	}
	return err
}

// fieldName is also for fields that the program that runs does not know.
func fieldName(id kind.FieldID) string {
	if field := kind.LookupField(id); field != nil {
		return field.Name
	}
	return fmt.Sprint("number ", id)
}

// compareUnknown: every change of a newer program is counted.
func (w *world) compareUnknown(m *machine) {
	want := 0
	for _, id := range w.m.unknownTo(m) {
		if m.knew.Has(id.N) {
			want++
		}
	}
	m.view(func(tx *changelog.Tx) error {
		var got int
		_, err := tx.Row("SELECT count(*) FROM unknown_change", nil, &got)
		if got != want {
			w.fail("%s counts %d changes of kinds it does not know; there are %d", m.name, got, want)
		}
		return err
	})
}

// compareShutGates: exactly those irreversible deeds are shown that crossed
// something which had shut a gate before them.
func (w *world) compareShutGates(m *machine) {
	if w.halfKnown(m) {
		return
	}
	for _, start := range w.m.runs {
		if !m.knew.Has(start.N) {
			continue
		}
		g := w.m.gatesOf(m.knew, start, m.old)
		m.view(func(tx *changelog.Tx) error {
			record, err := run.Load(tx, m.dot(start.ID))
			if err != nil {
				return err
			}
			shown := map[simulate.ID]bool{}
			for e := range record.DoneBehindShutGate() {
				shown[m.idOf(e.Dot)] = true
			}
			deeds := slices.Concat(g.of(m.knew, kind.StepCheck, -1), g.of(m.knew, kind.StepReading, -1), g.of(m.knew, kind.StepRecord, -1))
			for _, f := range deeds {
				if want := g.crossed(f); want != shown[f.ID] {
					w.fail("%s: irreversible step of run %s (%s) shown as done behind a shut gate: %v; the model says %v", m.name, w.show(start.ID), w.show(f.ID), shown[f.ID], want)
				}
			}
			return nil
		})
	}
}

// crossed reports whether an irreversible deed was done while a gate before it was
// shut by something that was not written in knowledge of the deed.
func (g *gates) crossed(f *fact) bool {
	if f.step >= len(g.steps) || !g.steps[f.step].Irreversible {
		return false
	}
	then := g.notAfter(f)
	for n := range f.step {
		if k := g.steps[n].Kind; (k == procedure.KindHold || k == procedure.KindWitness) && !g.open(then, n) {
			return true
		}
	}
	return false
}
