package link

import (
	"time"
)

// resolutionSeconds is the shortest pass, and the shortest break of a pass, that is
// certain to be found.
const resolutionSeconds = 0.02

// watch is one satellite over one site. Its moments are seconds from a time.
type watch struct {
	orbit         *Orbit
	station       station
	from          time.Time
	minutes       float64 // from the epoch of the elements to that time
	periodSeconds float64

	lowestMask, highestMask float64
}

func newWatch(orbit *Orbit, site Site, from time.Time) *watch {
	low, high := site.Mask.extremes(0, 180)
	return &watch{
		orbit: orbit, station: newStation(site), from: from,
		minutes:       minutesBetween(orbit.elements.Epoch, from),
		periodSeconds: 60 * turn / orbit.epoch.motion,
		lowestMask:    low, highestMask: high,
	}
}

func (w *watch) time(seconds float64) time.Time {
	return w.from.Add(time.Duration(seconds * float64(time.Second)))
}

func (w *watch) seconds(t time.Time) float64 { return t.Sub(w.from).Seconds() }

// glimpse is what is seen at one moment.
type glimpse struct {
	seconds float64
	sight   sight
	look    Look
	mask    float64 // its elevation there
	up      bool    // on or above it
	state   State   // in TEME

	sureBefore, sureAfter float64 // seconds during which up cannot change; see sureness
}

// at returns a glimpse without its sureness.
func (w *watch) at(seconds float64) (glimpse, error) {
	state, err := w.orbit.At(w.minutes + seconds/60)
	if err != nil {
		return glimpse{}, err
	}
	g := glimpse{seconds: seconds, state: state, sight: w.station.sight(state, w.time(seconds))}
	g.look = g.sight.look()
	g.mask = w.station.mask.At(g.look.AzimuthDegrees)
	g.up = g.look.ElevationDegrees >= g.mask
	return g, nil
}

// look returns a glimpse with its sureness.
func (w *watch) look(seconds float64) (glimpse, error) {
	g, err := w.at(seconds)
	if err != nil {
		return glimpse{}, err
	}
	w.judge(&g)
	return g, nil
}

// changes finds all moments up to end at which the satellite crosses the mask; one
// at 0 says that it stood above it already. The end that is returned is that of
// the elements, if they give out before.
func (w *watch) changes(end float64) ([]change, float64, error) {
	a, err := w.look(0)
	if err != nil {
		return nil, 0, err
	}
	var found []change
	if a.up {
		found = append(found, change{0, true})
	}
	for a.seconds < end {
		b, err := w.next(a, end)
		if err != nil {
			return found, a.seconds, err
		}
		if found, err = w.between(found, a, b); err != nil {
			return found, a.seconds, err
		}
		a = b
	}
	return found, end, nil
}

// next looks about as far ahead as the glimpses at both ends are sure of; where
// elements give out, up to a second before.
func (w *watch) next(a glimpse, end float64) (glimpse, error) {
	step := max(2*a.sureAfter, resolutionSeconds)
	for {
		b, err := w.look(min(end, a.seconds+step))
		if err == nil || step < 1 {
			return b, err
		}
		step /= 2
	}
}

// between adds the changes between two glimpses, in order: none, if they are sure
// of all the time between them; else those of the two parts at either side of the
// middle of what they are not sure of.
func (w *watch) between(found []change, a, b glimpse) ([]change, error) {
	gap := b.seconds - a.seconds
	if a.up == b.up && a.sureAfter+b.sureBefore >= gap {
		return found, nil
	}
	if gap <= resolutionSeconds {
		if a.up != b.up {
			found = append(found, change{(a.seconds + b.seconds) / 2, b.up})
		}
		return found, nil
	}
	ahead := max(gap/8, min(gap*7/8, (a.sureAfter+gap-b.sureBefore)/2))
	middle, err := w.look(a.seconds + ahead)
	if err != nil {
		return found, err
	}
	if found, err = w.between(found, a, middle); err != nil {
		return found, err
	}
	return w.between(found, middle, b)
}
