package bundle

import (
	"crypto/ed25519"
	"crypto/sha256"
	"encoding/binary"
	"fmt"

	"pulk/schema/kind"
	"pulk/sync/change"
	"pulk/sync/clock"
)

// Decode reads a bundle. It takes only what a writer that keeps to
// docs/bundle-format.md can have made; its memory and work stay within limits.
// Every error is an [Error], but a fault may also show later: in [Bundle.Chain]
// or in a signature, neither of which Decode checks.
func Decode(data []byte, limits Limits) (*Bundle, error) {
	r := &headerReader{data: data}
	b, method, counts := r.bundle(limits)
	if r.fault != nil {
		return nil, r.fault
	}
	t, err := r.columns(b, method, counts, limits)
	if err != nil {
		return nil, faultAt(r.at, "%v", err)
	}
	if err := b.allocate(t, counts); err != nil {
		return nil, faultAt(r.at, "%v", err)
	}
	if err := b.checkHeader(); err != nil {
		return nil, faultAt(0, "%v", err)
	}
	if err := newWalker(b, t, r.sites, true).walk(); err != nil {
		return nil, faultAt(r.at, "%v", err)
	}
	if site, unused := r.sites.unused(); unused {
		return nil, faultAt(0, "site %08x is not needed", uint32(site))
	}
	return b, nil
}

// columns unpacks the part between header and signature.
func (r *headerReader) columns(b *Bundle, method byte, counts []int, limits Limits) (*table, error) {
	sets := 0
	for _, n := range counts {
		sets += n
	}
	t := &table{}
	return t, unpack(t, sets, r.data[r.at:len(r.data)-ed25519.SignatureSize], method, limits)
}

// allocate makes the change-sets that the table has the values of.
func (b *Bundle) allocate(t *table, counts []int) error {
	sets := make([]change.Set, len(t.shape.codes))
	changes := make([]change.Change, len(t.kinds.codes))
	store := make([]change.Value, t.valueCount())
	next, seen := 0, 0
	for i, code := range t.kinds.codes {
		id := kind.ID(code)
		changes[i].Kind = id
		if l := layoutOf(id); !l.opaque {
			n := len(l.columns)
			changes[i].Values, store = store[:n:n], store[n:]
		}
	}
	for i := range b.Segments {
		segment := &b.Segments[i]
		segment.Sets = make([]*change.Set, counts[i])
		for j := range segment.Sets {
			shape := t.shape.codes[next]
			n := int(shape >> shapeBits)
			if n > change.MaxChanges {
				return fmt.Errorf("change-set of %d changes", n)
			}
			set := &sets[next]
			*set = change.Set{Lane: segment.Lane, Seq: segment.From + uint64(j), Campaign: b.Campaign}
			set.Changes, changes = changes[:n:n], changes[n:]
			if shape&flagSeen != 0 {
				rows := t.seenCount.codes[seen]
				if seen++; rows == 0 || rows > change.MaxSeen {
					return fmt.Errorf("change-set with %d rows of context", rows)
				}
				set.Seen = make([]change.Seen, rows)
			}
			segment.Sets[j] = set
			next++
		}
	}
	return nil
}

