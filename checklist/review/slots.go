package review

import "fmt"

// Slots is how the run's target is filled beside its plan. Slots that a step ahead
// fills are left out, unless they hold something that is not as planned.
type Slots struct {
	Target     string // serial
	Contested  bool   // sites took in different plans
	Filled     int
	Empty      []string // names
	Deviations []string // what is not as planned, with the slot before it
}

func slots(f *Facts) Finding {
	const source = "pulk assembly show"
	s := f.Slots
	switch {
	case s == nil:
		return Finding{Outcome: OK, Facts: "the target has no plan of slots", Source: source}
	case s.Contested:
		return Finding{Outcome: NotKnown, Facts: "sites took in different plans of " + s.Target, Source: source}
	}
	var wrong []string
	if len(s.Empty) > 0 {
		wrong = append(wrong, "empty: slot "+few(s.Empty))
	}
	wrong = append(wrong, s.Deviations...)
	return bad(wrong, fmt.Sprintf("%s of %s as planned", plural(s.Filled, "slot", "slots"), s.Target), source)
}
