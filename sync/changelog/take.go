package changelog

import (
	"context"
	"crypto/sha256"
	"fmt"
	"time"

	"pulk/sync/bundle"
	"pulk/sync/clock"
)

// Refusal is why a bundle was not taken. Nothing was changed then.
type Refusal struct {
	What string
	Hint string // what to do next
	Err  error
}

func (r *Refusal) Error() string {
	if r.Err != nil {
		return r.What + ": " + r.Err.Error()
	}
	return r.What
}

func (r *Refusal) Unwrap() error { return r.Err }

func refuse(hint, format string, args ...any) *Refusal {
	return &Refusal{What: fmt.Sprintf(format, args...), Hint: hint}
}

// Taken tells what taking a bundle did.
type Taken struct {
	From     clock.SiteID
	At       clock.Stamp
	Already  bool // this very bundle was taken before
	Asks     bool // it brought change-sets, new or known: its sender waits for word of them
	Segments []TakenSegment
	// Waiting lists what came before its predecessor and waits for it.
	Waiting []Gap
	// Forked lists lanes that were found to hold two histories.
	Forked []clock.Lane
	// Aside lists what counts for nothing, as its site was cut off before it, and is
	// kept aside. Dropped is how many change-sets more there was no room for.
	Aside   []TakenSegment
	Dropped int
	// Withheld is how many change-sets were left out, as they are confined to sites
	// that are named for it, and this one is not.
	Withheld int
	// Renewed tells that the bundle brought change-sets of this very site that the
	// store did not have, so that it goes on under a new epoch.
	Renewed bool
	// Skew is by how much the sender's clock is proven to stand ahead of ours, at
	// least; below zero, behind; zero where nothing is proven. See provenSkew.
	Skew time.Duration
}

// TakenSegment tells of one run of change-sets in a bundle.
type TakenSegment struct {
	Lane     clock.Lane
	From, To uint64
	New      int // change-sets that were not here before
	Changes  int // changes in those
}

// Gap is a run of change-sets of a lane that is missing.
type Gap struct {
	Lane     clock.Lane
	From, To uint64
}

// Fresh returns how many change-sets and changes were new.
func (t *Taken) Fresh() (sets, changes int) {
	for _, s := range t.Segments {
		sets += s.New
		changes += s.Changes
	}
	return sets, changes
}

// Take verifies a bundle and takes in what it brings. A bundle is refused whole,
// with a *[Refusal], or taken whole.
func (l *Log) Take(ctx context.Context, data []byte, limits bundle.Limits, now time.Time) (*Taken, error) {
	return l.takeDecoded(ctx, decode(data, limits), now)
}

// TakeEach takes n bundles in order, each as Take does. read returns the bytes of
// one; said is told the outcome of each, and its error ends the work. While one
// bundle is written to the disk the next is decoded, if it is a small one: two large
// ones would take twice the memory.
func (l *Log) TakeEach(ctx context.Context, n int, read func(i int) ([]byte, error), limits bundle.Limits, now time.Time, said func(i int, taken *Taken, err error) error) error {
	ahead := make(chan decoded, 1)
	quit := make(chan struct{})
	defer close(quit)
	go func() {
		for i := range n {
			select {
			case ahead <- readAhead(i, read, limits):
			case <-quit:
				return
			}
		}
	}()
	for i := range n {
		next := <-ahead
		if next.large != nil {
			next = decode(next.large, limits)
		}
		taken, err := l.takeDecoded(ctx, next, now)
		if err := said(i, taken, err); err != nil {
			return err
		}
	}
	return nil
}

// aheadShare is the share of the limits that a bundle may use up that is decoded
// while another is still being taken in.
const aheadShare = 6

// readAhead reads and decodes a bundle; one that is large it only reads.
func readAhead(i int, read func(i int) ([]byte, error), limits bundle.Limits) decoded {
	data, err := read(i)
	if err != nil {
		return decoded{err: err}
	}
	small := limits
	for _, limit := range []*int{&small.Bytes, &small.Block, &small.Sets, &small.Changes, &small.Values, &small.Seen} {
		*limit /= aheadShare
	}
	d := decode(data, small)
	if d.err != nil && len(data) <= limits.Bytes {
		return decoded{large: data}
	}
	return d
}

