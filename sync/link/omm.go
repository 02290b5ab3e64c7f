package link

import (
	"fmt"
	"math"
	"strconv"
	"strings"
	"time"
)

// OMM writes the elements as an Orbit Mean-Elements Message in KVN, as CCSDS
// 502.0-B-3 lays down: canonical, so that the same elements are the same bytes, and
// exact, so that ParseElements gives the same elements back. What the elements do
// not tell is written UNKNOWN for a name and left empty for originator, date and
// classification, as the public catalogues do.
func (e Elements) OMM() string {
	var b strings.Builder
	line := func(name, value string) { b.WriteString(strings.TrimRight(name+" = "+value, " ") + "\n") }
	number := func(name string, value float64) { line(name, strconv.FormatFloat(value, 'g', -1, 64)) }
	named := func(s string) string {
		if s == "" {
			return unknown
		}
		return s
	}
	line("CCSDS_OMM_VERS", "3.0")
	line("CREATION_DATE", e.Created)
	line("ORIGINATOR", e.Originator)
	line("OBJECT_NAME", named(e.Name))
	line("OBJECT_ID", named(e.Designator))
	line("CENTER_NAME", "EARTH")
	line("REF_FRAME", "TEME")
	line("TIME_SYSTEM", "UTC")
	line("MEAN_ELEMENT_THEORY", "SGP4")
	line("EPOCH", e.Epoch.UTC().Format("2006-01-02T15:04:05.000000000"))
	number("MEAN_MOTION", e.MeanMotionRevolutionsPerDay)
	number("ECCENTRICITY", e.Eccentricity)
	number("INCLINATION", e.InclinationDegrees)
	number("RA_OF_ASC_NODE", e.AscendingNodeDegrees)
	number("ARG_OF_PERICENTER", e.PericentreDegrees)
	number("MEAN_ANOMALY", e.MeanAnomalyDegrees)
	line("EPHEMERIS_TYPE", strconv.Itoa(e.EphemerisType))
	line("CLASSIFICATION_TYPE", e.Classification)
	line("NORAD_CAT_ID", strconv.Itoa(e.CatalogNumber))
	line("ELEMENT_SET_NO", strconv.Itoa(e.ElementSetNumber))
	line("REV_AT_EPOCH", strconv.Itoa(e.RevolutionNumber))
	number("BSTAR", e.DragPerEarthRadius)
	number("MEAN_MOTION_DOT", e.MeanMotionDot)
	number("MEAN_MOTION_DDOT", e.MeanMotionDDot)
	return b.String()
}

// ommUnits are the fields of an OMM that are read, with the unit that the standard
// gives them; all others are passed over.
var ommUnits = map[string]string{
	"CCSDS_OMM_VERS": "", "CREATION_DATE": "", "ORIGINATOR": "",
	"OBJECT_NAME": "", "OBJECT_ID": "", "CENTER_NAME": "", "REF_FRAME": "", "TIME_SYSTEM": "", "MEAN_ELEMENT_THEORY": "",
	"EPOCH": "", "MEAN_MOTION": "rev/day", "SEMI_MAJOR_AXIS": "km", "ECCENTRICITY": "", "INCLINATION": "deg",
	"RA_OF_ASC_NODE": "deg", "ARG_OF_PERICENTER": "deg", "MEAN_ANOMALY": "deg",
	"EPHEMERIS_TYPE": "", "CLASSIFICATION_TYPE": "", "NORAD_CAT_ID": "", "ELEMENT_SET_NO": "", "REV_AT_EPOCH": "",
	"BSTAR": "1/ER", "BTERM": "m**2/kg", "AGOM": "m**2/kg", "MEAN_MOTION_DOT": "rev/day**2", "MEAN_MOTION_DDOT": "rev/day**3",
}

// ommFields are the fields of one OMM, whichever way it is written.
type ommFields struct {
	values map[string]ommField
	line   int // where it begins; 0 in JSON
	set    int // its number among the sets
	err    error
}

type ommField struct {
	text string
	line int
}

func newOMMFields(line, set int) *ommFields {
	return &ommFields{values: map[string]ommField{}, line: line, set: set}
}

// add takes a field if it is one that counts. The unit is that of the text, or "".
func (f *ommFields) add(name, text, unit string, line int) error {
	want, counts := ommUnits[name]
	if !counts {
		return nil
	}
	if _, twice := f.values[name]; twice {
		return &ParseError{Line: line, Set: f.set, Field: name, Found: text, Expected: "it once in each message"}
	}
	if unit != "" && !strings.EqualFold(unit, want) {
		if want == "" {
			want = "none"
		}
		return &ParseError{Line: line, Set: f.set, Field: name, Found: "unit " + unit, Expected: "unit " + want}
	}
	f.values[name] = ommField{strings.TrimSpace(text), line}
	return nil
}

func (f *ommFields) fail(name, expected string) {
	if f.err != nil {
		return
	}
	field, there := f.values[name]
	found, line := field.text, field.line
	if !there {
		found, line = "nothing", f.line
	}
	f.err = &ParseError{Line: line, Set: f.set, Field: name, Found: found, Expected: expected}
}

