package simulate_test

import (
	"bytes"
	"fmt"
	"math/rand/v2"
	"os"
	"slices"
	"testing"

	"pulk/checklist/crew"
	"pulk/schema/kind"
	"pulk/sync/bundle"
	"pulk/sync/change"
	"pulk/sync/changelog"
	"pulk/sync/clock"
	"pulk/sync/simulate"
	"pulk/sync/transfer"
)

// The plain rule of what is confined: a machine may have what its own site wrote, and
// what others wrote where the founder has named its site, by what is known at both ends.

// named reports whether a site is named in what is held: the founder's last word says
// so, and of several last words all.
func (m *model) named(held simulate.Bits, site clock.SiteID) bool {
	var last []*fact
	for _, f := range m.namings {
		if !held.Has(f.N) || changelog.SiteIDOf([]byte(f.v[0].Text)) != site {
			continue
		}
		replaced := false
		for _, g := range m.namings {
			replaced = replaced || held.Has(g.N) && g.v[0].Text == f.v[0].Text && g.knows(f)
		}
		if !replaced {
			last = append(last, f)
		}
	}
	named := len(last) > 0
	for _, f := range last {
		named = named && f.v[2].Num == 1
	}
	return named
}

// mayGet reports whether a site may have a change-set, by what is held somewhere.
func (w *world) mayGet(held simulate.Bits, site clock.SiteID, n int) bool {
	lane := w.h.Commits[n].Set.Lane
	return !lane.Confined() || lane.Site == site || w.m.named(held, site)
}

// confide lets the founder name a site for what is confined, or take it off.
func (w *world) confide(r *rand.Rand) {
	m, site := w.machines[founder], w.tmpl.selfs[w.machines[r.IntN(len(w.machines))].site]
	named := r.IntN(3) > 0
	if m.old || m.site != founder {
		return
	}
	c, said := w.command(m, 0, w.somebody(r), func(tx *changelog.Tx, _ *crew.Person) error {
		s, found, err := tx.SiteByID(site.Site)
		if err != nil || !found {
			return err
		}
		_, err = tx.NameSite(s, named, "")
		return err
	})
	if c != nil {
		w.counts["namings"]++
		w.everNamed[site.Site] = w.everNamed[site.Site] || named
	}
	w.tell("%s names %s for what is confined (%v): %s", m.name, site.Code, named, said)
}

// mark is what stands in all that is confined of a site, to be found in the bytes of a
// store.
func mark(code string) string { return "zz-confined-of-" + code }

// secretDeed writes something confined.
func (w *world) secretDeed(m *machine, r *rand.Rand) (string, func(*changelog.Tx, *crew.Person) error) {
	if m.old {
		return "", nil
	}
	var before []simulate.ID
	for _, f := range w.m.later {
		if f.kind.Confined && m.knew.Has(f.N) {
			before = append(before, f.ID)
		}
	}
	dice, code := r.IntN(4), mark(siteCodes[m.site])
	return fmt.Sprintf("writes something confined (%d)", dice), func(tx *changelog.Tx, me *crew.Person) error {
		tx.SetClass(clock.Confined)
		switch {
		case dice == 0 && len(before) > 0:
			tx.Add(change.New(kind.Void, change.Ref(m.dot(before[r.IntN(len(before))])), change.Value{}, change.Text(code)))
		case dice == 1:
			tx.Add(change.New(kind.PersonArrive, change.Ref(me.ID), change.Value{}, change.Num(3200), change.Num(29_000_000)))
		case dice == 2:
			tx.Add(change.Change{Kind: kind.FirstDescribed + 1000, Raw: []byte(code)})
		}
		tx.Add(change.New(kind.PersonClearance, change.Ref(me.ID), change.Text(code), change.Num(1), change.Num(int64(r.IntN(2))), change.Text("2027-12-31")))
		return nil
	}
}

// mustBeFor: a bundle tells nothing of a confined lane that its addressee may not have,
// by what its sender knows.
func (w *world) mustBeFor(from, to *machine, made *transfer.Made) {
	b, err := bundle.Decode(made.Data, bundle.DefaultLimits)
	if err != nil {
		w.fail("%s made what cannot be read: %v", from.name, err)
	}
	named := !from.old && w.m.named(from.knew, to.id())
	check := func(lane clock.Lane, where string) {
		if lane.Confined() && lane.Site != to.id() && !named {
			w.fail("%s sends %s, which is not named, %s of %s", from.name, to.name, where, w.lane(lane))
		}
	}
	for _, ack := range b.Clock {
		check(ack.Lane, "word")
	}
	for _, s := range b.Statements {
		for _, head := range s.Heads {
			check(head.Lane, "a signature")
		}
	}
	for _, s := range b.Segments {
		check(s.Lane, "change-sets")
		for _, set := range s.Sets {
			for _, seen := range set.Seen {
				if seen.Lane.Confined() && !s.Lane.Confined() {
					w.fail("%s/%d, which goes everywhere, says what it has seen of %s", w.lane(s.Lane), set.Seq, w.lane(seen.Lane))
				}
			}
		}
		if s.Lane.Confined() {
			w.counts["confined sent"] += len(s.Sets)
		}
	}
}

