package bundle

import (
	"bytes"
	"crypto/sha256"
	"errors"
	"fmt"

	"pulk/schema/decimal"
	"pulk/schema/kind"
	"pulk/sync/change"
	"pulk/sync/clock"
)

// check tells what of b cannot travel, save for what the walker finds.
func (b *Bundle) check() error {
	if err := b.checkHeader(); err != nil {
		return err
	}
	sets, changes, values, seen := 0, 0, 0, 0
	for i := range b.Segments {
		segment := &b.Segments[i]
		for j, set := range segment.Sets {
			if set.Lane != segment.Lane || set.Seq != segment.From+uint64(j) || set.Campaign != b.Campaign {
				return fmt.Errorf("segment %s from %d has change-set %s/%d of campaign %08x at place %d",
					segment.Lane, segment.From, set.Lane, set.Seq, set.Campaign, j)
			}
			if len(set.Changes) > change.MaxChanges || len(set.Seen) > change.MaxSeen {
				return fmt.Errorf("change-set %s/%d has %d changes and %d rows of context", set.Lane, set.Seq, len(set.Changes), len(set.Seen))
			}
			sets, changes, seen = sets+1, changes+len(set.Changes), seen+len(set.Seen)
			for k := range set.Changes {
				values += len(set.Changes[k].Values)
				if err := checkChange(&set.Changes[k]); err != nil {
					return fmt.Errorf("change %s: %w", set.ID(k), err)
				}
			}
		}
	}
	return DefaultLimits.hold(sets, changes, values, seen)
}

func checkChange(c *change.Change) error {
	known := kind.Lookup(c.Kind)
	switch {
	case c.Kind == 0 || c.Kind > 1<<31 || known == nil && c.Kind < kind.FirstDescribed:
		return fmt.Errorf("kind %d is unknown", c.Kind)
	case known != nil && len(c.Values) != len(known.Columns):
		return fmt.Errorf("%s has %d columns, got %d values", known.Name, len(known.Columns), len(c.Values))
	case known == nil:
		return nil
	}
	for i, column := range known.Columns {
		if column.Type == kind.Decimal && c.Values[i].Scale > decimal.MaxScale || column.Type == kind.Uint && c.Values[i].Num < 0 {
			return fmt.Errorf("%s.%s is out of range", known.Name, column.Name)
		}
	}
	return nil
}

// checkHeader holds the rules that a writer and a reader share.
func (b *Bundle) checkHeader() error {
	if b.From == b.To || b.From == 0 {
		return fmt.Errorf("from %08x to %08x", b.From, b.To)
	}
	if len(b.Clock) > MaxAcks {
		return errors.New("too many lanes in the clock of the sender")
	}
	if len(b.Statements) > maxStatements || len(b.Segments) > MaxSegments {
		return fmt.Errorf("%w: %d signatures of origins and %d segments; at most %d, %d", ErrTooLarge, len(b.Statements), len(b.Segments), maxStatements, MaxSegments)
	}
	for i, ack := range b.Clock {
		if ack.Seq == 0 || ack.Seq > clock.SeqMax || i > 0 && b.Clock[i-1].Lane.Compare(ack.Lane) >= 0 {
			return fmt.Errorf("clock of the sender: %s/%d out of order or range", ack.Lane, ack.Seq)
		}
	}
	if err := b.checkHeads(); err != nil {
		return err
	}
	ends := map[end]bool{}
	for i := range b.Segments {
		ends[end{b.Segments[i].Statement, b.Segments[i].Lane, b.Segments[i].To()}] = true
	}
	heads := map[end]bool{}
	for i := range b.Statements {
		if err := b.checkStatement(i, ends, heads); err != nil {
			return err
		}
	}
	for i := range b.Segments {
		if err := b.checkSegment(&b.Segments[i], heads); err != nil {
			return err
		}
	}
	return nil
}

// checkHeads holds how many heads there may be.
func (b *Bundle) checkHeads() error {
	own, all := 0, 0
	for i := range b.Segments {
		if b.Segments[i].Statement < 0 {
			own++
		}
	}
	most := own
	for i := range b.Statements {
		most, all = max(most, len(b.Statements[i].Heads)), all+len(b.Statements[i].Heads)
	}
	if most > maxHeads || all > maxAllHeads {
		return fmt.Errorf("%w: %d lanes under one signature, %d under all of other origins; at most %d, %d", ErrTooLarge, most, all, maxHeads, maxAllHeads)
	}
	return nil
}

// end is a place that a statement covers, or where a segment ends.
type end struct {
	statement int
	lane      clock.Lane
	seq       uint64
}

// checkStatement also fills in heads.
func (b *Bundle) checkStatement(i int, ends, heads map[end]bool) error {
	s := &b.Statements[i]
	if len(s.Computed) != len(s.Heads) || len(s.Heads) == 0 {
		return fmt.Errorf("statement of %08x with %d heads", s.Site, len(s.Heads))
	}
	confined := s.Heads[0].Lane.Confined()
	if s.Site == b.From && (!confined || s.Envelope != [sha256.Size]byte{}) {
		return fmt.Errorf("statement of the sender itself, which signs at the end of the bundle")
	}
	for j, head := range s.Heads {
		at := end{i, head.Lane, head.Seq}
		heads[at] = true
		switch {
		case head.Lane.Site != s.Site || head.Lane.Branch != 0 || head.Seq == 0 || head.Seq > clock.SeqMax:
			return fmt.Errorf("statement of %08x about lane %s", s.Site, head.Lane)
		case head.Lane.Confined() != confined:
			return fmt.Errorf("statement of %08x: what is confined under one signature with what is not", s.Site)
		case j > 0 && !inOrder(s, j):
			return fmt.Errorf("statement of %08x: heads out of order", s.Site)
		case s.Computed[j] && !ends[at]:
			return fmt.Errorf("statement of %08x: no segment ends at %s/%d", s.Site, head.Lane, head.Seq)
		}
	}
	return nil
}

// inOrder compares head j with the one before. Where a hash does not travel it
// cannot be compared.
func inOrder(s *Statement, j int) bool {
	a, b := s.Heads[j-1], s.Heads[j]
	if order := a.Lane.Compare(b.Lane); order != 0 {
		return order < 0
	}
	if a.Seq != b.Seq {
		return a.Seq < b.Seq
	}
	return s.Computed[j-1] || s.Computed[j] || bytes.Compare(a.Hash[:], b.Hash[:]) < 0
}

func (b *Bundle) checkSegment(s *Segment, heads map[end]bool) error {
	switch {
	case s.Lane.Branch != 0 || s.From == 0 || s.From > clock.SeqMax || len(s.Sets) == 0 || s.To() > clock.SeqMax:
		return fmt.Errorf("segment %s from %d with %d change-sets", s.Lane, s.From, len(s.Sets))
	case s.From == 1 && s.Previous != nil:
		return fmt.Errorf("segment %s from 1 carries the hash before it", s.Lane)
	case s.Statement < 0 && s.Lane.Site != b.From:
		return fmt.Errorf("segment %s carries no signature of its origin", s.Lane)
	case s.Statement < 0 && s.Lane.Confined():
		return fmt.Errorf("segment %s, which is confined, under the signature of the whole bundle", s.Lane)
	case s.Statement < -1 || s.Statement >= len(b.Statements):
		return fmt.Errorf("segment %s relies on statement %d of %d", s.Lane, s.Statement, len(b.Statements))
	case s.Statement >= 0 && !heads[end{s.Statement, s.Lane, s.To()}]:
		return fmt.Errorf("segment %s to %d: its end is in no head of its statement", s.Lane, s.To())
	}
	return nil
}
