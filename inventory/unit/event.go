package unit

import (
	"cmp"
	"slices"
	"time"

	"pulk/schema/kind"
	"pulk/sync/changelog"
	"pulk/sync/clock"
)

// Event is something that happened to a unit.
type Event struct {
	Dot    clock.Dot
	At     clock.Stamp
	Person clock.Dot
	Kind   *kind.Kind // unit.*; assign.text of a state; assign.ref of a place or slot: a conflict was settled

	Unit     clock.Dot // the unit it happened to
	Part     bool      // it happened to a unit put into, or taken out of, the one asked about
	Assembly clock.Dot // install, remove, settled slot
	Slot     string
	From, To clock.Dot // add, move, remove: locations; settled place: To is a location or assembly
	State    string    // add, fail, state
	Hours    int64     // fail: hours in service in all, or UnknownHours
	Text     string    // why, note, mode, or a certificate and when it is due
	Run      clock.Dot // install, fail
}

// Events returns what happened to a unit, by time.
func Events(tx *changelog.Tx, unit clock.Dot) ([]Event, error) {
	dots, err := eventsOf(tx, unit)
	if err != nil {
		return nil, err
	}
	var list []Event
	err = tx.EachRecorded(dots, func(logged changelog.Recorded) error {
		if logged.Kind == nil {
			return nil
		}
		e := eventFrom(logged.Entry)
		e.Part = e.Unit != unit
		list = append(list, e)
		return nil
	})
	slices.SortFunc(list, func(a, b Event) int { return cmp.Or(cmp.Compare(a.At, b.At), a.Dot.Compare(b.Dot)) })
	return list, err
}

func eventFrom(entry *changelog.Entry) Event {
	v := entry.Values
	e := Event{Dot: entry.Dot, At: entry.At, Person: entry.Person, Kind: entry.Kind, Hours: UnknownHours, Unit: v[0].Ref}
	switch e.Kind {
	case kind.UnitAdd:
		e.Unit, e.To, e.State = e.Dot, v[3].Ref, v[4].Text
	case kind.UnitMove:
		e.From, e.To, e.Text = v[1].Ref, v[2].Ref, v[3].Text
	case kind.UnitInstall:
		e.Assembly, e.Slot, e.Run = v[1].Ref, v[2].Text, v[3].Ref
	case kind.UnitRemove:
		e.Assembly, e.Slot, e.To, e.Text = v[1].Ref, v[2].Text, v[3].Ref, v[4].Text
	case kind.UnitFail:
		e.Hours, e.Text, e.Run, e.State = v[1].Num, v[2].Text, v[3].Ref, v[4].Text
	case kind.UnitCalibrate:
		e.Text = v[1].Text + ", due " + v[4].Text
	case kind.AssignText:
		e.State, e.Text = v[3].Text, v[4].Text
	case kind.AssignRef:
		e.Text = v[4].Text
		if kind.FieldID(v[1].Num) == kind.FieldUnitSlot {
			e.Unit, e.Assembly, e.Slot = v[3].Ref, v[0].Ref, v[2].Text
		} else {
			e.To = v[3].Ref
		}
	}
	return e
}

// LastInstall returns the last of a unit's own events that put it into an assembly, or
// nil.
func LastInstall(events []Event) *Event {
	for i := len(events) - 1; i >= 0; i-- {
		if e := &events[i]; !e.Part && e.Kind == kind.UnitInstall {
			return e
		}
	}
	return nil
}

// PlaceBefore returns where a unit lay before one of its events, by those before it in
// time; none where they do not say.
func PlaceBefore(events []Event, dot clock.Dot) clock.Dot {
	var place clock.Dot
	for _, e := range events {
		if e.Dot == dot {
			break
		}
		if !e.Part && !e.To.IsZero() {
			place = e.To
		}
	}
	return place
}

// ServiceHours returns the hours that a unit was in service up to now, from its
// events by time: it counts while it is installed and has not failed. Hours told
// at a failure are its meter's, so they replace what was counted up to then. A unit
// that failed counts again from when it is set to received, accepted or released,
// if it is still installed. Events after now are left out.
//
// A unit that is itself in nothing, such as a whole string, counts as not in
// service.
func ServiceHours(events []Event, now time.Time) float64 {
	var s service
	for _, e := range events {
		at := e.At.Time()
		if e.Part || at.After(now) {
			continue
		}
		s.pass(at)
		s.take(e)
	}
	s.pass(now)
	return s.total.Hours()
}

// service is a unit's time in service while its events are gone through.
type service struct {
	total      time.Duration
	since      time.Time
	in         clock.Dot
	assemblies []clock.Dot // that it was ever in, as a settled place may name one
	failed     bool
}

