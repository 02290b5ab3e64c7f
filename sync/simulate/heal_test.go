package simulate_test

import (
	"context"
	"fmt"
	"math/rand/v2"
	"slices"
	"strings"
	"time"

	"pulk/sync/changelog"
	"pulk/sync/clock"
	"pulk/sync/simulate"
	"pulk/sync/transfer"
)

// healRounds is how many rounds of all with all bring everything everywhere.
func (w *world) healRounds() int {
	if w.links == nil {
		return 14
	}
	return 14 + 4*len(w.links)
}

// sticksFrom is the round from which on a stick goes where nothing else does.
const sticksFrom = 2

// heal lets everybody know everybody and exchanges along all links until nothing
// more comes, then compares everything.
func (w *world) heal() {
	w.net.Queue = nil
	for _, m := range w.members() {
		m.skew = 0
		w.everybody(m, nil)
	}
	var union simulate.Bits
	for _, m := range w.members() {
		union.Or(w.counting(m.knew))
	}
	w.tell("-- all are in touch; %d change-sets", union.Count())
	w.last = rand.New(rand.NewPCG(uint64(len(w.h.Commits)), 5))
	if !w.forked && w.links == nil && w.oneWay[0] < 0 && w.last.IntN(4) > 0 { // the cheap way, mostly
		w.exchangeByHub()
	}
	round := w.exchangeUntilAllHave(&union, 0)
	if a, b := w.members()[0], w.members()[len(w.members())-1]; w.open(a, b) && !w.carry(a, b, round) {
		w.fail("all have all, but a bundle from %s to %s is not taken", a.name, b.name)
	}
	round = w.exchangeUntilAllHave(&union, round) // that bundle may have let something in that had waited for one before it
	w.counts["rounds"] += round
	w.compareOld()
	w.compareAll()
}

// exchangeUntilAllHave plays rounds, from a number on, and returns the next number.
func (w *world) exchangeUntilAllHave(union *simulate.Bits, round int) int {
	for ; !w.haveAll(union); round++ {
		if round == w.healRounds() {
			w.fail("after %d rounds of all with all: %s", round, w.missing(*union))
		}
		w.exchangeAll(round, union)
	}
	return round
}

// haveAll reports whether every machine holds all of union. That grows by what
// comes to light only now: change-sets that wait for one before them at some site,
// while the store that wrote them was restored from a backup.
func (w *world) haveAll(union *simulate.Bits) bool {
	for _, m := range w.members() {
		union.Or(w.counting(m.knew))
	}
	for _, m := range w.members() {
		if !m.knew.Covers(w.due(m, *union)) {
			return false
		}
	}
	return true
}

func (w *world) missing(union simulate.Bits) string {
	var text []string
	for _, m := range w.members() {
		if rest := w.due(m, union).Without(m.knew); rest.Count() > 0 {
			text = append(text, fmt.Sprintf("%s lacks%s", m.name, w.list(rest)))
		}
	}
	return strings.Join(text, "; ")
}

// exchangeByHub lets all tell one machine all, which then tells all.
func (w *world) exchangeByHub() {
	hub := w.members()[w.last.IntN(len(w.members()))]
	for _, m := range w.members() {
		if m != hub {
			w.carry(m, hub, 0)
		}
	}
	for _, m := range w.members() {
		if m != hub {
			w.carry(hub, m, 0)
		}
	}
}

// exchangeAll plays one round, until all have all. Each pair talks in turn, as two
// stores of one site look like one to the others: what one of them says that it
// has must not be taken for the other's.
func (w *world) exchangeAll(round int, union *simulate.Bits) {
	for i, a := range w.members() {
		for _, b := range w.members()[i+1:] {
			if !w.linked(a, b) {
				continue
			}
			w.carryBack(a, b, round)
			w.carryBack(b, a, round)
			if w.forked {
				w.carryBack(a, b, round)
			}
			if w.haveAll(union) {
				return
			}
		}
	}
}

// carryBack carries from one machine to another, by stick and only after a while
// where there is no other way.
func (w *world) carryBack(from, to *machine, round int) {
	if !w.open(from, to) {
		if round < sticksFrom {
			return
		}
		w.counts["sticks"]++
	}
	w.carry(from, to, round)
}

