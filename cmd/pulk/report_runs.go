package main

import (
	"cmp"
	"errors"
	"fmt"
	"maps"
	"slices"
	"strings"
	"time"

	"pulk/checklist/limit"
	"pulk/checklist/procedure"
	"pulk/checklist/review"
	"pulk/checklist/run"
	"pulk/schema/decimal"
	"pulk/schema/kind"
	"pulk/sync/changelog"
	"pulk/sync/clock"
)

// statesKept is of how many runs a report keeps the state while it is made: as many as
// a crew works on at a time.
const statesKept = 32

// state returns the state of a run; nil where its start is not here.
func (b *dayBuilder) state(id clock.Dot) (*run.State, error) {
	if s, known := b.states[id]; known {
		return s, nil
	}
	if len(b.states) >= statesKept {
		clear(b.states)
	}
	record, err := b.runs.Load(id)
	if errors.Is(err, run.ErrNotHere) {
		b.states[id] = nil
		return nil, nil
	}
	if err != nil {
		return nil, err
	}
	b.states[id] = run.Evaluate(record)
	return b.states[id], nil
}

// addRuns tells what was done in each run that day, and of those and of all that go
// on, which gates are shut, which sign-offs fell, and how the reviews stand.
func (b *dayBuilder) addRuns(entries []changelog.Recorded) error {
	touched := touchedRuns(entries)
	going, err := run.Unended(b.tx)
	if err != nil {
		return err
	}
	concerned := maps.Clone(touched)
	for _, summary := range going {
		concerned[summary.ID] = true
	}
	for _, id := range slices.SortedFunc(maps.Keys(concerned), clock.Dot.Compare) {
		s, err := b.state(id)
		if err != nil {
			return err
		}
		if s == nil {
			continue
		}
		if touched[id] {
			if err := b.addRun(s); err != nil {
				return err
			}
		}
		b.addHolds(s)
		if err := b.addSignOffs(s); err != nil {
			return err
		}
		if err := b.addReviewsOf(s); err != nil {
			return err
		}
	}
	slices.SortStableFunc(b.report.SignOffs, func(x, y daySignOff) int { return x.At.Compare(y.At) })
	return b.addNotHere()
}

// touchedRuns returns the runs that something written that day is about.
func touchedRuns(entries []changelog.Recorded) map[clock.Dot]bool {
	touched := map[clock.Dot]bool{}
	for _, e := range entries {
		switch {
		case e.Kind == kind.RunStart:
			touched[e.Dot] = true
		case e.Kind != nil:
			if id, about := run.About(e.Entry); about {
				touched[id] = true
			}
		}
	}
	return touched
}

func (b *dayBuilder) addNotHere() error {
	missing, err := run.NotHereYet(b.tx)
	for id, n := range missing {
		b.report.NotHere = append(b.report.NotHere, dayNotHere{b.tx.Name(id), n})
	}
	slices.SortFunc(b.report.NotHere, func(x, y dayNotHere) int { return cmp.Compare(x.ID, y.ID) })
	return err
}

func (b *dayBuilder) addRun(s *run.State) error {
	row, err := runRowOf(b.tx, s)
	if err != nil {
		return err
	}
	day := dayRun{ID: row.ID, Title: row.Title, Procedure: row.Procedure, Revision: row.Revision, State: row.State, Done: row.Done,
		Steps: row.Steps, Next: row.Next, StartedAt: second(s.At), StartedBy: row.StartedBy, Started: b.inDay(s.At), Events: []dayEvent{}}
	if day.Target, err = b.describe(s.Target); err != nil {
		return err
	}
	voided := s.Voided()
	var today []*run.Entry
	for i := range s.Entries {
		if e := &s.Entries[i]; b.inDay(e.At) {
			today = append(today, e)
		}
	}
	slices.SortFunc(today, func(x, y *run.Entry) int { return cmp.Or(cmp.Compare(x.At, y.At), x.Dot.Compare(y.Dot)) })
	for _, e := range today {
		event, err := b.event(s, e)
		if err != nil {
			return err
		}
		event.Voided = voided[e.Dot] || b.voids[e.Dot]
		day.Events = append(day.Events, event)
	}
	b.report.Runs = append(b.report.Runs, day)
	return nil
}

