package bundle

import (
	"fmt"
	"maps"
	"slices"

	"pulk/schema/kind"
	"pulk/sync/change"
	"pulk/sync/clock"
)

// siteTable turns the sites of a bundle into small numbers: the sender is 0, the
// addressee 1, the others follow in order.
type siteTable struct {
	ids   []clock.SiteID
	index map[clock.SiteID]int
	used  []bool
	// The header's clock, by lane without branch; the first of branches counts.
	acked  map[clock.Lane]uint64
	checks map[ackPlace]uint32
}

type ackPlace struct {
	lane clock.Lane
	seq  uint64
}

// laneExtra is the bit of a lane's code that says that epoch and branch follow.
const laneExtra = 4

func newSiteTable(ids []clock.SiteID) *siteTable {
	s := &siteTable{ids: ids, index: map[clock.SiteID]int{}, used: make([]bool, len(ids)),
		acked: map[clock.Lane]uint64{}, checks: map[ackPlace]uint32{}}
	for i, id := range ids {
		s.index[id] = i
	}
	return s
}

// know takes in the header's clock.
func (s *siteTable) know(acks []Ack) {
	for _, ack := range acks {
		lane := ack.Lane.Base()
		if _, ok := s.acked[lane]; !ok {
			s.acked[lane] = ack.Seq
		}
		if _, ok := s.checks[ackPlace{lane, ack.Seq}]; !ok {
			s.checks[ackPlace{lane, ack.Seq}] = ack.Check
		}
	}
}

// pack returns the code of a lane, and what follows it if laneExtra is set in it.
func (s *siteTable) pack(lane clock.Lane) (code, extra uint64, err error) {
	site, ok := s.index[lane.Site]
	if !ok || lane.Class > 3 {
		return 0, 0, fmt.Errorf("lane %s cannot travel", lane)
	}
	code = uint64(site)<<3 | uint64(lane.Class)
	extra = uint64(lane.Epoch) << 1
	if lane.Branch != 0 {
		extra |= 1
	}
	if extra != 0 {
		code |= laneExtra
	}
	return code, extra, nil
}

// unpack is the inverse of pack.
func (s *siteTable) unpack(code, extra, branch uint64) (clock.Lane, error) {
	switch {
	case code>>3 >= uint64(len(s.ids)):
		return clock.Lane{}, fmt.Errorf("site %d of %d", code>>3, len(s.ids))
	case code&laneExtra != 0 && (extra == 0 || extra>>1 > change.MaxEpoch):
		return clock.Lane{}, fmt.Errorf("epoch %d of a lane written long", extra>>1)
	case extra&1 != 0 && (branch == 0 || branch >= 1<<32):
		return clock.Lane{}, fmt.Errorf("branch %d of a lane", branch)
	}
	s.used[code>>3] = true
	return clock.Lane{Site: s.ids[code>>3], Epoch: uint16(extra >> 1), Class: clock.Class(code & 3), Branch: uint32(branch)}, nil
}

// unused returns a site that nothing named.
func (s *siteTable) unused() (clock.SiteID, bool) {
	for i := 2; i < len(s.used); i++ {
		if !s.used[i] {
			return s.ids[i], true
		}
	}
	return 0, false
}

// sitesOf returns the sites that a bundle names, in the order of the table.
func sitesOf(b *Bundle) []clock.SiteID {
	named := map[clock.SiteID]bool{}
	for _, ack := range b.Clock {
		named[ack.Lane.Site] = true
	}
	for i := range b.Statements {
		named[b.Statements[i].Site] = true
	}
	for i := range b.Segments {
		named[b.Segments[i].Lane.Site] = true
		for _, set := range b.Segments[i].Sets {
			nameSites(set, named)
		}
	}
	delete(named, b.From)
	delete(named, b.To)
	return append([]clock.SiteID{b.From, b.To}, slices.Sorted(maps.Keys(named))...)
}

func nameSites(set *change.Set, named map[clock.SiteID]bool) {
	name := func(ref clock.Dot) {
		if !ref.IsZero() {
			named[ref.Site] = true
		}
	}
	name(set.Person)
	for _, row := range set.Seen {
		named[row.Lane.Site] = true
	}
	for i := range set.Changes {
		c := &set.Changes[i]
		for j, column := range layoutOf(c.Kind).columns {
			if column.Type == kind.Ref && j < len(c.Values) {
				name(c.Values[j].Ref)
			}
		}
	}
}
