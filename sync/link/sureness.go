package link

import "math"

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

// judge sets for how long before and after a glimpse the satellite cannot cross
// the mask. Two reasons are tried, and the longer time counts.
//
// The distance: a direction turns by at most −ln(1 − way/range) while the
// satellite makes that way against the ground. To turn by the height h above or
// below all of the mask it needs a way of range·(1 − e^−h), and for that at least the
// time that it takes at the greatest speed, or at the speed of the moment under the
// greatest acceleration. This serves far from the mask.
//
// The rate: see nearMask. This serves near it.
func (w *watch) judge(g *glimpse) {
	limit := limitsOf(g.state)
	speed := math.Sqrt(dot(g.sight.speed, g.sight.speed))
	height := math.Max(0, w.lowestMask-g.look.ElevationDegrees)
	if g.up {
		height = math.Max(0, g.look.ElevationDegrees-w.highestMask)
	}
	way := g.look.RangeKm * -math.Expm1(-height*math.Pi/180)
	far := max(way/limit.speed, (math.Sqrt(speed*speed+2*limit.acceleration*way)-speed)/limit.acceleration)
	before, after := w.nearMask(g, limit, speed, -1), w.nearMask(g, limit, speed, 1)
	longest := w.periodSeconds / 8 // the limits hold for so long
	g.sureBefore, g.sureAfter = min(longest, max(far, before)), min(longest, max(far, after))
}

// nearMask compares the sine of the elevation, whose rate is known and whose second
// derivative is bounded, with the sine of the mask, before or after the glimpse.
//
// Within a span of time the range stays above range − speed·span, and azimuths
// within the reach of the way made; of the mask there the lowest point counts for
// what is below, the highest for what is above. The second derivative of a unit
// vector to a point that moves with speed v and acceleration a is at most
// a/range + (2/√3)·v²/range². The first span tried is what a level mask would
// give; shorter ones follow where the mask is not.
func (w *watch) nearMask(g *glimpse, limit limits, speed, direction float64) float64 {
	const tries, bendOfSpeed = 8, 1.1547005383792517
	rangeKm := g.look.RangeKm
	along := dot(g.sight.place, g.sight.speed) / rangeKm
	sine := g.sight.place[2] / rangeKm
	away := direction * (g.sight.speed[2] - sine*along) / rangeKm // rate of the sine, from the mask
	if !g.up {
		away = -away
	}
	lasts := func(gap, bend float64) float64 { return (math.Sqrt(away*away+2*bend*gap) + away) / bend }
	gap := math.Abs(sine - math.Sin(g.mask*math.Pi/180))
	span := lasts(gap, limit.acceleration/rangeKm+bendOfSpeed*speed*speed/(rangeKm*rangeKm))
	span = min(span, rangeKm/(4*limit.speed))
	sure := 0.0
	for try := 0; try < tries && span > sure; try++ {
		most := min(limit.speed, speed+limit.acceleration*span)
		nearest := rangeKm - most*span
		left := w.sineGap(g, sine, -math.Log1p(-most*span/rangeKm)*180/math.Pi)
		if left > 0 {
			sure = max(sure, min(span, lasts(left, limit.acceleration/nearest+bendOfSpeed*most*most/(nearest*nearest))))
		}
		closing := (gap-left)/span + max(0, -away) // what a mask of one slope would come to
		span = max(span/64, min(span*0.7, gap/closing))
	}
	return sure
}

// sineGap is how far the sine of the elevation is from that of the nearest mask
// within a turn of so many degrees; negative, if that mask is on the other side.
func (w *watch) sineGap(g *glimpse, sine, turnDegrees float64) float64 {
	low, high := w.lowestMask, w.highestMask
	if low < high {
		low, high = w.station.mask.extremes(g.look.AzimuthDegrees, azimuthReach(g.look.ElevationDegrees, turnDegrees))
	}
	if g.up {
		return sine - math.Sin(high*math.Pi/180)
	}
	return math.Sin(low*math.Pi/180) - sine
}