// event says what an entry of a run says.
func (b *dayBuilder) event(s *run.State, e *run.Entry) (dayEvent, error) {
	event := dayEvent{ID: b.tx.Name(e.Dot), At: second(e.At), Kind: e.Kind.Name, Text: entryText(s, e)}
	var err error
	if event.Person, err = b.person(e.Person); err != nil {
		return event, err
	}
	step := s.StepOf(e)
	event.Step = s.StepName(e)
	if step != nil {
		event.Irreversible = step.Irreversible
	}
	switch e.Kind {
	case kind.StepCheck:
		if event.Bad = e.Answer != 0; !event.Bad && event.Irreversible {
			event.Text = "done: " + step.Text
		}
	case kind.StepReading:
		if event.Reading, err = readingOf(b.tx, s, e); err != nil {
			return event, err
		}
		if event.Bad = event.Reading.bad; event.Bad {
			b.report.Counts.Failed++
		}
	case kind.StepRecord:
		if step != nil && step.Record != nil && step.Record.Label != "" {
			event.Text = step.Record.Label + ": " + e.Text
		}
	case kind.StepBegin:
		event.Text = "begins to wait"
	case kind.StepSign:
		event.Text = "signed " + e.Verdict.String() + " as " + e.Role
		event.Bad = e.Verdict == run.Stop
	case kind.ReviewCheck:
		event.check, event.Bad = e.Line.Name, e.Outcome != review.OK
	case kind.ReviewAnswer:
		event.Bad = e.Outcome != review.OK
	case kind.ReviewDecide:
		event.Bad = e.Verdict != run.Go
	case kind.Void:
		event.Text = "voids " + b.tx.Name(e.Ref) + b.voidedText(s, e.Ref) + ": " + e.Text
	case kind.NCRaise:
		event.Text, event.Bad = "nonconformance opened: "+e.Text, true
	case kind.NCDispose:
		event.Text = "nonconformance " + b.tx.Name(e.Ref) + " decided, " + e.Disposition.String() + ": " + e.Text
	}
	behind, err := paperText(b.tx, e)
	event.Text += behind
	return event, err
}

// voidedText says what a voided entry had said.
func (b *dayBuilder) voidedText(s *run.State, dot clock.Dot) string {
	for i := range s.Entries {
		if e := &s.Entries[i]; e.Dot == dot {
			text := entryText(s, e)
			if step := s.StepOf(e); step != nil {
				text = "step " + step.ID + ", " + text
			}
			return " (" + text + ")"
		}
	}
	return ""
}

func stepOf(s *run.State, n int) *procedure.Step {
	if n < 0 || n >= len(s.Steps) {
		return nil
	}
	return s.Steps[n].Step
}

func readingOf(tx *changelog.Tx, s *run.State, e *run.Entry) (*dayReading, error) {
	r := &dayReading{Quantity: "value", Value: e.Value.String(), Verdict: limit.Outcome(0).String(), Typed: e.Typed, Due: e.Due}
	var err error
	if !e.Instrument.IsZero() {
		text := ""
		text, err = tx.Describe(e.Instrument)
		r.Instrument = cmp.Or(strings.TrimPrefix(text, "unit "), tx.Name(e.Instrument))
	}
	if e.U.Known() {
		r.U, r.Coverage = boundText(&e.U.Expanded), boundText(&e.U.Coverage)
	}
	step := s.StepOf(e)
	if step == nil || step.Reading == nil {
		return r, err
	}
	j := s.Judge(e)
	limits := j.Limits
	r.Quantity, r.Unit, r.Limits = step.Reading.Quantity, step.Reading.Unit, limits.String()
	r.Worked, r.From = workedOut(s.BoundsOf(e))
	r.Verdict, r.Flag, r.bad = j.Outcome.String(), j.Flag, j.Outcome.Bad()
	if j.HasProbability {
		r.Probability = &j.Probability
	}
	r.Min, r.Max = boundText(limits.Min), boundText(limits.Max)
	return r, err
}

func boundText(d *decimal.Decimal) *string {
	if d == nil {
		return nil
	}
	text := d.String()
	return &text
}

// addHolds tells of a run that goes on which gate it waits at. Those behind it are
// counted, save where something signed there does not hold any more.
func (b *dayBuilder) addHolds(s *run.State) {
	if s.Ended != nil {
		return
	}
	first := -1
	for n := range s.Steps {
		gate := s.Steps[n].Gate
		if gate == nil || gate.Open {
			continue
		}
		hold := b.hold(s, n)
		if hold.Fallen {
			b.report.Needs.Gates = append(b.report.Needs.Gates, hold)
		}
		switch {
		case first < 0:
			first = len(b.report.Holds)
			b.report.Holds = append(b.report.Holds, hold)
		case hold.Fallen:
			b.report.Holds = append(b.report.Holds, hold)
		default:
			b.report.Holds[first].Later++
		}
	}
}

