// Package clock orders events of sites that cannot ask each other what time it
// is: lanes and dots name events, vector clocks say what a site knew, and a
// hybrid logical clock gives times to show.
//
// Order is always decided by vector clocks. Times only break ties and inform
// people, because a clock may be days off (Lamport 1978; Mattern 1989; Kulkarni
// et al. 2014 for the hybrid clock).
package clock

import (
	"cmp"
	"encoding/binary"
	"fmt"
)

// SiteID is the first four bytes, big-endian, of the SHA-256 of the site's
// public key. Zero is no site.
type SiteID uint32

// Class is the class of service of a lane, as RFC 5050 names them. Its number
// is on the wire and never reused.
type Class uint8

// The classes of service.
const (
	Normal Class = iota
	Expedited
	Bulk
	// Confined is of lanes that go to sites named for them alone
	// (docs/decisions/confined-lane.md).
	Confined
)

// Classes lists all classes in the order in which they go out.
var Classes = []Class{Expedited, Normal, Confined, Bulk}

// Open lists the classes whose lanes go to every site.
var Open = []Class{Expedited, Normal, Bulk}

func (c Class) String() string {
	switch c {
	case Normal:
		return "normal"
	case Expedited:
		return "expedited"
	case Bulk:
		return "bulk"
	case Confined:
		return "confined"
	}
	return fmt.Sprintf("class %d", uint8(c))
}

// Lane is one ordered stream of change-sets: of one site, in one class, since
// one start of numbering (epoch).
//
// Branch is zero, save where a site restored from an old copy has used numbers
// twice: then all but one of the branches carry the first four bytes of the
// hash of their first change-set (docs/decisions/forked-lanes.md).
type Lane struct {
	Site   SiteID
	Epoch  uint16
	Class  Class
	Branch uint32
}

// Base returns the lane without its branch: the name its own site used.
func (l Lane) Base() Lane { l.Branch = 0; return l }

// Confined reports whether l goes to the sites named for it alone.
func (l Lane) Confined() bool { return l.Class == Confined }

// IsZero reports whether l names no lane.
func (l Lane) IsZero() bool { return l == Lane{} }

// Compare orders lanes by site, epoch, class, branch.
func (l Lane) Compare(m Lane) int {
	return cmp.Or(
		cmp.Compare(l.Site, m.Site), cmp.Compare(l.Epoch, m.Epoch),
		cmp.Compare(l.Class, m.Class), cmp.Compare(l.Branch, m.Branch))
}

func (l Lane) String() string {
	text := fmt.Sprintf("%08x.%d.%s", uint32(l.Site), l.Epoch, l.Class)
	if l.Branch != 0 {
		text += fmt.Sprintf("~%08x", l.Branch)
	}
	return text
}

// Dot names a change for ever: the change-set Seq (from 1) of a lane, and the
// place of the change in it (from 0). The zero Dot names nothing.
type Dot struct {
	Lane
	Seq   uint64
	Index uint16
}

// IsZero reports whether d names nothing.
func (d Dot) IsZero() bool { return d == Dot{} }

// Compare orders dots by lane, sequence number, index.
func (d Dot) Compare(e Dot) int {
	return cmp.Or(d.Lane.Compare(e.Lane), cmp.Compare(d.Seq, e.Seq), cmp.Compare(d.Index, e.Index))
}

func (d Dot) String() string { return fmt.Sprintf("%s/%d.%d", d.Lane, d.Seq, d.Index) }

// KeySize is the length of a dot as a key, LaneKeySize that of a lane.
const (
	KeySize     = 18
	LaneKeySize = 11
)

// baseKeySize is the length of the part of a key that all branches of a lane share.
const baseKeySize = 7

// Key returns l as bytes that sort as Compare does, and that all keys of its dots
// begin with.
func (l Lane) Key() []byte { return l.appendKey(make([]byte, 0, LaneKeySize)) }

// BaseKey returns what the keys of all branches of l begin with.
func (l Lane) BaseKey() []byte { return l.Key()[:baseKeySize] }

func (l Lane) appendKey(key []byte) []byte {
	key = binary.BigEndian.AppendUint32(key, uint32(l.Site))
	key = binary.BigEndian.AppendUint16(key, l.Epoch)
	key = append(key, byte(l.Class))
	return binary.BigEndian.AppendUint32(key, l.Branch)
}

// LaneFromKey is the inverse of Lane.Key.
func LaneFromKey(key []byte) (Lane, error) {
	if len(key) != LaneKeySize {
		return Lane{}, fmt.Errorf("lane key of %d bytes, expected %d", len(key), LaneKeySize)
	}
	return Lane{
		Site:   SiteID(binary.BigEndian.Uint32(key)),
		Epoch:  binary.BigEndian.Uint16(key[4:]),
		Class:  Class(key[6]),
		Branch: binary.BigEndian.Uint32(key[7:]),
	}, nil
}

// Key returns d as bytes that sort as Compare does; nil for the zero dot, so
// that it is NULL in a table.
func (d Dot) Key() []byte {
	if d.IsZero() {
		return nil
	}
	key := d.Lane.appendKey(make([]byte, 0, KeySize))
	key = append(key, byte(d.Seq>>32))
	key = binary.BigEndian.AppendUint32(key, uint32(d.Seq))
	return binary.BigEndian.AppendUint16(key, d.Index)
}

// SeqMax is the largest sequence number: 40 bits.
const SeqMax = 1<<40 - 1

// DotFromKey is the inverse of Key; an empty key is the zero dot.
func DotFromKey(key []byte) (Dot, error) {
	if len(key) == 0 {
		return Dot{}, nil
	}
	if len(key) != KeySize {
		return Dot{}, fmt.Errorf("dot key of %d bytes, expected %d", len(key), KeySize)
	}
	lane, err := LaneFromKey(key[:LaneKeySize])
	return Dot{
		Lane:  lane,
		Seq:   uint64(key[11])<<32 | uint64(binary.BigEndian.Uint32(key[12:])),
		Index: binary.BigEndian.Uint16(key[16:]),
	}, err
}

// Scan reads a dot from a column that holds its key, where a row of a database is
// scanned; NULL is the zero dot.
func (d *Dot) Scan(column any) error {
	key, ok := column.([]byte)
	if !ok && column != nil {
		return fmt.Errorf("a %T is no dot key", column)
	}
	var err error
	*d, err = DotFromKey(key)
	return err
}
