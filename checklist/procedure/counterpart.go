package procedure

import "slices"

// Counterpart is what became of a step in another revision.
type Counterpart struct {
	Place int  // of the step with its id there; -1 where there is none
	Same  bool // that step is the same: in all that [Compare] tells of a step and of its inputs
	// Whole says that nothing differs up to and with the step: the hazards of the job, and
	// every step before it, in the same order.
	Whole bool
}

// Counterparts says for each step of a what became of it in b.
func Counterparts(a, b *Procedure) []Counterpart {
	list := make([]Counterpart, len(a.Steps))
	index := indexByID(b.Steps)
	whole := slices.Equal(a.Hazards, b.Hazards)
	for i := range a.Steps {
		place, there := index[a.Steps[i].ID]
		if !there {
			list[i], whole = Counterpart{Place: -1}, false
			continue
		}
		same := len(compareStep(&a.Steps[i], &b.Steps[place])) == 0 && sameInputs(a, b, &a.Steps[i])
		whole = whole && same && place == i
		list[i] = Counterpart{place, same, whole}
	}
	return list
}

// sameInputs reports whether what the limits of a step of a are worked out from is the
// same in b.
func sameInputs(a, b *Procedure, s *Step) bool {
	if s.Reading == nil || s.Reading.Computed == nil {
		return true
	}
	return !slices.ContainsFunc(s.Reading.Computed.Uses(), func(name string) bool {
		was, is := a.Input(name), b.Input(name)
		return was == nil || is == nil || was.Unit != is.Unit || was.String() != is.String()
	})
}
