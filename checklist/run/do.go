package run

import (
	"fmt"
	"slices"
	"strings"
	"time"

	"pulk/checklist/conditions"
	"pulk/checklist/crew"
	"pulk/checklist/procedure"
	"pulk/schema/fault"
	"pulk/schema/kind"
	"pulk/sync/change"
	"pulk/sync/changelog"
	"pulk/sync/clock"
)

// Start starts a run of a revision, on a unit and at a location where given.
func Start(tx *changelog.Tx, revision procedure.Revision, target, location clock.Dot, title string) (clock.Dot, error) {
	if len(revision.Withdrawn) > 0 {
		return clock.Dot{}, fault.Refuse("start the latest revision", "revision %s of %s was withdrawn: %s", revision.Revision, revision.Procedure, revision.Withdrawn[0].Why)
	}
	if title == "" {
		title = revision.Title
	}
	return tx.Add(change.New(kind.RunStart, change.Ref(revision.ID), change.Ref(target), change.Ref(location), change.Text(title))), nil
}

// Doing is a run that someone is about to write an entry into.
type Doing struct {
	*State
	// Again allows readings at a step that is done: to see whether it is still so.
	Again bool

	tx    *changelog.Tx
	me    *crew.Person
	paper *sheetLine // while what stands on paper is taken in

	allowed *conditions.Allowed // by what the step about to be entered is allowed; nil: it asks for nothing
}

// Open loads a run for someone to act on. It is refused for a run that has ended.
func Open(tx *changelog.Tx, me *crew.Person, id clock.Dot) (*Doing, error) {
	record, err := Load(tx, id)
	if err != nil {
		return nil, err
	}
	if record.Procedure == nil {
		return nil, fault.Hint("it comes with a bundle from the site that imported it", "the revision of run %s is not here yet", tx.Name(id))
	}
	d := &Doing{State: Evaluate(record), tx: tx, me: me}
	if d.Ended != nil {
		return nil, fault.Refuse("start a new run", "run %s has ended", tx.Name(id))
	}
	return d, nil
}

// Number returns the number of a step by its id.
func (d *Doing) Number(id string) (int, error) {
	n, ok := d.StepByID(id)
	if !ok {
		return 0, fault.Hint("see: pulk run show "+d.tx.Name(d.Run), "the run has no step %q", id)
	}
	return n, nil
}

// ready refuses what the rules of the work do not allow now. Hold points do not
// stop a sign-off at themselves.
func (d *Doing) ready(n int) error {
	if d.paper != nil {
		return nil // it has happened, and FromPaper has judged that
	}
	step := &d.Steps[n]
	if len(step.Blocked) > 0 {
		hint := "settle that first; see: pulk run show " + d.tx.Name(d.Run)
		if step.Step.Irreversible {
			hint = "this step cannot be undone: leave everything as it is and " + hint
		}
		return fault.RefuseBecause(step.Blocked, hint, "step %s cannot be carried out", step.Step.ID)
	}
	if err := d.reviewsInTime(step.Step, n); err != nil {
		return err
	}
	if role := step.Step.Role; role != "" && !d.me.Has(role) {
		return fault.Refuse("let someone with that role do it", "step %s is for the role %s, which %s does not hold", step.Step.ID, role, d.me.Code)
	}
	if step.Done && step.Gate == nil && !(d.Again && step.Step.Kind == procedure.KindReading) {
		last := step.Entries[len(step.Entries)-1]
		return fault.Refuse("void that entry first if it is wrong: pulk run void "+d.tx.Name(last.Dot), "step %s is done already (%s)", step.Step.ID, d.tx.Name(last.Dot))
	}
	return d.heed(n)
}

func (d *Doing) wants(n int, kinds ...procedure.Kind) error {
	if step := d.Steps[n].Step; !slices.Contains(kinds, step.Kind) {
		return fault.Misuse("see: pulk run check --help", "step %s is a %s step", step.ID, step.Kind)
	}
	return nil
}

// Check checks off a step that is done, or answers a confirm step with yes.
func (d *Doing) Check(n int) error {
	if err := d.wants(n, procedure.KindDo, procedure.KindConfirm); err != nil {
		return err
	}
	if err := d.ready(n); err != nil {
		return err
	}
	d.add(change.New(kind.StepCheck, change.Ref(d.Run), change.Num(int64(n)), change.Num(0)))
	d.allowedBy(n)
	return nil
}

