package changelog

import (
	"encoding/json"
	"fmt"
	"sort"
	"time"

	"pulk/schema/kind"
	"pulk/sync/change"
	"pulk/sync/clock"
)

// Recorded is a change with what the log holds around it: what its author knew,
// and the hash that names its change-set.
type Recorded struct {
	*Entry // Kind is nil where this program does not know it
	Ctx    clock.Context
	Hash   change.Hash
	TookMS int64 // when it came here, Unix ms by this site's clock
}

// Here reports whether the change-set of a change is here.
func (tx *Tx) Here(dot clock.Dot) (bool, error) {
	table, err := tx.laneTable()
	if err != nil {
		return false, err
	}
	l := table.byName[dot.Lane]
	return l != nil && dot.Seq >= l.forkSeq && dot.Seq <= l.tip, nil
}

// readBatch bounds how many change-sets one statement reads.
const readBatch = 1000

// EachRecorded calls fn for each of the named changes, in their order. They must be
// sorted, as it reads the change-sets of a lane together; each must be here.
func (tx *Tx) EachRecorded(dots []clock.Dot, fn func(Recorded) error) error {
	for start := 0; start < len(dots); {
		end := start + 1
		for end < len(dots) && end-start < readBatch && dots[end].Lane == dots[start].Lane && dots[end-1].Seq <= dots[end].Seq {
			end++
		}
		if err := tx.eachInLane(dots[start:end], fn); err != nil {
			return err
		}
		start = end
	}
	return nil
}

// eachInLane is EachRecorded for changes of one lane.
func (tx *Tx) eachInLane(dots []clock.Dot, fn func(Recorded) error) error {
	table, err := tx.laneTable()
	if err != nil {
		return err
	}
	l := table.byName[dots[0].Lane]
	if l == nil {
		return fmt.Errorf("change %s is not here", dots[0])
	}
	var numbers []uint64
	for _, dot := range dots {
		if len(numbers) == 0 || numbers[len(numbers)-1] != dot.Seq {
			numbers = append(numbers, dot.Seq)
		}
	}
	list, err := json.Marshal(numbers)
	if err != nil {
		return err
	}
	rows, err := tx.rows(l, "SELECT c.seq, c.bytes, c.took, c.hash, c.ctx FROM json_each(?) AS j CROSS JOIN changeset AS c ON c.lane = ? AND c.seq = j.value",
		string(list), l.id)
	if err != nil {
		return err
	}
	next := 0
	for _, row := range rows {
		for ; next < len(dots) && dots[next].Seq == row.set.Seq; next++ {
			if err := tx.tell(l, row, int(dots[next].Index), fn); err != nil {
				return err
			}
		}
	}
	if next < len(dots) {
		return fmt.Errorf("change %s is not here", dots[next])
	}
	return nil
}

// EachBetween calls fn for every change written from one time up to another, the
// latter left out, by its author's clock: lane by lane, in order.
//
// Within a lane times only rise, as its site's hybrid clock never runs back, so the
// first is found by halving: the cost follows the changes found, not the log. What is
// confined is left out: it stands in no report.
func (tx *Tx) EachBetween(from, to clock.Stamp, fn func(Recorded) error) error {
	since := func(t clock.Stamp) func(*change.Set, int64) bool {
		return func(set *change.Set, _ int64) bool { return set.At >= t }
	}
	return tx.eachStretch(since(from), since(to), fn)
}

// EachCameBetween is EachBetween by the time, on this store's clock, when a change
// came here. Where that clock was set back it may leave some out.
func (tx *Tx) EachCameBetween(from, to time.Time, fn func(Recorded) error) error {
	since := func(t time.Time) func(*change.Set, int64) bool {
		return func(_ *change.Set, tookMS int64) bool { return tookMS >= t.UnixMilli() }
	}
	return tx.eachStretch(since(from), since(to), fn)
}

