package main

import (
	"cmp"
	"fmt"
	"slices"
	"time"

	"pulk/checklist/crew"
	"pulk/checklist/procedure"
	"pulk/checklist/run"
	"pulk/inventory/stock"
	"pulk/inventory/unit"
	"pulk/schema/kind"
	"pulk/sync/changelog"
	"pulk/sync/clock"
)

// dossier is pulk unit dossier --json.
type dossier struct {
	unitDetail
	Lines []dossierLine `json:"history"` // by time
}

// dossierLine is one thing that happened to a unit, or was found out about it.
type dossierLine struct {
	ID       string      `json:"id"`
	At       string      `json:"at"`
	Person   string      `json:"person"`
	Where    string      `json:"where"` // location code, or the serial of the assembly it was in; "-" where unknown
	Kind     string      `json:"kind"`  // kind of change: unit.add, step.reading, nc.raise, …
	Run      string      `json:"run"`   // or empty
	Step     string      `json:"step"`  // id of the step, or empty
	Text     string      `json:"text"`  // what happened, in words
	Bad      bool        `json:"bad"`   // a failure, a no, a reading outside its limits, an open nonconformance, a sign-off that does not hold
	Voided   bool        `json:"voided"`
	Standing string      `json:"standing"` // of a sign-off: holds, overtaken, reopened, …
	Because  string      `json:"because"`  // what a sign-off that does not hold was overtaken or reopened by
	Reading  *dayReading `json:"reading,omitempty"`

	stamp clock.Stamp
	dot   clock.Dot
}

// dossierBuilder gathers the lines of one unit.
type dossierBuilder struct {
	tx     *changelog.Tx
	unit   *unit.Unit
	reader *run.Reader
	lines  []dossierLine
	told   map[clock.Dot]bool // nonconformances that have their lines, and runs on the unit
}

func dossierOf(tx *changelog.Tx, u *unit.Unit, now time.Time) (dossier, error) {
	events, err := unit.Events(tx, u.ID)
	if err != nil {
		return dossier{}, err
	}
	detail, err := unitDetailOf(tx, u, events, now)
	if err != nil {
		return dossier{}, err
	}
	b := &dossierBuilder{tx: tx, unit: u, reader: run.NewReader(tx), told: map[clock.Dot]bool{}, lines: []dossierLine{}}
	if err := b.events(events); err != nil {
		return dossier{}, err
	}
	if err := b.runs(); err != nil {
		return dossier{}, err
	}
	if err := b.nonconformances(); err != nil {
		return dossier{}, err
	}
	if err := b.calibrationLines(); err != nil {
		return dossier{}, err
	}
	if err := b.attachments(); err != nil {
		return dossier{}, err
	}
	slices.SortStableFunc(b.lines, func(a, c dossierLine) int {
		return cmp.Or(cmp.Compare(a.stamp, c.stamp), a.dot.Compare(c.dot))
	})
	return dossier{detail, b.lines}, nil
}

// add completes a line and keeps it; where is a location or none.
func (b *dossierBuilder) add(line dossierLine, dot clock.Dot, at clock.Stamp, person, where clock.Dot) error {
	var err error
	if line.Where, err = stock.LocationLabel(b.tx, where); err != nil {
		return err
	}
	return b.keep(line, dot, at, person)
}

// keep is add for a line that says where.
func (b *dossierBuilder) keep(line dossierLine, dot clock.Dot, at clock.Stamp, person clock.Dot) error {
	line.dot, line.stamp, line.ID, line.At = dot, at, b.tx.Name(dot), *jsonTime(at.Time())
	var err error
	line.Person, err = crew.Label(b.tx, person)
	b.lines = append(b.lines, line)
	return err
}

// runs tells of the runs on the unit, and of those that recorded it.
func (b *dossierBuilder) runs() error {
	on, err := run.OnTarget(b.tx, b.unit.ID)
	if err != nil {
		return err
	}
	for _, summary := range on {
		if err := b.run(summary.ID, func(*run.State, *run.Entry) bool { return true }, "on this unit"); err != nil {
			return err
		}
		b.told[summary.ID] = true
	}
	recording, err := run.Recording(b.tx, b.unit.ID)
	if err != nil {
		return err
	}
	for _, summary := range recording {
		if summary.Target == b.unit.ID {
			continue
		}
		if err := b.run(summary.ID, b.followsScan, "and recorded this unit"); err != nil {
			return err
		}
	}
	return nil
}

