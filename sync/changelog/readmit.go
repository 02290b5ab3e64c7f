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
			if _, bounded := tx.bounds[a.base.Site]; a.placed || bounded && !wanted[a.link.hash] {
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

// asideLink is a change-set that is kept aside, with its place in its chain.
type asideLink struct {
	base      clock.Lane
	link      link
	previous  change.Hash
	statement []byte
	took      int64
	placed    bool
}

func (tx *Tx) asideLinks() ([]asideLink, error) {
	var list []asideLink
	err := tx.Each("SELECT site, epoch, class, seq, hash, previous, bytes, statement, took FROM quarantine ORDER BY site, epoch, class, seq, hash", nil,
		func(scan func(...any) error) error {
			var a asideLink
			var seq uint64
			var hash, previous []byte
			if err := scan(&a.base.Site, &a.base.Epoch, &a.base.Class, &seq, &hash, &previous, &a.link.canonical, &a.statement, &a.took); err != nil {
				return err
			}
			copy(a.link.hash[:], hash)
			copy(a.previous[:], previous)
			var err error
			a.link.set, err = change.Parse(a.base, seq, a.link.canonical)
			list = append(list, a)
			return err
		})
	return list, err
}

// leadsTo returns the hashes of what is kept aside on the way to a head.
func (b bounds) leadsTo(list []asideLink) map[change.Hash]bool {
	byHash := map[change.Hash]*asideLink{}
	for i := range list {
		byHash[list[i].link.hash] = &list[i]
	}
	wanted := map[change.Hash]bool{}
	for _, heads := range b {
		for _, head := range heads {
			for a := byHash[head.Hash]; a != nil; a = byHash[a.previous] {
				wanted[a.link.hash] = true
			}
		}
	}
	return wanted
}

// putBack places a change-set that was kept aside, where what comes before it is here.
func (tx *Tx) putBack(a *asideLink) (bool, error) {
	var at *lane
	if seq := a.link.set.Seq; seq > 1 {
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
	end, _, err := tx.place(a.base, at, []link{a.link})
	if err != nil {
		return false, err
	}
	a.placed = true
	if a.statement != nil {
		err := tx.Exec("INSERT INTO statement (lane, seq, bytes) VALUES (?, ?, ?) ON CONFLICT DO NOTHING", end.id, a.link.set.Seq, a.statement)
		if err != nil {
			return false, err
		}
	}
	return true, tx.Exec("DELETE FROM quarantine WHERE site = ? AND epoch = ? AND class = ? AND seq = ? AND hash = ?",
		a.base.Site, a.base.Epoch, a.base.Class, a.link.set.Seq, a.link.hash[:])
}
