package run

import (
	"cmp"
	"fmt"
	"slices"
	"time"

	"pulk/checklist/limit"
	"pulk/checklist/procedure"
	"pulk/schema/decimal"
	"pulk/schema/fault"
	"pulk/schema/kind"
	"pulk/sync/change"
	"pulk/sync/clock"
)

// Measured is what a reading says. All but the value is there only where it was
// typed in another unit or taken with an instrument.
type Measured struct {
	Value       decimal.Decimal // in the step's unit
	Typed       string          // as typed, where that was in another unit: "0.55 GOhm"
	Instrument  clock.Dot       // the unit it was taken with, or none
	Calibration clock.Dot       // of the instrument, as its author knew it, or none
	Due         string          // last day of that calibration, YYYY-MM-DD, or empty
	U           limit.Uncertainty
}

// plain reports whether the smaller kind of change holds all of a reading.
func (m *Measured) plain() bool {
	return m.Typed == "" && m.Instrument.IsZero() && !m.U.Known()
}

// Recall says that a calibration must not be relied on.
type Recall struct {
	Dot         clock.Dot
	Ctx         clock.Context
	Calibration clock.Dot
	Why         string
}

// Judgement is what a reading is worth.
type Judgement struct {
	Outcome limit.Outcome // by the limits of its step
	// Limits are those it was judged by.
	Limits limit.Limits
	// Flag says why the reading does not count although it is inside its limits: its
	// instrument was out of calibration, or none is told; or why it is not judged, as
	// what its limits are worked out from is not there or does not count. Empty where
	// nothing is amiss.
	Flag string
	// Probability is that of conformance, where HasProbability.
	Probability    float64
	HasProbability bool
}

// Counts reports whether the step is done by the reading.
func (j Judgement) Counts() bool { return j.Flag == "" && j.Outcome.Good() }

// Conditional reports whether the reading counts with a risk that whoever signs next
// takes.
func (j Judgement) Conditional() bool { return j.Flag == "" && j.Outcome == limit.ConditionalPass }

// withUnit writes a value of a reading step; a pure number has no unit.
func withUnit(value decimal.Decimal, step *procedure.Step) string {
	if step.Reading.Unit == "1" {
		return value.String()
	}
	return value.String() + " " + step.Reading.Unit
}

// Judge judges a reading: of its limits and its instrument, by all that is known.
func (s *State) Judge(e *Entry) Judgement { return s.all.judge(e) }

// judge is where every reading is judged, whichever kind of change brought it.
func (v *view) judge(e *Entry) Judgement {
	step := v.own(e)
	if step == nil || step.Reading == nil {
		return Judgement{Outcome: limit.Pass}
	}
	bounds := v.bounds(e.Step, e)
	j := Judgement{Outcome: bounds.Judge(e.Value, e.U), Limits: bounds.Limits}
	j.Probability, j.HasProbability = bounds.Probability(e.Value.Float64(), e.U)
	switch recall := v.recallOf(e); {
	case bounds.Why != "":
		j.Flag = bounds.Why
	case e.Instrument.IsZero() && step.Reading.Instrument != nil:
		j.Flag = "no instrument is told"
	case e.Instrument.IsZero():
	case e.Due == "":
		j.Flag = "its instrument has no calibration"
	case e.day() > e.Due:
		j.Flag = "its instrument was out of calibration since " + e.Due
	case recall != nil:
		j.Flag = "the calibration of its instrument was voided: " + recall.Why
	}
	return j
}

// day returns the day on which an entry was made, in UTC: on paper, if it stood there
// and the sheet says when.
func (e *Entry) day() string {
	if e.Paper != nil && e.Paper.Written != "" {
		return e.Paper.Written.Day()
	}
	return e.At.Time().UTC().Format(time.DateOnly)
}

// recallOf returns a void of the calibration that a reading carries, or nil.
func (v *view) recallOf(e *Entry) *Recall {
	for i := range v.Recalls {
		if r := &v.Recalls[i]; !e.Calibration.IsZero() && r.Calibration == e.Calibration && v.sees(r.Dot) {
			return r
		}
	}
	return nil
}

