package changelog

import (
	"context"
	"crypto/sha256"
	"errors"
	"fmt"
	"regexp"
	"strconv"
	"strings"

	"pulk/sync/change"
)

func (tx *Tx) createProjections() error {
	for _, projector := range tx.log.projectors {
		if err := tx.Exec(projector.Schema()); err != nil {
			return fmt.Errorf("%s: %w", projector.Name(), err)
		}
	}
	if err := tx.setMeta("projection_tables", strings.Join(tx.log.projectionTables(), " ")); err != nil {
		return err
	}
	return tx.setMeta("projections", tx.log.projectionSignature())
}

var createTable = regexp.MustCompile(`(?m)^CREATE TABLE (\w+)`)

func (l *Log) projectionTables() []string {
	var names []string
	for _, projector := range l.projectors {
		for _, match := range createTable.FindAllStringSubmatch(projector.Schema(), -1) {
			names = append(names, match[1])
		}
	}
	return names
}

// Rebuild makes all projections anew from the log.
func (l *Log) Rebuild(ctx context.Context) error {
	return l.update(ctx, func(tx *Tx) error {
		if err := tx.readIdentity(); err != nil {
			return err
		}
		tx.stale = true
		return tx.converge()
	})
}

func (tx *Tx) rebuild() error {
	if _, err := tx.loadBounds(); err != nil {
		return err
	}
	tables, err := tx.metaText("projection_tables")
	if err != nil {
		return err
	}
	for _, name := range strings.Fields(tables) {
		if err := tx.Exec("DROP TABLE IF EXISTS " + name); err != nil {
			return err
		}
	}
	if err := tx.createProjections(); err != nil {
		return err
	}
	tx.stale, tx.awaits = false, nil // table awaited was made anew, too
	table, err := tx.laneTable()
	if err != nil {
		return err
	}
	if err := tx.recomputeContexts(table); err != nil {
		return err
	}
	for _, l := range table.all() {
		if err := tx.applyLane(l); err != nil {
			return err
		}
	}
	return tx.storeAwaits()
}

// How many change-sets, and about how many bytes of them, are read at a time, as a
// statement must not write while another reads the same table. In memory they take
// up to fifty times as much.
const (
	rebuildBatch = 1000
	rebuildBytes = 128 << 10
)

type loggedSet struct {
	set *change.Set
	ctx int64
}

func (tx *Tx) batch(l *lane, from uint64) ([]loggedSet, error) {
	var batch []loggedSet
	size := 0
	err := tx.Each("SELECT seq, ctx, bytes FROM changeset WHERE lane = ? AND seq >= ? ORDER BY seq LIMIT ?", []any{l.id, from, rebuildBatch},
		func(scan func(...any) error) error {
			var seq uint64
			var row loggedSet
			var bytes []byte
			if err := scan(&seq, &row.ctx, &bytes); err != nil {
				return err
			}
			var err error
			row.set, err = change.Parse(l.name, seq, bytes)
			batch = append(batch, row)
			if size += len(bytes); err == nil && size > rebuildBytes {
				return errFull
			}
			return err
		})
	if err != nil && !errors.Is(err, errFull) {
		return nil, fmt.Errorf("lane %s: %w", l.name, err)
	}
	return batch, nil
}

func (tx *Tx) eachLogged(l *lane, fn func(loggedSet) error) error {
	for from := l.forkSeq; from <= l.tip; {
		batch, err := tx.batch(l, from)
		if err != nil {
			return err
		}
		if len(batch) == 0 {
			return fmt.Errorf("lane %s ends before number %d", l.name, from)
		}
		for _, row := range batch {
			if row.set.Seq != from {
				return fmt.Errorf("lane %s has no number %d", l.name, from)
			}
			if err := fn(row); err != nil {
				return err
			}
			from++
		}
	}
	return nil
}

func (tx *Tx) applyLane(l *lane) error {
	return tx.eachLogged(l, func(row loggedSet) error { return tx.apply(l, row.set, row.ctx) })
}

