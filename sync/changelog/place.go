package changelog

import (
	"bytes"

	"pulk/sync/change"
	"pulk/sync/clock"
)

// link is a received change-set with its place in the chain.
type link struct {
	set       *change.Set
	canonical []byte
	hash      change.Hash
}

// place puts received links behind number from-1 of lane at (where at is nil,
// behind the genesis of base). Links that are here already are passed over; where
// they differ from what is here, the lane is forked. It returns the lane that the
// last link is in, and how many were new.
func (tx *Tx) place(base clock.Lane, at *lane, links []link) (*lane, int, error) {
	if at == nil {
		var err error
		if at, err = tx.lanes.ensure(tx, base); err != nil {
			return nil, 0, err
		}
	}
	fresh := 0
	for _, next := range links {
		child, err := tx.child(at, next.set.Seq, next.hash)
		if err != nil {
			return nil, 0, err
		}
		if child != nil {
			at = child
			continue
		}
		if at, err = tx.place1(at, next); err != nil {
			return nil, 0, err
		}
		fresh++
	}
	return at, fresh, nil
}

// child returns the lane that holds the change-set seq with a hash as the
// successor of number seq-1 of lane at, or nil.
func (tx *Tx) child(at *lane, seq uint64, hash change.Hash) (*lane, error) {
	if seq <= at.tip {
		here, err := tx.hashAt(at, seq)
		if err != nil || here == hash {
			return at, err
		}
	}
	for _, branch := range tx.lanes.byBase[at.name.Base()] {
		if branch.parent != at || branch.forkSeq != seq || branch.tip < seq {
			continue
		}
		here, err := tx.hashAt(branch, seq)
		if err != nil || here == hash {
			return branch, err
		}
	}
	return nil, nil
}

// place1 puts one new link behind number seq-1 of lane at.
func (tx *Tx) place1(at *lane, next link) (*lane, error) {
	seq := next.set.Seq
	if at.tip == seq-1 {
		return at, tx.append(at, next.set, next.canonical, next.hash)
	}
	// Number seq is taken: the lane is forked here. The lower hash goes on as the
	// main line, so that the outcome does not depend on which came first.
	tx.stale = true
	here, err := tx.hashAt(at, seq)
	if err != nil {
		return nil, err
	}
	if bytes.Compare(next.hash[:], here[:]) > 0 {
		return tx.branch(at, next)
	}
	if err := tx.moveAside(at, seq, here); err != nil {
		return nil, err
	}
	return at, tx.append(at, next.set, next.canonical, next.hash)
}

// branch starts a new branch of lane at with a link.
func (tx *Tx) branch(at *lane, next link) (*lane, error) {
	previous, err := tx.hashAt(at, next.set.Seq-1)
	if err != nil {
		return nil, err
	}
	name := at.name
	name.Branch = next.hash.Check()
	l, err := tx.lanes.insert(tx, &lane{name: name, parent: at, forkSeq: next.set.Seq, tip: next.set.Seq - 1, tipHash: previous})
	if err != nil {
		return nil, err
	}
	if l.tipCtx, err = tx.contextAt(at, next.set.Seq-1); err != nil {
		return nil, err
	}
	return l, tx.append(l, next.set, next.canonical, next.hash)
}

// moveAside turns what lane at holds from number seq on into a branch.
func (tx *Tx) moveAside(at *lane, seq uint64, hash change.Hash) error {
	name := at.name
	name.Branch = hash.Check()
	branch, err := tx.lanes.insert(tx, &lane{name: name, parent: at, forkSeq: seq, tip: at.tip, tipHash: at.tipHash})
	if err != nil {
		return err
	}
	branch.tipCtx, branch.dirty = at.tipCtx, true
	for _, table := range []string{"changeset", "statement"} {
		if err := tx.Exec("UPDATE "+table+" SET lane = ? WHERE lane = ? AND seq >= ?", branch.id, at.id, seq); err != nil {
			return err
		}
	}
	for _, l := range tx.lanes.byBase[at.name.Base()] {
		if l.parent == at && l.forkSeq > seq {
			l.parent = branch
			if err := tx.Exec("UPDATE lane SET parent = ? WHERE id = ?", branch.id, l.id); err != nil {
				return err
			}
		}
	}
	at.tip = seq - 1
	at.dirty = true
	if at.tip == 0 {
		at.tipHash, at.tipCtx = change.Genesis(tx.log.self.CampaignTag(), at.name.Base()), 0
		return nil
	}
	var raw []byte
	if at.tip >= at.forkSeq {
		if _, err := tx.Row("SELECT hash FROM changeset WHERE lane = ? AND seq = ?", []any{at.id, at.tip}, &raw); err != nil {
			return err
		}
		copy(at.tipHash[:], raw)
	}
	at.tipCtx, err = tx.contextAt(at, at.tip)
	return err
}

// contextAt returns the stored context of number seq of a lane's own path; 0
// before the first.
func (tx *Tx) contextAt(l *lane, seq uint64) (int64, error) {
	var id int64
	_, err := tx.Row("SELECT ctx FROM changeset WHERE lane = ? AND seq = ?", []any{l.pathTo(seq).id, seq}, &id)
	return id, err
}
