package run

import (
	"fmt"
	"slices"

	"pulk/checklist/procedure"
	"pulk/schema/kind"
	"pulk/sync/clock"
)

// stepStride is what a step's number on the wire grows by with each move of the run
// that its author knew: number = place + moves * stepStride. A procedure has at most
// that many steps. So a reader that lacks a move never takes a step for one of another
// revision, and neither does a program that knows of no moves.
const stepStride = 1000

// Elsewhere is the step of an entry that is about no step of the run's revision: its
// step is not there any more, is not the same, or is of a revision that is not here.
const Elsewhere = -3

// Origin is where an entry stood in the revision that its author knew the run to be on.
type Origin struct {
	Wire     int // the step's number as it was written, and signed
	Revision clock.Dot
	Text     *procedure.Procedure // that revision; nil where it is not here
	Step     *procedure.Step      // in that revision, or nil
	// Now is the place of the step with that id in the run's revision; NoStep where there
	// is none, or where the entry is about the run as a whole.
	Now int
	// Waits says that its author knew of a move, or of a revision, that is not here yet.
	Waits bool
}

// wireStep is the number of the entry's step as it was written, and signed.
func (e *Entry) wireStep() int {
	if e.Origin != nil {
		return e.Origin.Wire
	}
	return e.Step
}

// own returns the step of an entry as its author knew it, or nil.
func (r *Record) own(e *Entry) *procedure.Step {
	if e.Origin != nil {
		return e.Origin.Step
	}
	return r.step(e.Step)
}

// StepOf returns the step that an entry is about, as its author knew it; nil for one about
// the run as a whole, or about a step that is not known here.
func (s *State) StepOf(e *Entry) *procedure.Step { return s.own(e) }

// StepName returns the id of the step that an entry is about; its number where that is
// not known here, and nothing for one about the run as a whole.
func (s *State) StepName(e *Entry) string {
	if step := s.own(e); step != nil {
		return step.ID
	}
	if e.wireStep() < 0 {
		return ""
	}
	return fmt.Sprintf("number %d", e.wireStep()%stepStride+1)
}

// RevisionOf returns the name of the revision that an entry was written on where that is
// not the run's now; else nothing.
func (s *State) RevisionOf(e *Entry) string {
	if e.Origin == nil || e.Origin.Text == nil || e.Origin.Revision == s.Revision {
		return ""
	}
	return e.Origin.Text.Revision
}

// placeNow returns the place of the step with an entry's step's id, whether it is the
// same or not; NoStep where there is none.
func (e *Entry) placeNow() int {
	if e.Origin != nil {
		return e.Origin.Now
	}
	return e.Step
}

// waits reports whether the entry is about a revision that is not here yet.
func (e *Entry) waits() bool { return e.Origin != nil && e.Origin.Waits }

// stale reports whether the entry is of another revision, in which the step that is at
// place n now was not the same.
func (e *Entry) stale(n int) bool {
	return e.Origin != nil && e.Step == Elsewhere && e.Origin.Now == n
}

// Moves returns the moves of the run from one revision to another, in the order of
// their dots.
func (r *Record) Moves() []*Entry { return r.movesSeen(func(clock.Dot) bool { return true }) }

func (r *Record) movesSeen(sees func(clock.Dot) bool) []*Entry {
	var list []*Entry
	for i := range r.Entries {
		if e := &r.Entries[i]; e.Kind == kind.RunMove && sees(e.Dot) {
			list = append(list, e)
		}
	}
	return list
}

// standingMove returns the revision that moves lead to: that of the last ones, which no
// other had seen. Where those differ the run is contested; then it is the revision that
// the moves before them lead to.
func (r *Record) standingMove(moves []*Entry) (revision clock.Dot, contested []*Entry) {
	if len(moves) == 0 {
		return r.Started, nil
	}
	var last, before []*Entry
	for _, m := range moves {
		if slices.ContainsFunc(moves, func(other *Entry) bool { return other.Ctx.Has(m.Dot) && other.Dot != m.Dot }) {
			before = append(before, m)
		} else {
			last = append(last, m)
		}
	}
	if slices.ContainsFunc(last, func(m *Entry) bool { return m.Ref != last[0].Ref }) {
		revision, _ = r.standingMove(before)
		return revision, last
	}
	return last[0].Ref, nil
}

