package bundle

import (
	"crypto/ed25519"
	"crypto/sha256"
	"encoding/binary"
	"errors"
	"fmt"

	"pulk/sync/clock"
)

// Encode returns the bytes of b, and fills in its Envelope and Signature. Sign
// returns the sender's Ed25519 signature of a message; without it the signature
// is left zero, for measuring.
//
// Encode refuses what a reader would: more than [DefaultLimits] (that error is an
// [ErrTooLarge]: make two bundles), a segment without change-sets or with gaps, a
// change-set of another campaign, a statement that covers none of its segments' ends.
func Encode(b *Bundle, sign func(message []byte) []byte) ([]byte, error) {
	return encode(b, sign, pack)
}

// packer turns the columns of a number of change-sets into bytes, by a method.
type packer func(t *table, sets int) ([]byte, byte, error)

func encode(b *Bundle, sign func(message []byte) []byte, pack packer) ([]byte, error) {
	if err := b.check(); err != nil {
		return nil, fmt.Errorf("bundle cannot be made: %w", err)
	}
	sites := newSiteTable(sitesOf(b))
	sites.know(b.Clock)
	t := &table{}
	if err := newWalker(b, t, sites, false).walk(); err != nil {
		return nil, fmt.Errorf("bundle cannot be made: %w", err)
	}
	packed, method, err := pack(t, len(t.shape.codes))
	if err != nil {
		return nil, fmt.Errorf("bundle cannot be made: %w", err)
	}
	buf, err := appendHeader([]byte(Magic), b, sites, method)
	if err != nil {
		return nil, fmt.Errorf("bundle cannot be made: %w", err)
	}
	buf = append(buf, packed...)
	if len(buf)+ed25519.SignatureSize > DefaultLimits.Bytes {
		return nil, fmt.Errorf("bundle cannot be made: %w: %d bytes, at most %d", ErrTooLarge, len(buf), DefaultLimits.Bytes)
	}
	b.Envelope = sha256.Sum256(buf)
	b.Signature = [ed25519.SignatureSize]byte{}
	if sign != nil {
		own := b.Own()
		if copy(b.Signature[:], sign(own.Message())) != ed25519.SignatureSize {
			return nil, errors.New("bundle cannot be made: no signature")
		}
	}
	return append(buf, b.Signature[:]...), nil
}

func appendHeader(buf []byte, b *Bundle, sites *siteTable, method byte) ([]byte, error) {
	buf = append(buf, Version, method)
	buf = binary.BigEndian.AppendUint32(buf, b.Campaign)
	buf = binary.AppendUvarint(buf, uint64(len(sites.ids)))
	for _, id := range sites.ids {
		buf = binary.BigEndian.AppendUint32(buf, uint32(id))
	}
	buf = append(buf, binary.BigEndian.AppendUint64(nil, uint64(b.At.Millis()))[2:]...)
	buf = binary.AppendUvarint(buf, uint64(len(b.Clock)))
	var err error
	for _, ack := range b.Clock {
		if buf, err = appendLane(buf, sites, ack.Lane); err != nil {
			return nil, err
		}
		buf = binary.AppendUvarint(buf, ack.Seq)
		buf = binary.BigEndian.AppendUint32(buf, ack.Check)
	}
	buf = binary.AppendUvarint(buf, uint64(len(b.Statements)))
	for i := range b.Statements {
		if buf, err = b.Statements[i].append(buf, sites); err != nil {
			return nil, err
		}
	}
	buf = binary.AppendUvarint(buf, uint64(len(b.Segments)))
	for i := range b.Segments {
		if buf, err = b.Segments[i].append(buf, sites); err != nil {
			return nil, err
		}
	}
	return buf, nil
}

func appendLane(buf []byte, sites *siteTable, lane clock.Lane) ([]byte, error) {
	code, extra, err := sites.pack(lane)
	buf = binary.AppendUvarint(buf, code)
	if code&laneExtra != 0 {
		buf = binary.AppendUvarint(buf, extra)
	}
	if extra&1 != 0 {
		buf = binary.BigEndian.AppendUint32(buf, lane.Branch)
	}
	return buf, err
}

func (s *Statement) append(buf []byte, sites *siteTable) ([]byte, error) {
	buf = binary.AppendUvarint(buf, uint64(sites.index[s.Site]))
	buf = append(buf, s.Envelope[:]...)
	buf = binary.AppendUvarint(buf, uint64(len(s.Heads)))
	for i, head := range s.Heads {
		var err error
		if buf, err = appendLane(buf, sites, head.Lane); err != nil {
			return nil, err
		}
		// The number and whether the hash follows from a segment.
		number := head.Seq << 1
		if s.Computed[i] {
			number |= 1
		}
		buf = binary.AppendUvarint(buf, number)
		if !s.Computed[i] {
			buf = append(buf, head.Hash[:]...)
		}
	}
	return append(buf, s.Signature[:]...), nil
}

func (s *Segment) append(buf []byte, sites *siteTable) ([]byte, error) {
	buf, err := appendLane(buf, sites, s.Lane)
	buf = binary.AppendUvarint(buf, s.From)
	buf = binary.AppendUvarint(buf, uint64(len(s.Sets)))
	form := uint64(s.Statement+1) << 1
	if s.Previous != nil {
		form |= 1
	}
	buf = binary.AppendUvarint(buf, form)
	if s.Previous != nil {
		buf = append(buf, s.Previous[:]...)
	}
	return buf, err
}