// recomputeContexts translates all contexts anew, parents before their branches.
// It depends on nothing but the change-sets and the lanes they are in.
func (tx *Tx) recomputeContexts(table *laneTable) error {
	done := map[*lane]bool{}
	var visit func(l *lane) error
	visit = func(l *lane) error {
		if done[l] {
			return nil
		}
		done[l] = true
		ctx := int64(0)
		if l.parent != nil {
			if err := visit(l.parent); err != nil {
				return err
			}
			var err error
			if ctx, err = tx.contextAt(l.parent, l.forkSeq-1); err != nil {
				return err
			}
		}
		err := tx.eachLogged(l, func(row loggedSet) error {
			next, err := tx.grow(ctx, l, row.set.Seen)
			if err != nil {
				return err
			}
			ctx = next
			if next == row.ctx {
				return nil
			}
			return tx.Exec("UPDATE changeset SET ctx = ? WHERE lane = ? AND seq = ?", next, l.id, row.set.Seq)
		})
		if ctx != l.tipCtx {
			l.tipCtx, l.dirty = ctx, true
		}
		return err
	}
	for _, l := range table.all() {
		if err := visit(l); err != nil {
			return err
		}
	}
	return table.store(tx)
}

// Digest is a digest of the state of a store, or of one table of it.
type Digest [sha256.Size]byte

func (d Digest) String() string { return fmt.Sprintf("%x", d[:8]) }

// Digests returns the digest of each projected table by name: equal at every site
// that has the same change-sets.
func (tx *Tx) Digests() (map[string]Digest, error) {
	digests := map[string]Digest{}
	for _, projector := range tx.log.projectors {
		for _, table := range projector.Tables() {
			digest, err := tx.tableDigest(table)
			if err != nil {
				return nil, err
			}
			digests[table] = digest
		}
	}
	return digests, nil
}

// Digest returns the digest of the whole state that all sites share.
func (tx *Tx) Digest() (Digest, error) {
	return tx.digest(func(p Projector) bool { return !confider(p) })
}

// ConfinedDigest returns the digest of the state that is confined: equal at every site
// that has the same confined change-sets.
func (tx *Tx) ConfinedDigest() (Digest, error) { return tx.digest(confider) }

func (tx *Tx) digest(of func(Projector) bool) (Digest, error) {
	digests, err := tx.Digests()
	if err != nil {
		return Digest{}, err
	}
	all := sha256.New()
	for _, projector := range tx.log.projectors {
		if !of(projector) {
			continue
		}
		for _, table := range projector.Tables() {
			digest := digests[table]
			fmt.Fprintf(all, "%s %x\n", table, digest[:])
		}
	}
	return Digest(all.Sum(nil)), nil
}

func (tx *Tx) tableDigest(table string) (Digest, error) {
	var columns []string
	err := tx.Each("SELECT name FROM pragma_table_info(?) ORDER BY cid", []any{table}, func(scan func(...any) error) error {
		var name string
		err := scan(&name)
		columns = append(columns, name)
		return err
	})
	if err != nil {
		return Digest{}, err
	}
	list := strings.Join(columns, ", ")
	return tx.queryDigest("SELECT "+list+" FROM "+table+" ORDER BY "+list, len(columns))
}

// contextDigest returns the digest of what each author knew, by the numbers that lanes
// have in this store and its copies.
func (tx *Tx) contextDigest() (Digest, error) {
	sets, err := tx.queryDigest("SELECT c.lane, c.seq, x.bytes FROM changeset AS c LEFT JOIN context AS x ON x.id = c.ctx ORDER BY c.lane, c.seq", 3)
	if err != nil {
		return Digest{}, err
	}
	tips, err := tx.queryDigest("SELECT l.id, x.bytes FROM lane AS l LEFT JOIN context AS x ON x.id = l.tip_ctx ORDER BY l.id", 2)
	return sha256.Sum256(append(sets[:], tips[:]...)), err
}

// queryDigest returns the digest of the rows of a query in their order.
func (tx *Tx) queryDigest(query string, columns int) (Digest, error) {
	digest := sha256.New()
	values := make([]any, columns)
	pointers := make([]any, columns)
	for i := range values {
		pointers[i] = &values[i]
	}
	var buf []byte
	err := tx.Each(query, nil, func(scan func(...any) error) error {
		if err := scan(pointers...); err != nil {
			return err
		}
		buf = buf[:0]
		for _, value := range values {
			buf = appendValue(buf, value)
		}
		digest.Write(buf)
		return nil
	})
	return Digest(digest.Sum(nil)), err
}

// appendValue writes a value so that no two rows of values read the same.
func appendValue(buf []byte, value any) []byte {
	switch v := value.(type) {
	case nil:
		return append(buf, 0)
	case int64:
		return append(strconv.AppendInt(append(buf, 'i'), v, 10), ';')
	case string:
		return append(append(strconv.AppendInt(append(buf, 's'), int64(len(v)), 10), ':'), v...)
	case []byte:
		return append(append(strconv.AppendInt(append(buf, 'b'), int64(len(v)), 10), ':'), v...)
	}
	return fmt.Appendf(buf, "%T%v;", value, value)
}
