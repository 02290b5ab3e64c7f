package simulate_test

import (
	"errors"
	"math/rand/v2"

	"pulk/checklist/crew"
	"pulk/sync/changelog"
	"pulk/sync/clock"
	"pulk/sync/simulate"
)

// founder is the site that founded the campaign, and alone can cut another off.
const founder = 0

// cut is what the founder said of a site that was lost: what of it counts.
type cut struct {
	site  int
	said  int           // number of the change-set that says so
	stays simulate.Bits // what leads to the heads of its lanes
}

// beyond reports whether a change-set counts nowhere that is known to be cut off.
func (w *world) beyond(n int) bool {
	return w.cut != nil && w.h.Commits[n].Set.Lane.Site == w.tmpl.selfs[w.cut.site].Site && !w.cut.stays.Has(n)
}

// counting returns those of some change-sets that count.
func (w *world) counting(b simulate.Bits) (counts simulate.Bits) {
	for n := range b.All {
		if !w.beyond(n) {
			counts.Add(n)
		}
	}
	return counts
}

// heeds reports whether a machine has heard of the cut-off, and its program knows
// what that is. One of the earlier version keeps and relays the founder's word, and
// goes on showing what is cut off, until it gets the later program.
func (m *machine) heeds() bool { return m.w.cut != nil && !m.old && m.knew.Has(m.w.cut.said) }

// isLost reports whether a machine is one of the site that was cut off.
func (w *world) isLost(m *machine) bool { return w.cut != nil && m.site == w.cut.site }

// members are the machines that are of the campaign at the end.
func (w *world) members() (list []*machine) {
	for _, m := range w.machines {
		if !w.isLost(m) {
			list = append(list, m)
		}
	}
	return list
}

// cutOff lets the founder cut off the site that is lost in this season: where it has
// it now, or before.
func (w *world) cutOff(r *rand.Rand) {
	m := w.machines[founder]
	if w.cut != nil || m.old {
		return
	}
	lost := &cut{site: w.lost}
	var after []clock.Dot
	for n := range m.knew.All {
		if c := w.h.Commits[n]; c.Set.Lane.Site == w.tmpl.selfs[w.lost].Site && r.IntN(6) == 0 {
			after = []clock.Dot{{Lane: c.Set.Lane, Seq: c.Set.Seq}}
		}
	}
	c, said := w.command(m, 0, w.somebody(r), func(tx *changelog.Tx, _ *crew.Person) error {
		s, found, err := tx.SiteByID(w.tmpl.selfs[w.lost].Site)
		if err != nil || !found {
			return err
		}
		plan, err := tx.PlanCutoff(s.ID, after)
		if err != nil {
			return err
		}
		for i := range plan {
			if head := plan[i].Head; r.IntN(5) == 0 {
				plan[i].Head.Seq = 0 // nothing of that lane stays
			} else if known := w.h.ByHash(head.Hash); known == nil {
				w.fail("a head of a cut-off is no change-set that was ever committed")
			} else {
				lost.stays.Or(known.Line)
			}
		}
		_, err = tx.CutOff(s, plan, "left on the aircraft")
		return err
	})
	w.tell("%s cuts off %s: %s", m.name, siteCodes[w.lost], said)
	if c == nil {
		return
	}
	w.counts["cut-offs"]++
	lost.said, w.cut = c.N, lost
	m.refresh()
}

// mayLose fails unless what a store does not hold any more was cut off.
func (m *machine) mayLose(gone simulate.Bits) {
	if m.w.counting(gone).Count() > 0 || gone.Count() > 0 && !m.heeds() {
		m.w.fail("%s lost change-sets that it had: %s", m.name, m.w.list(gone))
	}
}

// mustHeed: nothing that is cut off is in the log of a machine that has heard so,
// though all the rest is.
func (w *world) mustHeed(m *machine) {
	if !m.heeds() {
		return
	}
	if rest := m.knew.Without(w.counting(m.knew)); rest.Count() > 0 {
		w.fail("%s has heard that %s is cut off, and what counts there is%s", m.name, siteCodes[w.cut.site], w.list(rest))
	}
	m.view(func(tx *changelog.Tx) error {
		return tx.EachAside(func(a changelog.Aside) error {
			c := w.h.ByHash(a.Hash)
			if c == nil || !w.beyond(c.N) {
				w.fail("%s keeps aside %s/%d, which is not cut off", m.name, a.Lane, a.Seq)
			}
			w.counts["kept aside"]++
			return nil
		})
	})
}

// misled reports whether somebody whose word is here knew of what is cut off: of that
// nothing counts as known, and so a gate may be shut that the model has open; never
// the reverse.
func (w *world) misled(m *machine) bool {
	if !m.heeds() {
		return false
	}
	for n := range m.knew.All {
		for k := range w.h.Commits[n].Knew.All {
			if w.beyond(k) {
				return true
			}
		}
	}
	return false
}

// cutRefusal reports whether an error says that a site was cut off.
func cutRefusal(err error) bool {
	var refusal *changelog.Refusal
	return errors.As(err, &refusal)
}
