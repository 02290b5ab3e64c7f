package run

import (
	"fmt"
	"slices"
	"strings"

	"pulk/checklist/procedure"
	"pulk/schema/kind"
	"pulk/sync/clock"
)

// State is the state of a run, as it follows from its record.
type State struct {
	*Record
	Steps []StepState
	NCs   []NC
	Ended *Entry // the entry that ended it, or nil

	all *view
}

// StepState is the state of one step.
type StepState struct {
	Step    *procedure.Step
	Number  int
	Done    bool
	Gate    *Gate    // for hold and witness points
	Entries []*Entry // about this step, voided ones left out, by time
	Voided  []*Entry // voided ones, by time
	Earlier []*Entry // what was done here on another revision and does not count, as the step was not the same; by time
	Blocked []string // why it cannot be carried out now, in words; empty if it can
}

// NC is a nonconformance of the run.
type NC struct {
	Entry        *Entry
	Disposition  Disposition // 0 while open
	Open         bool
	Dispositions []*Entry // that no other has seen; several that differ are a conflict
}

// Evaluate works out the state of a run.
func Evaluate(r *Record) *State {
	v := r.whole()
	s := &State{Record: r, all: v}
	if r.Procedure != nil {
		for n := range r.Procedure.Steps {
			s.Steps = append(s.Steps, v.stepState(n))
		}
		for n := range s.Steps {
			s.Steps[n].Blocked = v.blocked(n, s.Steps)
		}
	}
	for _, e := range v.entries(kind.NCRaise, anyStep) {
		d, last, ok := v.disposition(e)
		nc := NC{Entry: e, Dispositions: last, Open: !ok}
		if ok {
			nc.Disposition = d
		}
		s.NCs = append(s.NCs, nc)
	}
	for _, e := range v.entries(kind.RunEnd, anyStep) {
		if s.Ended == nil || e.At < s.Ended.At {
			s.Ended = e
		}
	}
	return s
}

func (v *view) stepState(n int) StepState {
	state := StepState{Step: v.step(n), Number: n}
	for i := range v.Entries {
		e := &v.Entries[i]
		if !isStepEntry(e.Kind) || e.Step != n {
			if e.stale(n) && isStepEntry(e.Kind) && v.voided[e.Dot] == nil {
				state.Earlier = append(state.Earlier, e)
			}
			continue
		}
		if v.voided[e.Dot] != nil {
			state.Voided = append(state.Voided, e)
		} else {
			state.Entries = append(state.Entries, e)
		}
	}
	sortByTime(state.Entries)
	sortByTime(state.Voided)
	sortByTime(state.Earlier)
	if isGate(state.Step) {
		gate := v.gate(n)
		state.Gate, state.Done = &gate, gate.Open
	} else {
		state.Done = v.done(n)
	}
	return state
}

func isGate(step *procedure.Step) bool {
	return step.Kind == procedure.KindHold || step.Kind == procedure.KindWitness
}

// blocked says why step n cannot be carried out now. A hold point stops whatever
// comes after it; a witness point stops what depends on it, and what cannot be
// undone.
func (v *view) blocked(n int, steps []StepState) []string {
	step := steps[n].Step
	why, named := shutGates(steps[:n], step.Irreversible)
	missing := v.bounds(n, nil).Why
	for _, id := range step.After {
		m := slices.IndexFunc(steps, func(s StepState) bool { return s.Step.ID == id })
		if m >= 0 && !steps[m].Done && !named[id] {
			why = append(why, fmt.Sprintf("step %s must be done first", id))
			if missing == needsReading(id) {
				missing = ""
			}
		}
	}
	if missing != "" {
		why = append(why, missing)
	}
	if len(v.Contested) > 0 {
		why = append(why, contestedText)
	}
	for _, w := range v.Withdrawals {
		why = append(why, "the revision was withdrawn: "+w.Why)
	}
	return unique(why)
}

// shutGates says which gates among steps are shut, witness points too if asked, and
// names them. What shuts two of them is told once.
func shutGates(steps []StepState, witness bool) (why []string, named map[string]bool) {
	named = map[string]bool{}
	told := map[string]bool{}
	for _, s := range steps {
		if s.Gate == nil || s.Done || s.Step.Kind != procedure.KindHold && !witness {
			continue
		}
		named[s.Step.ID] = true
		var reasons []string
		for _, reason := range s.Gate.Shut {
			if !told[reason] {
				told[reason] = true
				reasons = append(reasons, reason)
			}
		}
		text := "is shut for the same reasons"
		if len(reasons) > 0 {
			text = "is shut: " + strings.Join(reasons, "; ")
		}
		why = append(why, fmt.Sprintf("%s point %s %s", s.Step.Kind, s.Step.ID, text))
	}
	return why, named
}

