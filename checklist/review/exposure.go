package review

import (
	"fmt"
	"time"
)

// Outdoors is what the weather at the run's place says to the steps ahead that are
// done outdoors.
type Outdoors struct {
	Steps   []string  // ids
	Weather string    // what counts now, in words; empty where none does
	Until   time.Time // until when it counts
	Stops   []string  // why work outdoors must not be done in it, each with its source
}

func weather(f *Facts) Finding {
	const source = "pulk weather list; medical staff and local rules decide"
	o := f.Outdoors
	switch {
	case o == nil:
		return Finding{Outcome: OK, Facts: "no step ahead is outdoors", Source: source}
	case f.Place == "":
		return Finding{Outcome: NotKnown, Facts: "steps are outdoors, and the run names no place", Source: source}
	case o.Weather == "" || !o.Until.IsZero() && !f.Now.Before(o.Until):
		return Finding{Outcome: NotKnown, Facts: "no weather that still counts is entered at " + f.Place, Source: source}
	case len(o.Stops) > 0:
		return bad(o.Stops, "", source)
	}
	return Finding{Outcome: OK, Facts: fmt.Sprintf("%s: work outdoors is inside the limits (step %s)", o.Weather, few(o.Steps)), Source: source, Until: o.Until}
}

// CareNeed is a step ahead that is heavy work, or needs trainings or clearances.
type CareNeed struct {
	Step  string
	Shown bool // somebody with its role is shown here to have all that it asks for
}

// cleared says nothing of anybody: what is there of a person's rest, trainings and
// clearances is confined to named sites, and findings go to all. So it has the same
// words where somebody lacks something and where nothing is known, and never tells
// until when it holds.
func cleared(f *Facts) Finding {
	const source = "kept at named sites alone; medical staff and local rules decide"
	var shown, not []string
	for _, need := range f.Care {
		if need.Shown {
			shown = append(shown, need.Step)
		} else {
			not = append(not, need.Step)
		}
	}
	switch {
	case len(not) > 0:
		return Finding{Outcome: NotKnown, Facts: "not shown here that somebody may do step " + few(not), Source: source}
	case len(shown) == 0:
		return Finding{Outcome: OK, Facts: "no step ahead is heavy work or needs a clearance", Source: source}
	}
	return Finding{Outcome: OK, Facts: "somebody with its role has what is asked for: step " + few(shown), Source: source}
}