// carry takes all across at once and reports whether it was taken. Where no lane is
// forked, the one has then all that the other has.
func (w *world) carry(from, to *machine, round int) bool {
	w.pause()
	w.now = w.now.Add(time.Second)
	request := transfer.Request{Request: changelog.Request{To: to.id()}}
	if w.last.IntN(5) == 0 || !w.open(to, from) {
		request.Wrapping = w.wrapping(from, to, w.last)
	}
	var made *transfer.Made
	var err error
	from.as(func() { made, err = from.desk().Make(context.Background(), request) })
	if err != nil {
		w.fail("%s: make: %v", from.name, err)
	}
	w.mustBeFor(from, to, made)
	var list []simulate.Delivery
	for _, p := range made.Parcels {
		list = append(list, simulate.Delivery{Message: simulate.Message{From: w.number(from), To: w.number(to), Data: p.Data, Piece: made.Cut != nil}, Fate: fmt.Sprintf("round %d", round)})
	}
	if made.Cut != nil {
		w.putOut(from, to, made)
		w.net.Queue = nil
		list = w.mishandle(list, made.Cut.Parity)
	}
	taken := w.take(to, list, 0)
	if !taken && made.Cut != nil && w.hostile { // where a fragment is lost and a false one lies in its place
		for place := range made.Parcels {
			list = append(list, simulate.Delivery{Message: simulate.Message{From: w.number(from), To: w.number(to), Data: made.Parcels[place].Data, Piece: true}, Fate: "again"})
		}
		taken = w.take(to, list[len(list)-len(made.Parcels):], 0)
	}
	if rest := w.forTaking(from, to).Without(to.knew); !w.forked && !to.late && rest.Count() > 0 { // who joins late has told others more than it has
		w.fail("%s took all that %s has, and lacks%s", to.name, from.name, w.list(rest))
	}
	return taken
}

// mishandle shuffles fragments, doubles some, puts false ones among them, and loses
// as many as there is parity for.
func (w *world) mishandle(list []simulate.Delivery, parity int) []simulate.Delivery {
	r := w.last
	r.Shuffle(len(list), func(i, j int) { list[i], list[j] = list[j], list[i] })
	list = list[r.IntN(parity+1):]
	list = append(list, list[r.IntN(len(list))])
	for range 3 {
		if d := list[r.IntN(len(list))]; w.hostile {
			if d.Data, d.False = forge(d.Data, r), true; d.Data != nil {
				list = slices.Insert(list, r.IntN(len(list)+1), d)
			}
		}
	}
	return list
}

// compareOld compares one machine of the earlier version with the model, then gives
// the later program to all.
func (w *world) compareOld() {
	for _, m := range w.members() {
		if m.old {
			w.compare(m)
			break
		}
	}
	for _, m := range w.members() {
		m.upgrade()
	}
}

// compareAll: equal digests everywhere, equal to a rebuild, and everything as the
// model says.
func (w *world) compareAll() {
	var first changelog.Digest
	for i, m := range w.members() {
		var digest changelog.Digest
		m.view(func(tx *changelog.Tx) (err error) { digest, err = tx.Digest(); return err })
		if i == 0 {
			first = digest
		} else if digest != first {
			w.fail("%s and %s have the same change-sets and different state: %s", w.members()[0].name, m.name, w.difference(w.members()[0], m))
		}
	}
	w.compareConfined()
	m := w.members()[len(w.h.Commits)%len(w.members())]
	m.verify()
	w.compare(m)
}

// compare compares all that one machine shows with the model.
func (w *world) compare(m *machine) {
	for _, start := range w.m.runs {
		w.checkRun(m, start)
	}
	w.compareRegisters(m)
	w.compareUnknown(m)
	w.compareLater(m)
	w.compareShutGates(m)
	w.compareStock(m)
}

// look compares what one machine shows in mid-season.
func (w *world) look(m *machine, r *rand.Rand) {
	w.counts["looks"]++
	switch r.IntN(4) {
	case 0:
		w.compareRegisters(m)
	case 1:
		w.compareStock(m)
	case 2:
		w.compareShutGates(m)
		w.compareUnknown(m)
		w.compareLater(m)
	case 3:
		m.view(func(tx *changelog.Tx) error { _, err := tx.Conflicts(); return err })
	}
	for _, start := range w.m.runs {
		w.checkRun(m, start)
	}
}

// glance compares one run at a machine that has just taken something, and may let it
// ask for what is missing.
func (w *world) glance(m *machine, r *rand.Rand) {
	if r.IntN(2) == 0 {
		w.ask(m, r)
	}
	if w.forked && r.IntN(4) == 0 { // what was read in part must be read again when the rest comes
		m.verify()
	}
	if r.IntN(3) == 0 {
		w.checkRun(m, w.m.runs[r.IntN(len(w.m.runs))])
	}
}

// wireDot returns the name that a change has where no lane is forked, be it here or
// not.
func (w *world) wireDot(id simulate.ID) clock.Dot {
	c := w.h.Commits[id.N]
	return clock.Dot{Lane: c.Set.Lane, Seq: c.Set.Seq, Index: uint16(id.Index)}
}