// Next returns the number of the first step that is not done and can be carried
// out; false where there is none.
func (s *State) Next() (int, bool) {
	for _, step := range s.Steps {
		if !step.Done && len(step.Blocked) == 0 {
			return step.Number, true
		}
	}
	return 0, false
}

// Finished reports whether every step is done.
func (s *State) Finished() bool {
	return len(s.Steps) > 0 && !slices.ContainsFunc(s.Steps, func(step StepState) bool { return !step.Done })
}

// StepByID returns the number of a step.
func (s *State) StepByID(id string) (int, bool) {
	for _, step := range s.Steps {
		if step.Step.ID == id {
			return step.Number, true
		}
	}
	return 0, false
}

// DoneBehindShutGate lists the irreversible steps that were carried out although a
// gate before them was shut by something that the doer had not seen, with what
// shut it. Of steps that were done on paper those that can be undone are listed too,
// as long as a hold point before them stays shut: paper stops nobody.
func (r *Record) DoneBehindShutGate() map[*Entry][]string {
	found := map[*Entry][]string{}
	whole := r.whole()
	for _, deed := range whole.deeds() {
		step := r.own(deed)
		if step == nil || !step.Irreversible && (deed.Paper == nil || deed.Paper.Why == "" || !whole.heldBefore(deed.Step)) {
			continue
		}
		if why := r.shutBefore(deed); len(why) > 0 {
			found[deed] = why
		}
	}
	return found
}

// heldBefore reports whether a hold point before a step is shut.
func (v *view) heldBefore(n int) bool {
	for m := range n {
		if v.step(m).Kind == procedure.KindHold && !v.gate(m).Open {
			return true
		}
	}
	return false
}

// deeds returns what carried steps out, whatever kind of step it is, on whichever
// revision.
func (v *view) deeds() []*Entry {
	return slices.Concat(v.entries(kind.StepCheck, anyStep), v.entries(kind.StepReading, anyStep), v.entries(kind.StepRecord, anyStep))
}

// shutBefore says which gates before a deed were shut when it was done, on the revision
// that the run was on then. What was written by people who knew of the deed came after
// it and cannot have shut its gate; no more can its own outcome, which is told in the
// same change-set.
func (r *Record) shutBefore(deed *Entry) []string {
	var why []string
	sees := func(d clock.Dot) bool {
		own := d.Lane == deed.Dot.Lane && d.Seq == deed.Dot.Seq
		return !own && !r.knows(d, deed.Dot)
	}
	then := r.then(sees).through(sees)
	deed = then.entryOf(deed.Dot)
	for m := range deed.Step {
		if !isGate(then.step(m)) || !then.step(deed.Step).Irreversible && then.step(m).Kind != procedure.KindHold {
			continue
		}
		if gate := then.gate(m); !gate.Open {
			why = append(why, fmt.Sprintf("%s point %s: %s", then.step(m).Kind, then.step(m).ID, gate.Shut[0]))
		}
	}
	return why
}

func (r *Record) steps() []procedure.Step {
	if r.Procedure == nil {
		return nil
	}
	return r.Procedure.Steps
}

// knows reports whether the author of d knew the change other.
func (r *Record) knows(d, other clock.Dot) bool {
	for i := range r.Entries {
		if r.Entries[i].Dot == d {
			return r.Entries[i].Ctx.Has(other)
		}
	}
	for _, w := range r.allWithdrawals() {
		if w.Dot == d {
			return w.Ctx.Has(other)
		}
	}
	for i := range r.Recalls {
		if r.Recalls[i].Dot == d {
			return r.Recalls[i].Ctx.Has(other)
		}
	}
	for _, facts := range r.allFacts() {
		if ctx, ok := facts.context(d); ok {
			return ctx.Has(other)
		}
	}
	return r.Outside.knows(d, other)
}

// DoneTwice lists, by step, checks and records of people who had not heard of each
// other's.
func (r *Record) DoneTwice() map[int][]*Entry {
	found := map[int][]*Entry{}
	v := r.whole()
	for n := range len(r.steps()) {
		for _, k := range []*kind.Kind{kind.StepCheck, kind.StepRecord} {
			entries := v.entries(k, n)
			for i, e := range entries {
				crossed := slices.ContainsFunc(entries, func(other *Entry) bool { return e.Ctx.Concurrent(other.Ctx) })
				if crossed {
					found[n] = append(found[n], entries[i])
				}
			}
		}
	}
	return found
}

func needText(g Gate) string {
	people := "1 person"
	if g.Need > 1 {
		people = fmt.Sprintf("%d different people", g.Need)
	}
	return fmt.Sprintf("needs a go of %s as %s, has %d", people, g.Role, g.Have)
}

func unique(list []string) []string {
	var out []string
	for _, text := range list {
		if !slices.Contains(out, text) {
			out = append(out, text)
		}
	}
	return out
}
