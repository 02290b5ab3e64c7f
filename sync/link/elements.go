package link

import (
	"strconv"
	"time"
)

// Elements is one set of mean orbital elements of one satellite, as SGP4 takes
// them (frame TEME, theory SGP4, WGS-72), whatever text it came as. Two sets are
// the same if they compare equal with ==, once their times are in UTC.
type Elements struct {
	Name           string // as the source gives it, perhaps empty
	Designator     string // international designator such as "1998-067A", perhaps empty
	CatalogNumber  int    // of the catalogue of space objects, 0 to 999999999
	Classification string // "U", "C" or "S", perhaps empty

	Epoch time.Time // UTC; whole nanoseconds hold 1e-8 day of a TLE exactly

	MeanMotionRevolutionsPerDay float64 // Kozai mean motion
	Eccentricity                float64 // 0 up to, but not, 1
	InclinationDegrees          float64
	AscendingNodeDegrees        float64 // right ascension
	PericentreDegrees           float64 // argument of pericentre
	MeanAnomalyDegrees          float64

	DragPerEarthRadius float64 // B*, in 1/earth radii

	MeanMotionDot  float64 // revolutions/day², as a TLE prints it (half the derivative); not used by SGP4
	MeanMotionDDot float64 // revolutions/day³, as a TLE prints it (a sixth of it); not used by SGP4

	EphemerisType    int // 0 for SGP4
	ElementSetNumber int
	RevolutionNumber int // at epoch

	Originator string // who made the set; "" if the text does not say
	Created    string // when, as the text puts it; "" if it does not say
}

// Label is the name, or the catalogue number where there is no name.
func (e Elements) Label() string {
	if e.Name != "" {
		return e.Name
	}
	return strconv.Itoa(e.CatalogNumber)
}
