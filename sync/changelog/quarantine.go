package changelog

import (
	"errors"
	"fmt"

	"pulk/sync/change"
	"pulk/sync/clock"
)

// What one site that was cut off may have kept aside here of what comes after the
// cut-off. What came first is kept; what comes when that much is here is dropped and
// counted. What had counted here before the cut-off is kept whatever there is.
const (
	MaxAsideSets  = 10_000
	MaxAsideBytes = 8 << 20
)

var maxAsideSets = MaxAsideSets // a test lowers it

// Aside is a change-set that counts for nothing, as its site was cut off before it.
type Aside struct {
	Lane   clock.Lane // without branch
	Seq    uint64
	Hash   change.Hash
	Set    *change.Set
	TookMS int64        // when it came here, Unix ms by this site's clock
	From   clock.SiteID // whose bundle brought it here; 0 where it had counted here before
}

// EachAside calls fn for each change-set that is kept aside, by lane, number and hash.
// There may be as many as a site wrote in years, so they are read some at a time, and fn
// may read the store itself.
func (tx *Tx) EachAside(fn func(Aside) error) error {
	const query = `SELECT site, epoch, class, seq, hash, bytes, took, peer FROM quarantine
		WHERE (site, epoch, class, seq, hash) > (?, ?, ?, ?, ?) ORDER BY site, epoch, class, seq, hash LIMIT ?`
	last := []any{-1, 0, 0, 0, []byte{}, rebuildBatch}
	for again := true; again; {
		var batch []Aside
		size := 0
		err := tx.Each(query, last, func(scan func(...any) error) error {
			var a Aside
			var hash, bytes []byte
			if err := scan(&a.Lane.Site, &a.Lane.Epoch, &a.Lane.Class, &a.Seq, &hash, &bytes, &a.TookMS, &a.From); err != nil {
				return err
			}
			copy(a.Hash[:], hash)
			var err error
			if a.Set, err = change.Parse(a.Lane, a.Seq, bytes); err != nil {
				return fmt.Errorf("kept aside, lane %s number %d: %w", a.Lane, a.Seq, err)
			}
			batch = append(batch, a)
			if size += len(bytes); size > rebuildBytes {
				return errFull
			}
			return nil
		})
		full := errors.Is(err, errFull)
		if err != nil && !full {
			return err
		}
		for _, a := range batch {
			if err := fn(a); err != nil {
				return err
			}
		}
		if again = full || len(batch) == rebuildBatch; again {
			a := batch[len(batch)-1]
			last = []any{a.Lane.Site, a.Lane.Epoch, a.Lane.Class, a.Seq, a.Hash[:], rebuildBatch}
		}
	}
	return nil
}

// Dropped returns how many change-sets of a site were not kept aside, as too many
// were there.
func (tx *Tx) Dropped(site clock.SiteID) (int, error) {
	n, err := tx.metaInt(droppedName(site))
	return int(n), err
}

// asideAt returns the hashes that are kept aside at one number of a lane: the sender
// of a bundle may not have heard yet that they count no more.
func (tx *Tx) asideAt(base clock.Lane, seq uint64) ([]change.Hash, error) {
	var list []change.Hash
	err := tx.Each("SELECT hash FROM quarantine WHERE site = ? AND epoch = ? AND class = ? AND seq = ?", []any{base.Site, base.Epoch, base.Class, seq},
		func(scan func(...any) error) error {
			var hash []byte
			err := scan(&hash)
			list = append(list, change.Hash(hash))
			return err
		})
	return list, err
}

func droppedName(site clock.SiteID) string { return fmt.Sprintf("dropped %08x", uint32(site)) }

