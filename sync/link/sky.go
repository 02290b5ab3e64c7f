package link

// Site is a place on the ground and the horizon it sees.
type Site struct {
	LatitudeDegrees  float64 // geodetic, WGS-84, negative south
	LongitudeDegrees float64 // WGS-84, negative west
	HeightMetres     float64 // above the ellipsoid
	Mask             Mask
}

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
