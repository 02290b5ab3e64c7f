package main

import (
	"strings"

	"pulk/checklist/run"
)

// limitsRow is the limits of a step, where they are worked out.
type limitsRow struct {
	Words  string   `json:"limits"` // in words; the formulas while they cannot be worked out
	Min    *string  `json:"min"`    // in the step's unit; null where there is none or it is not known
	Max    *string  `json:"max"`
	Worked []string `json:"worked_out"`      // the arithmetic, each from the formula to its result
	From   []string `json:"worked_out_from"` // the values put in, and where each is from
	Why    string   `json:"not_known"`       // why they cannot be worked out; empty where they are known
}

// limitsRowOf returns the limits of a step for whoever reads now; nil where they are
// fixed.
func limitsRowOf(s *run.State, n int) *limitsRow {
	r := s.Steps[n].Step.Reading
	if r == nil || r.Computed == nil {
		return nil
	}
	b := s.Bounds(n)
	row := &limitsRow{Words: b.In(r.Unit), Min: boundText(b.Min), Max: boundText(b.Max), Why: b.Why}
	row.Worked, row.From = workedOut(b)
	return row
}

// workedOut says how limits came about, in lines.
func workedOut(b run.Bounds) (worked, from []string) {
	worked, from = []string{}, append([]string{}, b.From...)
	for _, w := range b.Worked {
		worked = append(worked, w.String())
	}
	if b.Why != "" {
		from = []string{}
	}
	return worked, from
}

// text says the limits with their arithmetic.
func (l *limitsRow) text() string {
	if l.Why != "" {
		return "limits " + l.Words + ": not known, " + l.Why
	}
	text := "limits " + l.Words + ": " + strings.Join(l.Worked, "; ")
	if len(l.From) > 0 {
		text += "; with " + strings.Join(l.From, ", ")
	}
	return text
}

// stepAsksNow is stepAsks with limits as they are worked out now.
func stepAsksNow(s *run.State, n int) string {
	step, l := s.Steps[n].Step, limitsRowOf(s, n)
	if l == nil {
		return stepAsks(step)
	}
	return stepAsksWith(step, strings.TrimPrefix(l.text(), "limits "))
}
