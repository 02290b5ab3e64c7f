package change

import (
	"encoding/binary"
	"errors"
	"fmt"
	"unicode/utf8"

	"pulk/schema/decimal"
	"pulk/schema/kind"
	"pulk/sync/clock"
)

// Limits of one change-set. A decoder refuses more.
const (
	MaxChanges = 4096
	MaxSeen    = 4096
	MaxBytes   = 1 << 20 // canonical bytes of one change-set
	MaxEpoch   = 1<<16 - 1
)

// Canonical returns the canonical bytes of the set: the inverse of [Parse].
//
//	campaign  4 bytes, big-endian
//	at        uvarint
//	person    ref
//	seen      uvarint count, then per row: lane, uvarint seq, 4 bytes check
//	changes   uvarint count, then per change: uvarint kind, uvarint length, payload
//
// A payload is the values in the order of the kind's columns: Uint uvarint; Int
// zigzag varint; Decimal zigzag mantissa and one byte of scale; Text and Bytes
// uvarint length and bytes; Ref as below. Lane and number are not in it: the
// chain's place says them.
//
//	lane  0                            the set's own lane
//	      1 class                      the same site and epoch, another class
//	      2 site(4) uvarint epoch class  any other
//	ref   0                            none
//	      1+lane, uvarint seq, uvarint index
//	      4 site(4) uvarint epoch class check(4), uvarint seq, uvarint index
//
// The last form names a change of a lane that its author knew to be forked: check
// is the start of the chain hash at seq, and stands in the dot's Branch.
func (s *Set) Canonical() []byte {
	return s.AppendCanonical(make([]byte, 0, 64+32*len(s.Changes)))
}

// AppendCanonical appends the canonical bytes to buf.
func (s *Set) AppendCanonical(buf []byte) []byte {
	buf = binary.BigEndian.AppendUint32(buf, s.Campaign)
	buf = binary.AppendUvarint(buf, uint64(s.At))
	buf = appendRef(buf, s.Lane, s.Person)
	buf = binary.AppendUvarint(buf, uint64(len(s.Seen)))
	for _, seen := range s.Seen {
		buf = appendLane(buf, s.Lane, seen.Lane, 0)
		buf = binary.AppendUvarint(buf, seen.Seq)
		buf = binary.BigEndian.AppendUint32(buf, seen.Check)
	}
	buf = binary.AppendUvarint(buf, uint64(len(s.Changes)))
	for _, c := range s.Changes {
		buf = binary.AppendUvarint(buf, uint64(c.Kind))
		if known := kind.Lookup(c.Kind); known != nil {
			payload := AppendPayload(nil, s.Lane, known.Columns, c.Values)
			buf = binary.AppendUvarint(buf, uint64(len(payload)))
			buf = append(buf, payload...)
		} else {
			buf = binary.AppendUvarint(buf, uint64(len(c.Raw)))
			buf = append(buf, c.Raw...)
		}
	}
	return buf
}

// AppendPayload appends the values of one change, as [Set.Canonical] lays down,
// for a change-set in lane own.
func AppendPayload(buf []byte, own clock.Lane, columns []kind.Column, values []Value) []byte {
	for i, column := range columns {
		value := &values[i]
		switch column.Type {
		case kind.Uint:
			buf = binary.AppendUvarint(buf, uint64(value.Num))
		case kind.Int:
			buf = binary.AppendVarint(buf, value.Num)
		case kind.Decimal:
			buf = append(binary.AppendVarint(buf, value.Num), value.Scale)
		case kind.Text, kind.Bytes:
			buf = binary.AppendUvarint(buf, uint64(len(value.Text)))
			buf = append(buf, value.Text...)
		case kind.Ref:
			buf = appendRef(buf, own, value.Ref)
		}
	}
	return buf
}