// AnswerNo answers a confirm step with no: it opens a nonconformance.
func (d *Doing) AnswerNo(n int, what string) error {
	if err := d.wants(n, procedure.KindConfirm); err != nil {
		return err
	}
	if what == "" {
		return fault.Misuse("say what is seen instead", "a no needs a description")
	}
	if err := d.ready(n); err != nil {
		return err
	}
	if err := d.expedite(); err != nil {
		return err
	}
	cause := d.add(change.New(kind.StepCheck, change.Ref(d.Run), change.Num(int64(n)), change.Num(1)))
	d.raise(n, cause, what)
	d.allowedBy(n)
	return nil
}

func (d *Doing) raise(n int, cause clock.Dot, text string) clock.Dot {
	return d.add(change.New(kind.NCRaise, change.Ref(d.Run), change.Num(int64(n+1)), change.Ref(d.Target), change.Ref(cause), change.Text(text)))
}

// Read records readings of a step and judges each. Any outside its limits opens a
// nonconformance by itself. It returns the judgements in order.
func (d *Doing) Read(n int, readings []Measured) ([]Judgement, error) {
	if err := d.wants(n, procedure.KindReading); err != nil {
		return nil, err
	}
	if err := d.ready(n); err != nil {
		return nil, err
	}
	step := d.Steps[n].Step
	var judgements []Judgement
	urgent := false
	for i := range readings {
		m := &readings[i]
		// A sheet names it or not; its reading is then kept, and does not count.
		if m.Instrument.IsZero() && step.Reading.Instrument != nil && d.paper == nil {
			return nil, fault.Misuse("name it: --with SERIAL", "step %s is read with %s", step.ID, step.Reading.Instrument)
		}
		e := &Entry{Kind: kind.StepReading, Step: n, At: clock.StampAt(d.tx.Author().Now), Measured: *m}
		if d.paper != nil {
			e.Paper = d.paper.paper
		}
		judgements = append(judgements, d.Judge(e))
		urgent = urgent || judgements[i].Outcome.Bad() || judgements[i].Conditional()
	}
	if urgent {
		if err := d.expedite(); err != nil {
			return nil, err
		}
	}
	for i := range readings {
		dot := d.add(readings[i].change(d.Run, n, judgements[i].Outcome))
		if judgements[i].Outcome.Bad() {
			d.raise(n, dot, fmt.Sprintf("step %s: %s is %s, limits %s", step.ID, step.Reading.Quantity, withUnit(readings[i].Value, step), judgements[i].Limits))
		}
	}
	d.allowedBy(n)
	return judgements, nil
}

// Write records a text or a serial number; unit is the unit with that serial, or
// none.
func (d *Doing) Write(n int, text string, unit clock.Dot) error {
	if err := d.wants(n, procedure.KindRecord); err != nil {
		return err
	}
	if text == "" {
		return fault.Misuse("type or scan it", "step %s records something", d.Steps[n].Step.ID)
	}
	if err := d.ready(n); err != nil {
		return err
	}
	for i := range d.Steps {
		for _, e := range d.Steps[i].Entries {
			if e.Kind == kind.StepRecord && !unit.IsZero() && e.Unit == unit {
				return fault.Refuse("scan the unit that is really there", "unit %s is recorded already in step %s of this run", text, d.Steps[i].Step.ID)
			}
		}
	}
	d.add(change.New(kind.StepRecord, change.Ref(d.Run), change.Num(int64(n)), change.Text(text), change.Ref(unit)))
	d.allowedBy(n)
	return nil
}

// Wait starts the clock of a waiting step, or checks it off when its time is over.
// It returns when it ends, and whether it has ended.
func (d *Doing) Wait(n int) (ends time.Time, over bool, err error) {
	if err := d.wants(n, procedure.KindWait); err != nil {
		return time.Time{}, false, err
	}
	if err := d.ready(n); err != nil {
		return time.Time{}, false, err
	}
	minutes := time.Duration(d.Steps[n].Step.WaitMinutes) * time.Minute
	now := d.tx.Author().Now
	ends, begun := d.WaitEnds(n)
	if !begun {
		d.add(change.New(kind.StepBegin, change.Ref(d.Run), change.Num(int64(n))))
		d.allowedBy(n)
		return now.Add(minutes), false, nil
	}
	if left := ends.Sub(now); left > 0 {
		return ends, false, fault.Refuse("wait until "+ends.Format("2006-01-02 15:04:05Z"), "step %s: %s of %s are left", d.Steps[n].Step.ID, left.Round(time.Second), minutes)
	}
	d.add(change.New(kind.StepCheck, change.Ref(d.Run), change.Num(int64(n)), change.Num(0)))
	return ends, true, nil
}

// Note writes a remark, at a step or about the run (NoStep).
func (d *Doing) Note(n int, text string) error {
	if strings.TrimSpace(text) == "" {
		return fault.Misuse("say what is to be remembered", "a note needs a text")
	}
	d.add(change.New(kind.RunNote, change.Ref(d.Run), change.Num(int64(n+1)), change.Text(text)))
	return nil
}

