package simulate_test

import (
	"context"
	"math/rand/v2"

	"pulk/checklist/crew"
	"pulk/checklist/run"
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
	start := w.m.runs[r.IntN(2)]
	for _, m := range []*machine{one, two} {
		for range 1 + r.IntN(2) {
			w.onRun(m, op{verb: "work"}, r, w.somebody(r), start)
		}
		w.bring(m, both, nil)
	}
	w.voidOf(both, one.site, start, r)
	w.bring(both, third, []clock.Class{clock.Expedited})
	third.verify()
	w.bring([]*machine{one, two}[r.IntN(2)], third, nil)
	third.verify()
	w.checkRun(third, start)
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

// voidOf voids the latest entry of a run that is of a site.
func (w *world) voidOf(m *machine, site int, start *fact, r *rand.Rand) {
	var target *fact
	for _, f := range w.m.byRun[start.ID] {
		if f.c.Set.Lane.Site == w.tmpl.selfs[site].Site && m.knew.Has(f.N) && isStep(f) && (target == nil || r.IntN(3) > 0) {
			target = f
		}
	}
	if target == nil || !m.knew.Has(start.N) {
		return
	}
	person := w.somebody(r)
	_, said := w.command(m, 0, person, func(tx *changelog.Tx, me *crew.Person) error {
		d, err := run.Open(tx, me, m.dot(start.ID))
		if err != nil {
			return err
		}
		return d.Void(m.dot(target.ID), "mistaken")
	})
	w.tell("%s: %s voids %s: %s", m.name, w.nameOf(person), w.show(target.ID), said)
}
