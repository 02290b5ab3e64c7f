package simulate_test

import (
	"bytes"
	"context"
	"errors"
	"fmt"
	"math/rand/v2"
	"slices"

	"pulk/schema/fault"
	"pulk/sync/changelog"
	"pulk/sync/clock"
	"pulk/sync/fragment"
	"pulk/sync/simulate"
	"pulk/sync/transfer"
)

// desk opens and wraps what a machine gets and sends.
func (m *machine) desk() *transfer.Desk { return &transfer.Desk{Log: m.log, Now: m.now()} }

// request says what to send now.
func (w *world) request(from, to *machine, r *rand.Rand) transfer.Request {
	request := transfer.Request{Request: changelog.Request{To: to.id(), Continue: r.IntN(5) == 0}}
	if r.IntN(2) == 0 {
		request.MaxBytes = 350 + r.IntN(1500)
	}
	switch dice := r.IntN(16); {
	case dice < 3 || w.urgent && dice < 11:
		request.Classes = []clock.Class{clock.Expedited}
	case dice == 11:
		request.Classes = []clock.Class{clock.Expedited, clock.Normal}
	case dice == 12:
		request.Word = true
	}
	if r.IntN(6) == 0 {
		request.Behind = from.onWay[to.site]
	}
	request.Wrapping = w.wrapping(from, to, r)
	return request
}

// wrapping says how a parcel goes: on a way with no way back always with parity.
func (w *world) wrapping(from, to *machine, r *rand.Rand) transfer.Wrapping {
	dice, size, parity := r.IntN(20), 90+r.IntN(500), 0.2+r.Float64()
	wrapping := transfer.Wrapping{Seal: r.IntN(5) == 0 && from.hasKeyOf(to)}
	switch {
	case !w.open(to, from) || dice < 2:
		wrapping.FragmentBytes, wrapping.ParityShare = size, parity
	case dice < 6 || w.narrow && dice < 17:
		wrapping.FragmentBytes = size
	}
	return wrapping
}

func (m *machine) hasKeyOf(other *machine) (has bool) {
	m.view(func(tx *changelog.Tx) (err error) { _, has, err = tx.SiteByID(other.id()); return err })
	return has
}

// send makes a bundle and puts it under way.
func (w *world) send(from, to *machine, r *rand.Rand, kill int) {
	request := w.request(from, to, r)
	var made *transfer.Made
	var err error
	from.arm(kill)
	from.as(func() { made, err = from.desk().Make(context.Background(), request) })
	if from.revive(err, true) {
		w.tell("%s was KILLED making a bundle for %s", from.name, to.name)
		return
	}
	if err != nil {
		if w.isLost(to) && cutRefusal(err) {
			w.tell("%s makes nothing for %s, which was cut off", from.name, to.name)
			return
		}
		if request.MaxBytes > 0 { // a clock with many lanes may not fit
			w.tell("%s has no room for a bundle to %s", from.name, to.name)
			return
		}
		w.fail("%s: make: %v", from.name, err)
	}
	if request.MaxBytes > 0 && made.Bytes() > request.MaxBytes {
		w.fail("%s: parcels of %d bytes, at most %d", from.name, made.Bytes(), request.MaxBytes)
	}
	w.mustBeFor(from, to, made)
	for _, s := range made.Segments {
		if request.Word || request.Classes != nil && !slices.Contains(request.Classes, s.Lane.Class) {
			w.fail("%s sends %s from %s; only classes %v were to go, word alone %v", from.name, to.name, s.Lane, request.Classes, request.Word)
		}
	}
	for _, s := range made.Segments {
		if !w.forked && request.Behind[s.Lane] >= s.From {
			w.fail("%s sends %s number %d of %s; what is on its way goes to %d", from.name, to.name, s.From, s.Lane, request.Behind[s.Lane])
		}
	}
	w.tell("%s sends %s %d change-sets, %d left (%d bytes, max %d, continue %v, classes %v, word %v, behind %d lanes), %s", from.name, to.name, made.Sets, made.Left, made.Bytes(),
		request.MaxBytes, request.Continue, request.Classes, request.Word, len(request.Behind), told(made))
	w.putOut(from, to, made)
}