func (s *service) pass(to time.Time) {
	if !s.in.IsZero() && !s.failed {
		s.total += to.Sub(s.since)
	}
	s.since = to
}

func (s *service) take(e Event) {
	switch e.Kind {
	case kind.UnitInstall:
		s.in = e.Assembly
		s.assemblies = append(s.assemblies, e.Assembly)
	case kind.UnitRemove, kind.UnitMove:
		s.in = clock.Dot{}
	case kind.UnitFail:
		s.failed = true
		if e.Hours >= 0 {
			s.total = time.Duration(e.Hours) * time.Hour
		}
	case kind.AssignText:
		switch e.State {
		case Failed, Scrapped:
			s.failed = true
		case Received, Accepted, Released:
			s.failed = false
		}
	case kind.AssignRef:
		if e.Assembly.IsZero() {
			s.in = clock.Dot{}
			if slices.Contains(s.assemblies, e.To) {
				s.in = e.To
			}
		}
	}
}

// Run is a piece's time in service from new, or from when it was mended.
type Run struct {
	Hours  float64
	Failed bool // it ended with a failure; else it goes on, or ended without one
}

// Runs returns the times in service that a unit had up to now, from its events by time:
// up to each failure that [FailureTimes] counts, and what came after the last. A unit
// that was mended counts as new.
func Runs(events []Event, now time.Time) []Run {
	var s service
	var list []Run
	var began time.Duration // of the run, in hours of service
	end := func(failed bool) {
		if hours := (s.total - began).Hours(); hours > 0 {
			list = append(list, Run{hours, failed})
		}
		began = s.total
	}
	for _, e := range events {
		at := e.At.Time()
		if e.Part || at.After(now) {
			continue
		}
		s.pass(at)
		fails := e.Kind == kind.UnitFail && !s.failed && (!s.in.IsZero() || e.Hours > 0)
		if s.take(e); fails {
			end(true)
		}
	}
	s.pass(now)
	end(false)
	return list
}

// FailuresInService counts the failures that say something of a unit's rate in
// service: those while it was installed, or told with hours of its meter. A module
// that fails on the bench before it was ever used is not one.
func FailuresInService(events []Event) int64 { return int64(len(FailureTimes(events))) }

// FailureTimes returns when those failures were.
func FailureTimes(events []Event) []time.Time {
	var s service
	var times []time.Time
	for _, e := range events {
		if e.Part {
			continue
		}
		if e.Kind == kind.UnitFail && !s.failed && (!s.in.IsZero() || e.Hours > 0) {
			times = append(times, e.At.Time())
		}
		s.take(e)
	}
	return times
}

// PlaceAt returns the location of a unit at a time, by the events of all units: where
// it lay, or where the assembly did that it was in. None where they do not say.
func PlaceAt(events map[clock.Dot][]Event, unit clock.Dot, at time.Time) clock.Dot {
	for range maxNested {
		var place, assembly clock.Dot
		for _, e := range events[unit] {
			if e.At.Time().After(at) {
				break
			}
			switch {
			case e.Part:
			case e.Kind == kind.UnitInstall:
				assembly = e.Assembly
			case !e.To.IsZero():
				place, assembly = e.To, clock.Dot{}
			}
		}
		if assembly.IsZero() {
			return place
		}
		unit = assembly
	}
	return clock.Dot{}
}

// maxNested bounds how far assemblies are followed: two sites could each have put one
// of two into the other.
const maxNested = 16

// StressedHours is [ServiceHours] of a unit where an hour at some places counts more
// than one, or less: by the stress of the place where it was then, of which the events
// of all units tell. What a meter told counts at the place before.
func StressedHours(events map[clock.Dot][]Event, unit clock.Dot, now time.Time, stress func(place clock.Dot) float64) float64 {
	var moments []time.Time
	turns(events, unit, map[clock.Dot]bool{}, &moments)
	slices.SortFunc(moments, time.Time.Compare)
	own, sum, before := events[unit], 0.0, 0.0
	for i, at := range moments {
		next := now
		if i+1 < len(moments) && moments[i+1].Before(now) {
			next = moments[i+1]
		}
		if at.After(now) {
			break
		}
		hours := ServiceHours(own, next)
		sum += (hours - before) * stress(PlaceAt(events, unit, at))
		before = hours
	}
	return sum
}

// turns collects when something happened to a unit, or to what it was ever in.
func turns(events map[clock.Dot][]Event, unit clock.Dot, seen map[clock.Dot]bool, moments *[]time.Time) {
	if seen[unit] || len(seen) > maxNested {
		return
	}
	seen[unit] = true
	for _, e := range events[unit] {
		*moments = append(*moments, e.At.Time())
		if !e.Part && e.Kind == kind.UnitInstall {
			turns(events, e.Assembly, seen, moments)
		}
	}
}
