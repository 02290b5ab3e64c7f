package changelog

import (
	"bytes"
	"encoding/binary"
	"errors"
	"fmt"

	"pulk/sync/bundle"
	"pulk/sync/change"
	"pulk/sync/clock"
)

// pendingBytes is about how many canonical bytes are kept in one row: a row goes
// through the database whole, which holds several copies of it meanwhile.
const pendingBytes = 256 << 10

// storePending keeps a verified segment whose predecessor is not here, in pieces
// that each wait for the one before. The signature goes with the last: it covers the
// end. What was stored is let go, as it is read again when its turn comes.
func (tx *Tx) storePending(s *bundle.Segment, c chain, statement []byte) error {
	previous, first := c.previous, 0
	var sets []byte
	for i := range c.links {
		next := &c.links[i]
		sets = binary.AppendUvarint(sets, uint64(len(next.canonical)))
		sets = append(sets, next.canonical...)
		next.canonical, next.set.Changes = nil, nil
		last := i == len(c.links)-1
		if len(sets) < pendingBytes && !last {
			continue
		}
		signed := []byte{}
		if last {
			signed = statement
		}
		err := tx.Exec(`INSERT INTO pending (site, epoch, class, from_seq, to_seq, previous, head, statement, sets, took)
			VALUES (?, ?, ?, ?, ?, ?, ?, ?, ?, ?) ON CONFLICT DO NOTHING`,
			s.Lane.Site, s.Lane.Epoch, s.Lane.Class, s.From+uint64(first), s.From+uint64(i), previous[:], next.hash[:], signed, sets, tx.author.Now.UnixMilli())
		if err != nil {
			return err
		}
		previous, first, sets = next.hash, i+1, sets[:0]
	}
	return nil
}

type pendingSegment struct {
	lane      clock.Lane
	from, to  uint64
	previous  change.Hash
	head      []byte
	statement []byte // empty where the segment goes on in another
}

// goesOn reports whether p begins where before ends.
func (p *pendingSegment) goesOn(before *pendingSegment) bool {
	return p.lane == before.lane && p.from == before.to+1 && bytes.Equal(p.previous[:], before.head)
}

// gap returns what is missing before segment i of a list, if anything is.
func (tx *Tx) gap(list []pendingSegment, i int) (Gap, bool) {
	p := &list[i]
	have := tx.tipOf(p.lane)
	if have+1 >= p.from || i > 0 && p.goesOn(&list[i-1]) {
		return Gap{}, false
	}
	return Gap{p.lane, have + 1, p.from - 1}, true
}

// pendingSegments lists what waits, without its change-sets.
func (tx *Tx) pendingSegments() ([]pendingSegment, error) {
	var list []pendingSegment
	err := tx.Each("SELECT site, epoch, class, from_seq, to_seq, previous, head, statement FROM pending ORDER BY site, epoch, class, from_seq, head", nil,
		func(scan func(...any) error) error {
			var p pendingSegment
			var previous []byte
			err := scan(&p.lane.Site, &p.lane.Epoch, &p.lane.Class, &p.from, &p.to, &previous, &p.head, &p.statement)
			copy(p.previous[:], previous)
			list = append(list, p)
			return err
		})
	return list, err
}

// takePending places what waited and now fits, again and again until nothing
// more does, and lists what still waits.
func (tx *Tx) takePending(taken *Taken) error {
	for again := true; again; {
		again = false
		list, err := tx.pendingSegments()
		if err != nil {
			return err
		}
		taken.Waiting = nil
		for i, p := range list {
			placed, err := tx.placePending(p, taken)
			if err != nil {
				return err
			}
			if placed {
				again = true
				continue
			}
			if gap, ok := tx.gap(list, i); ok {
				taken.Waiting = append(taken.Waiting, gap)
			}
		}
	}
	return nil
}

func (tx *Tx) placePending(p pendingSegment, taken *Taken) (bool, error) {
	nodes, err := tx.nodes(p.lane, p.from-1)
	if err != nil {
		return false, err
	}
	for at, hash := range nodes {
		if hash != p.previous {
			continue
		}
		links, err := tx.pendingLinks(&p)
		if err != nil {
			return false, err
		}
		report := TakenSegment{Lane: p.lane, From: p.from, To: p.to}
		if _, err := tx.takeChain(p.lane, chain{links: links, at: at, previous: p.previous}, p.statement, &report, taken); err != nil {
			return false, err
		}
		taken.Segments = append(taken.Segments, report)
		return true, tx.dropPending(&p)
	}
	return false, nil
}

func (tx *Tx) dropPending(p *pendingSegment) error {
	return tx.Exec("DELETE FROM pending WHERE "+pendingKey, p.key()...)
}

const pendingKey = "site = ? AND epoch = ? AND class = ? AND from_seq = ? AND head = ?"

func (p *pendingSegment) key() []any {
	return []any{p.lane.Site, p.lane.Epoch, p.lane.Class, p.from, p.head}
}

// pendingLinks reads the change-sets of a segment that waits.
func (tx *Tx) pendingLinks(p *pendingSegment) ([]link, error) {
	var sets []byte
	if _, err := tx.Row("SELECT sets FROM pending WHERE "+pendingKey, p.key(), &sets); err != nil {
		return nil, err
	}
	var links []link
	hash := p.previous
	for rest := sets; len(rest) > 0; {
		size, n := binary.Uvarint(rest)
		if n <= 0 || size > uint64(len(rest)-n) {
			return nil, errors.New("a waiting segment in the store is damaged")
		}
		canonical := rest[n : n+int(size)]
		rest = rest[n+int(size):]
		set, err := change.Parse(p.lane, p.from+uint64(len(links)), canonical)
		if err != nil {
			return nil, fmt.Errorf("a waiting segment in the store is damaged: %w", err)
		}
		hash = change.Next(hash, canonical)
		links = append(links, link{set, canonical, hash})
	}
	return links, nil
}

// Gaps lists the runs of change-sets that something here waits for.
func (tx *Tx) Gaps() ([]Gap, error) {
	list, err := tx.pendingSegments()
	var gaps []Gap
	for i := range list {
		if gap, ok := tx.gap(list, i); ok {
			gaps = append(gaps, gap)
		}
	}
	return gaps, err
}
