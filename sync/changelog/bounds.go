package changelog

import (
	"bytes"
	"encoding/binary"
	"fmt"
	"maps"
	"slices"

	"pulk/sync/bundle"
	"pulk/sync/change"
	"pulk/sync/clock"
)

// A cut-off bounds what counts of a site: of each lane, what lies on the way to a
// head that the founder named; of a lane without a head, nothing. What lies beyond is
// taken out of the log and kept aside (quarantine.go), so that a store that had it
// and one that never did hold the same log, and so the same state.
//
// While a head is not here yet, what is up to its number counts: which way leads to
// it cannot be told. When it comes, what lies beside the way goes.

// bounds are the heads of each site that was cut off, by lane without branch.
type bounds map[clock.SiteID]map[clock.Lane]bundle.Head

// allowed reports whether a number of a lane may count.
func (b bounds) allowed(lane clock.Lane, seq uint64) bool {
	heads, ok := b[lane.Site]
	return !ok || seq <= heads[lane.Base()].Seq
}

// add takes in a cut-off. Of two for one site the lower head of each lane counts.
func (b bounds) add(site clock.SiteID, heads []bundle.Head) {
	other := map[clock.Lane]bundle.Head{}
	for _, head := range heads {
		other[head.Lane] = head
	}
	old, ok := b[site]
	if !ok {
		b[site] = other
		return
	}
	for lane, head := range old {
		switch next, ok := other[lane]; {
		case !ok:
			delete(old, lane)
		case next.Compare(head) < 0:
			old[lane] = next
		}
	}
}

func (b bounds) equal(c bounds) bool {
	return maps.EqualFunc(b, c, func(x, y map[clock.Lane]bundle.Head) bool { return maps.Equal(x, y) })
}

// loadBounds returns the bounds by which the projections were made, and reads them
// where that was not done yet: before anything of this transaction is applied.
func (tx *Tx) loadBounds() (bounds, error) {
	if tx.bounds != nil {
		return tx.bounds, nil
	}
	tx.bounds = bounds{}
	var there bool
	if _, err := tx.Row("SELECT 1 FROM sqlite_schema WHERE name = 'cutoff'", nil, &there); err != nil || !there {
		return tx.bounds, err // the store of an older program, about to be rebuilt
	}
	var err error
	tx.bounds, err = tx.readBounds()
	return tx.bounds, err
}

// readBounds reads the bounds from the projection.
func (tx *Tx) readBounds() (bounds, error) {
	list, err := tx.Cutoffs()
	b := bounds{}
	for _, c := range list {
		b.add(c.Site, c.Heads)
	}
	return b, err
}

// headRow is how a head is written in a cut-off: epoch (2), class (1), number (5),
// hash (32).
const headRow = 2 + 1 + 5 + change.HashSize

func encodeHeads(heads []bundle.Head) []byte {
	var buf []byte
	for _, h := range heads {
		buf = binary.BigEndian.AppendUint16(buf, h.Lane.Epoch)
		buf = append(buf, byte(h.Lane.Class), byte(h.Seq>>32))
		buf = binary.BigEndian.AppendUint32(buf, uint32(h.Seq))
		buf = append(buf, h.Hash[:]...)
	}
	return buf
}

// decodeHeads is the inverse of encodeHeads. The lanes must be in order, each once.
func decodeHeads(site clock.SiteID, buf []byte) ([]bundle.Head, error) {
	if len(buf)%headRow != 0 {
		return nil, fmt.Errorf("heads of %d bytes", len(buf))
	}
	var heads []bundle.Head
	for row := range slices.Chunk(buf, headRow) {
		h := bundle.Head{Lane: clock.Lane{Site: site, Epoch: binary.BigEndian.Uint16(row), Class: clock.Class(row[2])},
			Seq: uint64(row[3])<<32 | uint64(binary.BigEndian.Uint32(row[4:]))}
		copy(h.Hash[:], row[8:])
		if h.Seq == 0 || h.Lane.Class > 3 || len(heads) > 0 && heads[len(heads)-1].Lane.Compare(h.Lane) >= 0 {
			return nil, fmt.Errorf("heads out of order, or none")
		}
		heads = append(heads, h)
	}
	return heads, nil
}

// encodeProof writes the statements by which a site itself signed the heads, each
// behind its length.
func encodeProof(statements [][]byte) []byte {
	var buf []byte
	for _, s := range statements {
		buf = binary.AppendUvarint(buf, uint64(len(s)))
		buf = append(buf, s...)
	}
	return buf
}

func decodeProof(buf []byte) ([][]byte, error) {
	var list [][]byte
	for len(buf) > 0 {
		size, n := binary.Uvarint(buf)
		if n <= 0 || size > uint64(len(buf)-n) {
			return nil, fmt.Errorf("proof cut off")
		}
		list = append(list, bytes.Clone(buf[n:n+int(size)]))
		buf = buf[n+int(size):]
	}
	return list, nil
}
