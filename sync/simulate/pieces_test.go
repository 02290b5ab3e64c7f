package simulate_test

import (
	"bytes"
	"context"
	"math/rand/v2"
	"slices"

	"pulk/sync/fragment"
	"pulk/sync/simulate"
	"pulk/sync/transfer"
)

// cutSent is a parcel that was sent in fragments.
type cutSent struct {
	from, to int      // machines
	parcels  [][]byte // the fragments, by place
}

// pieces is what arrived at a machine of one such parcel.
type pieces struct {
	// bodies are, by place, the fragments that differ, the latest first. As many are
	// kept as a machine keeps.
	bodies map[int][][]byte
	done   bool
	unsure bool // the machine was killed taking some
}

// add books a fragment for a place.
func (p *pieces) add(place int, data []byte) {
	others := slices.DeleteFunc(slices.Clone(p.bodies[place]), func(other []byte) bool { return bytes.Equal(other, data) })
	p.bodies[place] = slices.Insert(others[:min(len(others), fragment.MaxVariants-1)], 0, data)
}

// combinationsMost is how many ways to choose among fragments that differ a machine
// tries at least, for parcels as small as those here.
const combinationsMost = 1000

// whole reports whether a machine promises to have taken a parcel: enough is there,
// a true fragment among those of each place, and not too many false ones.
func (p *pieces) whole(sent *cutSent, c fragment.Cut) bool {
	if sent == nil || len(p.bodies) < c.Data || p.unsure || len(sent.parcels) != c.Total() {
		return false
	}
	combinations := 1
	for place, list := range p.bodies {
		if combinations *= len(list); combinations > combinationsMost || !p.hasTrue(sent, place) {
			return false
		}
	}
	return true
}

func (p *pieces) hasTrue(sent *cutSent, place int) bool {
	return slices.ContainsFunc(p.bodies[place], func(data []byte) bool { return bytes.Equal(data, sent.parcels[place]) })
}

// clean reports whether nothing false arrived.
func (p *pieces) clean(sent *cutSent) bool {
	for place, list := range p.bodies {
		if len(list) > 1 || !p.hasTrue(sent, place) {
			return false
		}
	}
	return !p.unsure
}

// followPieces books the fragments that arrived, and checks that a parcel of which
// enough is there was taken.
func (a *arrival) followPieces(killed bool) {
	for i, d := range a.list {
		f, err := fragment.Parse(d.Data)
		if err != nil || d.Damaged {
			continue
		}
		if a.to.pieces == nil {
			a.to.pieces = map[fragment.Cut]*pieces{}
		}
		p := a.to.pieces[f.Cut]
		if p == nil {
			p = &pieces{bodies: map[int][][]byte{}}
			a.to.pieces[f.Cut] = p
		}
		p.add(f.Place, d.Data)
		p.unsure = p.unsure || killed
		if o := &a.outcomes[i]; o.Set != nil && o.Set.Done {
			p.done = true
		}
		if !slices.Contains(a.touched, f.Cut) {
			a.touched = append(a.touched, f.Cut)
		}
	}
	if killed {
		return
	}
	for _, c := range a.touched {
		if p := a.to.pieces[c]; p.whole(a.w.cuts[c], c) && !p.done {
			a.w.mustNotFit(a.to, c)
		}
	}
}