// counts reports whether an entry does its step.
func (v *view) counts(e *Entry) bool {
	if e.Kind == kind.StepReading {
		return v.judge(e).Counts()
	}
	return !v.failing(e)
}

// conditional returns the conditional passes before step n, whose risk a go takes.
func (v *view) conditional(n int) []*Entry {
	var list []*Entry
	for _, e := range v.entries(kind.StepReading, anyStep) {
		if e.Step >= 0 && e.Step < n && v.judge(e).Conditional() {
			list = append(list, e)
		}
	}
	return list
}

// adverseRecall returns what speaks against going on where a calibration was voided:
// as with a void of the readings themselves, their steps are to be done again.
func (v *view) adverseRecall(r *Recall, gate int) (Adverse, bool) {
	var steps []int
	first := ""
	for _, e := range v.entries(kind.StepReading, anyStep) {
		if e.Step >= 0 && !e.Calibration.IsZero() && e.Calibration == r.Calibration {
			first = cmp.Or(first, v.ownID(e))
			steps = append(steps, e.Step)
		}
	}
	if len(steps) == 0 {
		return Adverse{}, false
	}
	why := fmt.Sprintf("the calibration that step %s was read with was voided: %s", first, r.Why)
	settled := func(seen *view) bool {
		return !slices.ContainsFunc(steps, func(n int) bool { return n < gate && !seen.done(n) })
	}
	return Adverse{Dot: r.Dot, Ctx: r.Ctx, Why: why, settled: settled}, true
}

// wireOutcomes are the outcomes as step.measure has them; the first three are those
// of step.reading.
var wireOutcomes = map[limit.Outcome]int64{
	limit.Pass: 0, limit.FailLow: 1, limit.FailHigh: 2, limit.ConditionalPass: 3, limit.ConditionalFail: 4, 0: 5,
}

// change returns the change that brings a reading of step n.
func (m *Measured) change(run clock.Dot, n int, outcome limit.Outcome) change.Change {
	told := change.Num(wireOutcomes[outcome])
	if m.plain() {
		if !outcome.Good() && !outcome.Bad() {
			told = change.Num(0) // it has no number for what is not judged
		}
		return change.New(kind.StepReading, change.Ref(run), change.Num(int64(n)), change.Dec(m.Value), told, change.Ref(m.Instrument))
	}
	return change.New(kind.StepMeasure, change.Ref(run), change.Num(int64(n)), change.Dec(m.Value), told, change.Text(m.Typed),
		change.Ref(m.Instrument), change.Ref(m.Calibration), change.Text(m.Due), change.Dec(m.U.Expanded), change.Dec(m.U.Coverage))
}

// RaiseAbout opens a nonconformance about a reading that does not count. Disposed as
// use as is, the reading counts: where it cannot be taken again, that is how people
// overrule the tool in writing.
func (d *Doing) RaiseAbout(id clock.Dot, text string) (clock.Dot, error) {
	e := d.all.entryOf(id)
	switch {
	case e == nil || e.Kind != kind.StepReading:
		return clock.Dot{}, fault.Hint("see: pulk run show "+d.tx.Name(d.Run), "run %s has no reading %s", d.tx.Name(d.Run), d.tx.Name(id))
	case d.all.voided[id] != nil:
		return clock.Dot{}, fault.Hint("nothing to do", "%s is voided", d.tx.Name(id))
	case d.all.counts(e):
		return clock.Dot{}, fault.Hint("raise one about its step: --run and --step", "%s counts as it is", d.tx.Name(id))
	case text == "":
		return clock.Dot{}, fault.Misuse("say what does not conform", "a nonconformance needs a description")
	}
	if err := d.expedite(); err != nil {
		return clock.Dot{}, err
	}
	return d.raise(max(e.Step, NoStep), id, text), nil
}
