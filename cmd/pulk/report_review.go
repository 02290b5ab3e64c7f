package main

import (
	"pulk/checklist/run"
	"pulk/sync/changelog"
)

// addReviewsOf tells how the readiness reviews of a run that goes on stand, as of made_at.
func (b *dayBuilder) addReviewsOf(s *run.State) error {
	for n := range s.Steps {
		gate := s.Steps[n].Gate
		if s.Ended != nil || gate == nil || gate.Review == nil || len(gate.Review.Opened) == 0 {
			continue
		}
		detail, err := reviewDetailOf(b.tx, s, n)
		if err != nil {
			return err
		}
		b.report.Reviews = append(b.report.Reviews, detail)
	}
	return nil
}

// addWaivers tells of every waiver that was ever asked for in any run: those stay on each
// report.
func (b *dayBuilder) addWaivers([]changelog.Recorded) error {
	waived, err := run.Waived(b.tx)
	if err != nil {
		return err
	}
	for _, id := range waived {
		s, err := b.state(id)
		if err != nil {
			return err
		}
		if s == nil { // its start is not here yet
			continue
		}
		rows, err := waiverRows(b.tx, s, s.Waivers())
		if err != nil {
			return err
		}
		b.report.Waivers = append(b.report.Waivers, rows...)
	}
	return nil
}

func (t *dayText) reviews() {
	if len(t.Reviews) > 0 {
		t.section("Readiness reviews")
	}
	for i := range t.Reviews {
		r := &t.Reviews[i]
		t.put("", r.heading())
		for j := range r.LineRows {
			if line := &r.LineRows[j]; line.State != "ok" {
				t.put("  ", line.words())
			}
		}
		for _, reason := range r.noGo {
			t.put("  ", reason)
		}
	}
	if len(t.Waivers) > 0 {
		t.section("Waivers, all that were ever asked for")
	}
	for i := range t.Waivers {
		t.item("! ", t.Waivers[i].words())
	}
}

// heading says of which run a review is, and how it stands.
func (row *reviewRow) heading() string { return row.ID + " (" + row.Title + "): " + row.state() }

// words say how a line stands, with its facts.
func (row *reviewLineRow) words() string {
	return row.Line + ": " + row.State + afterColon(row.facts())
}
