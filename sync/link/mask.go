package link

import (
	"fmt"
	"math"
	"sort"
)

// Mask is the horizon of a site: straight lines of elevation over azimuth between
// its points, which stand in the order of their azimuths; the last leads past north
// to the first. One point is a horizon of that elevation all around; no point is a
// horizon of 0°.
type Mask []MaskPoint

// MaskPoint is the lowest elevation at which the link works at one azimuth.
type MaskPoint struct {
	AzimuthDegrees   float64 // from north by east, 0 up to, but not, 360
	ElevationDegrees float64 // -90 to 90
}

// maskPointsMax bounds a mask; four points a degree are more than anyone surveys.
const maskPointsMax = 1440

// Check says which point of a mask is wrong, counted from 1.
func (m Mask) Check() error {
	if len(m) > maskPointsMax {
		return fmt.Errorf("horizon mask: %d points are more than %d; leave some out", len(m), maskPointsMax)
	}
	for i, p := range m {
		switch {
		case !(p.AzimuthDegrees >= 0 && p.AzimuthDegrees < 360):
			return fmt.Errorf("horizon mask: azimuth %v of point %d is outside 0 up to, but not, 360 degrees", p.AzimuthDegrees, i+1)
		case !(math.Abs(p.ElevationDegrees) <= 90):
			return fmt.Errorf("horizon mask: elevation %v of point %d is outside -90 to 90 degrees", p.ElevationDegrees, i+1)
		case i > 0 && p.AzimuthDegrees <= m[i-1].AzimuthDegrees:
			return fmt.Errorf("horizon mask: azimuth %v of point %d does not come after %v; put the points in the order of their azimuths, each once", p.AzimuthDegrees, i+1, m[i-1].AzimuthDegrees)
		}
	}
	return nil
}

// At is the elevation of the mask at an azimuth of 0 up to 360, in degrees.
func (m Mask) At(azimuthDegrees float64) float64 {
	switch len(m) {
	case 0:
		return 0
	case 1:
		return m[0].ElevationDegrees
	}
	next := sort.Search(len(m), func(i int) bool { return m[i].AzimuthDegrees > azimuthDegrees })
	before, after := m[(next+len(m)-1)%len(m)], m[next%len(m)]
	gap := around(after.AzimuthDegrees - before.AzimuthDegrees)
	way := around(azimuthDegrees - before.AzimuthDegrees)
	return before.ElevationDegrees + (after.ElevationDegrees-before.ElevationDegrees)*way/gap
}

// around brings an angle of -360 up to 720 into 0 up to 360.
func around(degrees float64) float64 {
	if degrees < 0 {
		degrees += 360
	}
	if degrees >= 360 {
		degrees -= 360
	}
	return degrees
}

// extremes returns the lowest and highest elevation of the mask at azimuths of at
// most half away from the one given.
func (m Mask) extremes(azimuthDegrees, half float64) (low, high float64) {
	if len(m) <= 1 {
		return m.At(0), m.At(0)
	}
	low, high = math.Inf(1), math.Inf(-1)
	take := func(elevation float64) { low, high = math.Min(low, elevation), math.Max(high, elevation) }
	begin := around(azimuthDegrees - half)
	if half < 180 {
		take(m.At(begin))
		take(m.At(around(azimuthDegrees + half)))
	}
	first := sort.Search(len(m), func(i int) bool { return m[i].AzimuthDegrees >= begin })
	for k := range m {
		p := m[(first+k)%len(m)]
		if half < 180 && around(p.AzimuthDegrees-begin) > 2*half {
			break
		}
		take(p.ElevationDegrees)
	}
	return low, high
}

// azimuthReach is how far the azimuth can change when a direction turns by an
// angle: all around, if that leads over the zenith or nadir. All in degrees.
func azimuthReach(elevation, angle float64) float64 {
	const degree = math.Pi / 180
	if angle >= 90-math.Abs(elevation) {
		return 180
	}
	return math.Asin(math.Min(1, math.Sin(angle*degree)/math.Cos(elevation*degree))) / degree
}