// eachStretch calls fn for the changes of each lane from where one condition begins
// to hold to where another does.
func (tx *Tx) eachStretch(begins, ends func(set *change.Set, tookMS int64) bool, fn func(Recorded) error) error {
	table, err := tx.laneTable()
	if err != nil {
		return err
	}
	for _, l := range table.all() {
		if l.name.Confined() {
			continue
		}
		first, err := tx.firstWhere(l, begins)
		if err != nil {
			return err
		}
		after, err := tx.firstWhere(l, ends)
		if err != nil {
			return err
		}
		for ; first < after; first += readBatch {
			rows, err := tx.rows(l, "SELECT seq, bytes, took, hash, ctx FROM changeset WHERE lane = ? AND seq >= ? AND seq < ? ORDER BY seq",
				l.id, first, min(after, first+readBatch))
			if err != nil {
				return err
			}
			if err := tx.tellAll(l, rows, fn); err != nil {
				return err
			}
		}
	}
	return nil
}

func (tx *Tx) tellAll(l *lane, rows []loggedRow, fn func(Recorded) error) error {
	for _, row := range rows {
		for i := range row.set.Changes {
			if err := tx.tell(l, row, i, fn); err != nil {
				return err
			}
		}
	}
	return nil
}

// firstWhere returns the number of the first change-set of a lane for which a
// condition holds that, once it holds, holds for all after it; one past its tip if
// it holds for none.
func (tx *Tx) firstWhere(l *lane, holds func(set *change.Set, tookMS int64) bool) (uint64, error) {
	var failed error
	n := sort.Search(int(l.tip+1-l.forkSeq), func(i int) bool {
		if failed != nil {
			return true
		}
		_, set, took, err := tx.logged(clock.Dot{Lane: l.name, Seq: l.forkSeq + uint64(i)})
		if err != nil {
			failed = err
			return true
		}
		return holds(set, took)
	})
	return l.forkSeq + uint64(n), failed
}

// loggedRow is a row of the log, read.
type loggedRow struct {
	set    *change.Set
	tookMS int64
	hash   change.Hash
	ctx    int64
}

// rows reads rows of seq, bytes, took, hash, ctx. They are read before anything is
// done with them, so that fn may read the log itself.
func (tx *Tx) rows(l *lane, query string, args ...any) ([]loggedRow, error) {
	var list []loggedRow
	err := tx.Each(query, args, func(scan func(...any) error) error {
		var row loggedRow
		var seq uint64
		var bytes, hash []byte
		if err := scan(&seq, &bytes, &row.tookMS, &hash, &row.ctx); err != nil {
			return err
		}
		copy(row.hash[:], hash)
		var err error
		if row.set, err = change.Parse(l.name, seq, bytes); err != nil {
			return fmt.Errorf("lane %s number %d: %w", l.name, seq, err)
		}
		list = append(list, row)
		return nil
	})
	return list, err
}

// tell calls fn with one change of a row.
func (tx *Tx) tell(l *lane, row loggedRow, index int, fn func(Recorded) error) error {
	dot := clock.Dot{Lane: l.name, Seq: row.set.Seq, Index: uint16(index)}
	if index >= len(row.set.Changes) {
		return fmt.Errorf("change-set %s has %d changes", dot, len(row.set.Changes))
	}
	others, err := tx.vector(row.ctx)
	if err != nil {
		return err
	}
	c := row.set.Changes[index]
	entry := &Entry{Dot: dot, At: row.set.At, Kind: kind.Lookup(c.Kind)}
	if entry.Person, err = tx.fromWire(l, others, row.set.Person); err != nil {
		return err
	}
	if entry.Kind != nil {
		if entry.Values, err = tx.localValues(l, others, entry.Kind, c.Values); err != nil {
			return err
		}
	}
	return fn(Recorded{entry, clock.Context{Of: dot, Others: others}, row.hash, row.tookMS})
}