// mustNotFit: where all of a parcel's fragments are there and it was not taken, it
// cannot be taken whole either.
func (w *world) mustNotFit(to *machine, c fragment.Cut) {
	var wholes, frags transfer.Outcome
	var err error
	bodies := make([][]byte, c.Total())
	for place, data := range w.cuts[c].parcels {
		f, err := fragment.Parse(data)
		if err != nil {
			w.fail("%v", err)
		}
		bodies[place] = f.Body
	}
	parcel, err := c.Join(bodies)
	if err != nil {
		w.fail("fragments of %s: %v", c.Name, err)
	}
	to.as(func() {
		said := func(into *transfer.Outcome) func(i int, o transfer.Outcome) error {
			return func(_ int, o transfer.Outcome) error { *into = o; return nil }
		}
		desk := to.desk()
		if err = desk.Take(context.Background(), 0, nil, said(&frags)); err == nil { // another may have brought what was missing
			err = desk.Take(context.Background(), 1, func(int) ([]byte, error) { return parcel, nil }, said(&wholes))
		}
	})
	if err != nil {
		w.fail("%s: take: %v", to.name, err)
	}
	if frags.Whole != nil && frags.Whole.Taken != nil {
		to.refresh()
		to.pieces[c].done = true
		return
	}
	if wholes.Err == nil {
		w.fail("%s has all fragments of %s and did not take it; whole it takes it", to.name, c.Name)
	}
}

// ask sends requests for the fragments that are missing at a machine.
func (w *world) ask(m *machine, r *rand.Rand) {
	var lacks []transfer.Lack
	var err error
	m.as(func() { lacks, err = m.desk().Missing(context.Background()) })
	if err != nil {
		w.fail("%s: missing: %v", m.name, err)
	}
	for _, lack := range lacks {
		sent, p := w.cuts[lack.Cut], m.pieces[lack.Cut]
		if sent == nil || p == nil {
			continue // what somebody hostile made up; or from before the store was restored
		}
		if p.clean(sent) && len(p.bodies) < lack.Data {
			w.mustAskFor(m, lack, p)
		}
		if from := w.machines[sent.from]; w.open(m, from) {
			w.tell("%s asks %s for %d fragments of %s", m.name, from.name, len(lack.Request.Missing), lack.Name)
			w.counts["requests"]++
			w.net.Send(simulate.Message{From: w.number(m), To: sent.from, Data: lack.Request.Encode([]int{0, 40}[r.IntN(2)])})
		}
	}
}

func (w *world) mustAskFor(m *machine, lack transfer.Lack, p *pieces) {
	want := lack.Data - len(p.bodies)
	for _, place := range lack.Request.Missing {
		if _, here := p.bodies[place]; here {
			w.fail("%s asks for fragment %d of %s, which is here", m.name, place, lack.Name)
		}
	}
	if len(lack.Request.Missing) != want {
		w.fail("%s asks for %d fragments of %s; %d are needed", m.name, len(lack.Request.Missing), lack.Name, want)
	}
}

// sendFalse puts false fragments under way, beside a true one that it saw.
func (w *world) sendFalse(r *rand.Rand) {
	var seen []simulate.Message
	for _, message := range w.net.Queue {
		if message.Piece {
			seen = append(seen, message)
		}
	}
	if len(seen) == 0 {
		return
	}
	message := seen[r.IntN(len(seen))]
	for range 1 + r.IntN(6) {
		if data := forge(message.Data, r); data != nil {
			w.net.Send(simulate.Message{From: message.From, To: message.To, Data: data, Piece: true, False: true})
			w.counts["false fragments"]++
		}
	}
	w.tell("somebody hostile sends %s false fragments", w.machines[message.To].name)
}

// forge returns a fragment that names the parcel of a true one, and whose check fits.
func forge(data []byte, r *rand.Rand) []byte {
	f, err := fragment.Parse(data)
	if err != nil {
		return nil // forged or damaged already
	}
	g := *f
	g.Body = slices.Clone(f.Body)
	switch r.IntN(5) {
	case 0: // the content of one place at another
		if g.Place = r.IntN(g.Total()); (g.Place == g.Data-1) != (f.Place == f.Data-1) {
			g.Place = f.Place
		}
	case 1: // another length
		if g.Place != g.Data-1 {
			g.Length = g.Data*g.Size - r.IntN(g.Size)
		}
	}
	if g.Place == f.Place {
		g.Body[r.IntN(len(g.Body))] ^= byte(1 + r.IntN(255))
	}
	return g.Encode()
}