func appendLane(buf []byte, own, lane clock.Lane, shift byte) []byte {
	lane = lane.Base()
	switch {
	case lane == own.Base():
		return append(buf, shift)
	case lane.Site == own.Site && lane.Epoch == own.Epoch:
		return append(buf, shift+1, byte(lane.Class))
	}
	buf = append(buf, shift+2)
	buf = binary.BigEndian.AppendUint32(buf, uint32(lane.Site))
	buf = binary.AppendUvarint(buf, uint64(lane.Epoch))
	return append(buf, byte(lane.Class))
}

func appendRef(buf []byte, own clock.Lane, ref clock.Dot) []byte {
	if ref.IsZero() {
		return append(buf, 0)
	}
	if ref.Branch != 0 {
		buf = append(buf, 4)
		buf = binary.BigEndian.AppendUint32(buf, uint32(ref.Site))
		buf = binary.AppendUvarint(buf, uint64(ref.Epoch))
		buf = append(buf, byte(ref.Class))
		buf = binary.BigEndian.AppendUint32(buf, ref.Branch)
	} else {
		buf = appendLane(buf, own, ref.Lane, 1)
	}
	buf = binary.AppendUvarint(buf, ref.Seq)
	return binary.AppendUvarint(buf, uint64(ref.Index))
}

// ErrMalformed is the cause of every error of [Parse] and [ParsePayload].
var ErrMalformed = errors.New("malformed change-set")

// Parse reads canonical bytes of number seq of a lane. It takes nothing but what
// [Set.Canonical] writes.
func Parse(lane clock.Lane, seq uint64, canonical []byte) (*Set, error) {
	if len(canonical) > MaxBytes {
		return nil, fmt.Errorf("%w: %d bytes, at most %d", ErrMalformed, len(canonical), MaxBytes)
	}
	r := reader{buf: canonical, own: lane.Base()}
	s := &Set{Lane: r.own, Seq: seq}
	s.Campaign = r.fixed32()
	s.At = clock.Stamp(r.uvarint())
	s.Person = r.ref()
	s.Seen = r.seen()
	n := r.count(MaxChanges, 2)
	s.Changes = make([]Change, 0, n)
	for range n {
		s.Changes = append(s.Changes, r.change())
	}
	if r.err == nil && len(r.buf) > 0 {
		r.fail("%d bytes too many", len(r.buf))
	}
	if r.err != nil {
		return nil, r.err
	}
	return s, nil
}

// ParsePayload reads the values of one change, as Parse does.
func ParsePayload(own clock.Lane, columns []kind.Column, payload []byte) ([]Value, error) {
	r := reader{buf: payload, own: own.Base()}
	values := r.values(columns)
	if r.err == nil && len(r.buf) > 0 {
		r.fail("%d bytes too many in a change", len(r.buf))
	}
	return values, r.err
}

// reader takes values off the front of buf; after the first error it returns
// zero values.
type reader struct {
	buf []byte
	own clock.Lane
	err error
}

func (r *reader) fail(format string, args ...any) {
	if r.err == nil {
		r.err = fmt.Errorf("%w: %s", ErrMalformed, fmt.Sprintf(format, args...))
		r.buf = nil
	}
}

func (r *reader) take(n uint64) []byte {
	if n > uint64(len(r.buf)) {
		r.fail("cut off")
		return nil
	}
	head := r.buf[:n]
	r.buf = r.buf[n:]
	return head
}

func (r *reader) byte() byte {
	if b := r.take(1); b != nil {
		return b[0]
	}
	return 0
}

func (r *reader) fixed32() uint32 {
	if b := r.take(4); b != nil {
		return binary.BigEndian.Uint32(b)
	}
	return 0
}

func (r *reader) uvarint() uint64 {
	value, n := binary.Uvarint(r.buf)
	if n <= 0 {
		r.fail("bad number")
		return 0
	}
	if n > 1 && r.buf[n-1] == 0 {
		r.fail("number with needless bytes")
		return 0
	}
	r.buf = r.buf[n:]
	return value
}

func (r *reader) varint() int64 {
	value := r.uvarint()
	return int64(value>>1) ^ -int64(value&1)
}