func told(made *transfer.Made) string {
	text := "whole"
	if made.Cut != nil {
		text = fmt.Sprintf("%d and %d fragments %s", made.Cut.Data, made.Cut.Parity, made.Cut.Name)
	}
	if made.Sealed {
		text += ", sealed"
	}
	return text
}

// putOut puts parcels under way, and notes how one was cut.
func (w *world) putOut(from, to *machine, made *transfer.Made) {
	if made.Cut != nil {
		sent := &cutSent{from: w.number(from), to: w.number(to)}
		for _, p := range made.Parcels {
			sent.parcels = append(sent.parcels, p.Data)
		}
		w.cuts[*made.Cut] = sent
		w.counts["parcels in fragments"]++
		from.sends(to, made)
	}
	for _, p := range made.Parcels {
		w.net.Send(simulate.Message{From: w.number(from), To: w.number(to), Data: p.Data, Piece: made.Cut != nil})
	}
}

// sends notes what went in fragments, to send only what comes after it.
func (m *machine) sends(to *machine, made *transfer.Made) {
	if m.onWay == nil {
		m.onWay = map[int]clock.Vector{}
	}
	v := m.onWay[to.site].Clone()
	for _, s := range made.Segments {
		v[s.Lane] = max(v[s.Lane], s.To())
	}
	m.onWay[to.site] = v
}

func (w *world) number(m *machine) int { return slices.Index(w.machines, m) }

// deliver lets something arrive.
func (w *world) deliver(r *rand.Rand, kill int) {
	list := w.net.Deliver(r)
	if len(list) == 0 || w.isAway(w.machines[list[0].To]) {
		return
	}
	w.takeSome(w.machines[list[0].To], list, r, kill)
}

// deliverLast lets arrive at once what was sent last, from number first in the queue
// on: all of it, or as the network has it.
func (w *world) deliverLast(first int, r *rand.Rand, kill int) {
	if len(w.net.Queue) <= first {
		return
	}
	last := simulate.Network{Queue: slices.Clone(w.net.Queue[first:])}
	w.net.Queue = w.net.Queue[:first]
	to := w.machines[last.Queue[0].To]
	if w.narrow && r.IntN(3) > 0 {
		list := last.Deliver(r)
		w.net.Queue = append(w.net.Queue, last.Queue...) // what comes again, or with another pass
		w.takeSome(to, list, r, kill)
		return
	}
	var list []simulate.Delivery
	for _, message := range last.Queue {
		list = append(list, simulate.Delivery{Message: message, Fate: "at once"})
	}
	w.takeSome(to, list, r, kill)
}

// takeSome lets a machine take those parcels that were not lost.
func (w *world) takeSome(to *machine, list []simulate.Delivery, r *rand.Rand, kill int) {
	lost := 0
	list = slices.DeleteFunc(list, func(d simulate.Delivery) bool {
		if d.Fate == simulate.Lost {
			lost++
		}
		return d.Fate == simulate.Lost
	})
	if lost > 0 {
		w.tell("%d parcels for %s are lost", lost, to.name)
	}
	if len(list) > 0 {
		w.take(to, list, kill)
		w.glance(to, r)
	}
}

// arrival is one call of Take that is being played.
type arrival struct {
	w        *world
	to       *machine
	list     []simulate.Delivery
	before   simulate.Bits
	fresh    int // change-sets that were new, by what Take said
	taken    int // bundles
	touched  []fragment.Cut
	outcomes []transfer.Outcome
}

// take lets a machine take parcels, and reports whether it took a bundle.
func (w *world) take(to *machine, list []simulate.Delivery, kill int) bool {
	a := &arrival{w: w, to: to, list: list, before: to.knew.Clone(), outcomes: make([]transfer.Outcome, len(list))}
	w.counts["parcels"] += len(list)
	to.arm(kill)
	err := a.play()
	killed := to.revive(err, false)
	if err != nil && !killed {
		w.fail("%s: take: %v", to.name, err)
	}
	to.refresh()
	grown := to.knew.Without(a.before)
	w.mustBeNamed(to, a.before, grown)
	if to.heeds() {
		a.fresh = min(a.fresh, grown.Count()) // some was new, and then taken out again
	}
	more := killed && (len(list) > 1 || list[0].Piece) // it may be killed before it says what it did
	if n := grown.Count(); n != a.fresh && !(more && n > a.fresh) {
		w.fail("%s says that what it took brought %d new change-sets; it brought %d", to.name, a.fresh, n)
	}
	a.followPieces(killed)
	if killed {
		w.tell("%s was KILLED taking %d parcels", to.name, len(list))
		return false
	}
	w.tell("%s takes %d parcels from %s:%s%s", to.name, len(list), a.from(), w.list(grown), a.said())
	for i := range a.outcomes {
		a.check(i)
	}
	return a.taken > 0
}

