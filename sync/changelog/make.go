package changelog

import (
	"context"
	"crypto/ed25519"
	"errors"
	"fmt"
	"slices"
	"time"

	"pulk/sync/bundle"
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
	acks, err := tx.clockToSend(request.To)
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
	if err := tx.setHeads(b, lanes); err != nil {
		return err
	}
	tx.vouchConfined(b)
	omitComputed(b)
	return nil
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

// vouchConfined signs the ends of this site's own confined lanes apart from those of
// its open lanes: the signature of these goes on to sites that are not to hear of the
// others.
func (tx *Tx) vouchConfined(b *bundle.Bundle) {
	statement := bundle.Statement{Site: tx.log.self.Site}
	for i := range b.Segments {
		if s := &b.Segments[i]; s.Statement < 0 && s.Lane.Confined() {
			s.Statement = len(b.Statements)
			statement.Heads = append(statement.Heads, bundle.Head{Lane: s.Lane, Seq: s.To(), Hash: s.Head})
		}
	}
	if len(statement.Heads) == 0 {
		return
	}
	slices.SortFunc(statement.Heads, bundle.Head.Compare)
	copy(statement.Signature[:], ed25519.Sign(tx.log.self.Key, statement.Message()))
	b.Statements = append(b.Statements, statement)
}

// setHeads fills in the hashes at the segments' ends.
func (tx *Tx) setHeads(b *bundle.Bundle, lanes []*lane) error {
	for i := range b.Segments {
		hash, err := tx.hashAt(lanes[i], b.Segments[i].To())
		if err != nil {
			return err
		}
		b.Segments[i].Head = hash
	}
	return nil
}

// omitComputed leaves hashes out of statements where they are known from a segment's
// end.
func omitComputed(b *bundle.Bundle) {
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
}

// clockToSend returns what this site has of the lanes that another may have, as its
// acknowledgement.
func (tx *Tx) clockToSend(to clock.SiteID) ([]bundle.Ack, error) {
	table, err := tx.laneTable()
	if err != nil {
		return nil, err
	}
	a, err := tx.audience(to)
	if err != nil {
		return nil, err
	}
	var acks []bundle.Ack
	for _, l := range table.all() {
		if l.tip > 0 && a.has(l.name) {
			acks = append(acks, bundle.Ack{Lane: l.name, Seq: l.tip, Check: l.tipHash.Check()})
		}
	}
	return acks, nil
}

// noteSent records what was put into a bundle, for [Request.Continue], and what
// the other site is told with it.
func (tx *Tx) noteSent(peer clock.SiteID, segments []bundle.Segment) error {
	heads, err := tx.HeadsFor(peer)
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
