package changelog

import (
	"bytes"

	"pulk/sync/change"
	"pulk/sync/clock"
)

// awaits is table awaited in memory, lane by lane as they are asked for: the
// change-sets that something here names with a hash, and that are not here. Where one
// comes with that hash, a reference to it can be read; where another comes in its
// place, the lane has a history that is not here, and who named it vouches for nothing
// of what is.
type awaits struct {
	lanes  map[clock.Lane]bool // without branch: those read
	rows   map[awaited]bool
	stored map[awaited]bool // as the table has it
	at     map[clock.Dot]int
}

// awaited is one change-set: a lane without branch, its number, the start of its
// hash.
type awaited struct {
	dot       clock.Dot
	check     uint32
	reference bool // named by a reference, not by a context
}

// awaitsIn returns awaits with what is in the lane, whose branch does not matter.
func (tx *Tx) awaitsIn(lane clock.Lane) (*awaits, error) {
	if tx.awaits == nil {
		tx.awaits = &awaits{map[clock.Lane]bool{}, map[awaited]bool{}, map[awaited]bool{}, map[clock.Dot]int{}}
	}
	a, lane := tx.awaits, lane.Base()
	if a.lanes[lane] {
		return a, nil
	}
	a.lanes[lane] = true
	first, last := lane.BaseKey(), bytes.Repeat([]byte{0xff}, clock.KeySize)
	copy(last, first)
	return a, tx.Each("SELECT dot, reference FROM awaited WHERE dot BETWEEN ? AND ?", []any{first, last}, func(scan func(...any) error) error {
		var key []byte
		var row awaited
		if err := scan(&key, &row.reference); err != nil {
			return err
		}
		var err error
		if row.dot, err = clock.DotFromKey(key); err != nil {
			return err
		}
		row.check, row.dot.Branch = row.dot.Branch, 0
		a.stored[row] = true
		a.add(row)
		return nil
	})
}

func (a *awaits) add(row awaited) {
	if !a.rows[row] {
		a.rows[row] = true
		a.at[row.dot]++
	}
}

// await notes that something names a change-set that is not here.
func (tx *Tx) await(lane clock.Lane, seq uint64, check uint32, reference bool) error {
	a, err := tx.awaitsIn(lane)
	if err == nil {
		a.add(awaited{clock.Dot{Lane: lane.Base(), Seq: seq}, check, reference})
	}
	return err
}

// arrived takes in that a change-set came, and reports whether something that named
// it, or another in its place, was read wrongly until now.
func (tx *Tx) arrived(lane clock.Lane, seq uint64, hash change.Hash) (stale bool, err error) {
	a, err := tx.awaitsIn(lane)
	dot := clock.Dot{Lane: lane.Base(), Seq: seq}
	if err != nil || a.at[dot] == 0 {
		return false, err
	}
	for row := range a.rows {
		if row.dot == dot {
			stale = stale || row.reference == (row.check == hash.Check())
			delete(a.rows, row)
		}
	}
	delete(a.at, dot)
	return stale, nil
}

// storeAwaits writes what changed in the table.
func (tx *Tx) storeAwaits() error {
	if tx.awaits == nil {
		return nil
	}
	key := func(row awaited) []byte {
		row.dot.Branch = row.check
		return row.dot.Key()
	}
	for row := range tx.awaits.stored {
		if !tx.awaits.rows[row] {
			if err := tx.Exec("DELETE FROM awaited WHERE dot = ? AND reference = ?", key(row), row.reference); err != nil {
				return err
			}
			delete(tx.awaits.stored, row)
		}
	}
	for row := range tx.awaits.rows {
		if !tx.awaits.stored[row] {
			if err := tx.Exec("INSERT INTO awaited (dot, reference) VALUES (?, ?)", key(row), row.reference); err != nil {
				return err
			}
			tx.awaits.stored[row] = true
		}
	}
	return nil
}
