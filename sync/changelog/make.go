package changelog

import (
	"context"
	"crypto/ed25519"
	"errors"
	"fmt"
	"slices"
	"time"

	"pulk/sync/bundle"
	"pulk/sync/change"
	"pulk/sync/clock"
)

// Request says what bundle to make.
type Request struct {
	To  clock.SiteID
	Now time.Time
	// MaxBytes is the size that must not be exceeded; 0 is no limit but what the
	// format allows.
	MaxBytes int
	// Continue starts behind what earlier bundles carried, though the other site
	// has not said that it has it. A gap is possible then; the other site tells.
	Continue bool
	// Behind is what is on its way and will be sent again until it has arrived: the
	// bundle starts behind it, as with Continue.
	Behind clock.Vector
	// Classes are the classes that may go; nil is all. Lanes are in order each, so
	// one class may overtake another.
	Classes []clock.Class
	// wellPacked cuts the bundle where a larger one would be packed less well.
	wellPacked bool
	// Word makes a bundle that carries nothing but word of what has arrived here.
	Word bool
}

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

// Made tells of a bundle that was made.
type Made struct {
	Data     []byte
	Sets     int
	Changes  int
	Left     int // change-sets that did not fit and stay queued
	Segments []bundle.Segment
	// Carried is how far it goes in each lane: the next bundle's Request.Behind.
	Carried clock.Vector
}

// stretch is a run of change-sets that can only be sent whole: one change-set of
// our own, or what one signature of another origin covers.
type stretch struct {
	lane      *lane
	sets      []*change.Set
	statement *bundle.Statement // nil for own lanes
}

// Make packs for another site what it has not said that it has: expedited lanes
// first, then normal, then bulk. It marks nothing as delivered; it notes what was
// sent.
func (l *Log) Make(ctx context.Context, request Request) (*Made, error) {
	var made *Made
	err := l.update(ctx, func(tx *Tx) error {
		tx.author = Author{Now: request.Now}
		if _, err := tx.renewIfCopied(); err != nil {
			return err
		}
		var err error
		if made, err = tx.make(request); err != nil {
			return err
		}
		return tx.noteSent(request.To, made.Segments)
	})
	return made, err
}

func (tx *Tx) make(request Request) (*Made, error) {
	if request.To == tx.log.self.Site {
		return nil, fmt.Errorf("a bundle for this site itself would carry nothing")
	}
	stretches, waiting, err := tx.queue(request)
	if err != nil {
		return nil, err
	}
	acks, err := tx.clockToSend()
	if err != nil {
		return nil, err
	}
	last, err := tx.lastStamp()
	if err != nil {
		return nil, err
	}
	agreed, err := tx.acknowledged(request.To)
	if err != nil {
		return nil, err
	}
	header := bundle.Bundle{Campaign: tx.log.self.CampaignTag(), From: tx.log.self.Site, To: request.To, Clock: acks,
		At: clock.Next(last, request.Now) >> 16 << 16}
	var b bundle.Bundle // the largest that fits
	var data []byte
	n, err := fit(request.most(stretches), func(n int) error {
		try := header
		if err := tx.fill(&try, stretches[:n], agreed); err != nil {
			return err
		}
		packed, err := bundle.Encode(&try, func(message []byte) []byte { return ed25519.Sign(tx.log.self.Key, message) })
		switch {
		case err != nil:
			return err
		case request.MaxBytes > 0 && len(packed) > request.MaxBytes:
			return fmt.Errorf("%w: %d bytes, of which %d change-sets; at most %d bytes", bundle.ErrTooLarge, len(packed), n, request.MaxBytes)
		}
		b, data = try, packed
		return nil
	})
	if err != nil {
		return nil, err
	}
	made := &Made{Data: data, Segments: b.Segments, Carried: clock.Vector{}}
	for _, s := range stretches[:n] {
		made.Sets += len(s.sets)
		made.Carried[s.lane.name] = s.sets[len(s.sets)-1].Seq
		for _, set := range s.sets {
			made.Changes += len(set.Changes)
		}
	}
	made.Left = waiting - made.Sets
	return made, nil
}

