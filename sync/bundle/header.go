package bundle

import (
	"crypto/ed25519"
	"crypto/sha256"
	"encoding/binary"
	"fmt"

	"pulk/sync/change"
	"pulk/sync/clock"
)

// headerReader takes fields off the front of data. After the first fault it gives
// zeros.
type headerReader struct {
	data  []byte
	at    int
	end   int // where the signature begins
	fault *Error
	sites *siteTable
	// Of Dump; nil otherwise.
	trace       func(from, to int, name, value string)
	traceColumn columnTrace
}

func (r *headerReader) fail(format string, args ...any) {
	if r.fault == nil {
		r.fault = faultAt(r.at, format, args...)
	}
}

// bundle reads all but the columns: the bundle without change-sets, the packing
// method, and the number of change-sets of each segment.
func (r *headerReader) bundle(limits Limits) (*Bundle, byte, []int) {
	b := &Bundle{}
	if len(r.data) > limits.Bytes {
		r.fail("%d bytes, at most %d", len(r.data), limits.Bytes)
		return nil, 0, nil
	}
	r.end = len(r.data) - ed25519.SignatureSize
	if len(r.data) < len(Magic)+2 || string(r.data[:len(Magic)]) != Magic {
		r.fail("this is no bundle")
		return nil, 0, nil
	}
	r.at = len(Magic)
	r.note(0, "magic", "a bundle")
	if version := r.data[r.at]; version != Version {
		r.fail("format version %d, this program reads %d; a newer program is needed", version, Version)
		return nil, 0, nil
	}
	if r.end < len(Magic)+2 {
		r.fail("cut off")
		return nil, 0, nil
	}
	r.at++
	r.note(r.at-1, "version", "1")
	method := byte(r.fixed(1, "method"))
	b.Campaign = uint32(r.fixed(4, "campaign"))
	r.siteTable(b)
	b.At = clock.Stamp(r.fixed(6, "at")) << 16
	r.clock(b)
	r.statements(b)
	counts := r.segments(b, limits)
	if r.fault != nil {
		return nil, 0, nil
	}
	b.Envelope = sha256.Sum256(r.data[:r.end])
	copy(b.Signature[:], r.data[r.end:])
	r.sites.know(b.Clock)
	return b, method, counts
}

// note tells Dump of a field that has been read.
func (r *headerReader) note(from int, name string, value any) {
	if r.trace != nil && r.fault == nil {
		r.trace(from, r.at, name, fmt.Sprint(value))
	}
}

// take returns the next n bytes, or n zeros where they are missing; n is small.
func (r *headerReader) take(n int, name string) []byte {
	if n > r.end-r.at {
		r.fail("cut off in %s", name)
		return make([]byte, n)
	}
	r.at += n
	return r.data[r.at-n : r.at]
}

// hash returns the next bytes, whose value means nothing to a person.
func (r *headerReader) hash(to []byte, name string) {
	from := r.at
	copy(to, r.take(len(to), name))
	r.note(from, name, fmt.Sprintf("%x", to))
}

// fixed reads a number of n bytes.
func (r *headerReader) fixed(n int, name string) uint64 {
	from, value := r.at, uint64(0)
	for _, b := range r.take(n, name) {
		value = value<<8 | uint64(b)
	}
	switch n {
	case 4:
		r.note(from, name, fmt.Sprintf("%08x", value))
	case 6:
		r.note(from, name, clock.Stamp(value<<16).Time().Format("2006-01-02T15:04:05.000Z"))
	default:
		r.note(from, name, value)
	}
	return value
}

// uvarint reads a number without telling Dump of it.
func (r *headerReader) uvarint(name string) uint64 {
	if r.fault != nil {
		return 0
	}
	value, n := binary.Uvarint(r.data[r.at:r.end])
	if n <= 0 || n > 1 && r.data[r.at+n-1] == 0 {
		r.fail("%s: number cut off, too large or with needless bytes", name)
		return 0
	}
	r.at += n
	return value
}

// number reads a number.
func (r *headerReader) number(name string) uint64 {
	from := r.at
	value := r.uvarint(name)
	r.note(from, name, value)
	return value
}