// decoded is a bundle that was read, or why it cannot be.
type decoded struct {
	bundle *bundle.Bundle
	digest [sha256.Size]byte
	size   int
	err    error
	large  []byte // the bytes of one that is not decoded yet
}

func decode(data []byte, limits bundle.Limits) decoded {
	b, err := bundle.Decode(data, limits)
	if err != nil {
		err = &Refusal{What: "the bundle cannot be read", Hint: "it is damaged, or no bundle: ask the sender to make it again", Err: err}
	}
	return decoded{bundle: b, digest: sha256.Sum256(data), size: len(data), err: err}
}

func (l *Log) takeDecoded(ctx context.Context, d decoded, now time.Time) (*Taken, error) {
	if d.err != nil {
		return nil, d.err
	}
	taken := &Taken{From: d.bundle.From, At: d.bundle.At}
	err := l.update(ctx, func(tx *Tx) error {
		tx.author = Author{Now: now}
		return tx.take(d.bundle, d.digest, d.size, taken)
	})
	if err != nil {
		return nil, err
	}
	return taken, nil
}

func (tx *Tx) take(b *bundle.Bundle, digest [sha256.Size]byte, size int, taken *Taken) error {
	if _, err := tx.laneTable(); err != nil {
		return err
	}
	if err := tx.admit(b); err != nil {
		return err
	}
	if _, err := tx.loadBounds(); err != nil {
		return err
	}
	tx.sender = b.From
	_, cutOff := tx.bounds[b.From]
	ring, err := tx.ring(b)
	if err != nil {
		return err
	}
	chains, err := tx.verify(b, ring)
	if err != nil {
		return err
	}
	if taken.Asks = len(b.Segments) > 0 && !cutOff; taken.Asks {
		if err := tx.mustAnswer(b.From); err != nil {
			return err
		}
	}
	var seen int
	if taken.Already, err = tx.Row("SELECT 1 FROM bundle_taken WHERE digest = ?", []any{digest[:]}, &seen); err != nil {
		return err
	}
	if taken.Already {
		// It still says what its sender has, which may be news again: the sender's
		// store may be one of two copies, of which the other spoke in between.
		if cutOff {
			return nil
		}
		return tx.acknowledge(b)
	}
	statements := [][]byte{encodeOwn(b)}
	for i := range b.Statements {
		statements = append(statements, encodeStatement(&b.Statements[i]))
	}
	var end *lane
	for i := range b.Segments {
		if chains[i].follows {
			chains[i].at = end
		} else if err := tx.find(&chains[i], &b.Segments[i]); err != nil {
			return err
		}
		if end, err = tx.takeSegment(&b.Segments[i], chains[i], statements[1+b.Segments[i].Statement], taken); err != nil {
			return err
		}
	}
	if err := tx.takePending(taken); err != nil {
		return err
	}
	if err := tx.settle(); err != nil {
		return err
	}
	if err := tx.afterTaking(b, taken); err != nil {
		return err
	}
	fresh, _ := taken.Fresh()
	return tx.Exec("INSERT INTO bundle_taken (digest, peer, took, bytes, sets) VALUES (?, ?, ?, ?, ?)",
		digest[:], b.From, tx.author.Now.UnixMilli(), size, fresh)
}

// admit checks that the bundle is of this campaign and for this site.
func (tx *Tx) admit(b *bundle.Bundle) error {
	self := &tx.log.self
	if b.Campaign != self.CampaignTag() {
		return refuse("it belongs into another store", "the bundle is of another campaign (%08x, this is %08x)", b.Campaign, self.CampaignTag())
	}
	if b.To != self.Site {
		return refuse("carry it to the site it is for", "the bundle is addressed to %s, this is %s", tx.siteName(b.To), self.Code)
	}
	if b.From == self.Site {
		return refuse("a bundle is taken at the other site", "the bundle was made here")
	}
	return nil
}

