package link

import "time"

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
	Unended bool // not over when the interval ended: Set is its end

	ElementsAge time.Duration // from the epoch of the elements to Rise; negative before it
}
