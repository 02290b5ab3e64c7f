package run

import (
	"fmt"
	"slices"
	"strings"

	"pulk/checklist/crew"
	"pulk/checklist/filled"
	"pulk/checklist/procedure"
	"pulk/schema/fault"
	"pulk/schema/kind"
	"pulk/sync/change"
	"pulk/sync/changelog"
	"pulk/sync/clock"
)

// Paper is how an entry stood on a sheet of paper from which it was typed in. The
// entry's own person and time are those of the typing.
type Paper struct {
	Writer  clock.Dot   // the person who wrote it, or none
	Name    string      // who wrote it, where that is no person known here
	Written filled.When // when; empty where the sheet does not say
	Answer  string      // what stands there
	Why     string      // why it was taken in, where a rule of the work had stopped the deed
}

// same reports whether two entries were typed in from one place of one sheet.
func (p *Paper) same(o *Paper) bool {
	return o != nil && p.Writer == o.Writer && p.Name == o.Name && p.Written == o.Written && p.Answer == o.Answer
}

// sheetLine is a line of a sheet while it is taken in.
type sheetLine struct {
	paper     *Paper
	from      int // place of its first change in the change-set
	expedited bool
}

// FromPaper takes in what a sheet says of step n. What fn writes, by the methods that
// write it at the work place, is marked as from paper. The deed has happened: where a
// rule of the work would have stopped it, it is taken in all the same if p.Why says how
// it came to that, and is shown as a conflict; else it is refused. What judges stays
// as it is: a reading outside its limits opens a nonconformance.
//
// It returns false, and writes nothing, where the same line of the same sheet is on
// record already, or the step is done.
func (d *Doing) FromPaper(n int, p Paper, fn func() error) (taken bool, err error) {
	if d.OnRecord(n, &p) {
		return false, nil
	}
	step := &d.Steps[n]
	if step.Done && step.Gate == nil {
		return false, d.differs(n, p)
	}
	against := d.against(n, p)
	if len(against) == 0 {
		p.Why = ""
	} else if p.Why == "" {
		return false, fault.RefuseBecause(against, "leave the step out; or, as it has happened, say why with --why: it is then on record, and shown as a conflict", "step %s was not to be carried out", step.Step.ID)
	}
	d.paper = &sheetLine{paper: &p, from: d.pending()}
	defer func() { d.paper = nil }()
	if err := fn(); err != nil {
		return false, err
	}
	count := d.pending() - d.paper.from
	if count <= 0 {
		return false, nil
	}
	d.add(change.New(kind.PaperMark, change.Ref(d.Run), change.Num(int64(count)), change.Ref(p.Writer), change.Text(p.Name),
		change.Text(string(p.Written)), change.Text(p.Answer), change.Text(p.Why)))
	if d.paper.expedited {
		if err := d.tx.Cut(); err != nil {
			return false, err
		}
	}
	return true, d.renew()
}

// OnRecord reports whether a line of a sheet was typed in already, and stands.
func (d *Doing) OnRecord(n int, p *Paper) bool {
	v := d.whole()
	return slices.ContainsFunc(d.Entries, func(e Entry) bool { return e.Step == n && p.same(e.Paper) && v.voided[e.Dot] == nil })
}

// differs refuses a line about a step that is done where it says another thing than
// the record.
func (d *Doing) differs(n int, p Paper) error {
	step := d.Steps[n]
	var have []string
	for _, e := range step.Entries {
		switch e.Kind {
		case kind.StepReading:
			have = append(have, e.Value.String())
		case kind.StepRecord:
			have = append(have, e.Text)
		}
	}
	said := []string{p.Answer}
	if step.Step.Kind == procedure.KindReading {
		said = strings.Fields(p.Answer)
		if readings, _, err := ParseReadings(step.Step, said); err == nil {
			said = nil
			for i := range readings {
				said = append(said, readings[i].Value.String())
			}
		}
	}
	isNo := step.Step.Kind == procedure.KindConfirm && strings.HasPrefix(p.Answer, "no")
	isOther := len(have) > 0 && slices.ContainsFunc(said, func(text string) bool { return !slices.Contains(have, text) })
	if !isNo && !isOther {
		return nil
	}
	last := step.Entries[len(step.Entries)-1]
	return fault.Refuse("find out which is right: leave the step out of what is typed in, or void the entry with pulk run void "+d.tx.Name(last.Dot),
		"step %s is done already (%s), and the sheet says another thing: %s", step.Step.ID, d.tx.Name(last.Dot), p.Answer)
}

// against says which rules of the work would have stopped the writer of a line.
func (d *Doing) against(n int, p Paper) []string {
	step := &d.Steps[n]
	if step.Gate != nil {
		return nil // a signature on paper opens nothing
	}
	why := slices.Clone(step.Blocked)
	role := step.Step.Role
	var writer *crew.Person
	var err error
	if !p.Writer.IsZero() {
		writer, err = crew.Get(d.tx, p.Writer)
	}
	why = append(why, d.againstPaper(step.Step, writer, p)...)
	switch {
	case err != nil:
		why = append(why, err.Error())
	case role == "":
	case writer == nil:
		why = append(why, fmt.Sprintf("it is for the role %s, and %s is nobody known here", role, p.Name))
	case !writer.Has(role):
		why = append(why, fmt.Sprintf("it is for the role %s, which %s does not hold", role, writer.Code))
	}
	return why
}

