package link

import (
	"math"
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
}

func newWatch(orbit *Orbit, site Site, from time.Time) *watch {
	return &watch{
		orbit: orbit, station: newStation(site), from: from,
		minutes:       minutesBetween(orbit.elements.Epoch, from),
		periodSeconds: 60 * turn / orbit.epoch.motion,
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
	up      bool    // on or above the mask
	state   State   // in TEME
	sure    float64 // seconds before and after during which up cannot change; see watch.look
}

// at returns a glimpse without its sureness.
func (w *watch) at(seconds float64) (glimpse, error) {
	state, err := w.orbit.At(w.minutes + seconds/60)
	if err != nil {
		return glimpse{}, err
	}
	g := glimpse{seconds: seconds, state: state, sight: w.station.sight(state, w.time(seconds))}
	g.look = g.sight.look()
	g.up = g.look.ElevationDegrees >= w.station.mask.At(g.look.AzimuthDegrees)
	return g, nil
}

// look returns a glimpse with its sureness.
//
// A direction turns by at most −ln(1 − way/range) while the satellite makes that
// way against the ground. So it needs, to turn by the clearance of the mask, a way
// of range·(1 − e^−clearance); and to make that way at least the time that it takes
// at the greatest speed the orbit allows, or at the speed of the moment under the
// greatest acceleration the orbit allows, whichever is longer.
func (w *watch) look(seconds float64) (glimpse, error) {
	g, err := w.at(seconds)
	if err != nil {
		return glimpse{}, err
	}
	clearance := w.station.mask.clearance(g.look) * math.Pi / 180
	way := g.look.RangeKm * -math.Expm1(-clearance)
	speed := math.Sqrt(dot(g.sight.speed, g.sight.speed))
	limit := limitsOf(g.state)
	g.sure = max(way/limit.speed, (math.Sqrt(speed*speed+2*limit.acceleration*way)-speed)/limit.acceleration)
	g.sure = min(g.sure, w.periodSeconds/8)
	return g, nil
}

// limits are the greatest speed (km/s) and acceleration (km/s²) against the ground.
type limits struct{ speed, acceleration float64 }

// limitsOf takes them from the ellipse that a state is on, with a margin for what
// drag, flattening, sun and moon change of it within an eighth of a revolution.
func limitsOf(s State) limits {
	const margin = 1.05
	r := math.Sqrt(dot(s.PositionKm, s.PositionKm))
	v2 := dot(s.VelocityKmPerSecond, s.VelocityKmPerSecond)
	inward := dot(s.PositionKm, s.VelocityKmPerSecond)
	momentum2 := r*r*v2 - inward*inward
	axis := 1 / (2/r - v2/earthGravity)
	eccentricity := math.Sqrt(math.Max(0, 1-momentum2/(earthGravity*axis)))
	nearest, farthest := axis*(1-eccentricity)/margin, axis*(1+eccentricity)*margin
	if !(axis > 0) || nearest < earthRadiusKm/2 { // no ellipse that SGP4 gives
		nearest, farthest = earthRadiusKm/2, math.Max(2*r, 1e6)
	}
	speed := margin*math.Sqrt(earthGravity*(2/nearest-2/(nearest+farthest))) + earthTurnPerSecond*farthest
	return limits{
		speed:        speed,
		acceleration: earthGravity/(nearest*nearest) + 2*earthTurnPerSecond*speed + earthTurnPerSecond*earthTurnPerSecond*farthest,
	}
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
	step := max(2*a.sure, resolutionSeconds)
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
	if a.up == b.up && a.sure+b.sure >= gap {
		return found, nil
	}
	if gap <= resolutionSeconds {
		if a.up != b.up {
			found = append(found, change{(a.seconds + b.seconds) / 2, b.up})
		}
		return found, nil
	}
	ahead := max(gap/8, min(gap*7/8, (a.sure+gap-b.sure)/2))
	middle, err := w.look(a.seconds + ahead)
	if err != nil {
		return found, err
	}
	if found, err = w.between(found, a, middle); err != nil {
		return found, err
	}
	return w.between(found, middle, b)
}
