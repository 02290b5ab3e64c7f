package link

import (
	"cmp"
	"errors"
	"fmt"
	"math"
	"slices"
	"time"
)

// Pass is a time during which one satellite stands above a site's mask. All times
// are UTC, to 0.1 s.
type Pass struct {
	Satellite          string // its Label
	Rise, Highest, Set time.Time

	RiseAzimuthDegrees      float64 // from north by east
	HighestAzimuthDegrees   float64
	HighestElevationDegrees float64
	SetAzimuthDegrees       float64

	Began   bool // under way when the interval began: Rise is its start
	Unended bool // not over when the interval ended, or when the elements did: Set is then

	ElementsAge time.Duration // from the epoch of the elements to Rise; negative before it
}

// passDaysMax bounds the interval of Passes.
const passDaysMax = 1000

// Passes returns the passes of each satellite of a set over a site, between from
// and to, in the order of their rise. None that lasts 0.02 s or more is missed,
// whatever the orbit and the mask; docs/decisions/orbits.md tells why.
//
// Refraction is left out: at the horizon it lifts a satellite by half a degree, so
// that it is seen some seconds before it rises here.
//
// If elements give no place for some of the time (the satellite decays), the
// error holds a *PropagationError for each such satellite, and the passes
// returned beside it are those before.
func Passes(set []Elements, site Site, from, to time.Time) ([]Pass, error) {
	from, to = from.UTC(), to.UTC()
	if err := site.Check(); err != nil {
		return nil, err
	}
	if days := minutesBetween(from, to) / minutesPerDay; !(days > 0 && days <= passDaysMax) {
		return nil, fmt.Errorf("passes from %s to %s: an interval of %.1f days is not above 0 and at most %d",
			from.Format(time.RFC3339), to.Format(time.RFC3339), days, passDaysMax)
	}
	var passes []Pass
	var failed []error
	for _, e := range set {
		orbit, err := NewOrbit(e)
		if err != nil {
			return nil, fmt.Errorf("%s: %w", e.Label(), err)
		}
		w := newWatch(orbit, site, from)
		changes, end, err := w.changes(to.Sub(from).Seconds())
		if err != nil {
			failed = append(failed, err)
		}
		found, err := w.passes(changes, end, to)
		if err != nil {
			failed = append(failed, err)
		}
		passes = append(passes, found...)
	}
	slices.SortStableFunc(passes, func(a, b Pass) int {
		return cmp.Or(a.Rise.Compare(b.Rise), a.Set.Compare(b.Set), cmp.Compare(a.Satellite, b.Satellite))
	})
	return passes, errors.Join(failed...)
}

// change is a moment at which a satellite comes above the mask or goes below.
type change struct {
	seconds float64
	up      bool
}

// passes makes passes of the changes until end, in seconds; to is the end of the
// interval, before which end lies if the elements gave out.
func (w *watch) passes(changes []change, end float64, to time.Time) ([]Pass, error) {
	var list []Pass
	for i, c := range changes {
		if !c.up {
			continue
		}
		set := change{seconds: end, up: true}
		if i+1 < len(changes) {
			set = changes[i+1]
		}
		p, err := w.pass(c.seconds, set.seconds)
		if err != nil {
			return list, err
		}
		p.Began, p.Unended = c.seconds == 0, set.up
		if p.Began || p.Rise.Before(w.from) {
			p.Rise = w.from
		}
		if p.Set.After(to) || p.Unended && set.seconds == w.seconds(to) {
			p.Set = to
		}
		p.Highest = clampTime(p.Highest, p.Rise, p.Set)
		p.ElementsAge = p.Rise.Sub(w.orbit.elements.Epoch)
		list = append(list, p)
	}
	return list, nil
}

func clampTime(t, low, high time.Time) time.Time {
	if t.Before(low) {
		return low
	}
	if t.After(high) {
		return high
	}
	return t
}

// pass fills in what is seen between two moments.
func (w *watch) pass(rise, set float64) (Pass, error) {
	const tenth = 100 * time.Millisecond
	highest, err := w.highest(rise, set)
	if err != nil {
		return Pass{}, err
	}
	first, err := w.at(rise)
	if err != nil {
		return Pass{}, err
	}
	last, err := w.at(set)
	if err != nil {
		return Pass{}, err
	}
	return Pass{
		Satellite:               w.orbit.elements.Label(),
		Rise:                    w.time(rise).Round(tenth),
		Highest:                 w.time(highest.seconds).Round(tenth),
		Set:                     w.time(set).Round(tenth),
		RiseAzimuthDegrees:      first.look.AzimuthDegrees,
		HighestAzimuthDegrees:   highest.look.AzimuthDegrees,
		HighestElevationDegrees: highest.look.ElevationDegrees,
		SetAzimuthDegrees:       last.look.AzimuthDegrees,
	}, nil
}

// highest finds the greatest elevation between two moments. It looks 48 times a
// revolution and at least 8 times a pass, and closes in on each moment at which
// rising turns to sinking.
func (w *watch) highest(from, to float64) (glimpse, error) {
	pieces := max(8, int(math.Ceil((to-from)/w.periodSeconds*48)))
	before, err := w.at(from)
	if err != nil {
		return glimpse{}, err
	}
	best := before
	for i := 1; i <= pieces; i++ {
		g, err := w.at(from + (to-from)*float64(i)/float64(pieces))
		if err != nil {
			return glimpse{}, err
		}
		top := g
		if before.sight.rising() > 0 && g.sight.rising() < 0 {
			if top, err = w.turning(before, g); err != nil {
				return glimpse{}, err
			}
		}
		if top.look.ElevationDegrees > best.look.ElevationDegrees {
			best = top
		}
		before = g
	}
	return best, nil
}

// turning halves the time between a rising and a sinking glimpse down to 0.02 s.
func (w *watch) turning(rising, sinking glimpse) (glimpse, error) {
	for sinking.seconds-rising.seconds > resolutionSeconds {
		middle, err := w.at((rising.seconds + sinking.seconds) / 2)
		if err != nil {
			return glimpse{}, err
		}
		if middle.sight.rising() > 0 {
			rising = middle
		} else {
			sinking = middle
		}
	}
	return rising, nil
}
