package simulate_test

import (
	"context"
	"fmt"
	"math/rand/v2"

	"pulk/checklist/crew"
	"pulk/checklist/run"
	"pulk/schema/kind"
	"pulk/sync/changelog"
	"pulk/sync/clock"
	"pulk/sync/simulate"
	"pulk/sync/transfer"
)

// ahead plays what seldom happens by itself: of a lane with two histories a site
// that holds both names a change, and a third hears that before it hears of the
// change, of which it then gets the one history alone. What it had read in part it
// must read again.
func (w *world) ahead(r *rand.Rand) {
	one, two := w.twoOfASite()
	if one == nil {
		return
	}
	var others []*machine
	for _, m := range w.machines {
		if m.site != one.site && w.open(one, m) && !w.isAway(m) && !w.isAway(one) {
			others = append(others, m)
		}
	}
	if len(others) < 2 {
		return
	}
	first := r.IntN(len(others))
	both, third := others[first], others[(first+1+r.IntN(len(others)-1))%len(others)]
	if !w.open(both, third) || both.site == third.site {
		return
	}
	// What third gets in the end is the shorter history: where it ends the other goes
	// on, so that nothing but the name itself tells that it is to be read again.
	start := w.m.runs[r.IntN(2)]
	target := w.beginRun(one, r)
	for range 2 + r.IntN(3) {
		w.note(two, start, r)
	}
	if target == nil {
		return
	}
	w.bring(one, both, nil)
	w.bring(two, both, nil)
	w.nameRun(both, target, r)
	w.bring(both, third, []clock.Class{clock.Expedited})
	third.verify()
	w.bring(one, third, nil)
	third.verify()
	w.checkRun(third, target)
	w.counts["named ahead"]++
}

// twoOfASite returns a machine and a copy of it that goes on beside it.
func (w *world) twoOfASite() (one, two *machine) {
	for i, a := range w.machines {
		for _, b := range w.machines[i+1:] {
			if a.site == b.site {
				return a, b
			}
		}
	}
	return nil, nil
}

// bring carries what one machine has for another, of some classes, at once and whole.
func (w *world) bring(from, to *machine, classes []clock.Class) {
	var made *transfer.Made
	var err error
	from.as(func() {
		made, err = from.desk().Make(context.Background(), transfer.Request{Request: changelog.Request{To: to.id(), Classes: classes}})
	})
	if err != nil {
		w.fail("%s: make: %v", from.name, err)
	}
	w.tell("%s brings %s %d change-sets, classes %v", from.name, to.name, made.Sets, classes)
	w.take(to, []simulate.Delivery{{Message: simulate.Message{From: w.number(from), To: w.number(to), Data: made.Data}, Fate: "brought"}}, 0)
}

// note writes a note at a machine, nil where it cannot.
func (w *world) note(m *machine, start *fact, r *rand.Rand) *fact {
	if !m.knew.Has(start.N) {
		return nil
	}
	c, said := w.onRecord(m, start, r, func(d *run.Doing) error { return d.Note(-1, fmt.Sprintf("wind from %d", r.IntN(360))) })
	w.tell("%s: writes a note: %s", m.name, said)
	if c == nil {
		return nil
	}
	return w.m.facts[simulate.ID{N: c.N}]
}

// beginRun starts a run at a machine, nil where it cannot.
func (w *world) beginRun(m *machine, r *rand.Rand) *fact {
	text, deed := w.startRun(r)
	c, said := w.command(m, 0, w.somebody(r), deed)
	w.tell("%s: %s: %s", m.name, text, said)
	if c == nil {
		return nil
	}
	return w.m.facts[simulate.ID{N: c.N}]
}

// nameRun says something urgent about a run: its title, and a nonconformance.
func (w *world) nameRun(m *machine, start *fact, r *rand.Rand) {
	if !m.knew.Has(start.N) {
		return
	}
	_, said := w.command(m, 0, w.somebody(r), func(tx *changelog.Tx, _ *crew.Person) error {
		_, err := run.RaiseNC(tx, m.dot(start.ID), -1, clock.Dot{}, "scratched") // is expedited
		tx.AssignText(m.dot(start.ID), kind.FieldRunTitle, "", "hurry", "")
		return err
	})
	w.tell("%s: names run %s: %s", m.name, w.show(start.ID), said)
}

func (w *world) onRecord(m *machine, start *fact, r *rand.Rand, fn func(d *run.Doing) error) (*simulate.Commit, string) {
	return w.command(m, 0, w.somebody(r), func(tx *changelog.Tx, me *crew.Person) error {
		d, err := run.Open(tx, me, m.dot(start.ID))
		if err != nil {
			return err
		}
		return fn(d)
	})
}