// setAside moves what a lane holds from a number on, behind a hash, out of the log.
func (tx *Tx) setAside(l *lane, from uint64, previous change.Hash) error {
	first := from
	type row struct {
		seq                    uint64
		hash, bytes, statement []byte
		took                   int64
	}
	for again := true; again; {
		var rows []row
		size := 0
		err := tx.Each(`SELECT c.seq, c.hash, c.bytes, c.took, s.bytes FROM changeset AS c LEFT JOIN statement AS s ON s.lane = c.lane AND s.seq = c.seq
			WHERE c.lane = ? AND c.seq >= ? ORDER BY c.seq LIMIT ?`, []any{l.id, from, rebuildBatch}, func(scan func(...any) error) error {
			var r row
			err := scan(&r.seq, &r.hash, &r.bytes, &r.took, &r.statement)
			rows = append(rows, r)
			if size += len(r.bytes); err == nil && size > rebuildBytes {
				return errFull
			}
			return err
		})
		full := errors.Is(err, errFull)
		if err != nil && !full {
			return err
		}
		for _, r := range rows {
			err := tx.Exec(`INSERT INTO quarantine (site, epoch, class, seq, hash, previous, bytes, statement, took, peer)
				VALUES (?, ?, ?, ?, ?, ?, ?, ?, ?, 0) ON CONFLICT DO NOTHING`,
				l.name.Site, l.name.Epoch, l.name.Class, r.seq, r.hash, previous[:], r.bytes, r.statement, r.took)
			if err != nil {
				return err
			}
			copy(previous[:], r.hash)
			from = r.seq + 1
		}
		again = full || len(rows) == rebuildBatch
	}
	for _, table := range []string{"changeset", "statement"} {
		if err := tx.Exec("DELETE FROM "+table+" WHERE lane = ? AND seq >= ?", l.id, first); err != nil {
			return err
		}
	}
	return nil
}

// divide splits verified links of a site that was cut off into those that may be
// placed and those that are to be kept aside.
//
// From the very site that was cut off nothing more is placed: what leads to its heads
// is at the founder, and comes by others. So a stolen laptop cannot fill or slow a
// store while a head is not here.
func (tx *Tx) divide(base clock.Lane, c chain) (n int, err error) {
	heads, bounded := tx.bounds[base.Site]
	if !bounded {
		return len(c.links), nil
	}
	head := heads[base]
	at, first := c.at, c.links[0].set.Seq
	if at == nil && first > 1 {
		return 0, nil // it goes on from what is kept aside
	}
	if at == nil {
		at = tx.lanes.byName[base]
	}
	for ; n < len(c.links) && at != nil; n++ { // what is here already
		next := c.links[n]
		if at, err = tx.child(at, next.set.Seq, next.hash); err != nil {
			return 0, err
		}
		if at == nil {
			break
		}
	}
	there, err := tx.exactNode(head)
	if err != nil || there != nil || tx.sender == base.Site {
		return n, err
	}
	for n < len(c.links) && c.links[n].set.Seq <= head.Seq {
		n++
	}
	return n, nil
}

// keepAside keeps verified links that count for nothing, as far as there is room.
func (tx *Tx) keepAside(base clock.Lane, previous change.Hash, links []link, statement []byte, taken *Taken) error {
	var sets, bytes int
	if _, err := tx.Row("SELECT count(*), coalesce(sum(length(bytes)), 0) FROM quarantine WHERE site = ? AND peer <> 0", []any{base.Site}, &sets, &bytes); err != nil {
		return err
	}
	report := TakenSegment{Lane: base, From: links[0].set.Seq, To: links[len(links)-1].set.Seq}
	dropped := 0
	for i, next := range links {
		var there bool
		_, err := tx.Row("SELECT 1 FROM quarantine WHERE site = ? AND epoch = ? AND class = ? AND seq = ? AND hash = ?",
			[]any{base.Site, base.Epoch, base.Class, next.set.Seq, next.hash[:]}, &there)
		if err != nil {
			return err
		}
		if there {
			previous = next.hash
			continue
		}
		if sets, bytes = sets+1, bytes+len(next.canonical); sets > maxAsideSets || bytes > MaxAsideBytes {
			dropped = len(links) - i
			break
		}
		var signed []byte
		if i == len(links)-1 && len(statement) > 0 {
			signed = statement
		}
		err = tx.Exec(`INSERT INTO quarantine (site, epoch, class, seq, hash, previous, bytes, statement, took, peer) VALUES (?, ?, ?, ?, ?, ?, ?, ?, ?, ?)`,
			base.Site, base.Epoch, base.Class, next.set.Seq, next.hash[:], previous[:], next.canonical, signed, tx.author.Now.UnixMilli(), tx.sender)
		if err != nil {
			return err
		}
		report.New++
		report.Changes += len(next.set.Changes)
		previous = next.hash
	}
	taken.Aside = append(taken.Aside, report)
	if dropped == 0 {
		return nil
	}
	taken.Dropped += dropped
	before, err := tx.Dropped(base.Site)
	if err != nil {
		return err
	}
	return tx.setMeta(droppedName(base.Site), int64(before+dropped))
}
