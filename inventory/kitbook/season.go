package kitbook

import (
	"slices"
	"time"

	"pulk/inventory/stock"
	"pulk/inventory/unit"
	"pulk/schema/kind"
	"pulk/sync/changelog"
	"pulk/sync/clock"
)

// SeasonOf reads what the time of a plan took: failures in service and what was issued,
// at the place of the plan or in it, from its first day up to the delivery or now.
func SeasonOf(tx *changelog.Tx, p *Plan, delivered, now time.Time) (Season, error) {
	from, err := time.Parse(time.DateOnly, p.From)
	if err != nil { // what a damaged program wrote
		return Season{}, err
	}
	s := Season{From: from, End: delivered, Over: !now.Before(delivered), Failed: map[clock.Dot]int64{}, Issued: map[clock.Dot]int64{}, Held: map[clock.Dot]bool{}}
	if !s.Over {
		s.End = now
	}
	places, err := placesIn(tx, p.At)
	if err != nil {
		return Season{}, err
	}
	if err := s.failures(tx, places); err != nil {
		return Season{}, err
	}
	return s, s.issues(tx, places)
}

func (s *Season) during(at time.Time) bool { return !at.Before(s.From) && at.Before(s.End) }

// placesIn returns the places that are or lie in one; nil for everywhere.
func placesIn(tx *changelog.Tx, place clock.Dot) (map[clock.Dot]bool, error) {
	if place.IsZero() {
		return nil, nil
	}
	list, err := stock.Locations(tx)
	if err != nil {
		return nil, err
	}
	in := map[clock.Dot]bool{place: true}
	for range list { // as deep as they can lie in each other
		for _, l := range list {
			if in[l.Parent] {
				in[l.ID] = true
			}
		}
	}
	return in, nil
}

func (s *Season) failures(tx *changelog.Tx, places map[clock.Dot]bool) error {
	units, err := unit.List(tx, unit.Filter{})
	if err != nil {
		return err
	}
	events := map[clock.Dot][]unit.Event{}
	for _, u := range units {
		if events[u.ID], err = unit.Events(tx, u.ID); err != nil {
			return err
		}
	}
	for _, u := range units {
		for _, at := range unit.FailureTimes(events[u.ID]) {
			if s.during(at) && (places == nil || places[unit.PlaceAt(events, u.ID, at)]) {
				s.Failed[u.Item]++
			}
		}
	}
	return nil
}

func (s *Season) issues(tx *changelog.Tx, places map[clock.Dot]bool) error {
	list, err := stock.Movements(tx)
	if err != nil {
		return err
	}
	list = slices.DeleteFunc(list, func(m stock.Movement) bool {
		return m.Kind != kind.StockIssue || !m.Voided.IsZero() || places != nil && !places[m.From]
	})
	slices.SortFunc(list, func(a, b stock.Movement) int { return a.ID.Compare(b.ID) })
	var dots []clock.Dot
	for _, m := range list {
		dots = append(dots, m.ID)
	}
	at := 0
	return tx.EachRecorded(dots, func(r changelog.Recorded) error {
		m := list[at]
		at++
		if s.during(r.At.Time()) {
			s.Issued[m.Item] += m.Quantity
		}
		return nil
	})
}

// Carried picks, of the plans for one place and time, the one that was kept last: the
// others are what might have been. Plans that are void are left out.
func Carried(list []*Plan) []*Plan {
	type season struct {
		from, until string
		at          clock.Dot
	}
	last := map[season]*Plan{}
	for _, p := range list {
		if p.Voided == nil {
			last[season{p.From, p.Until, p.At}] = p
		}
	}
	var out []*Plan
	for _, p := range list {
		if last[season{p.From, p.Until, p.At}] == p {
			out = append(out, p)
		}
	}
	return out
}
