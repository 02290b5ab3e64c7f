package run

import (
	"time"

	"pulk/schema/kind"
	"pulk/sync/clock"
)

// WaitEnds returns when the time of a waiting step is over; false for a step that
// is no wait, or whose clock nobody has started. It follows from the entry that
// started it, and so from nothing that a restart could lose.
func (s *State) WaitEnds(n int) (ends time.Time, begun bool) {
	if s.Steps[n].Step.WaitMinutes == 0 {
		return time.Time{}, false
	}
	began := s.began(n)
	if began == nil {
		return time.Time{}, false
	}
	minutes := time.Duration(s.Steps[n].Step.WaitMinutes) * time.Minute
	return began.At.Time().Add(clock.Tick + minutes), true // a stamp may be that much early
}

func (s *State) began(n int) *Entry {
	for _, e := range s.Steps[n].Entries {
		if e.Kind == kind.StepBegin {
			return e
		}
	}
	return nil
}