func (a *arrival) from() string {
	if len(a.list) == 0 {
		return "nobody"
	}
	return a.w.machines[a.list[0].From].name
}

func (a *arrival) play() (err error) {
	ctx := context.Background()
	a.to.as(func() {
		err = a.to.desk().Take(ctx, len(a.list), func(i int) ([]byte, error) { return a.list[i].Data, nil }, func(i int, o transfer.Outcome) error {
			a.fresh += o.Fresh()
			if o.Taken != nil || o.Whole != nil && o.Whole.Taken != nil || o.Set != nil && o.Set.Done { // done: it was taken before, in these very bytes
				a.taken++
			}
			if i >= 0 {
				a.outcomes[i] = o
			} else if p := a.to.pieces[o.Set.Cut]; p != nil {
				p.done = true
			}
			return nil
		})
	})
	return err
}

func (a *arrival) said() string {
	text := ""
	for i, o := range a.outcomes {
		if o.Kind == transfer.Fragment && o.Err == nil && o.Whole == nil {
			continue
		}
		text += fmt.Sprintf("\n    %s (%s)", o.Kind, a.list[i].Fate)
		for _, o := range []*transfer.Outcome{&o, o.Whole} {
			switch {
			case o == nil:
			case o.Err != nil:
				text += fmt.Sprintf(" refused: %v", o.Err)
			case o.Taken != nil:
				text += marks(o.Taken)
			}
		}
	}
	return text
}

// check looks at what came of one parcel.
func (a *arrival) check(i int) {
	o, d, w := &a.outcomes[i], a.list[i], a.w
	for _, o := range []*transfer.Outcome{o, o.Whole} {
		var refusal *changelog.Refusal
		if o != nil && o.Err != nil && !errors.As(o.Err, &refusal) {
			w.fail("%s: take: %v", a.to.name, o.Err)
		}
	}
	switch {
	case d.Damaged && o.Err == nil && transfer.KindOf(d.Data) != transfer.Resend: // those have a check of two bytes
		w.fail("%s took a %s that was %s", a.to.name, o.Kind, d.Fate)
	case d.False && o.Taken != nil:
		w.fail("%s took a bundle that nobody sent", a.to.name)
	}
	if o.Asked != nil {
		w.answer(a.to, w.machines[d.From], *o.Asked)
	}
}

// answer sends fragments again that were asked for: the same bytes as before.
func (w *world) answer(m, to *machine, request fragment.Request) {
	var parcels []transfer.Parcel
	var err error
	m.as(func() { parcels, _, err = m.desk().Again(context.Background(), request) })
	var gone *fault.Hinted
	if errors.As(err, &gone) {
		w.tell("%s has no parcel %s any more that %s asks for", m.name, request.Name, to.name)
		return
	}
	if err != nil {
		w.fail("%s: again: %v", m.name, err)
	}
	w.tell("%s sends %s %d fragments of %s again", m.name, to.name, len(parcels), request.Name)
	w.counts["fragments again"] += len(parcels)
	for _, p := range parcels {
		f, err := fragment.Parse(p.Data)
		if err != nil {
			w.fail("%s sends again: %v", m.name, err)
		}
		if sent := w.cuts[f.Cut]; sent == nil || !bytes.Equal(sent.parcels[p.Place], p.Data) {
			w.fail("%s sends fragment %d of %s again, and it is not as it was", m.name, p.Place, request.Name)
		}
		w.net.Send(simulate.Message{From: w.number(m), To: w.number(to), Data: p.Data, Piece: true})
	}
}
