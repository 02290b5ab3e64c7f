package changelog

import (
	"errors"
	"slices"

	"pulk/sync/bundle"
	"pulk/sync/change"
	"pulk/sync/clock"
)

// queueBytes is about how many canonical bytes are read to be packed: what columns
// of the largest size that a bundle may have can have been, and little more, so that
// a long queue is not held in memory.
const queueBytes = 8 << 20

// room is how much more is read.
type room struct{ sets, changes, values, bytes int }

// oneBundle is room for what a bundle can hold.
func oneBundle() *room {
	l := bundle.DefaultLimits
	return &room{l.Sets, l.Changes, l.Values, queueBytes}
}

func (r *room) full() bool { return r.sets <= 0 || r.changes <= 0 || r.values <= 0 || r.bytes <= 0 }

func (r *room) take(set *change.Set, canonical int) {
	r.sets, r.changes, r.bytes = r.sets-1, r.changes-len(set.Changes), r.bytes-canonical
	for i := range set.Changes {
		r.values -= len(set.Changes[i].Values)
	}
}

// stretch is a run of change-sets that can only be sent whole: one change-set of
// our own, or what one signature of another origin covers.
type stretch struct {
	lane      *lane
	sets      []*change.Set
	statement *bundle.Statement // nil for own lanes
}

// wellPackedChanges is about how many changes the format packs by its model, with some
// room; beyond that it falls back to what takes half as much again.
const wellPackedChanges = 20_000

// most returns how many stretches a bundle may hold by the numbers of what is in it;
// where it is to be well packed still one, however large.
func (r *Request) most(stretches []stretch) int {
	limits := bundle.DefaultLimits
	most := within(stretches, limits)
	if !r.wellPacked {
		return most
	}
	limits.Changes = wellPackedChanges
	return min(most, max(1, within(stretches, limits)))
}

// within returns how many stretches, in order, hold no more than a bundle may by
// the numbers of what is in it. To count is cheaper than to try; how large it gets
// shows when it is packed.
func within(stretches []stretch, l bundle.Limits) int {
	sets, changes, values, seen := 0, 0, 0, 0
	for i, s := range stretches {
		for _, set := range s.sets {
			sets, changes, seen = sets+1, changes+len(set.Changes), seen+len(set.Seen)
			for k := range set.Changes {
				values += len(set.Changes[k].Values)
			}
		}
		if sets > l.Sets || changes > l.Changes || values > l.Values || seen > l.Seen {
			return i
		}
	}
	return len(stretches)
}

// queue returns what waits for a site in the order it is to go, at most as much as
// one bundle may hold, and how many change-sets wait in all.
func (tx *Tx) queue(request Request) ([]stretch, int, error) {
	table, err := tx.laneTable()
	if err != nil {
		return nil, 0, err
	}
	start, err := tx.acknowledged(request.To)
	if err != nil {
		return nil, 0, err
	}
	if request.Continue {
		sent, err := tx.peerVector("SELECT lane, seq FROM peer_sent WHERE peer = ?", request.To)
		if err != nil {
			return nil, 0, err
		}
		start.Merge(sent)
	}
	left := oneBundle()
	if request.MaxBytes > 0 {
		left.sets = min(left.sets, request.MaxBytes) // no change-set takes less than a byte
	}
	if request.wellPacked {
		left.sets = min(left.sets, wellPackedChanges) // each has a change, and the rest would be read in vain
	}
	start.Merge(request.Behind)
	if request.Word {
		left.sets = 0
	}
	a, err := tx.audience(request.To)
	if err != nil {
		return nil, 0, err
	}
	var stretches []stretch
	waiting := 0
	for _, class := range clock.Classes {
		if request.Classes != nil && !slices.Contains(request.Classes, class) {
			continue
		}
		for _, l := range table.all() {
			from := max(start[l.name]+1, l.forkSeq)
			if l.name.Class != class || from > l.tip || !a.has(l.name) {
				continue
			}
			waiting += int(l.tip - from + 1)
			more, err := tx.stretches(l, from, left)
			if err != nil {
				return nil, 0, err
			}
			stretches = append(stretches, more...)
		}
	}
	return stretches, waiting, nil
}

// stretches returns a lane's change-sets from a number on, about as many as there is
// room for.
func (tx *Tx) stretches(l *lane, from uint64, left *room) ([]stretch, error) {
	if left.full() {
		return nil, nil
	}
	ends := []uint64{}
	statements := map[uint64]*bundle.Statement{}
	if l.name.Site != tx.log.self.Site {
		err := tx.Each("SELECT seq, bytes FROM statement WHERE lane = ? AND seq >= ? ORDER BY seq", []any{l.id, from}, func(scan func(...any) error) error {
			var seq uint64
			var bytes []byte
			if err := scan(&seq, &bytes); err != nil {
				return err
			}
			statement, err := decodeStatement(bytes)
			ends, statements[seq] = append(ends, seq), statement
			if err == nil && seq-from >= uint64(left.sets) {
				err = errFull
			}
			return err
		})
		if err != nil && !errors.Is(err, errFull) {
			return nil, err
		}
	}
	sets, err := tx.setsOf(l, from, left, ends)
	if err != nil {
		return nil, err
	}
	if l.name.Site == tx.log.self.Site {
		var list []stretch
		for i := range sets {
			list = append(list, stretch{lane: l, sets: sets[i : i+1]})
		}
		return list, nil
	}
	var list []stretch
	for _, end := range ends {
		n := int(end - from + 1)
		if n > len(sets) {
			break
		}
		list = append(list, stretch{lane: l, sets: sets[:n], statement: statements[end]})
		sets, from = sets[n:], end+1
	}
	return list, nil
}

// setsOf reads about as many change-sets as there is room for, and on to the first
// end that covers them.
func (tx *Tx) setsOf(l *lane, from uint64, left *room, ends []uint64) ([]*change.Set, error) {
	var sets []*change.Set
	err := tx.Each("SELECT seq, bytes FROM changeset WHERE lane = ? AND seq >= ? ORDER BY seq", []any{l.id, from}, func(scan func(...any) error) error {
		var seq uint64
		var bytes []byte
		if err := scan(&seq, &bytes); err != nil {
			return err
		}
		set, err := change.Parse(l.name, seq, bytes)
		if err != nil {
			return err
		}
		sets = append(sets, set)
		left.take(set, len(bytes))
		for len(ends) > 0 && ends[0] < seq {
			ends = ends[1:]
		}
		if left.full() && (len(ends) == 0 || ends[0] == seq) {
			return errFull
		}
		return nil
	})
	if errors.Is(err, errFull) {
		err = nil
	}
	return sets, err
}

// errFull ends a query that need not be read on.
var errFull = errors.New("enough")