// elements makes a set of elements of the fields.
func (f *ommFields) elements() (Elements, error) {
	f.checkTheory()
	e := Elements{
		Name:                        f.name("OBJECT_NAME"),
		Designator:                  f.name("OBJECT_ID"),
		CatalogNumber:               f.whole("NORAD_CAT_ID", true),
		Classification:              f.name("CLASSIFICATION_TYPE"),
		Epoch:                       f.time("EPOCH"),
		MeanMotionRevolutionsPerDay: f.number("MEAN_MOTION", true),
		Eccentricity:                f.number("ECCENTRICITY", true),
		InclinationDegrees:          f.number("INCLINATION", true),
		AscendingNodeDegrees:        f.number("RA_OF_ASC_NODE", true),
		PericentreDegrees:           f.number("ARG_OF_PERICENTER", true),
		MeanAnomalyDegrees:          f.number("MEAN_ANOMALY", true),
		DragPerEarthRadius:          f.number("BSTAR", true),
		MeanMotionDot:               f.number("MEAN_MOTION_DOT", false),
		MeanMotionDDot:              f.number("MEAN_MOTION_DDOT", false),
		EphemerisType:               f.whole("EPHEMERIS_TYPE", false),
		ElementSetNumber:            f.whole("ELEMENT_SET_NO", false),
		RevolutionNumber:            f.whole("REV_AT_EPOCH", false),
		Originator:                  f.name("ORIGINATOR"),
		Created:                     f.name("CREATION_DATE"),
	}
	if f.err != nil {
		return Elements{}, f.err
	}
	if err := e.Check(); err != nil {
		wrong := err.(*ParseError)
		wrong.Set, wrong.Line = f.set, f.values[wrong.Field].line
		return Elements{}, wrong
	}
	return e, nil
}

// checkTheory refuses elements that SGP4 would read wrongly. JSON of the public
// catalogues leaves all of these fields out, so that what is not there is taken to
// be as it must.
func (f *ommFields) checkTheory() {
	for _, rule := range []struct{ name, allowed string }{
		{"CCSDS_OMM_VERS", "1.0 2.0 3.0"},
		{"CENTER_NAME", "EARTH"},
		{"REF_FRAME", "TEME"},
		{"TIME_SYSTEM", "UTC"},
		{"MEAN_ELEMENT_THEORY", "SGP4 SGP/SGP4 SDP4"},
	} {
		field, there := f.values[rule.name]
		fits := false
		for _, allowed := range strings.Fields(rule.allowed) {
			fits = fits || strings.EqualFold(field.text, allowed)
		}
		if there && !fits {
			f.fail(rule.name, "one of "+strings.ReplaceAll(rule.allowed, " ", ", ")+"; others are not read")
		}
	}
	if _, there := f.values["BTERM"]; there {
		f.fail("BTERM", "BSTAR in its place, as SGP4 takes")
	}
	if _, there := f.values["AGOM"]; there {
		f.fail("AGOM", "MEAN_MOTION_DDOT in its place, as SGP4 takes")
	}
	if _, there := f.values["SEMI_MAJOR_AXIS"]; there {
		f.fail("SEMI_MAJOR_AXIS", "MEAN_MOTION in its place, as SGP4 takes")
	}
}

func (f *ommFields) name(name string) string {
	s := known(f.values[name].text)
	if !plainText(s) {
		f.fail(name, fmt.Sprintf("printable text of at most %d bytes", textFieldMax))
	}
	return s
}

func (f *ommFields) number(name string, needed bool) float64 {
	field := f.values[name]
	if field.text == "" && !needed {
		return 0
	}
	n, ok := decimal(field.text)
	if !ok {
		f.fail(name, "a number")
	}
	return n
}

func (f *ommFields) whole(name string, needed bool) int {
	n := f.number(name, needed)
	if n != math.Trunc(n) || math.Abs(n) > 1e9 {
		f.fail(name, "a whole number")
		return 0
	}
	return int(n)
}

// time reads the two ASCII time codes of CCSDS 301.0-B: with month and day, or with
// the day of the year.
func (f *ommFields) time(name string) time.Time {
	const expected = "UTC such as 2026-11-30T09:13:00.672000 or 2026-334T09:13:00.672"
	s := strings.TrimSuffix(f.values[name].text, "Z")
	whole, fraction, dotted := strings.Cut(s, ".")
	if dotted && (!digits(fraction) || len(fraction) > 9) {
		f.fail(name, expected+", with at most 9 decimals")
		return time.Time{}
	}
	for _, layout := range []string{"2006-01-02T15:04:05", "2006-002T15:04:05"} {
		t, err := time.Parse(layout, whole)
		if err != nil || len(whole) != len(layout) {
			continue
		}
		nanoseconds, _ := strconv.Atoi((fraction + "000000000")[:9])
		return t.Add(time.Duration(nanoseconds))
	}
	f.fail(name, expected)
	return time.Time{}
}