func (tx *Tx) siteName(id clock.SiteID) string {
	if s, found, err := tx.SiteByID(id); err == nil && found {
		return s.Code
	}
	return fmt.Sprintf("unknown site %08x", uint32(id))
}

func encodeOwn(b *bundle.Bundle) []byte {
	own := b.Own()
	return encodeStatement(&own)
}

// takeSegment takes in one verified segment, with the signature that covers its
// end, and returns the lane that its last change-set is in, nil where it waits.
func (tx *Tx) takeSegment(s *bundle.Segment, c chain, signed []byte, taken *Taken) (*lane, error) {
	if a, err := tx.ownAudience(); err != nil || !a.has(s.Lane) {
		taken.Withheld += len(c.links)
		return nil, err
	}
	report := TakenSegment{Lane: s.Lane, From: s.From, To: s.To()}
	var end *lane
	waits, err := tx.mayWait(s.Lane, s.From)
	switch {
	case err != nil:
		return nil, err
	case c.gap && !waits:
		return nil, tx.keepAside(s.Lane, c.previous, c.links, signed, taken)
	case c.gap:
		err = tx.storePending(s, c, signed)
	default:
		end, err = tx.takeChain(s.Lane, c, signed, &report, taken)
	}
	taken.Segments = append(taken.Segments, report)
	return end, err
}

// takeChain places verified links and keeps the signature that covers them. What a
// cut-off does not let count is kept aside.
func (tx *Tx) takeChain(base clock.Lane, c chain, statement []byte, report *TakenSegment, taken *Taken) (*lane, error) {
	n, err := tx.divide(base, c)
	if err != nil {
		return nil, err
	}
	links, aside := c.links[:n], c.links[n:]
	if len(aside) > 0 {
		previous := c.previous
		if n > 0 {
			previous = links[n-1].hash
		}
		if err := tx.keepAside(base, previous, aside, statement, taken); err != nil || n == 0 {
			return nil, err
		}
	}
	wasForked := tx.lanes.forked(base)
	end, fresh, err := tx.place(base, c.at, links)
	if err != nil {
		return nil, err
	}
	report.New += fresh
	for _, next := range links[n-fresh:] {
		report.Changes += len(next.set.Changes)
	}
	if !wasForked && tx.lanes.forked(base) {
		taken.Forked = append(taken.Forked, base)
	}
	if fresh > 0 {
		tx.meet(base)
		_, bounded := tx.bounds[base.Site]
		tx.boundMoved = tx.boundMoved || bounded
	}
	if len(aside) > 0 {
		return nil, nil // what follows in the bundle goes on from what is kept aside
	}
	if len(statement) == 0 {
		return end, nil // the segment goes on in another that waits
	}
	return end, tx.Exec("INSERT INTO statement (lane, seq, bytes) VALUES (?, ?, ?) ON CONFLICT DO NOTHING",
		end.id, links[n-1].set.Seq, statement)
}

// afterTaking records what the bundle said of its sender.
func (tx *Tx) afterTaking(b *bundle.Bundle, taken *Taken) error {
	last, err := tx.lastStamp()
	if err != nil {
		return err
	}
	for i := range b.Segments {
		for _, set := range b.Segments[i].Sets {
			last, _ = clock.Observe(last, set.At, tx.author.Now)
		}
	}
	if err := tx.setLastStamp(last); err != nil {
		return err
	}
	if _, cutOff := tx.bounds[b.From]; !cutOff {
		if err := tx.acknowledge(b); err != nil {
			return err
		}
	}
	if taken.Skew, err = tx.provenSkew(b); err != nil {
		return err
	}
	err = tx.Exec(`INSERT INTO peer (peer, heard_at, their_at, skew_ms) VALUES (?, ?, ?, ?)
		ON CONFLICT (peer) DO UPDATE SET heard_at = excluded.heard_at, their_at = excluded.their_at, skew_ms = excluded.skew_ms`,
		b.From, tx.author.Now.UnixMilli(), int64(b.At), taken.Skew.Milliseconds())
	if taken.Renewed = tx.passed > 0; err != nil || !taken.Renewed {
		return err
	}
	return tx.renew()
}