// run tells of a run: of the entries about steps that are wanted, and of every
// sign-off.
func (b *dossierBuilder) run(id clock.Dot, wanted func(*run.State, *run.Entry) bool, how string) error {
	record, err := b.reader.Load(id)
	if err != nil {
		return err
	}
	s := run.Evaluate(record)
	line := dossierLine{Kind: kind.RunStart.Name, Run: b.tx.Name(id), Text: fmt.Sprintf("started, %s: %s", how, s.Title)}
	if s.Procedure != nil {
		line.Text += fmt.Sprintf(" (%s revision %s)", s.Procedure.ID, s.Procedure.Revision)
	}
	if err := b.add(line, id, s.At, s.Person, s.Location); err != nil {
		return err
	}
	signs, voided := map[clock.Dot]run.SignOff{}, s.Voided()
	for _, step := range s.Steps {
		if step.Gate != nil {
			for _, so := range step.Gate.SignOffs {
				signs[so.Entry.Dot] = so
			}
			if step.Gate.Review != nil {
				for _, so := range step.Gate.Review.Decisions {
					signs[so.Entry.Dot] = so
				}
			}
		}
	}
	for i := range s.Entries {
		e := &s.Entries[i]
		if e.Kind == nil || e.Kind == kind.NCRaise || e.Kind == kind.NCDispose || !overAll[e.Kind] && !wanted(s, e) {
			continue
		}
		if err := b.entry(s, e, voided[e.Dot], signs); err != nil {
			return err
		}
	}
	return b.ncsOf(s, wanted)
}

// overAll are the entries of a run that concern every unit of it: what people signed.
var overAll = map[*kind.Kind]bool{kind.StepSign: true, kind.ReviewWaive: true, kind.ReviewDecide: true}

func (b *dossierBuilder) entry(s *run.State, e *run.Entry, voided bool, signs map[clock.Dot]run.SignOff) error {
	line := dossierLine{Kind: e.Kind.Name, Run: b.tx.Name(s.Run), Text: entryText(s, e), Voided: voided, Bad: e.Kind == kind.StepCheck && e.Answer != 0}
	step := s.StepOf(e)
	if step != nil {
		line.Step = step.ID
	}
	switch e.Kind {
	case kind.StepReading:
		reading, err := readingOf(b.tx, s, e)
		if err != nil {
			return err
		}
		line.Reading, line.Bad = reading, reading.bad
		line.Text = readingText([]dayEvent{{Reading: reading}})
	case kind.ReviewWaive:
		line.Bad = true // for good: nobody reads over it
	case kind.StepSign, kind.ReviewDecide:
		if so, ok := signs[e.Dot]; ok {
			line.Standing = string(so.Standing)
			line.Bad = so.Standing != run.Holds && so.Standing != run.StopLifted
			line.Text += ": " + line.Standing
			if so.By != nil {
				line.Because = fmt.Sprintf("%s (%s)", so.By.Why, b.tx.Name(so.By.Dot))
				line.Text += ", by " + line.Because
			}
		}
	case kind.StepRecord:
		line.Text = "recorded " + e.Text
	case kind.Void:
		line.Text = fmt.Sprintf("voided %s: %s", b.tx.Name(e.Ref), e.Text)
	case kind.RunNote:
		line.Text = "note: " + e.Text
	}
	behind, err := paperText(b.tx, e)
	if err != nil {
		return err
	}
	line.Text += behind
	return b.add(line, e.Dot, e.At, e.Person, s.Location)
}

// followsScan reports whether an entry is the record of the unit, or is about a step
// that comes after that scan and before the next one.
func (b *dossierBuilder) followsScan(s *run.State, e *run.Entry) bool {
	if e.Kind == kind.StepRecord {
		return e.Unit == b.unit.ID
	}
	if e.Kind == kind.Void {
		return slices.ContainsFunc(s.Entries, func(target run.Entry) bool {
			return target.Dot == e.Ref && target.Kind != kind.Void && b.followsScan(s, &target)
		})
	}
	if s.StepOf(e) == nil {
		return false
	}
	for i := range s.Entries {
		scan := &s.Entries[i]
		if scan.Kind == kind.StepRecord && scan.Unit == b.unit.ID && follows(s, e.Step, scan.Step) {
			return true
		}
	}
	return false
}