// count reads a number of things that take at least size bytes each.
func (r *reader) count(limit, size uint64) int {
	n := r.uvarint()
	if n > limit || n*size > uint64(len(r.buf)) {
		r.fail("claims %d entries", n)
		return 0
	}
	return int(n)
}

func (r *reader) lane(tag byte) clock.Lane {
	switch tag {
	case 0:
		return r.own
	case 1:
		lane := r.own
		lane.Class = clock.Class(r.byte())
		if lane == r.own {
			r.fail("own lane written long")
		}
		return lane
	case 2:
		lane := r.fullLane()
		if lane.Site == r.own.Site && lane.Epoch == r.own.Epoch {
			r.fail("own site written long")
		}
		return lane
	}
	r.fail("unknown lane form %d", tag)
	return clock.Lane{}
}

func (r *reader) fullLane() clock.Lane {
	lane := clock.Lane{Site: clock.SiteID(r.fixed32())}
	epoch := r.uvarint()
	if epoch > MaxEpoch {
		r.fail("epoch %d", epoch)
	}
	lane.Epoch = uint16(epoch)
	lane.Class = clock.Class(r.byte())
	return lane
}

func (r *reader) seq() uint64 {
	seq := r.uvarint()
	if r.err == nil && (seq == 0 || seq > clock.SeqMax) {
		r.fail("sequence number %d", seq)
	}
	return seq
}

func (r *reader) ref() clock.Dot {
	var dot clock.Dot
	switch tag := r.byte(); tag {
	case 0:
		return clock.Dot{}
	case 4:
		dot.Lane = r.fullLane()
		if dot.Branch = r.fixed32(); dot.Branch == 0 {
			r.fail("check of a forked lane is zero")
		}
	default:
		dot.Lane = r.lane(tag - 1)
	}
	dot.Seq = r.seq()
	index := r.uvarint()
	if index >= MaxChanges {
		r.fail("change %d of a set", index)
	}
	dot.Index = uint16(index)
	return dot
}

func (r *reader) seen() []Seen {
	n := r.count(MaxSeen, 6)
	if n == 0 {
		return nil
	}
	rows := make([]Seen, 0, n)
	for range n {
		row := Seen{Lane: r.lane(r.byte()), Seq: r.seq(), Check: r.fixed32()}
		if row.Lane == r.own {
			r.fail("a lane's context names the lane itself")
		}
		if len(rows) > 0 && rows[len(rows)-1].Compare(row) >= 0 {
			r.fail("context out of order")
		}
		rows = append(rows, row)
	}
	return rows
}

func (r *reader) change() Change {
	id := r.uvarint()
	if id == 0 || id > 1<<31 {
		r.fail("change kind %d", id)
	}
	payload := r.take(r.uvarint())
	c := Change{Kind: kind.ID(id)}
	known := kind.Lookup(c.Kind)
	if known == nil {
		c.Raw = append([]byte{}, payload...)
		return c
	}
	if r.err != nil {
		return c
	}
	values, err := ParsePayload(r.own, known.Columns, payload)
	if err != nil {
		r.fail("%s: %v", known.Name, err)
	}
	c.Values = values
	return c
}

func (r *reader) values(columns []kind.Column) []Value {
	values := make([]Value, len(columns))
	for i, column := range columns {
		value := &values[i]
		switch column.Type {
		case kind.Uint:
			n := r.uvarint()
			if n > 1<<63-1 {
				r.fail("number too large")
			}
			value.Num = int64(n)
		case kind.Int:
			value.Num = r.varint()
		case kind.Decimal:
			value.Num, value.Scale = r.varint(), r.byte()
			if value.Scale > decimal.MaxScale {
				r.fail("decimal with %d digits after the point", value.Scale)
			}
		case kind.Text, kind.Bytes:
			value.Text = string(r.take(r.uvarint()))
			if column.Type == kind.Text && !utf8.ValidString(value.Text) {
				r.fail("text is not UTF-8")
			}
		case kind.Ref:
			value.Ref = r.ref()
		}
	}
	return values
}