// count reads a number of things that take at least size bytes each.
func (r *headerReader) count(name string, limit, size int) int {
	from := r.at
	n := r.uvarint(name)
	if n > uint64(limit) || n > uint64((r.end-r.at)/size) {
		r.fail("claims %d %s", n, name)
		return 0
	}
	r.note(from, name, n)
	return int(n)
}

func (r *headerReader) siteTable(b *Bundle) {
	n := r.count("sites", maxSites, 4)
	ids := make([]clock.SiteID, 0, n)
	for i := range n {
		ids = append(ids, clock.SiteID(r.fixed(4, [...]string{"sender", "addressee", "site"}[min(i, 2)])))
		if i > 2 && ids[i-1] >= ids[i] || i >= 2 && (ids[i] == ids[0] || ids[i] == ids[1]) {
			r.fail("sites out of order")
		}
	}
	if n < 2 {
		r.fail("sender or addressee is missing")
		ids = make([]clock.SiteID, 2)
	}
	r.sites = newSiteTable(ids)
	b.From, b.To = ids[0], ids[1]
}

func (r *headerReader) lane(name string) clock.Lane {
	from := r.at
	code, extra, branch := r.uvarint(name), uint64(0), uint64(0)
	if code&laneExtra != 0 {
		extra = r.uvarint(name)
	}
	if extra&1 != 0 {
		branch = uint64(binary.BigEndian.Uint32(r.take(4, name)))
	}
	lane, err := r.sites.unpack(code, extra, branch)
	if err != nil {
		r.fail("%s: %v", name, err)
	}
	r.note(from, name, lane)
	return lane
}

func (r *headerReader) clock(b *Bundle) {
	n := r.count("lanes in the clock", MaxAcks, 6)
	if n > 0 {
		b.Clock = make([]Ack, 0, n)
	}
	for range n {
		b.Clock = append(b.Clock, Ack{Lane: r.lane("lane"), Seq: r.number("number"), Check: uint32(r.fixed(4, "check"))})
	}
}

func (r *headerReader) statements(b *Bundle) {
	n := r.count("statements", maxStatements, 32+2+64)
	left := maxAllHeads
	for range n {
		s := Statement{}
		site := r.number("origin's place among the sites")
		if site >= uint64(len(r.sites.ids)) {
			r.fail("site %d of %d", site, len(r.sites.ids))
			return
		}
		r.sites.used[site] = true
		s.Site = r.sites.ids[site]
		r.hash(s.Envelope[:], "envelope")
		heads := r.count("heads", min(maxHeads, left), 2)
		left -= heads
		for range heads {
			head := Head{Lane: r.lane("lane")}
			number := r.number("number*2 + whether its hash is computed")
			head.Seq = number >> 1
			if number&1 == 0 {
				r.hash(head.Hash[:], "hash")
			}
			s.Heads = append(s.Heads, head)
			s.Computed = append(s.Computed, number&1 != 0)
		}
		r.hash(s.Signature[:], "signature of the origin")
		b.Statements = append(b.Statements, s)
	}
}

func (r *headerReader) segments(b *Bundle, limits Limits) []int {
	n := r.count("segments", MaxSegments, 4)
	counts := make([]int, 0, n)
	total := uint64(0)
	for range n {
		s := Segment{Lane: r.lane("lane"), From: r.number("first number")}
		sets := r.number("change-sets")
		if total += sets; sets == 0 || sets > uint64(limits.Sets) || total > uint64(limits.Sets) {
			r.fail("segment claims %d change-sets", sets)
			return nil
		}
		form := r.number("statement*2 + whether the hash before follows")
		if form>>1 > uint64(len(b.Statements)) {
			r.fail("statement %d of %d", form>>1, len(b.Statements))
			return nil
		}
		s.Statement = int(form>>1) - 1
		if form&1 != 0 {
			s.Previous = new(change.Hash)
			r.hash(s.Previous[:], "hash before")
		}
		b.Segments = append(b.Segments, s)
		counts = append(counts, int(sets))
	}
	return counts
}