// mustBeNamed: what a machine took that is confined it may have, by what it knew before
// or knows now.
func (w *world) mustBeNamed(m *machine, before, grown simulate.Bits) {
	for n := range grown.All {
		if m.old && !w.mayGet(nil, m.id(), n) || !w.mayGet(before, m.id(), n) && !w.mayGet(m.knew, m.id(), n) {
			w.fail("%s took %s, which is confined, and is not named", m.name, w.list(grown))
		}
	}
}

// due returns what of some change-sets a machine is to have in the end: all that goes
// everywhere, and what is confined where a path of named sites leads to it.
func (w *world) due(m *machine, union simulate.Bits) (due simulate.Bits) {
	for n := range union.All {
		if lane := w.h.Commits[n].Set.Lane; !lane.Confined() || w.reaches(m, union, n) {
			due.Add(n)
		}
	}
	return due
}

// forTaking returns what one machine has that counts and that another may have, by what
// both know.
func (w *world) forTaking(from, to *machine) (list simulate.Bits) {
	for n := range w.counting(from.knew).All {
		if confined := w.h.Commits[n].Set.Lane.Confined(); confined && (from.old || to.old) {
			continue
		}
		if w.mayGet(from.knew, to.id(), n) && w.mayGet(from.knew, from.id(), n) && w.mayGet(to.knew, to.id(), n) {
			list.Add(n)
		}
	}
	return list
}

func (w *world) reaches(m *machine, union simulate.Bits, n int) bool {
	reached := map[*machine]bool{}
	var next []*machine
	for _, holder := range w.members() {
		if holder.knew.Has(n) {
			reached[holder], next = true, append(next, holder)
		}
	}
	for ; len(next) > 0 && !reached[m]; next = next[1:] {
		for _, other := range w.members() {
			// A machine of the earlier version names nobody, and takes nothing confined.
			// One that was taken off passes on nothing that others wrote.
			if !reached[other] && !next[0].old && !other.old && w.linked(next[0], other) && w.mayGet(union, other.id(), n) && w.mayGet(union, next[0].id(), n) {
				reached[other], next = true, append(next, other)
			}
		}
	}
	return reached[m]
}

// compareConfined: where the same is there, the state is the same; and the bytes of what
// one site wrote are in no store of a site that was never named.
func (w *world) compareConfined() {
	digests := map[string]changelog.Digest{}
	for _, m := range w.members() {
		var held simulate.Bits
		for n := range m.knew.All {
			if w.h.Commits[n].Set.Lane.Confined() {
				held.Add(n)
			}
		}
		w.counts["confined held"] += held.Count()
		var digest changelog.Digest
		m.view(func(tx *changelog.Tx) (err error) { digest, err = tx.ConfinedDigest(); return err })
		key := fmt.Sprint(slices.Collect(held.All)) // names would not do: two histories of a forked lane share them
		if other, ok := digests[key]; ok && other != digest {
			w.fail("%s has the same confined change-sets as another, and different state", m.name)
		}
		digests[key] = digest
		if !w.everNamed[m.id()] {
			w.holdsNone(m)
		}
	}
}

func (w *world) holdsNone(m *machine) {
	path := m.path + ".bytes"
	if err := m.store.Copy(path); err != nil {
		w.fail("%s: copy: %v", m.name, err)
	}
	defer os.Remove(path)
	file, err := os.ReadFile(path)
	if err != nil {
		w.fail("%v", err)
	}
	for site, code := range siteCodes {
		if site != m.site && bytes.Contains(file, []byte(mark(code))) {
			w.fail("%s, which was never named, holds bytes of what is confined of %s", m.name, code)
		}
	}
	w.counts["stores searched"]++
}

// TestConfinedReachesTheNamed: seasons in which sites are named and write what is
// confined, more than usual.
func TestConfinedReachesTheNamed(t *testing.T) {
	mustPlay(t, 12, "confined sent", func(seed uint64) season {
		s := plain(seed, 4, "confide", "confide", "secret", "talk", "talk", "secret", "work", "talk", "secret", "send", "confide", "talk", "deliver", "secret",
			"talk", "secret", "talk", "look", "work", "talk", "confide", "secret", "talk", "send", "secret", "deliver", "talk", "look")
		if seed%3 == 1 {
			s.links = [][2]int{{1, 0}, {0, 2}, {2, 3}}
		}
		if seed%3 == 2 {
			s.ops = append(s.ops, op{verb: "keep", r: seed}, op{verb: "secret", site: uint32(seed), r: seed}, op{verb: "clone", site: 1, r: seed},
				op{verb: "secret", site: 4, r: seed}, op{verb: "talk", site: 4, r: seed + 1}, op{verb: "talk", site: 1, r: seed + 2})
		}
		return s
	})
}
