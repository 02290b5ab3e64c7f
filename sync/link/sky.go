package link

import (
	"fmt"
	"math"
	"time"
)

// Site is a place on the ground and the horizon it sees.
type Site struct {
	LatitudeDegrees  float64 // geodetic, WGS-84, negative south
	LongitudeDegrees float64 // WGS-84, negative west
	HeightMetres     float64 // above the ellipsoid
	Mask             Mask
}

// Check says what is wrong with a site.
func (s Site) Check() error {
	switch {
	case !(math.Abs(s.LatitudeDegrees) <= 90):
		return fmt.Errorf("site: latitude %v is outside -90 to 90 degrees", s.LatitudeDegrees)
	case !(math.Abs(s.LongitudeDegrees) <= 360):
		return fmt.Errorf("site: longitude %v is outside -360 to 360 degrees", s.LongitudeDegrees)
	case !(s.HeightMetres >= -12000 && s.HeightMetres <= 100000):
		return fmt.Errorf("site: height %v is outside -12000 to 100000 metres; give metres above the ellipsoid", s.HeightMetres)
	}
	return s.Mask.Check()
}

// Look is a direction and distance as seen from a site, without refraction.
type Look struct {
	AzimuthDegrees   float64 // from north by east, 0 up to, but not, 360
	ElevationDegrees float64
	RangeKm          float64
}

// LookAngles returns where a site sees a satellite that is in that state (frame
// TEME) at that time.
//
// TEME is turned to the earth by mean sidereal time (IAU 1982), with UTC in place of
// UT1 and without polar motion. UTC is kept within 0.9 s of UT1, in which the earth
// turns 0.004°, 0.42 km at the equator: 0.06° for a satellite 400 km overhead. A rise
// or set of a low satellite is wrong by at most 0.1 s, that of a slow one by seconds.
// Polar motion is under 15 m.
func LookAngles(state State, site Site, t time.Time) Look {
	station := newStation(site)
	return station.sight(state, t).look()
}

// Ellipsoid and turning of the earth in WGS-84.
const (
	ellipsoidRadiusKm   = 6378.137
	ellipsoidFlattening = 1 / 298.257223563
	earthTurnPerSecond  = 7.292115e-5 // radians
)

// siderealAngle is Greenwich mean sidereal time in radians, 0 to 2π.
//
// Source: Aoki et al. (1982), Astron. Astrophys. 105, 359 (IAU 1982).
func siderealAngle(ut1 time.Time) float64 {
	centuries := minutesBetween(time.Date(2000, 1, 1, 12, 0, 0, 0, time.UTC), ut1) / (36525 * minutesPerDay)
	seconds := 67310.54841 + centuries*(876600*3600+8640184.812866+centuries*(0.093104-centuries*6.2e-6))
	angle := math.Mod(seconds*turn/86400, turn)
	if angle < 0 {
		angle += turn
	}
	return angle
}

// station is a site made ready: its place and its own directions in the frame that
// turns with the earth.
type station struct {
	positionKm      [3]float64
	east, north, up [3]float64
	mask            Mask
}

func newStation(s Site) station {
	const e2 = ellipsoidFlattening * (2 - ellipsoidFlattening)
	sinLat, cosLat := math.Sincos(s.LatitudeDegrees * math.Pi / 180)
	sinLon, cosLon := math.Sincos(s.LongitudeDegrees * math.Pi / 180)
	across := ellipsoidRadiusKm / math.Sqrt(1-e2*sinLat*sinLat)
	height := s.HeightMetres / 1000
	return station{
		positionKm: [3]float64{(across + height) * cosLat * cosLon, (across + height) * cosLat * sinLon, (across*(1-e2) + height) * sinLat},
		east:       [3]float64{-sinLon, cosLon, 0},
		north:      [3]float64{-sinLat * cosLon, -sinLat * sinLon, cosLat},
		up:         [3]float64{cosLat * cosLon, cosLat * sinLon, sinLat},
		mask:       s.Mask,
	}
}

// sight is what a station sees of a satellite at a moment: east, north and up in
// km, and how that changes in km/s, in the frame that turns with the earth.
type sight struct{ place, speed [3]float64 }

func (s *station) sight(state State, t time.Time) sight {
	sin, cos := math.Sincos(siderealAngle(t))
	fixed := func(v [3]float64) [3]float64 {
		return [3]float64{cos*v[0] + sin*v[1], cos*v[1] - sin*v[0], v[2]}
	}
	place, speed := fixed(state.PositionKm), fixed(state.VelocityKmPerSecond)
	speed[0] += earthTurnPerSecond * place[1]
	speed[1] -= earthTurnPerSecond * place[0]
	for i := range place {
		place[i] -= s.positionKm[i]
	}
	local := func(v [3]float64) [3]float64 {
		return [3]float64{dot(v, s.east), dot(v, s.north), dot(v, s.up)}
	}
	return sight{local(place), local(speed)}
}

func (s sight) look() Look {
	azimuth := math.Atan2(s.place[0], s.place[1]) * 180 / math.Pi
	if azimuth < 0 {
		azimuth += 360
	}
	if azimuth >= 360 { // a negative number so small that the sum rounds up
		azimuth = 0
	}
	return Look{
		AzimuthDegrees:   azimuth,
		ElevationDegrees: math.Atan2(s.place[2], math.Hypot(s.place[0], s.place[1])) * 180 / math.Pi,
		RangeKm:          math.Sqrt(dot(s.place, s.place)),
	}
}

// rising is a number with the sign of the rate of elevation.
func (s sight) rising() float64 {
	flat2 := s.place[0]*s.place[0] + s.place[1]*s.place[1]
	return s.speed[2]*flat2 - s.place[2]*(s.place[0]*s.speed[0]+s.place[1]*s.speed[1])
}

func dot(a, b [3]float64) float64 { return a[0]*b[0] + a[1]*b[1] + a[2]*b[2] }
