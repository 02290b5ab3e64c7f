package changelog

import (
	"encoding/binary"
	"errors"

	"pulk/sync/bundle"
	"pulk/sync/change"
	"pulk/sync/clock"
)

// encodeStatement returns a statement as it is stored: site (4), envelope (32),
// signature (64), then heads of epoch (2), class (1), number (8), hash (32).
func encodeStatement(s *bundle.Statement) []byte {
	buf := binary.BigEndian.AppendUint32(nil, uint32(s.Site))
	buf = append(buf, s.Envelope[:]...)
	buf = append(buf, s.Signature[:]...)
	for _, head := range s.Heads {
		buf = binary.BigEndian.AppendUint16(buf, head.Lane.Epoch)
		buf = append(buf, byte(head.Lane.Class))
		buf = binary.BigEndian.AppendUint64(buf, head.Seq)
		buf = append(buf, head.Hash[:]...)
	}
	return buf
}

const statementHead = 2 + 1 + 8 + change.HashSize

func decodeStatement(buf []byte) (*bundle.Statement, error) {
	s := &bundle.Statement{}
	fixed := 4 + len(s.Envelope) + len(s.Signature)
	if len(buf) < fixed || (len(buf)-fixed)%statementHead != 0 {
		return nil, errors.New("a signature in the store is damaged")
	}
	s.Site = clock.SiteID(binary.BigEndian.Uint32(buf))
	copy(s.Envelope[:], buf[4:])
	copy(s.Signature[:], buf[4+len(s.Envelope):])
	for buf = buf[fixed:]; len(buf) > 0; buf = buf[statementHead:] {
		head := bundle.Head{
			Lane: clock.Lane{Site: s.Site, Epoch: binary.BigEndian.Uint16(buf), Class: clock.Class(buf[2])},
			Seq:  binary.BigEndian.Uint64(buf[3:]),
		}
		copy(head.Hash[:], buf[11:])
		s.Heads = append(s.Heads, head)
		s.Computed = append(s.Computed, false)
	}
	return s, nil
}