// headerReader takes fields off the front of data. After the first fault it gives
// zeros.
type headerReader struct {
	data  []byte
	at    int
	end   int // where the signature begins
	fault *Error
	sites *siteTable
	trace func(from, to int, name, meaning string) // of Dump; nil otherwise
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
	r.note(2, "version", "format version 1")
	method := r.take(1, "method", nil)[0]
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

func (r *headerReader) note(from int, name, meaning string) {
	if r.trace != nil && r.fault == nil {
		r.trace(from, r.at, name, meaning)
	}
}

// take returns the next n bytes, or n zeros where they are missing and n is small.
func (r *headerReader) take(n int, name string, meaning func([]byte) string) []byte {
	if n > r.end-r.at {
		r.fail("cut off in %s", name)
		return make([]byte, n)
	}
	from := r.at
	r.at += n
	if r.trace != nil {
		text := ""
		if meaning != nil {
			text = meaning(r.data[from:r.at])
		}
		r.note(from, name, text)
	}
	return r.data[from:r.at]
}

func (r *headerReader) fixed(n int, name string) uint64 {
	value := uint64(0)
	for _, b := range r.take(n, name, nil) {
		value = value<<8 | uint64(b)
	}
	return value
}

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

// count reads a number of things that take at least size bytes each.
func (r *headerReader) count(name string, limit, size int) int {
	from := r.at
	n := r.uvarint(name)
	if n > uint64(limit) || n > uint64((r.end-r.at)/size) {
		r.fail("claims %d %s", n, name)
		return 0
	}
	r.note(from, name, "")
	return int(n)
}

func (r *headerReader) siteTable(b *Bundle) {
	n := r.count("sites", maxSites, 4)
	ids := make([]clock.SiteID, 0, n)
	for i := range n {
		ids = append(ids, clock.SiteID(r.fixed(4, "site")))
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
	code, extra, branch := r.uvarint(name), uint64(0), uint64(0)
	if code&laneExtra != 0 {
		extra = r.uvarint(name)
	}
	if extra&1 != 0 {
		branch = r.fixed(4, "branch")
	}
	lane, err := r.sites.unpack(code, extra, branch)
	if err != nil {
		r.fail("%s: %v", name, err)
	}
	return lane
}

func (r *headerReader) clock(b *Bundle) {
	n := r.count("lanes in the clock", maxAcks, 6)
	if n > 0 {
		b.Clock = make([]Ack, 0, n)
	}
	for range n {
		b.Clock = append(b.Clock, Ack{Lane: r.lane("lane"), Seq: r.uvarint("number"), Check: uint32(r.fixed(4, "check"))})
	}
}

func (r *headerReader) statements(b *Bundle) {
	n := r.count("statements", maxStatements, 32+2+64)
	for range n {
		s := Statement{}
		site := r.uvarint("site")
		if site >= uint64(len(r.sites.ids)) {
			r.fail("site %d of %d", site, len(r.sites.ids))
			return
		}
		r.sites.used[site] = true
		s.Site = r.sites.ids[site]
		copy(s.Envelope[:], r.take(32, "envelope", nil))
		heads := r.count("heads", maxHeads, 2)
		for range heads {
			head := Head{Lane: r.lane("lane")}
			number := r.uvarint("number")
			head.Seq = number >> 1
			if number&1 == 0 {
				copy(head.Hash[:], r.take(change.HashSize, "hash", nil))
			}
			s.Heads = append(s.Heads, head)
			s.Computed = append(s.Computed, number&1 != 0)
		}
		copy(s.Signature[:], r.take(ed25519.SignatureSize, "signature", nil))
		b.Statements = append(b.Statements, s)
	}
}

func (r *headerReader) segments(b *Bundle, limits Limits) []int {
	n := r.count("segments", maxSegments, 4)
	counts := make([]int, 0, n)
	total := uint64(0)
	for range n {
		s := Segment{Lane: r.lane("lane"), From: r.uvarint("first number")}
		sets := r.uvarint("change-sets")
		if total += sets; sets == 0 || sets > uint64(limits.Sets) || total > uint64(limits.Sets) {
			r.fail("segment claims %d change-sets", sets)
			return nil
		}
		form := r.uvarint("statement")
		if form>>1 > uint64(len(b.Statements)) {
			r.fail("statement %d of %d", form>>1, len(b.Statements))
			return nil
		}
		s.Statement = int(form>>1) - 1
		if form&1 != 0 {
			s.Previous = (*change.Hash)(r.take(change.HashSize, "hash before", nil))
			previous := *s.Previous
			s.Previous = &previous
		}
		b.Segments = append(b.Segments, s)
		counts = append(counts, int(sets))
	}
	return counts
}