// follows reports whether step n depends on a scan, directly or over steps that are
// no scans themselves.
func follows(s *run.State, n, scan int) bool {
	seen := map[int]bool{}
	var walk func(n int) bool
	walk = func(n int) bool {
		if seen[n] || stepOf(s, n) == nil {
			return false
		}
		seen[n] = true
		for _, id := range s.Steps[n].Step.After {
			before, ok := s.StepByID(id)
			if !ok {
				continue
			}
			if before == scan {
				return true
			}
			if !isScan(s.Steps[before].Step) && walk(before) {
				return true
			}
		}
		return false
	}
	return walk(n)
}

func isScan(step *procedure.Step) bool {
	return step.Record != nil && step.Record.What == procedure.RecordSerial
}

// ncsOf tells of the nonconformances of a run at wanted steps.
func (b *dossierBuilder) ncsOf(s *run.State, wanted func(*run.State, *run.Entry) bool) error {
	for _, nc := range s.NCs {
		if wanted(s, nc.Entry) {
			if err := b.nc(run.Nonconformance{NC: nc, Run: s.Run}, s.Location); err != nil {
				return err
			}
		}
	}
	return nil
}

// nonconformances tells of those about the unit that have not been told of.
func (b *dossierBuilder) nonconformances() error {
	list, err := run.NonconformancesOf(b.tx, b.unit.ID)
	if err != nil {
		return err
	}
	for _, nc := range list {
		if err := b.nc(nc, clock.Dot{}); err != nil {
			return err
		}
	}
	return nil
}

// nc tells of a nonconformance found at a location, or none, and what was decided.
func (b *dossierBuilder) nc(nc run.Nonconformance, at clock.Dot) error {
	if b.told[nc.Entry.Dot] {
		return nil
	}
	b.told[nc.Entry.Dot] = true
	line := dossierLine{Kind: kind.NCRaise.Name, Text: "nonconformance: " + nc.Entry.Text, Bad: nc.Open}
	if nc.Open {
		line.Text += " (OPEN)"
	}
	if !nc.Run.IsZero() {
		line.Run = b.tx.Name(nc.Run)
		if nc.Entry.Step != run.NoStep {
			id, err := b.reader.StepID(nc.Run, nc.Entry.Step)
			if err != nil {
				return err
			}
			line.Step = id
		}
	}
	if err := b.add(line, nc.Entry.Dot, nc.Entry.At, nc.Entry.Person, at); err != nil {
		return err
	}
	for _, d := range nc.Dispositions {
		decided := dossierLine{Kind: kind.NCDispose.Name, Run: line.Run, Step: line.Step, Bad: nc.Open, Text: fmt.Sprintf("%s decided: %s%s", b.tx.Name(nc.Entry.Dot), d.Disposition, afterColon(d.Text))}
		if err := b.add(decided, d.Dot, d.At, d.Person, at); err != nil {
			return err
		}
	}
	return nil
}

func (c *call) unitDossier() error {
	return c.view(func(tx *changelog.Tx) error {
		u, err := unit.FindBySerial(tx, c.Args().First())
		if err != nil {
			return err
		}
		d, err := dossierOf(tx, u, c.env.now())
		if err != nil {
			return err
		}
		if c.asJSON() {
			return c.printJSON(d)
		}
		c.printUnit(d.unitDetail)
		c.printf("\nHistory\n")
		t := newTable("when", "who", "where", "what")
		for i := range d.Lines {
			line := &d.Lines[i]
			t.add(c.env.showTime(line.stamp.Time()), line.Person, line.Where, line.words())
		}
		t.print(c.env, "nothing is known of it")
		return nil
	})
}

// words say all of a line that its table does not.
func (line *dossierLine) words() string {
	text := line.Text
	if line.Step != "" {
		text = "step " + line.Step + ": " + text
	}
	if line.Run != "" {
		text = "run " + line.Run + " " + text
	}
	if line.Voided {
		text += " (VOIDED)"
	}
	if line.Bad {
		text = "! " + text
	}
	return text + " [" + line.ID + "]"
}