func (b *dayBuilder) hold(s *run.State, n int) dayHold {
	step, gate := s.Steps[n].Step, s.Steps[n].Gate
	h := dayHold{Run: b.tx.Name(s.Run), Title: s.Title, Step: step.ID, Kind: string(step.Kind), Role: gate.Role, Need: gate.Need, Have: gate.Have, Waits: []string{}}
	var next string
	for m := range n {
		if !s.Steps[m].Done {
			if h.Before++; next == "" {
				next = s.Steps[m].Step.ID
			}
		}
	}
	if h.Before > 0 {
		h.Waits = append(h.Waits, fmt.Sprintf("%s before it, from step %s on", plural(h.Before, "step", "steps"), next))
	}
	h.Waits = append(h.Waits, gate.Shut...)
	signed := gate.SignOffs
	if gate.Review != nil {
		signed = slices.Concat(signed, gate.Review.Decisions)
	}
	for _, so := range signed {
		switch so.Standing {
		case run.Overtaken, run.Reopened, run.Unsettled, run.StopHolds:
			h.Fallen = true
		}
	}
	return h
}

// addSignOffs tells of the sign-offs of a run that were given that day, and of those
// that fell: what fells one counts on the day it was written and on the day it came.
func (b *dayBuilder) addSignOffs(s *run.State) error {
	for _, step := range s.Steps {
		if step.Gate == nil {
			continue
		}
		for _, so := range step.Gate.SignOffs {
			row, fell, err := b.signOff(s, step.Step.ID, so)
			if err != nil {
				return err
			}
			if row.Given || fell {
				b.report.SignOffs = append(b.report.SignOffs, row)
			}
		}
	}
	return nil
}

func (b *dayBuilder) signOff(s *run.State, step string, so run.SignOff) (row daySignOff, fellThatDay bool, err error) {
	e := so.Entry
	row = daySignOff{ID: b.tx.Name(e.Dot), Run: b.tx.Name(s.Run), Title: s.Title, Step: step, Role: e.Role, Verdict: e.Verdict.String(),
		At: second(e.At), Standing: string(so.Standing), Given: b.inDay(e.At)}
	if row.Person, err = b.person(e.Person); err != nil || so.By == nil {
		return row, false, err
	}
	row.Because, row.By = so.By.Why, b.tx.Name(so.By.Dot)
	info, err := b.tx.Info(so.By.Dot)
	fell := second(info.At)
	row.FellAt = &fell
	came := time.UnixMilli(info.TookMS)
	return row, b.inDay(info.At) || !came.Before(b.from) && came.Before(b.to), err
}

// addNCs tells of the nonconformances that were raised or decided that day, and of
// all that are open.
func (b *dayBuilder) addNCs(entries []changelog.Recorded) error {
	concerned := map[clock.Dot]bool{}
	for _, e := range entries {
		switch e.Kind {
		case kind.NCRaise:
			concerned[e.Dot] = true
		case kind.NCDispose:
			concerned[e.Values[0].Ref] = true
		}
	}
	list, err := run.Nonconformances(b.tx)
	if err != nil {
		return err
	}
	slices.SortStableFunc(list, func(x, y run.Nonconformance) int { return cmp.Compare(x.Entry.At, y.Entry.At) })
	for _, nc := range list {
		if !nc.Open && !concerned[nc.Entry.Dot] {
			continue
		}
		row, err := b.nc(nc)
		if err != nil {
			return err
		}
		if nc.Open {
			b.report.Needs.NCs = append(b.report.Needs.NCs, row)
		}
		if concerned[nc.Entry.Dot] {
			b.report.NCs = append(b.report.NCs, row)
		}
	}
	return nil
}

func (b *dayBuilder) nc(nc run.Nonconformance) (dayNC, error) {
	row := dayNC{ID: b.tx.Name(nc.Entry.Dot), Text: nc.Entry.Text, RaisedAt: second(nc.Entry.At), Open: nc.Open,
		Contested: nc.Open && len(nc.Dispositions) > 1, Raised: b.inDay(nc.Entry.At), Decisions: []dayDecision{}}
	var err error
	if row.RaisedBy, err = b.person(nc.Entry.Person); err != nil {
		return row, err
	}
	if row.Unit, err = b.describe(nc.Unit); err != nil {
		return row, err
	}
	if !nc.Run.IsZero() {
		row.Run = b.tx.Name(nc.Run)
		if nc.Entry.Step != run.NoStep {
			if row.Step, err = b.runs.StepID(nc.Run, nc.Entry.Step); err != nil {
				return row, err
			}
		}
	}
	for _, d := range nc.Dispositions {
		person, err := b.person(d.Person)
		if err != nil {
			return row, err
		}
		row.Decisions = append(row.Decisions, dayDecision{d.Disposition.String(), d.Text, person, second(d.At)})
	}
	return row, nil
}
