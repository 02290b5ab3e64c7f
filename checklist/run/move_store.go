package run

import (
	"fmt"

	"pulk/checklist/procedure"
	"pulk/schema/kind"
	"pulk/sync/changelog"
	"pulk/sync/clock"
)

// loadRevisions reads the revisions that a run was ever on, as far as they are here, and
// puts the record on the one that it is on now.
func (rd *Reader) loadRevisions(r *Record) error {
	r.Texts, r.Withdrawn = map[clock.Dot]*procedure.Procedure{}, map[clock.Dot][]Withdrawal{}
	ids := []clock.Dot{r.Revision}
	for _, m := range r.Moves() {
		ids = append(ids, m.Ref)
	}
	for _, id := range ids {
		if _, read := r.Texts[id]; read {
			continue
		}
		var err error
		if r.Texts[id], err = rd.Procedure(id); err != nil {
			return err
		}
		if r.Withdrawn[id], err = withdrawalsOf(rd.tx, id); err != nil {
			return err
		}
	}
	r.Withdrawals = r.Withdrawn[r.Revision]
	r.settle()
	return nil
}

func withdrawalsOf(tx *changelog.Tx, id clock.Dot) ([]Withdrawal, error) {
	revision, found, err := procedure.ByID(tx, id)
	if err != nil || !found {
		return nil, err
	}
	var list []Withdrawal
	for _, w := range revision.Withdrawn {
		ctx, err := tx.Context(w.Dot)
		if err != nil {
			return nil, err
		}
		list = append(list, Withdrawal{w.Dot, ctx, w.Why})
	}
	return list, nil
}

// StepID returns the id of a step of a run by its number on the wire, in the revision
// that the number is of; the number where that, or the run's start, is not here, or where
// the run was moved to several.
func (rd *Reader) StepID(id clock.Dot, step int) (string, error) {
	number := fmt.Sprintf("number %d", step%stepStride+1)
	if step < 0 {
		return number, nil
	}
	revision, err := rd.revisionAfter(id, step/stepStride)
	if err != nil || revision.IsZero() {
		return number, err
	}
	p, err := rd.Procedure(revision)
	if err != nil || p == nil || step%stepStride >= len(p.Steps) {
		return number, err
	}
	return p.Steps[step%stepStride].ID, nil
}

// revisionAfter returns the revision that a run was on after so many moves; none where
// that is not known, or not one.
func (rd *Reader) revisionAfter(id clock.Dot, moves int) (clock.Dot, error) {
	if moves == 0 {
		var key []byte
		found, err := rd.tx.Row("SELECT revision FROM run WHERE dot = ?", []any{id.Key()}, &key)
		if err != nil || !found {
			return clock.Dot{}, err
		}
		return clock.DotFromKey(key)
	}
	entries, err := entriesOf(rd.tx, "SELECT dot FROM run_entry WHERE run = ? AND kind = 104 ORDER BY dot", id)
	if err != nil {
		return clock.Dot{}, err
	}
	r := &Record{Entries: entries}
	var revision clock.Dot
	for _, m := range r.Moves() {
		if len(r.movesSeen(func(d clock.Dot) bool { return d == m.Dot || m.Ctx.Has(d) })) != moves {
			continue
		}
		if !revision.IsZero() && revision != m.Ref {
			return clock.Dot{}, nil
		}
		revision = m.Ref
	}
	return revision, nil
}

// RevisionNow returns the revision that a run is on now; that of its start where it was
// never moved.
func RevisionNow(tx *changelog.Tx, s Summary) (clock.Dot, error) {
	moves, err := entriesOf(tx, "SELECT dot FROM run_entry WHERE run = ? AND kind = 104 ORDER BY dot", s.ID)
	r := &Record{Started: s.Revision, Entries: moves}
	revision, _ := r.standingMove(r.Moves())
	return revision, err
}

// movedRuns returns the runs that were ever moved.
func movedRuns(tx *changelog.Tx) (map[clock.Dot]bool, error) {
	found := map[clock.Dot]bool{}
	dots, err := tx.Dots(fmt.Sprintf("SELECT DISTINCT run FROM run_entry WHERE kind = %d", kind.RunMove.ID))
	for _, dot := range dots {
		found[dot] = true
	}
	return found, err
}
