package simulate

import (
	"fmt"
	"maps"
	"slices"

	"pulk/sync/change"
	"pulk/sync/clock"
)

// ID names a change for the books: the number of its change-set in the history,
// and its place in it. It does not depend on how a store names lanes.
type ID struct{ N, Index int }

// None is no change.
var None = ID{N: -1}

// Commit is a change-set that some site committed and reported done.
type Commit struct {
	N     int
	Hash  change.Hash
	Bytes []byte      // canonical
	Set   *change.Set // as its author wrote it
	Knew  Bits        // what its author's store held before
	Line  Bits        // the chain up to and with it
}

// Knows reports whether the author of change i of c knew the change id.
func (c *Commit) Knows(i int, id ID) bool {
	return c.Knew.Has(id.N) || id.N == c.N && id.Index < i
}

// History is every change-set that was ever committed.
type History struct {
	Commits []*Commit
	byHash  map[change.Hash]*Commit
	byPlace map[place][]*Commit // several where a lane forked
}

type place struct {
	lane clock.Lane
	seq  uint64
}

// NewHistory returns an empty history.
func NewHistory() *History {
	return &History{byHash: map[change.Hash]*Commit{}, byPlace: map[place][]*Commit{}}
}

// Clone returns a history that goes on by itself.
func (h *History) Clone() *History {
	return &History{slices.Clip(h.Commits), maps.Clone(h.byHash), maps.Clone(h.byPlace)}
}

// Add books a change-set that was committed at the end of a lane by a store that
// held knew, under the chain hash that the store reports. It is an error if that
// hash does not follow from the bytes and what was before.
//
// A store that was restored from a backup may write the very change-set again that
// it had lost, if its clock stands still; that is one change-set.
func (h *History) Add(lane clock.Lane, seq uint64, bytes []byte, hash change.Hash, knew Bits) (*Commit, error) {
	if c := h.byHash[hash]; c != nil && c.Knew.Covers(knew) && knew.Covers(c.Knew) {
		return c, nil
	} else if c != nil {
		return nil, fmt.Errorf("%s/%d was committed twice, on different knowledge", lane, seq)
	}
	set, err := change.Parse(lane, seq, bytes)
	if err != nil {
		return nil, fmt.Errorf("%s/%d: %w", lane, seq, err)
	}
	line, found := Bits(nil), false
	if seq == 1 {
		found = hash == change.Next(change.Genesis(set.Campaign, lane.Base()), bytes)
	}
	for _, before := range h.byPlace[place{lane.Base(), seq - 1}] {
		if knew.Has(before.N) && change.Next(before.Hash, bytes) == hash {
			line, found = before.Line.Clone(), true
		}
	}
	if !found {
		return nil, fmt.Errorf("%s/%d does not follow from any change-set that its author had", lane, seq)
	}
	c := &Commit{N: len(h.Commits), Hash: hash, Bytes: bytes, Set: set, Knew: knew, Line: line}
	c.Line.Add(c.N)
	h.Commits = append(h.Commits, c)
	h.byHash[hash] = c
	at := place{lane.Base(), seq}
	h.byPlace[at] = append(slices.Clip(h.byPlace[at]), c)
	return c, nil
}

// Rivals returns the other change-sets that were committed under the same lane and
// number: there are some where a store was copied, or restored from a backup.
func (h *History) Rivals(c *Commit) (list []*Commit) {
	for _, other := range h.byPlace[place{c.Set.Lane, c.Set.Seq}] {
		if other != c {
			list = append(list, other)
		}
	}
	return list
}

// ByHash returns the change-set with a chain hash, or nil.
func (h *History) ByHash(hash change.Hash) *Commit { return h.byHash[hash] }

// Resolve returns the change that the author of c meant by a dot in it: among the
// change-sets that its store held, the one with that lane and number.
func (h *History) Resolve(c *Commit, dot clock.Dot) (ID, error) {
	if dot.IsZero() {
		return None, nil
	}
	if dot.Lane.Base() == c.Set.Lane && dot.Seq == c.Set.Seq {
		return ID{c.N, int(dot.Index)}, nil
	}
	found := None
	for _, other := range h.byPlace[place{dot.Lane.Base(), dot.Seq}] {
		if !c.Knew.Has(other.N) || dot.Branch != 0 && other.Hash.Check() != dot.Branch {
			continue
		}
		if found != None {
			return None, fmt.Errorf("%s in %s/%d may mean two change-sets that its author had", dot, c.Set.Lane, c.Set.Seq)
		}
		found = ID{other.N, int(dot.Index)}
	}
	if found == None {
		return None, fmt.Errorf("%s in %s/%d: its author had no such change", dot, c.Set.Lane, c.Set.Seq)
	}
	return found, nil
}

// ForkInPart reports whether of a lane that forked something is missing among what
// is held, be it all of one history or the end of one that somebody had seen.
func (h *History) ForkInPart(held Bits) bool {
	forked := map[clock.Lane]bool{}
	for at, commits := range h.byPlace {
		if len(commits) > 1 {
			forked[at.lane] = true
		}
	}
	for _, c := range h.Commits {
		if !forked[c.Set.Lane] || held.Has(c.N) || c.Set.Lane.Confined() {
			continue
		}
		for n := range held.All {
			if other := h.Commits[n]; other.Set.Lane == c.Set.Lane || other.Knew.Has(c.N) {
				return true
			}
		}
	}
	return false
}