// fit returns the largest n up to most that can be packed, as the last one that it
// packed. What is [bundle.ErrTooLarge], by the request or by the format, does not
// fit: the rest stays queued. Any other error ends it.
func fit(most int, pack func(n int) error) (int, error) {
	low, high := -1, most+1 // low fits, high does not
	for high-low > 1 {
		middle := most
		if high <= most { // after the first try, halve
			middle = (low + high) / 2
		}
		err := pack(middle)
		switch {
		case err == nil:
			low = middle
		case !errors.Is(err, bundle.ErrTooLarge):
			return 0, err
		case middle == 0:
			return 0, fmt.Errorf("a bundle without any change is already %w", err)
		default:
			high = middle
		}
	}
	return low, nil
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
	var stretches []stretch
	waiting := 0
	for _, class := range clock.Classes {
		if request.Classes != nil && !slices.Contains(request.Classes, class) {
			continue
		}
		for _, l := range table.all() {
			from := max(start[l.name]+1, l.forkSeq)
			if l.name.Class != class || from > l.tip {
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

// mergeSets is how many change-sets of another origin one signature is made to cover
// where several do: a signature covers all of its lane before it, so the later one is
// enough. Without it a year of daily bundles pays 130 bytes a day; without a bound
// whoever gets them could pass them on only all together.
const mergeSets = 256

// fill puts stretches into a bundle: those of an own lane as one segment, others
// as a segment for each signature that is needed, of which the later ones go on where
// the one before ends.
func (tx *Tx) fill(b *bundle.Bundle, stretches []stretch, agreed clock.Vector) error {
	b.Segments, b.Statements = nil, nil
	places := map[string]int{}
	var lanes []*lane // of each segment
	var previous *lane
	for _, s := range merge(stretches) {
		if s.lane == previous && s.statement == nil {
			segment := &b.Segments[len(b.Segments)-1]
			segment.Sets = append(segment.Sets, s.sets[0])
			continue
		}
		segment := bundle.Segment{Lane: s.lane.name.Base(), From: s.sets[0].Seq, Sets: slices.Clone(s.sets), Statement: -1}
		if s.statement != nil {
			key := string(encodeStatement(s.statement))
			place, ok := places[key]
			if !ok {
				place = len(b.Statements)
				places[key] = place
				b.Statements = append(b.Statements, *s.statement)
			}
			segment.Statement = place
		}
		if s.lane != previous {
			if err := tx.setPrevious(&segment, s.lane, agreed); err != nil {
				return err
			}
		}
		b.Segments = append(b.Segments, segment)
		lanes = append(lanes, s.lane)
		previous = s.lane
	}
	return tx.setHeads(b, lanes)
}

// merge joins stretches of another origin that follow each other.
func merge(stretches []stretch) []stretch {
	var merged []stretch
	for _, s := range stretches {
		if n := len(merged) - 1; n >= 0 && s.statement != nil && merged[n].lane == s.lane && len(merged[n].sets)+len(s.sets) <= mergeSets {
			merged[n].sets = append(slices.Clip(merged[n].sets), s.sets...)
			merged[n].statement = s.statement
			continue
		}
		merged = append(merged, s)
	}
	return merged
}

// setPrevious gives a segment the hash it starts from, unless the addressee is
// known to have that number, or there is none before.
func (tx *Tx) setPrevious(segment *bundle.Segment, l *lane, agreed clock.Vector) error {
	before := segment.From - 1
	if before == 0 || before <= agreed[l.pathTo(before).name] && !tx.lanes.forked(l.name) {
		return nil
	}
	hash, err := tx.hashAt(l, before)
	segment.Previous = &hash
	return err
}

// setHeads fills in the hashes at the segments' ends, and omits them from the
// statements where they are known from there.
func (tx *Tx) setHeads(b *bundle.Bundle, lanes []*lane) error {
	for i := range b.Segments {
		hash, err := tx.hashAt(lanes[i], b.Segments[i].To())
		if err != nil {
			return err
		}
		b.Segments[i].Head = hash
	}
	for i := range b.Statements {
		statement := &b.Statements[i]
		statement.Computed = make([]bool, len(statement.Heads))
		for j, head := range statement.Heads {
			// Two ends with one number, of a forked lane, could not be told apart.
			alone := !slices.ContainsFunc(statement.Heads, func(h bundle.Head) bool {
				return h.Lane == head.Lane && h.Seq == head.Seq && h.Hash != head.Hash
			})
			statement.Computed[j] = alone && slices.ContainsFunc(b.Segments, func(s bundle.Segment) bool {
				return s.Statement == i && s.Lane == head.Lane && s.To() == head.Seq && s.Head == head.Hash
			})
		}
	}
	return nil
}

// clockToSend returns what this site has, as its acknowledgement.
func (tx *Tx) clockToSend() ([]bundle.Ack, error) {
	table, err := tx.laneTable()
	if err != nil {
		return nil, err
	}
	var acks []bundle.Ack
	for _, l := range table.all() {
		if l.tip > 0 {
			acks = append(acks, bundle.Ack{Lane: l.name, Seq: l.tip, Check: l.tipHash.Check()})
		}
	}
	return acks, nil
}

// noteSent records what was put into a bundle, for [Request.Continue], and what
// the other site is told with it.
func (tx *Tx) noteSent(peer clock.SiteID, segments []bundle.Segment) error {
	heads, err := tx.Heads()
	if err != nil {
		return err
	}
	err = tx.Exec("INSERT INTO peer (peer, wrote_at, told) VALUES (?, ?, ?) ON CONFLICT (peer) DO UPDATE SET wrote_at = excluded.wrote_at, told = excluded.told",
		peer, tx.author.Now.UnixMilli(), encodeContext(heads))
	if err != nil {
		return err
	}
	for i := range segments {
		s := &segments[i]
		if tx.lanes.forked(s.Lane) {
			continue // of a forked lane everything is sent until it is acknowledged
		}
		err := tx.Exec("INSERT INTO peer_sent (peer, lane, seq) VALUES (?, ?, ?) ON CONFLICT (peer, lane) DO UPDATE SET seq = max(seq, excluded.seq)",
			peer, s.Lane.Key(), s.To())
		if err != nil {
			return err
		}
	}
	return nil
}