// knownTo returns the revision that the author of an entry knew the run to be on; false
// where a move that they knew is not here.
func (r *Record) knownTo(e *Entry) (clock.Dot, bool) {
	moves := r.movesSeen(func(d clock.Dot) bool { return e.Ctx.Has(d) && d != e.Dot })
	if wire := e.wireStep(); wire >= 0 {
		switch {
		case wire < stepStride: // it knew of no move, or its program knows none
			return r.Started, true
		case len(moves) != wire/stepStride:
			return clock.Dot{}, false
		}
	}
	revision, _ := r.standingMove(moves)
	return revision, true
}

// moved reports whether any entry is, or may be, of another revision than the first.
func (r *Record) moved() bool {
	return slices.ContainsFunc(r.Entries, func(e Entry) bool { return e.Kind == kind.RunMove || e.Step >= stepStride })
}

// settle finds the revision that the run is on and places every entry in it. Nothing
// changes where the run was never moved. Entries are as they were written; Texts and
// Withdrawn hold what is here of every revision that the run was ever on.
func (r *Record) settle() {
	r.Started = r.Revision
	if !r.moved() {
		return
	}
	for i := range r.Entries {
		r.Entries[i].Origin = &Origin{Wire: r.Entries[i].Step, Now: NoStep}
	}
	revision, contested := r.standingMove(r.Moves())
	r.Contested = contested
	r.place(revision)
}

// add adds entries, as they were written, to a settled record.
func (r *Record) add(fresh []Entry) {
	for i := range r.Entries {
		if e := &r.Entries[i]; e.Origin != nil {
			e.Step, e.Origin = e.Origin.Wire, nil
		}
	}
	r.Entries = append(r.Entries, fresh...)
	slices.SortFunc(r.Entries, func(a, b Entry) int { return a.Dot.Compare(b.Dot) })
	r.Revision = r.Started
	r.settle()
}

// on returns the record as of another revision that the run was on.
func (r *Record) on(revision clock.Dot) *Record {
	if revision == r.Revision {
		return r
	}
	other := *r
	other.Entries = slices.Clone(r.Entries)
	for i := range other.Entries {
		origin := *other.Entries[i].Origin
		other.Entries[i].Origin = &origin
	}
	other.place(revision)
	return &other
}

// place puts the record on a revision, and every entry in its place there.
func (r *Record) place(revision clock.Dot) {
	r.Revision, r.Procedure, r.Withdrawals = revision, r.Texts[revision], r.Withdrawn[revision]
	if r.FactsOn != nil {
		r.Facts = r.FactsOn[revision]
	}
	counterparts := map[clock.Dot][]procedure.Counterpart{}
	for i := range r.Entries {
		e := &r.Entries[i]
		if e.Origin.Wire == NoStep {
			e.Step, e.Origin.Now = NoStep, NoStep
			e.Origin.Revision, _ = r.knownTo(e)
			continue
		}
		from, known := r.knownTo(e)
		text := r.Texts[from]
		e.Origin.Revision, e.Origin.Text, e.Origin.Waits = from, text, !known || text == nil
		e.Step, e.Origin.Now, e.Origin.Step = Elsewhere, NoStep, nil
		if at := e.Origin.Wire % stepStride; !e.Origin.Waits && at < len(text.Steps) && r.Procedure != nil {
			if counterparts[from] == nil {
				counterparts[from] = procedure.Counterparts(text, r.Procedure)
			}
			e.Origin.Step = &text.Steps[at]
			e.Step, e.Origin.Now = r.placeOf(e, counterparts[from][at])
		}
	}
}

