package changelog

import (
	"slices"

	"pulk/sync/bundle"
	"pulk/sync/change"
	"pulk/sync/clock"
)

// converge brings the log, the bounds that follow from it and the projections into
// step: a cut-off changes what is in the log, and what is in the log may hold a
// cut-off. It ends, as no cut-off bounds the lanes of the founder, and so none can
// change which cut-offs stand.
func (tx *Tx) converge() error {
	for {
		if tx.stale {
			if err := tx.rebuild(); err != nil {
				return err
			}
		}
		tx.trustMoved, tx.boundMoved = false, false
		if err := tx.knowIntroduced(); err != nil {
			return err
		}
		now, err := tx.readBounds()
		if err != nil {
			return err
		}
		changed := !now.equal(tx.bounds)
		tx.bounds, tx.stale = now, changed // what is put back is applied by the rebuild
		moved, err := tx.enforce(changed)
		if err != nil {
			return err
		}
		if !changed && !moved {
			return tx.lanes.store(tx)
		}
		tx.stale = true
	}
}

// enforce takes out of the log what the bounds do not allow, and, where the bounds
// were changed, puts back what was kept aside and is allowed now.
func (tx *Tx) enforce(changed bool) (moved bool, err error) {
	if changed {
		if moved, err = tx.readmit(); err != nil {
			return moved, err
		}
		if err := tx.lanes.store(tx); err != nil {
			return moved, err
		}
	}
	table, err := tx.laneTable()
	if err != nil {
		return moved, err
	}
	bases := map[clock.Lane]bool{}
	for _, l := range table.all() {
		if _, bounded := tx.bounds[l.name.Site]; bounded {
			bases[l.name.Base()] = true
		}
	}
	for base := range bases {
		trimmed, err := tx.trim(base, tx.bounds[base.Site][base])
		if err != nil {
			return moved, err
		}
		moved = moved || trimmed
	}
	if err := tx.clearPending(); err != nil || len(bases) == 0 {
		return moved, err
	}
	list, err := tx.Cutoffs()
	for _, c := range list {
		if err == nil {
			err = tx.keepProof(c)
		}
	}
	return moved, err
}

// clearPending keeps aside what waited for a predecessor that does not count.
func (tx *Tx) clearPending() error {
	if len(tx.bounds) == 0 {
		return nil
	}
	list, err := tx.pendingSegments()
	if err != nil {
		return err
	}
	for _, p := range list {
		waits, err := tx.mayWait(p.lane, p.from)
		if err != nil {
			return err
		}
		if waits {
			continue
		}
		links, err := tx.pendingLinks(&p)
		if err != nil {
			return err
		}
		if err := tx.keepAside(p.lane, p.previous, links, p.statement, &Taken{}); err != nil {
			return err
		}
		if err := tx.dropPending(&p); err != nil {
			return err
		}
	}
	return nil
}

// mayWait reports whether a stretch whose predecessor is not here may still come to
// count.
func (tx *Tx) mayWait(base clock.Lane, from uint64) (bool, error) {
	heads, bounded := tx.bounds[base.Site]
	if !bounded {
		return true, nil
	}
	if !tx.bounds.allowed(base, from) || tx.sender == base.Site {
		return false, nil
	}
	there, err := tx.exactNode(heads[base])
	return there == nil, err
}

// trim takes what does not lead to a head out of a lane and its branches.
func (tx *Tx) trim(base clock.Lane, head bundle.Head) (bool, error) {
	at, err := tx.exactNode(head)
	if err != nil {
		return false, err
	}
	lanes := slices.Clone(tx.lanes.byBase[base])
	limits := map[*lane]uint64{}
	if at != nil {
		limits = pathLimits(at, head.Seq)
	} else {
		for _, l := range lanes {
			limits[l] = head.Seq
		}
	}
	out, err := tx.setAsideBeyond(lanes, limits)
	if err != nil || !out {
		return false, err
	}
	if len(lanes) > 1 {
		// What others have of it was agreed by names that the branches bear no more.
		for _, table := range []string{"peer_clock", "peer_sent"} {
			if err := tx.Exec("DELETE FROM "+table+" WHERE substr(lane, 1, 7) = ?", base.BaseKey()); err != nil {
				return false, err
			}
		}
	}
	if at != nil {
		return true, tx.straighten(lanes, limits, head)
	}
	return true, tx.shorten(lanes, head.Seq)
}

// setAsideBeyond takes what lies beyond the limits of lanes out of the log, if there is
// any.
func (tx *Tx) setAsideBeyond(lanes []*lane, limits map[*lane]uint64) (bool, error) {
	type stretch struct {
		from     uint64
		previous change.Hash
	}
	beyond := map[*lane]stretch{}
	for _, l := range lanes {
		if l.tip <= limits[l] {
			continue
		}
		from := max(limits[l]+1, l.forkSeq)
		previous, err := tx.hashAt(l, from-1) // before what it leaves is taken out, too
		if err != nil {
			return false, err
		}
		beyond[l] = stretch{from, previous}
	}
	for l, s := range beyond {
		if err := tx.setAside(l, s.from, s.previous); err != nil {
			return false, err
		}
	}
	return len(beyond) > 0, nil
}

// straighten makes the way to a head the main lane, and drops all branches.
func (tx *Tx) straighten(lanes []*lane, limits map[*lane]uint64, head bundle.Head) error {
	main := lanes[0]
	for _, l := range lanes[1:] {
		for _, table := range []string{"changeset", "statement"} {
			if err := tx.Exec("UPDATE "+table+" SET lane = ? WHERE lane = ? AND seq <= ?", main.id, l.id, limits[l]); err != nil {
				return err
			}
		}
	}
	if err := tx.setTip(main, head.Seq, head.Hash); err != nil {
		return err
	}
	return tx.dropLanes(lanes[1:])
}

// shorten ends lanes at a number, and drops those that begin behind it.
func (tx *Tx) shorten(lanes []*lane, last uint64) error {
	var drop []*lane
	for _, l := range lanes {
		switch {
		case l.forkSeq > last:
			drop = append(drop, l)
		case l.tip > last:
			var raw []byte
			if _, err := tx.Row("SELECT hash FROM changeset WHERE lane = ? AND seq = ?", []any{l.id, last}, &raw); err != nil {
				return err
			}
			if err := tx.setTip(l, last, change.Hash(raw)); err != nil {
				return err
			}
		}
	}
	return tx.dropLanes(drop)
}

func (tx *Tx) setTip(l *lane, seq uint64, hash change.Hash) error {
	return tx.Exec("UPDATE lane SET tip = ?, tip_hash = ?, tip_ctx = NULL WHERE id = ?", seq, hash[:], l.id)
}

// dropLanes removes lanes that hold nothing any more. The table in memory is read
// anew after that.
func (tx *Tx) dropLanes(lanes []*lane) error {
	for _, l := range lanes {
		if err := tx.Exec("UPDATE lane SET parent = NULL WHERE id = ?", l.id); err != nil {
			return err
		}
	}
	for _, l := range lanes {
		if err := tx.Exec("DELETE FROM lane WHERE id = ?", l.id); err != nil {
			return err
		}
	}
	tx.lanes = nil
	_, err := tx.laneTable()
	return err
}
