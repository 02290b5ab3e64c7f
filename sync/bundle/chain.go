package bundle

import (
	"crypto/ed25519"
	"fmt"

	"pulk/sync/change"
	"pulk/sync/clock"
)

// Chain computes what Decode cannot know: the Head of each segment and the hashes
// of Statements that did not travel. Previous gives the chain hash of a lane at a
// number, where the caller has it; it is asked only where neither the bundle nor
// the beginning of the lane tells. For the sender of a bundle, Chain fills in Head
// before Encode.
func (b *Bundle) Chain(previous func(lane clock.Lane, seq uint64) (change.Hash, bool)) error {
	ends := map[end]change.Hash{}
	var canonical []byte
	for i := range b.Segments {
		s := &b.Segments[i]
		hash, ok := b.before(i, previous)
		if !ok {
			return fmt.Errorf("lane %s: change-set %d is not here, so %d to %d cannot be checked", s.Lane, s.From-1, s.From, s.To())
		}
		for _, set := range s.Sets {
			canonical = set.AppendCanonical(canonical[:0])
			hash = change.Next(hash, canonical)
		}
		s.Head = hash
		if at := (end{s.Statement, s.Lane, s.To()}); ends[at] == (change.Hash{}) {
			ends[at] = hash
		}
	}
	for i := range b.Statements {
		s := &b.Statements[i]
		for j := range s.Heads {
			if s.Computed[j] {
				s.Heads[j].Hash = ends[end{i, s.Heads[j].Lane, s.Heads[j].Seq}]
			}
		}
	}
	return nil
}

// before returns the hash that segment i starts from.
func (b *Bundle) before(i int, previous func(clock.Lane, uint64) (change.Hash, bool)) (change.Hash, bool) {
	s := &b.Segments[i]
	switch {
	case s.Previous != nil:
		return *s.Previous, true
	case s.From == 1:
		return change.Genesis(b.Campaign, s.Lane), true
	case i > 0 && b.Segments[i-1].Lane == s.Lane && b.Segments[i-1].To()+1 == s.From:
		return b.Segments[i-1].Head, true
	case previous != nil:
		return previous(s.Lane, s.From-1)
	}
	return change.Hash{}, false
}

// VerifySender reports whether the sender's signature is that of key over the
// whole bundle. The heads must be known: see [Bundle.Chain].
func (b *Bundle) VerifySender(key ed25519.PublicKey) bool {
	own := b.Own()
	return own.Verify(key)
}