// placeOf says where an entry counts in the run's revision, and which step there has
// the id of its step.
//
// What was done counts where the step is the same; what cannot be undone stays done
// though its words changed. A go, and what a readiness review found, count where
// nothing before them changed. What speaks against going on stays with its step,
// whatever became of that.
func (r *Record) placeOf(e *Entry, to procedure.Counterpart) (step, now int) {
	now = to.Place
	if now < 0 {
		now = NoStep
	}
	counts := to.Same
	switch {
	case e.Kind == kind.NCRaise || e.Kind == kind.RunNote:
		return now, now
	case e.Verdict != Go:
		counts = to.Place >= 0
	case e.Kind == kind.StepSign || isReviewEntry(e.Kind):
		counts = to.Whole
	case e.Origin.Step.Irreversible && to.Place >= 0:
		there := &r.Procedure.Steps[to.Place]
		counts = counts || there.Irreversible && there.Kind == e.Origin.Step.Kind
	}
	if !counts {
		return Elsewhere, now
	}
	return now, now
}

// contestedMoves is what speaks against going on while the run was moved to several
// revisions by people who had not heard of each other.
func (v *view) contestedMoves() []Adverse {
	var list []Adverse
	for _, m := range v.Contested {
		if v.sees(m.Dot) {
			list = append(list, Adverse{Dot: m.Dot, Ctx: m.Ctx, Why: contestedText, settled: func(*view) bool { return false }})
		}
	}
	return list
}

const contestedText = "the run was moved to several revisions by people who had not heard of each other"

// then returns the record on the revision that those knew it to be on whose changes are
// seen.
func (r *Record) then(sees func(clock.Dot) bool) *Record {
	moves := r.movesSeen(sees)
	if len(moves) == len(r.Moves()) {
		return r
	}
	revision, contested := r.standingMove(moves)
	other := r.on(revision)
	if !slices.Equal(contested, r.Contested) {
		with := *other
		with.Contested = contested
		return &with
	}
	return other
}

// allWithdrawals are those of every revision that the run was ever on.
func (r *Record) allWithdrawals() []Withdrawal {
	if len(r.Withdrawn) == 0 {
		return r.Withdrawals
	}
	var list []Withdrawal
	for _, of := range r.Withdrawn {
		list = append(list, of...)
	}
	return list
}

// allFacts are those of the inputs of every revision that the run was ever on.
func (r *Record) allFacts() []Facts {
	var list []Facts
	for _, facts := range r.Facts {
		list = append(list, facts)
	}
	for _, of := range r.FactsOn {
		for _, facts := range of {
			list = append(list, facts)
		}
	}
	return list
}

// Left returns the entries that do not count in the run's revision and that no step of
// it has: of steps that are no more, or of a revision that is not here yet.
func (r *Record) Left() []*Entry {
	var list []*Entry
	for i := range r.Entries {
		e := &r.Entries[i]
		if e.Origin != nil && e.Step == Elsewhere && e.Origin.Now == NoStep {
			list = append(list, e)
		}
	}
	sortByTime(list)
	return list
}

// Fate says what a move makes of a step that has something on record.
type Fate struct {
	Step  string // id in the new revision
	Keeps bool   // what was done there counts
	Gate  bool
}

// Foresee says what a move to another revision would make of what was done: for each
// step of it that is done now, or would be, and each gate that was signed.
func (s *State) Foresee(to clock.Dot) []Fate {
	if s.Texts[to] == nil {
		return nil
	}
	moved := *s.Record
	moved.Entries = slices.Clone(s.Entries)
	for i := range moved.Entries {
		origin := Origin{Wire: moved.Entries[i].Step, Now: NoStep}
		if before := moved.Entries[i].Origin; before != nil {
			origin = *before
		}
		moved.Entries[i].Origin = &origin
	}
	moved.Contested = nil
	moved.place(to)
	after := Evaluate(&moved)
	was := map[string]bool{}
	for _, step := range s.Steps {
		was[step.Step.ID] = step.Done || step.Gate != nil && slices.ContainsFunc(step.Gate.SignOffs, func(so SignOff) bool { return so.Entry.Verdict == Go && so.Standing != Voided })
	}
	var fates []Fate
	for _, step := range after.Steps {
		if was[step.Step.ID] || step.Done {
			fates = append(fates, Fate{step.Step.ID, step.Done, step.Gate != nil})
		}
	}
	return fates
}
