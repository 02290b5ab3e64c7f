// Package change defines what travels between sites: change-sets, the bytes
// they are hashed in, and the hash chain of a lane.
//
// A change-set holds what one command wrote, in one transaction. Its canonical
// bytes ([Set.Canonical]) are what the log stores, what the chain hashes and
// what signatures cover; how a bundle packs them is another matter (package
// bundle). One value has one encoding: a decoder refuses any other.
package change

import (
	"cmp"
	"crypto/sha256"
	"encoding/binary"
	"fmt"

	"pulk/schema/decimal"
	"pulk/schema/kind"
	"pulk/sync/clock"
)

// Value is one column of a change; which part is used follows from the column's
// type: Num for Uint and Int, Num and Scale for Decimal, Text for Text and
// Bytes, Ref for Ref.
type Value struct {
	Num   int64
	Scale uint8
	Text  string
	Ref   clock.Dot
}

// Decimal returns the value of a Decimal column.
func (v Value) Decimal() decimal.Decimal { return decimal.Decimal{Mantissa: v.Num, Scale: v.Scale} }

// Num returns a value for a Uint or Int column.
func Num(n int64) Value { return Value{Num: n} }

// Text returns a value for a Text column.
func Text(s string) Value { return Value{Text: s} }

// Bytes returns a value for a Bytes column.
func Bytes(b []byte) Value { return Value{Text: string(b)} }

// Ref returns a value for a Ref column.
func Ref(d clock.Dot) Value { return Value{Ref: d} }

// Dec returns a value for a Decimal column.
func Dec(d decimal.Decimal) Value { return Value{Num: d.Mantissa, Scale: d.Scale} }

// Change is one entry or assignment.
type Change struct {
	Kind   kind.ID
	Values []Value // one per column of the kind, where the kind is known
	// Raw is the payload of a change whose kind this program does not know. It is
	// kept and relayed as it came.
	Raw []byte
}

// New returns a change of a known kind. It panics when the number of values is
// not that of the columns: a mistake in the program.
func New(k *kind.Kind, values ...Value) Change {
	if len(values) != len(k.Columns) {
		panic(fmt.Sprintf("%s has %d columns, got %d values", k.Name, len(k.Columns), len(values)))
	}
	return Change{Kind: k.ID, Values: values}
}

// Seen is one advance of what a site knew: it now has lane up to Seq, and there
// the lane's hash begins with Check. The check tells which branch was meant,
// should the lane ever turn out to be forked.
type Seen struct {
	Lane  clock.Lane // without branch
	Seq   uint64
	Check uint32
}

// Compare orders by lane, number, check.
func (s Seen) Compare(t Seen) int {
	return cmp.Or(s.Lane.Compare(t.Lane), cmp.Compare(s.Seq, t.Seq), cmp.Compare(s.Check, t.Check))
}

// Set is a change-set: all that one command wrote.
type Set struct {
	Lane     clock.Lane // without branch
	Seq      uint64     // from 1, without gaps
	Campaign uint32     // first four bytes of the campaign's UUID
	At       clock.Stamp
	Person   clock.Dot // none: the site itself
	// Seen is what the site had learnt since the previous change-set of this
	// lane, in order: the context, written as its growth. A lane has one row, or
	// one for each branch where it is known to be forked. The lane itself is not
	// in it, as the context of number n holds n-1.
	Seen    []Seen
	Changes []Change
}

// HashSize is the length of a chain hash.
const HashSize = sha256.Size

// Hash is a link of a lane's hash chain.
type Hash [HashSize]byte

// Check returns the first four bytes, which tell branches of a lane apart.
func (h Hash) Check() uint32 { return binary.BigEndian.Uint32(h[:]) }

// Genesis returns the hash before the first change-set of a lane.
func Genesis(campaign uint32, lane clock.Lane) Hash {
	text := []byte("pulk lane 1\n")
	text = binary.BigEndian.AppendUint32(text, campaign)
	text = binary.BigEndian.AppendUint32(text, uint32(lane.Site))
	text = binary.BigEndian.AppendUint16(text, lane.Epoch)
	return sha256.Sum256(append(text, byte(lane.Class)))
}

// Next returns the hash after a change-set with the given canonical bytes.
func Next(previous Hash, canonical []byte) Hash {
	digest := sha256.New()
	digest.Write(previous[:])
	digest.Write(canonical)
	return Hash(digest.Sum(nil))
}

// ID returns the dot of the change at a place in the set.
func (s *Set) ID(index int) clock.Dot {
	return clock.Dot{Lane: s.Lane, Seq: s.Seq, Index: uint16(index)}
}
