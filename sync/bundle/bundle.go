// Package bundle packs change-sets for a link of a few kbit/s.
//
// A bundle is one sender's message to one addressee: a header with the sender's
// vector clock, which is its acknowledgement; runs of change-sets of one lane
// (segments), packed in columns; and signatures. [Encode] and [Decode] are pure:
// they know no store, no clock and no file. docs/bundle-format.md specifies every
// byte.
//
// Decoding says what a bundle claims; [Statement.Verify] says whether its origin
// signed it. As a segment need not carry the hash it starts from, the chain is
// computed by whoever knows that hash: package changelog.
package bundle

import (
	"bytes"
	"cmp"
	"crypto/ed25519"
	"crypto/sha256"
	"encoding/binary"
	"slices"

	"pulk/sync/change"
	"pulk/sync/clock"
)

// Bundle is the content of a bundle.
type Bundle struct {
	Campaign uint32
	From, To clock.SiteID
	At       clock.Stamp // when it was made; its counter does not travel
	Clock    []Ack       // what the sender has, by lane in order
	Segments []Segment
	// Statements are the signatures of other origins than the sender, for the
	// segments it relays, and one of the sender for its own confined lanes, whose
	// Envelope is zero.
	Statements []Statement
	// Envelope is the SHA-256 of all bytes before the sender's signature. Decode
	// fills it in; Encode ignores it.
	Envelope [sha256.Size]byte
	// Signature is the sender's, over the [Statement] that [Bundle.Own] returns.
	// Decode fills it in; Encode makes it.
	Signature [ed25519.SignatureSize]byte
}

// Ack says that a site has a lane up to Seq, where its hash begins with Check. A
// lane may be a branch of a forked one.
type Ack struct {
	Lane  clock.Lane
	Seq   uint64
	Check uint32
}

// Segment is a run of change-sets of one lane, without gaps.
type Segment struct {
	Lane clock.Lane // without branch
	From uint64     // number of the first
	// Previous is the chain hash before the first; nil where the addressee has
	// said that it has that change-set.
	Previous *change.Hash
	Sets     []*change.Set
	// Head is the chain hash after the last. The caller of Encode gives it; Decode
	// leaves it zero, as it follows from what came before.
	Head change.Hash
	// Statement is the place in Bundle.Statements of the signature that covers
	// Head, or -1 where the sender is the origin.
	Statement int
}

// To returns the number of the segment's last change-set.
func (s *Segment) To() uint64 { return s.From + uint64(len(s.Sets)) - 1 }

// Head is the end of a lane as its origin signed it.
type Head struct {
	Lane clock.Lane // without branch
	Seq  uint64
	Hash change.Hash
}

// Compare orders by lane, number, hash.
func (h Head) Compare(g Head) int {
	return cmp.Or(h.Lane.Compare(g.Lane), cmp.Compare(h.Seq, g.Seq), bytes.Compare(h.Hash[:], g.Hash[:]))
}

// Statement is an origin's signature over heads of its own lanes. It was made for
// one bundle, whose digest it names, and goes along wherever the change-sets are
// relayed.
type Statement struct {
	Site     clock.SiteID
	Envelope [sha256.Size]byte // of the bundle it was made for
	Heads    []Head            // in order
	// Computed[i] tells that the hash of Heads[i] did not travel, as it follows
	// from a segment of this bundle that ends there. Decode leaves that hash zero.
	Computed  []bool
	Signature [ed25519.SignatureSize]byte
}

// Own returns the statement that the sender's signature covers: the heads of the
// segments of its own lanes, in order. Their hashes are those
// in the segments' Head.
func (b *Bundle) Own() Statement {
	own := Statement{Site: b.From, Envelope: b.Envelope, Signature: b.Signature}
	for i := range b.Segments {
		segment := &b.Segments[i]
		if segment.Statement < 0 {
			own.Heads = append(own.Heads, Head{segment.Lane, segment.To(), segment.Head})
		}
	}
	slices.SortFunc(own.Heads, Head.Compare)
	return own
}

// Message returns the bytes that the signature of s covers.
func (s *Statement) Message() []byte {
	message := append([]byte("pulk heads 1\n"), s.Envelope[:]...)
	message = binary.BigEndian.AppendUint32(message, uint32(s.Site))
	for _, head := range s.Heads {
		message = binary.BigEndian.AppendUint16(message, head.Lane.Epoch)
		message = append(message, byte(head.Lane.Class))
		message = binary.BigEndian.AppendUint64(message, head.Seq)
		message = append(message, head.Hash[:]...)
	}
	return message
}

// Verify reports whether the signature of s is that of key over its heads. All
// hashes must be filled in.
func (s *Statement) Verify(key ed25519.PublicKey) bool {
	return len(key) == ed25519.PublicKeySize && ed25519.Verify(key, s.Message(), s.Signature[:])
}
