package transfer

import (
	"errors"

	"pulk/schema"
	"pulk/sync/bundle"
	"pulk/sync/changelog"
	"pulk/sync/fragment"
)

// heldFragment is a fragment that is to be kept, and the parcel that it was.
type heldFragment struct {
	i     int
	f     *fragment.Fragment
	set   Set
	again bool
}

// How many fragments go to the disk at a time.
const (
	heldMost      = 1024
	heldBytesMost = 1 << 20
)

// hold takes a fragment in, and brings those held to the disk when they are many.
func (t *taking) hold(i int, f *fragment.Fragment) error {
	t.held = append(t.held, heldFragment{i: i, f: f})
	t.heldBytes += len(f.Body)
	if len(t.held) < heldMost && t.heldBytes < heldBytesMost {
		return nil
	}
	return t.keepHeld()
}

// keepHeld brings fragments to the disk, takes the parcels of which enough is
// there, and says what came of each fragment.
func (t *taking) keepHeld() error {
	err := t.Log.Store().Update(t.ctx, func(tx *schema.Tx) error {
		known := map[fragment.Cut]Set{}
		for n := range t.held {
			if err := t.keepOne(tx, &t.held[n], known); err != nil {
				return err
			}
		}
		return bound(tx, t.Now)
	})
	if err != nil {
		return err
	}
	ready, err := t.ready()
	if err != nil {
		return err
	}
	last := map[int64]int{} // of each set, its last fragment in held
	for n, h := range t.held {
		last[h.set.id] = n
	}
	wholes := map[int64]*Outcome{}
	for _, s := range ready {
		if _, grew := last[s.id]; !grew && s.Trouble == fragment.ErrFalse.Error() {
			continue // it was tried with what is here
		}
		o, err := t.whole(s)
		if err != nil {
			return err
		}
		if n, ok := last[s.id]; ok {
			t.held[n].set = s
			wholes[s.id] = o
		} else if o.Err == nil { // enough was here before, and now it could be taken
			if err := t.said(-1, Outcome{Kind: Fragment, Set: &s, Whole: o}); err != nil {
				return err
			}
		}
	}
	return t.sayHeld(last, wholes)
}

func (t *taking) sayHeld(last map[int64]int, wholes map[int64]*Outcome) error {
	states, err := t.states()
	if err != nil {
		return err
	}
	held := t.held
	t.held, t.heldBytes = nil, 0
	for n, h := range held {
		o := Outcome{Kind: Fragment, Again: h.again, Set: &h.set}
		if s, ok := states[h.set.id]; ok {
			o.Set = &s
		}
		if last[h.set.id] == n {
			o.Whole = wholes[h.set.id]
		}
		if err := t.said(h.i, o); err != nil {
			return err
		}
	}
	return nil
}

func (t *taking) keepOne(tx *schema.Tx, h *heldFragment, known map[fragment.Cut]Set) (err error) {
	set, ok := known[h.f.Cut]
	if !ok {
		if set, err = setOf(tx, h.f.Cut, t.sender(h.i), t.Now); err != nil {
			return err
		}
		known[h.f.Cut] = set
	}
	h.set = set
	if h.set.Done {
		h.again = true
		return nil
	}
	if h.again, err = keep(tx, h.set, h.f, t.Now); err == nil && !h.again {
		t.grew[h.set.id] = true
	}
	return err
}

// ready returns the sets that have enough fragments and are not taken.
func (t *taking) ready() (list []Set, err error) {
	err = t.Log.Store().View(t.ctx, func(tx *schema.Tx) error {
		all, err := sets(tx, "WHERE done = 0")
		for _, s := range all {
			if s.Lacking() == 0 {
				list = append(list, s)
			}
		}
		return err
	})
	return list, err
}

func (t *taking) states() (map[int64]Set, error) {
	states := map[int64]Set{}
	err := t.Log.Store().View(t.ctx, func(tx *schema.Tx) error {
		all, err := sets(tx, "")
		for _, s := range all {
			states[s.id] = s
		}
		return err
	})
	return states, err
}

// whole puts a parcel together and takes it. What cannot be taken stays: that may
// change when the true fragments come, or when its sender is trusted.
func (t *taking) whole(s Set) (*Outcome, error) {
	o := &Outcome{}
	parcel, err := t.join(s)
	switch {
	case errors.Is(err, fragment.ErrFalse):
		o.Err = &changelog.Refusal{What: err.Error(), Hint: "ask the sender for all of it again: pulk bundle missing; the latest fragments count"}
	case err != nil:
		return nil, err
	default:
		o = t.takeJoined(parcel)
	}
	if o.Err != nil && t.ctx.Err() != nil {
		return nil, o.Err
	}
	return o, t.Log.Store().Update(t.ctx, func(tx *schema.Tx) error {
		if o.Err != nil {
			return setTrouble(tx, s, o.Err.Error())
		}
		return finish(tx, s)
	})
}

// join returns the parcel. Bodies beside the latest are read only where those do
// not make it.
func (t *taking) join(s Set) (parcel []byte, err error) {
	err = t.Log.Store().View(t.ctx, func(tx *schema.Tx) error {
		bodies, err := latest(tx, s)
		if err != nil {
			return err
		}
		if parcel, err = s.Join(bodies); !errors.Is(err, fragment.ErrFalse) {
			return err
		}
		all, err := variants(tx, s, bodies)
		if err != nil {
			return err
		}
		parcel, err = s.Resolve(all)
		return err
	})
	return parcel, err
}

func (t *taking) takeJoined(parcel []byte) *Outcome {
	o := &Outcome{Kind: KindOf(parcel)}
	content, sealed, err := unseal(t.self, parcel)
	switch {
	case err != nil:
		o.Err = err
	case KindOf(content) == Bundle:
		o.Taken, o.Err = t.Log.Take(t.ctx, content, bundle.DefaultLimits, t.Now)
	default:
		*o = t.other(content)
		o.Kind = KindOf(parcel)
	}
	o.Sealed = sealed
	return o
}
