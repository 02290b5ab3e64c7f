package review

import (
	"fmt"
	"strings"
	"time"
)

// InstrumentNeed is an instrument that steps ahead measure with.
type InstrumentNeed struct {
	Part  string   // part number; empty: any instrument does
	Steps []string // ids of the steps
	// There are the instruments that lie at the place or within it.
	There []Instrument
}

// Instrument is a unit that measures.
type Instrument struct {
	Name string // serial
	Due  string // YYYY-MM-DD, the last day of its calibration; empty where it has none
}

// holds reports whether an instrument is in calibration at a time, and until when.
func (i Instrument) holds(now time.Time) (until time.Time, ok bool) {
	day, err := time.Parse(time.DateOnly, i.Due)
	until = day.Add(24 * time.Hour)
	return until, err == nil && now.Before(until)
}

func instruments(f *Facts) Finding {
	const source = "the procedure's readings and pulk unit list"
	if len(f.Instruments) == 0 {
		return Finding{Outcome: OK, Facts: "the steps ahead ask for no instrument", Source: source}
	}
	if f.Place == "" {
		return Finding{Outcome: NotKnown, Facts: "the run names no place, so nobody can say what lies there", Source: source}
	}
	var wrong, good []string
	var until time.Time
	for _, need := range f.Instruments {
		name, ends := need.best(f.Now)
		if name == "" {
			wrong = append(wrong, need.missing())
			continue
		}
		good = append(good, strings.TrimSpace(need.Part+" "+name))
		if until.IsZero() || ends.Before(until) {
			until = ends
		}
	}
	finding := bad(wrong, strings.Join(good, "; ")+" in calibration", source)
	if finding.Outcome == OK {
		finding.Until = until
	}
	return finding
}

// best returns the instrument whose calibration holds longest; "" where none holds.
func (n *InstrumentNeed) best(now time.Time) (name string, until time.Time) {
	for _, i := range n.There {
		if ends, ok := i.holds(now); ok && ends.After(until) {
			name, until = i.Name, ends
		}
	}
	return name, until
}

// missing says what there is instead of an instrument in calibration.
func (n *InstrumentNeed) missing() string {
	what := n.Part
	if what == "" {
		what = "instrument"
	}
	var names []string
	for _, i := range n.There {
		switch {
		case i.Due != "":
			names = append(names, i.Name+" was due "+i.Due)
		case n.Part != "": // where any does, what was never calibrated is no instrument
			names = append(names, i.Name+" has no calibration")
		}
	}
	text := fmt.Sprintf("step %s: no %s in calibration", few(n.Steps), what)
	if len(names) > 0 {
		text += " (" + few(names) + ")"
	}
	return text
}
