package changelog

import (
	"fmt"
	"maps"
	"slices"

	"pulk/sync/change"
	"pulk/sync/clock"
)

// lane is a row of the lane table: a chain, or a branch of one.
type lane struct {
	id      int64
	name    clock.Lane
	parent  *lane  // nil, save for a branch
	forkSeq uint64 // number of its first change-set: 1, save for a branch
	tip     uint64
	tipHash change.Hash
	tipCtx  int64 // context of the change-set at tip, without the lane itself; 0 before the first
	dirty   bool
}

// pathTo returns the lane of l's own path, l itself or one it branched from, that
// holds number seq.
func (l *lane) pathTo(seq uint64) *lane {
	for seq < l.forkSeq && l.parent != nil {
		l = l.parent
	}
	return l
}

// laneTable is all lanes of the store, in memory for one transaction.
type laneTable struct {
	byID   map[int64]*lane
	byName map[clock.Lane]*lane
	byBase map[clock.Lane][]*lane // the main lane first, then its branches by name
}

func (tx *Tx) laneTable() (*laneTable, error) {
	if tx.lanes != nil {
		return tx.lanes, nil
	}
	table := &laneTable{map[int64]*lane{}, map[clock.Lane]*lane{}, map[clock.Lane][]*lane{}}
	parents := map[*lane]int64{}
	err := tx.Each("SELECT id, site, epoch, class, branch, coalesce(parent, 0), fork_seq, tip, tip_hash, coalesce(tip_ctx, 0) FROM lane ORDER BY site, epoch, class, branch", nil,
		func(scan func(...any) error) error {
			var parent int64
			var hash []byte
			l := &lane{}
			if err := scan(&l.id, &l.name.Site, &l.name.Epoch, &l.name.Class, &l.name.Branch, &parent, &l.forkSeq, &l.tip, &hash, &l.tipCtx); err != nil {
				return err
			}
			if copy(l.tipHash[:], hash) != change.HashSize {
				return fmt.Errorf("lane %s: its hash has %d bytes", l.name, len(hash))
			}
			parents[l] = parent
			table.add(l)
			return nil
		})
	if err != nil {
		return nil, err
	}
	for l, parent := range parents {
		l.parent = table.byID[parent]
	}
	tx.lanes = table
	return table, nil
}

func (t *laneTable) add(l *lane) {
	t.byID[l.id] = l
	t.byName[l.name] = l
	base := l.name.Base()
	t.byBase[base] = append(t.byBase[base], l)
	slices.SortFunc(t.byBase[base], func(a, b *lane) int { return a.name.Compare(b.name) })
}

// all returns the lanes in the order of their names.
func (t *laneTable) all() []*lane {
	return slices.SortedFunc(maps.Values(t.byName), func(a, b *lane) int { return a.name.Compare(b.name) })
}

// forked reports whether a lane is known to have branches.
func (t *laneTable) forked(name clock.Lane) bool { return len(t.byBase[name.Base()]) > 1 }

// anyForked reports whether any lane is.
func (t *laneTable) anyForked() bool { return len(t.byName) > len(t.byBase) }

// ensure returns a lane, and makes it where it is new.
func (t *laneTable) ensure(tx *Tx, name clock.Lane) (*lane, error) {
	if l, ok := t.byName[name]; ok {
		return l, nil
	}
	genesis := change.Genesis(tx.log.self.CampaignTag(), name.Base())
	return t.insert(tx, &lane{name: name, forkSeq: 1, tipHash: genesis})
}

func (t *laneTable) insert(tx *Tx, l *lane) (*lane, error) {
	var parent any
	if l.parent != nil {
		parent = l.parent.id
	}
	err := tx.Exec("INSERT INTO lane (site, epoch, class, branch, parent, fork_seq, tip, tip_hash) VALUES (?, ?, ?, ?, ?, ?, ?, ?)",
		l.name.Site, l.name.Epoch, l.name.Class, l.name.Branch, parent, l.forkSeq, l.tip, l.tipHash[:])
	if err != nil {
		return nil, err
	}
	if _, err := tx.Row("SELECT last_insert_rowid()", nil, &l.id); err != nil {
		return nil, err
	}
	t.add(l)
	return l, nil
}

// store writes the tips that moved.
func (t *laneTable) store(tx *Tx) error {
	for _, l := range t.all() {
		if !l.dirty {
			continue
		}
		var ctx any
		if l.tipCtx != 0 {
			ctx = l.tipCtx
		}
		if err := tx.Exec("UPDATE lane SET tip = ?, tip_hash = ?, tip_ctx = ? WHERE id = ?", l.tip, l.tipHash[:], ctx, l.id); err != nil {
			return err
		}
		l.dirty = false
	}
	return nil
}

// tipOf returns the number of the last change-set of a lane, 0 if there is none
// or the table cannot be read (which the next statement will report).
func (tx *Tx) tipOf(name clock.Lane) uint64 {
	table, err := tx.laneTable()
	if err != nil {
		return 0
	}
	if l := table.byName[name]; l != nil {
		return l.tip
	}
	return 0
}

// hashAt returns the chain hash of a lane's own path at seq, which may be 0 for
// the genesis.
func (tx *Tx) hashAt(l *lane, seq uint64) (change.Hash, error) {
	l = l.pathTo(seq)
	if seq == l.tip {
		return l.tipHash, nil
	}
	if seq == 0 {
		return change.Genesis(tx.log.self.CampaignTag(), l.name.Base()), nil
	}
	var bytes []byte
	found, err := tx.Row("SELECT hash FROM changeset WHERE lane = ? AND seq = ?", []any{l.id, seq}, &bytes)
	if err == nil && !found {
		err = fmt.Errorf("lane %s has no change-set %d", l.name, seq)
	}
	var hash change.Hash
	copy(hash[:], bytes)
	return hash, err
}

// nodes returns every lane of a base that itself holds number seq, with the hash
// there.
func (tx *Tx) nodes(base clock.Lane, seq uint64) (map[*lane]change.Hash, error) {
	table, err := tx.laneTable()
	if err != nil {
		return nil, err
	}
	found := map[*lane]change.Hash{}
	for _, l := range table.byBase[base.Base()] {
		if seq < l.forkSeq || seq > l.tip {
			continue
		}
		if found[l], err = tx.hashAt(l, seq); err != nil {
			return nil, err
		}
	}
	return found, nil
}

// node returns the lane that holds number seq of a base with a hash that begins
// with check, or nil.
func (tx *Tx) node(base clock.Lane, seq uint64, check uint32) (*lane, error) {
	nodes, err := tx.nodes(base, seq)
	for l, hash := range nodes {
		if hash.Check() == check {
			return l, err
		}
	}
	return nil, err
}

// Heads returns what this site has: the vector clock of the store.
func (tx *Tx) Heads() (clock.Vector, error) {
	table, err := tx.laneTable()
	if err != nil {
		return nil, err
	}
	heads := clock.Vector{}
	for _, l := range table.byName {
		if l.tip > 0 {
			heads[l.name] = l.tip
		}
	}
	return heads, nil
}
