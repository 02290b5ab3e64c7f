package run

import (
	"slices"
	"time"

	"pulk/checklist/review"
	"pulk/schema/kind"
	"pulk/sync/change"
	"pulk/sync/changelog"
	"pulk/sync/clock"
)

// fillReview takes the fields of an entry of a readiness review from the values of its
// kind.
func (e *Entry) fillReview(v []change.Value) {
	switch e.Kind {
	case kind.ReviewOpen, kind.ReviewAsk:
		e.Step, e.Text = int(v[1].Num), v[2].Text
	case kind.ReviewCheck:
		e.Step, e.Line, e.Outcome, e.Text, e.Source = int(v[1].Num), review.Key{Name: v[2].Text}, review.Outcome(v[3].Num), v[4].Text, v[5].Text
		if ms := v[6].Num; ms != 0 {
			e.Until = time.UnixMilli(ms).UTC()
		}
	case kind.ReviewAnswer:
		e.Step, e.Line, e.Outcome, e.Text = int(v[1].Num), review.Key{Asked: v[3].Ref}, review.Outcome(v[4].Num), v[5].Text
		if v[3].Ref.IsZero() {
			e.Line.Name = review.QuestionMark + v[2].Text
		}
	case kind.ReviewWaive:
		e.Step, e.Line, e.Ref, e.Text, e.Risk = int(v[1].Num), review.Key{Name: v[2].Text, Asked: v[3].Ref}, v[4].Ref, v[5].Text, v[6].Text
		e.Role, e.Digest, e.Key, e.Signature = v[7].Text, []byte(v[8].Text), v[9].Ref, []byte(v[10].Text)
	case kind.ReviewDecide:
		e.Step, e.Verdict, e.Role, e.Text = int(v[1].Num), Verdict(v[2].Num), v[3].Text, v[4].Text
		e.Digest, e.Key, e.Signature = []byte(v[5].Text), v[6].Ref, []byte(v[7].Text)
	}
}

// rolesAsked returns the roles of its person that an entry's weight depends on.
func (r *Record) rolesAsked(e *Entry) []string {
	var roles []string
	if e.Role != "" {
		roles = append(roles, e.Role)
	}
	if step := r.step(e.Step); e.Kind == kind.ReviewAnswer && step != nil && step.Review != nil {
		for _, q := range step.Review.Questions {
			if q.Role != "" && e.Line.Name == review.QuestionMark+q.ID {
				roles = append(roles, q.Role)
			}
		}
	}
	return roles
}

// readyStates are the states in which a unit may be lowered.
var readyStates = []string{"accepted", "released"}

// Ready reports whether a unit in a state may be lowered.
func Ready(state string) bool { return slices.Contains(readyStates, state) }

// loadOutside reads what bears on the readiness reviews of a run and is no entry of it.
func (r *Record) loadOutside(tx *changelog.Tx) error {
	if !r.everReviewed() {
		return nil
	}
	units, err := UnitsOf(tx, r)
	if err != nil {
		return err
	}
	for _, unit := range units {
		if err := r.loadStates(tx, unit); err != nil {
			return err
		}
		ncs, err := entriesOf(tx, `SELECT dot FROM nonconformance WHERE unit = ?1 AND run IS NOT ?2
			UNION SELECT d.dot FROM loose_disposition AS d JOIN nonconformance AS n ON n.dot = d.nc WHERE n.unit = ?1
			UNION SELECT e.dot FROM run_entry AS e JOIN nonconformance AS n ON n.run = e.run WHERE n.unit = ?1 AND n.run IS NOT ?2 AND e.kind = 19
			ORDER BY 1`, unit, r.Run)
		if err != nil {
			return err
		}
		r.Outside.NCs = append(r.Outside.NCs, ncs...)
	}
	return nil
}

// everReviewed reports whether a revision that the run was ever on asks for a review.
func (r *Record) everReviewed() bool {
	for _, p := range r.Texts {
		if p != nil && p.Reviewed() {
			return true
		}
	}
	return false
}

func (r *Record) loadStates(tx *changelog.Tx, unit clock.Dot) error {
	history, err := tx.History(unit, kind.FieldUnitState, "")
	if err != nil {
		return err
	}
	name, err := tx.Describe(unit)
	for _, a := range history {
		r.Outside.States = append(r.Outside.States, UnitState{Dot: a.Dot, Ctx: a.Ctx, Unit: unit, Name: name, State: a.Text, Ready: Ready(a.Text)})
	}
	return err
}

// UnitsOf returns the units that go where a run goes, in the order of their ids: its
// target, those whose serial it recorded, and all that may be installed in one of them.
func UnitsOf(tx *changelog.Tx, r *Record) ([]clock.Dot, error) {
	var units []clock.Dot
	add := func(unit clock.Dot) {
		if !unit.IsZero() && !slices.Contains(units, unit) {
			units = append(units, unit)
		}
	}
	add(r.Target)
	for _, e := range r.whole().entries(kind.StepRecord, anyStep) {
		add(e.Unit)
	}
	for i := 0; i < len(units); i++ { // units grows meanwhile
		within, err := tx.FieldWithRef(kind.FieldUnitPlace, units[i])
		if err != nil {
			return nil, err
		}
		for _, place := range within {
			if slices.ContainsFunc(place.Values, func(v changelog.Value) bool { return v.Ref == units[i] }) {
				add(place.Entity)
			}
		}
	}
	slices.SortFunc(units, clock.Dot.Compare)
	return units, nil
}

// Waived returns the runs in which somebody ever asked for a waiver, in the order of
// their ids.
func Waived(tx *changelog.Tx) ([]clock.Dot, error) {
	return tx.Dots("SELECT DISTINCT run FROM run_entry WHERE kind = 94 ORDER BY run")
}
