package changelog

import (
	"fmt"
	"slices"

	"pulk/schema/kind"
	"pulk/sync/change"
	"pulk/sync/clock"
)

// Contexts are stored once each, as rows of 16 bytes: a lane as in a dot's key,
// then the number in 5 bytes, in order.

const contextRow = 16

// contextCache holds contexts that were used lately, of cachedRows rows in all: as
// many contexts as may be for a few sites, and fewer where each names thousands of
// lanes.
type contextCache struct {
	byID    map[int64]clock.Vector
	byBytes map[string]int64
	rows    int
}

const cachedRows = 1 << 15

func encodeContext(v clock.Vector) []byte {
	bytes := make([]byte, 0, contextRow*len(v))
	for _, lane := range v.Lanes() {
		key := clock.Dot{Lane: lane, Seq: v[lane]}.Key()
		bytes = append(bytes, key[:contextRow]...)
	}
	return bytes
}

func decodeContext(bytes []byte) (clock.Vector, error) {
	if len(bytes)%contextRow != 0 {
		return nil, fmt.Errorf("context of %d bytes", len(bytes))
	}
	v := clock.Vector{}
	for row := range slices.Chunk(bytes, contextRow) {
		dot, err := clock.DotFromKey(append(slices.Clone(row), 0, 0))
		if err != nil {
			return nil, err
		}
		v[dot.Lane] = dot.Seq
	}
	return v, nil
}

// intern returns the id of a stored context.
func (tx *Tx) intern(v clock.Vector) (int64, error) {
	bytes := encodeContext(v)
	if id, ok := tx.context.byBytes[string(bytes)]; ok {
		return id, nil
	}
	var id int64
	found, err := tx.Row("SELECT id FROM context WHERE bytes = ?", []any{bytes}, &id)
	if err != nil {
		return 0, err
	}
	if !found {
		if err := tx.Exec("INSERT INTO context (bytes) VALUES (?)", bytes); err != nil {
			return 0, err
		}
		if _, err := tx.Row("SELECT last_insert_rowid()", nil, &id); err != nil {
			return 0, err
		}
	}
	tx.remember(id, bytes, v)
	return id, nil
}

func (tx *Tx) remember(id int64, bytes []byte, v clock.Vector) {
	cache := &tx.context
	if cache.rows += len(v) + 1; cache.byID == nil || cache.rows > cachedRows {
		*cache = contextCache{map[int64]clock.Vector{}, map[string]int64{}, len(v) + 1}
	}
	tx.context.byID[id] = v
	tx.context.byBytes[string(bytes)] = id
}

// vector returns a stored context; 0 is the empty one. It is not to be changed.
func (tx *Tx) vector(id int64) (clock.Vector, error) {
	if id == 0 {
		return nil, nil
	}
	if v, ok := tx.context.byID[id]; ok {
		return v, nil
	}
	var bytes []byte
	found, err := tx.Row("SELECT bytes FROM context WHERE id = ?", []any{id}, &bytes)
	if err != nil {
		return nil, err
	}
	if !found {
		return nil, fmt.Errorf("context %d is not in the store", id)
	}
	v, err := decodeContext(bytes)
	if err == nil {
		tx.remember(id, bytes, v)
	}
	return v, err
}

// Context returns what the author of a change knew. It is an error to ask for a
// change that is not here.
func (tx *Tx) Context(dot clock.Dot) (clock.Context, error) {
	table, err := tx.laneTable()
	if err != nil {
		return clock.Context{}, err
	}
	var id int64
	if l := table.byName[dot.Lane]; l != nil {
		if _, err := tx.Row("SELECT ctx FROM changeset WHERE lane = ? AND seq = ?", []any{l.id, dot.Seq}, &id); err != nil {
			return clock.Context{}, err
		}
	}
	if id == 0 {
		return clock.Context{}, fmt.Errorf("change %s is not here", dot)
	}
	others, err := tx.vector(id)
	return clock.Context{Of: dot, Others: others}, err
}

// learnt returns what this site has learnt since the tip of one of its lanes.
func (tx *Tx) learnt(own *lane) ([]change.Seen, error) {
	known, err := tx.vector(own.tipCtx)
	if err != nil {
		return nil, err
	}
	var seen []change.Seen
	for _, l := range tx.lanes.byName {
		if l == own || l.tip == 0 || known[l.name] >= l.tip || l.name.Confined() && !own.name.Confined() {
			continue
		}
		seen = append(seen, change.Seen{Lane: l.name.Base(), Seq: l.tip, Check: l.tipHash.Check()})
	}
	slices.SortFunc(seen, change.Seen.Compare)
	return seen, nil
}

