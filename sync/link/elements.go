package link

import (
	"fmt"
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

// Check says which value is out of its range; it names the field as an OMM does.
func (e Elements) Check() error {
	for _, n := range []struct {
		field     string
		value     float64
		low, high float64
	}{
		{"MEAN_MOTION", e.MeanMotionRevolutionsPerDay, 0, 20},
		{"ECCENTRICITY", e.Eccentricity, 0, 1},
		{"INCLINATION", e.InclinationDegrees, 0, 180},
		{"RA_OF_ASC_NODE", e.AscendingNodeDegrees, -360, 360},
		{"ARG_OF_PERICENTER", e.PericentreDegrees, -360, 360},
		{"MEAN_ANOMALY", e.MeanAnomalyDegrees, -360, 360},
		{"BSTAR", e.DragPerEarthRadius, -10, 10},
		{"MEAN_MOTION_DOT", e.MeanMotionDot, -100, 100},
		{"MEAN_MOTION_DDOT", e.MeanMotionDDot, -100, 100},
		{"NORAD_CAT_ID", float64(e.CatalogNumber), 0, 999999999},
		{"EPHEMERIS_TYPE", float64(e.EphemerisType), 0, 0},
		{"ELEMENT_SET_NO", float64(e.ElementSetNumber), 0, 999999},
		{"REV_AT_EPOCH", float64(e.RevolutionNumber), 0, 99999999},
		{"EPOCH (year)", float64(e.Epoch.UTC().Year()), 1957, 2199},
	} {
		if !(n.value >= n.low && n.value <= n.high) {
			return &ParseError{Field: n.field, Found: fmt.Sprint(n.value), Expected: fmt.Sprintf("%v to %v", n.low, n.high)}
		}
	}
	if e.MeanMotionRevolutionsPerDay == 0 {
		return &ParseError{Field: "MEAN_MOTION", Found: "0", Expected: "more than 0 revolutions a day"}
	}
	if e.Eccentricity == 1 {
		return &ParseError{Field: "ECCENTRICITY", Found: "1", Expected: "less than 1"}
	}
	return nil
}