// Void says that an earlier entry of the run is not to be relied on. Nothing is
// erased; sign-offs that stood on it fall.
func (d *Doing) Void(target clock.Dot, why string) error {
	if why == "" {
		return fault.Misuse("give it with --why", "voiding needs a reason")
	}
	whole := d.whole()
	e := whole.entryOf(target)
	switch {
	case e == nil:
		return fault.Hint("see: pulk run show "+d.tx.Name(d.Run), "run %s has no entry %s", d.tx.Name(d.Run), d.tx.Name(target))
	case !voidable(e.Kind):
		return fault.Refuse("dispose of a nonconformance with pulk nc dispose", "%s is no step entry or note and cannot be voided", d.tx.Name(target))
	case whole.voided[target] != nil:
		return fault.Hint("nothing to do", "%s is voided already", d.tx.Name(target))
	case e.Kind == kind.StepCheck && d.step(e.Step) != nil && d.step(e.Step).Irreversible:
		// Said plainly, as the deed stays done whatever the record says.
		why = "(the step cannot be undone; only the record is voided) " + why
	}
	if err := d.expedite(); err != nil {
		return err
	}
	d.add(change.New(kind.Void, change.Ref(target), change.Ref(d.Run), change.Text(why)))
	return nil
}

// Signer is a person's unlocked key.
type Signer struct {
	Key  clock.Dot // the change that made it known
	Sign func(message []byte) []byte
}

// Sign signs go or stop at a hold or witness point, on the evidence that is here.
// A go is refused while anything is open; a stop is always taken, from anyone.
func (d *Doing) Sign(n int, verdict Verdict, signer Signer) error {
	if err := d.wants(n, procedure.KindHold, procedure.KindWitness); err != nil {
		return err
	}
	step := &d.Steps[n]
	if verdict == Go {
		if err := d.mayGo(n); err != nil {
			return err
		}
	}
	d.tx.SetClass(clock.Expedited)
	role := step.Step.Sign.Role
	digest, err := d.evidenceNow()
	if err != nil {
		return err
	}
	signature := signer.Sign(d.SignMessage(d.wire(n), verdict, role, digest))
	d.add(change.New(kind.StepSign, change.Ref(d.Run), change.Num(int64(n)), change.Num(int64(verdict)), change.Text(role),
		change.Bytes(digest), change.Ref(signer.Key), change.Bytes(signature)))
	d.allowedBy(n)
	return nil
}

// mayGo refuses a go that would not hold.
func (d *Doing) mayGo(n int) error {
	step := &d.Steps[n]
	id := step.Step.ID
	if !d.me.Has(step.Step.Sign.Role) {
		return fault.Refuse("let someone with that role sign", "step %s is signed by the role %s, which %s does not hold", id, step.Step.Sign.Role, d.me.Code)
	}
	if len(step.Blocked) > 0 {
		return fault.RefuseBecause(step.Blocked, "settle that first; see: pulk run show "+d.tx.Name(d.Run), "step %s cannot be signed", id)
	}
	for m := range n {
		if before := d.Steps[m]; !before.Done && (before.Gate == nil || before.Step.Kind == procedure.KindHold || step.Step.Kind == procedure.KindHold) {
			return fault.Refuse("finish it, or sign stop", "step %s cannot be signed: step %s before it is not done", id, before.Step.ID)
		}
	}
	if err := d.revisionDecided(); err != nil {
		return err
	}
	if err := d.reviewInTime(n); err != nil {
		return err
	}
	if err := d.unsettled(n, "step "+id+" cannot be signed go"); err != nil {
		return err
	}
	for _, s := range step.Gate.SignOffs {
		if s.Standing == Holds && s.Entry.Person == d.me.ID {
			return fault.Refuse("it takes different people", "%s has signed step %s already, and it holds", d.me.Code, id)
		}
	}
	return d.heed(n)
}

// End ends a run: finished where every step is done, else abandoned, with a reason.
func (d *Doing) End(abandon bool, why string) error {
	outcome := int64(0)
	switch {
	case abandon && why == "":
		return fault.Misuse("give it with --why", "abandoning a run needs a reason")
	case abandon:
		outcome = 1
	case !d.Finished():
		n, _ := d.firstOpen()
		return fault.Refuse("finish it, or end the run with --abandon and a reason", "step %s is not done", d.Steps[n].Step.ID)
	}
	d.add(change.New(kind.RunEnd, change.Ref(d.Run), change.Num(outcome), change.Text(why)))
	return nil
}

func (d *Doing) firstOpen() (int, bool) {
	n := slices.IndexFunc(d.Steps, func(s StepState) bool { return !s.Done })
	return max(n, 0), n >= 0
}