// grow returns the context after a change-set's Seen rows, translated to the
// lanes of this store.
func (tx *Tx) grow(previous int64, l *lane, rows []change.Seen) (int64, error) {
	if len(rows) == 0 && previous != 0 && l.parent == nil {
		return previous, nil
	}
	before, err := tx.vector(previous)
	if err != nil {
		return 0, err
	}
	after := before.Clone()
	for _, row := range rows {
		if row.Lane.Confined() && !l.name.Confined() {
			continue // what goes everywhere must read the same everywhere
		}
		if err := tx.know(after, row); err != nil {
			return 0, err
		}
	}
	if l.parent != nil { // a branch knows the lanes it left, up to where it left them
		for child := l; child.parent != nil; child = child.parent {
			parent := child.parent.name
			after[parent] = max(after[parent], child.forkSeq-1)
		}
	}
	delete(after, l.name)
	for lane, seq := range after {
		if seq == 0 {
			delete(after, lane)
		}
	}
	return tx.intern(after)
}

// know raises v to what one Seen row says. The row names the history that the
// author saw by its hash. Of a forked lane that is one branch, and all it grew from.
// Of a history that is not here nothing counts as known, not even what it may share
// with the one that is: so a gate is rather shut than open until the rest comes.
//
// The same goes for what a cut-off took out: whether it is kept aside here, or never
// came, must make no difference. Which history it was of its number cannot tell, so
// what lies before the cut does not count as known by it either.
func (tx *Tx) know(v clock.Vector, row change.Seen) error {
	if !tx.bounds.allowed(row.Lane, row.Seq) {
		return nil
	}
	l, err := tx.node(row.Lane, row.Seq, row.Check)
	if err != nil {
		return err
	}
	if l != nil {
		for seq := row.Seq; l != nil; l, seq = l.parent, l.forkSeq-1 {
			v[l.name] = max(v[l.name], seq)
		}
		return nil
	}
	tx.meet(row.Lane)
	main := tx.lanes.byName[row.Lane.Base()]
	if tx.lanes.forked(row.Lane) || main != nil && row.Seq <= main.tip {
		return nil
	}
	// More than is here, of the one history known: taken at its word until it comes.
	v[row.Lane] = max(v[row.Lane], row.Seq)
	return tx.await(row.Lane, row.Seq, row.Check, false)
}

// fromWire translates a dot as its author wrote it into this store's lanes: of a
// forked lane, the branch that the author meant.
func (tx *Tx) fromWire(author *lane, ctx clock.Vector, dot clock.Dot) (clock.Dot, error) {
	if dot.IsZero() || !tx.lanes.forked(dot.Lane) && dot.Branch == 0 || dot.Confined() && !author.name.Confined() {
		return dot, nil
	}
	if dot.Branch != 0 { // the author knew of the fork and named the hash
		l, err := tx.node(dot.Lane, dot.Seq, dot.Branch)
		if l == nil && err == nil {
			err = tx.await(dot.Lane, dot.Seq, dot.Branch, true)
		} else if l != nil {
			dot.Lane = l.name
		}
		return dot, err
	}
	if dot.Lane == author.name.Base() {
		dot.Lane = author.pathTo(dot.Seq).name
		return dot, nil
	}
	for _, l := range tx.lanes.byBase[dot.Lane.Base()] {
		if dot.Seq >= l.forkSeq && ctx[l.name] >= dot.Seq {
			dot.Lane = l.name
			break
		}
	}
	return dot, nil
}

// toWire rewrites the dots of a set about to be logged: of a forked lane it names
// the hash, so that no reader can take one branch for another.
func (tx *Tx) toWire(set *change.Set) error {
	if !tx.lanes.anyForked() {
		return nil
	}
	fix := func(dot *clock.Dot) error {
		l := tx.lanes.byName[dot.Lane]
		if dot.IsZero() || l == nil || !tx.lanes.forked(dot.Lane) {
			return nil
		}
		hash, err := tx.hashAt(l, dot.Seq)
		dot.Branch = hash.Check()
		return err
	}
	if err := fix(&set.Person); err != nil {
		return err
	}
	for _, c := range set.Changes {
		known := kind.Lookup(c.Kind)
		if known == nil {
			continue
		}
		for i, column := range known.Columns {
			if column.Type == kind.Ref {
				if err := fix(&c.Values[i].Ref); err != nil {
					return err
				}
			}
		}
	}
	return nil
}