// SignedOnPaper takes in a signature at a hold or witness point that was written by
// hand. It is a note: the gate opens when its signer signs in the store. A stop opens a
// nonconformance, which shuts the gates of the run until it is decided.
func (d *Doing) SignedOnPaper(n int, verdict Verdict, p Paper) error {
	if err := d.wants(n, procedure.KindHold, procedure.KindWitness); err != nil {
		return err
	}
	step, who, lacks := d.Steps[n].Step, p.Name, ""
	if !p.Writer.IsZero() {
		writer, err := crew.Get(d.tx, p.Writer)
		if err != nil {
			return err
		}
		if who = writer.Code; !writer.Has(step.Sign.Role) {
			lacks = ", who does not hold that role here"
		}
	}
	text := fmt.Sprintf("signed %s by hand on paper at %s point %s, by %s as %s%s", verdict, step.Kind, step.ID, who, step.Sign.Role, lacks)
	if verdict == Go {
		return d.Note(n, text)
	}
	if err := d.expedite(); err != nil {
		return err
	}
	d.raise(n, clock.Dot{}, text)
	return nil
}

// WaitedOnPaper checks off a waiting step of which the sheet says from when to when.
func (d *Doing) WaitedOnPaper(n int, from, until filled.When) error {
	if err := d.wants(n, procedure.KindWait); err != nil {
		return err
	}
	step := d.Steps[n].Step
	began, ok := from.Time()
	ended, also := until.Time()
	if !ok || !also {
		return fault.Misuse("like 06:40-07:05", "step %s waits: say from when until when", step.ID)
	}
	if minutes := ended.Sub(began).Minutes(); minutes < float64(step.WaitMinutes) {
		return fault.Refuse("leave the step out; it is to be waited again", "step %s: %.0f min of %d min stand on paper", step.ID, minutes, step.WaitMinutes)
	}
	for _, k := range []*kind.Kind{kind.StepBegin, kind.StepCheck} {
		values := []change.Value{change.Ref(d.Run), change.Num(int64(n))}
		if k == kind.StepCheck {
			values = append(values, change.Num(0))
		}
		d.add(change.New(k, values...))
	}
	return nil
}

// expedite makes what is written next travel first. What was written before of the
// same sheet does not have to.
func (d *Doing) expedite() error {
	if set := d.tx.Pending(); set != nil {
		if set.Lane.Class == clock.Expedited {
			return nil
		}
		if err := d.tx.Cut(); err != nil {
			return err
		}
	}
	if d.paper != nil {
		d.paper.from, d.paper.expedited = 0, true
	}
	d.tx.SetClass(clock.Expedited)
	return nil
}

// pending counts the changes of the change-set being written.
func (d *Doing) pending() int {
	if set := d.tx.Pending(); set != nil {
		return len(set.Changes)
	}
	return 0
}

// renew works out the state anew, with what is written and not yet on disk.
func (d *Doing) renew() error {
	record, err := Load(d.tx, d.Run)
	if err != nil {
		return err
	}
	if set := d.tx.Pending(); set != nil {
		heads, err := d.tx.Heads()
		if err != nil {
			return err
		}
		var fresh []Entry
		for i, c := range set.Changes {
			k := kind.Lookup(c.Kind)
			e := Entry{Dot: set.ID(i), At: clock.StampAt(d.tx.Author().Now), Person: d.me.ID, Kind: k, Step: NoStep, Ctx: clock.Context{Of: set.ID(i), Others: heads}}
			if column, ok := runColumn[k]; ok && c.Values[column].Ref == d.Run {
				e.fill(c.Values)
				fresh = append(fresh, e)
			}
			if k == kind.PaperMark {
				markPaper(fresh, e.Dot, c.Values)
			}
		}
		record.add(fresh)
	}
	d.State = Evaluate(record)
	return nil
}

// markPaper marks the entries that a mark is about: those directly before it in its
// change-set. Entries are in the order of their dots.
func markPaper(entries []Entry, mark clock.Dot, v []change.Value) {
	p := &Paper{Writer: v[2].Ref, Name: v[3].Text, Written: filled.When(v[4].Text), Answer: v[5].Text, Why: v[6].Text}
	for i := range entries {
		e := &entries[i]
		if e.Dot.Lane == mark.Lane && e.Dot.Seq == mark.Seq && e.Dot.Index < mark.Index && int64(mark.Index-e.Dot.Index) <= v[1].Num {
			e.Paper = p
		}
	}
}

// loadPaper marks the entries that were typed in from paper. Marks are no entries of
// the run: what a signer had in hand is named by the hashes of whole change-sets, marks
// and all, and is the same where a program does not know them.
func (r *Record) loadPaper(tx *changelog.Tx) error {
	dots, err := tx.Dots("SELECT dot FROM paper_mark WHERE run = ? ORDER BY dot", r.Run.Key())
	if err != nil {
		return err
	}
	return tx.EachRecorded(dots, func(logged changelog.Recorded) error {
		markPaper(r.Entries, logged.Dot, logged.Values)
		return nil
	})
}
