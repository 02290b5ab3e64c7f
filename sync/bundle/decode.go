package bundle

import (
	"crypto/ed25519"
	"fmt"

	"pulk/schema/kind"
	"pulk/sync/change"
)

// Decode reads a bundle. It takes only what a writer that keeps to
// docs/bundle-format.md can have made; its memory and work stay within limits.
// Every error is an [Error], but a fault may also show later: in [Bundle.Chain]
// or in a signature, neither of which Decode checks.
func Decode(data []byte, limits Limits) (*Bundle, error) {
	return decode(&headerReader{data: data}, limits)
}

func decode(r *headerReader, limits Limits) (*Bundle, error) {
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
	return t, unpack(t, sets, r.data[r.at:len(r.data)-ed25519.SignatureSize], method, limits, r.traceColumn)
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
