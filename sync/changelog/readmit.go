package changelog

import (
	"pulk/sync/change"
	"pulk/sync/clock"
)

// readmit puts back what was kept aside and may count now: of a site that is cut off
// no more all that goes on from what is here; of one that still is, only what leads
// to its head.
func (tx *Tx) readmit() (bool, error) {
	list, err := tx.asideLinks()
	if err != nil {
		return false, err
	}
	wanted := tx.bounds.leadsTo(list)
	moved := false
	for again := true; again; {
		again = false
		for i := range list {
			a := &list[i]
			if _, bounded := tx.bounds[a.base.Site]; a.placed || bounded && !wanted[a.hash] {
				continue
			}
			placed, err := tx.putBack(a)
			if err != nil {
				return moved, err
			}
			again, moved = again || placed, moved || placed
		}
	}
	return moved, nil
}

// asideLink is a change-set that is kept aside, with its place in its chain. What is
// in it is read when it is put back.
type asideLink struct {
	base           clock.Lane
	seq            uint64
	hash, previous change.Hash
	placed         bool
}

func (tx *Tx) asideLinks() ([]asideLink, error) {
	var list []asideLink
	err := tx.Each("SELECT site, epoch, class, seq, hash, previous FROM quarantine ORDER BY site, epoch, class, seq, hash", nil,
		func(scan func(...any) error) error {
			var a asideLink
			var hash, previous []byte
			err := scan(&a.base.Site, &a.base.Epoch, &a.base.Class, &a.seq, &hash, &previous)
			copy(a.hash[:], hash)
			copy(a.previous[:], previous)
			list = append(list, a)
			return err
		})
	return list, err
}

// leadsTo returns the hashes of what is kept aside on the way to a head.
func (b bounds) leadsTo(list []asideLink) map[change.Hash]bool {
	byHash := map[change.Hash]*asideLink{}
	for i := range list {
		byHash[list[i].hash] = &list[i]
	}
	wanted := map[change.Hash]bool{}
	for _, heads := range b {
		for _, head := range heads {
			for a := byHash[head.Hash]; a != nil; a = byHash[a.previous] {
				wanted[a.hash] = true
			}
		}
	}
	return wanted
}

const asideKey = "site = ? AND epoch = ? AND class = ? AND seq = ? AND hash = ?"

// putBack places a change-set that was kept aside, where what comes before it is here.
func (tx *Tx) putBack(a *asideLink) (bool, error) {
	var at *lane
	if seq := a.seq; seq > 1 {
		nodes, err := tx.nodes(a.base, seq-1)
		if err != nil {
			return false, err
		}
		for l, hash := range nodes {
			if hash == a.previous {
				at = l
			}
		}
		if at == nil {
			return false, nil
		}
	}
	key := []any{a.base.Site, a.base.Epoch, a.base.Class, a.seq, a.hash[:]}
	l := link{hash: a.hash}
	var statement []byte
	_, err := tx.Row("SELECT bytes, statement FROM quarantine WHERE "+asideKey, key, &l.canonical, &statement)
	if err != nil {
		return false, err
	}
	if l.set, err = change.Parse(a.base, a.seq, l.canonical); err != nil {
		return false, err
	}
	end, _, err := tx.place(a.base, at, []link{l})
	if err != nil {
		return false, err
	}
	a.placed = true
	if statement != nil {
		err := tx.Exec("INSERT INTO statement (lane, seq, bytes) VALUES (?, ?, ?) ON CONFLICT DO NOTHING", end.id, a.seq, statement)
		if err != nil {
			return false, err
		}
	}
	return true, tx.Exec("DELETE FROM quarantine WHERE "+asideKey, key...)
}
