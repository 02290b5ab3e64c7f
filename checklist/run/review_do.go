package run

import (
	"fmt"
	"slices"
	"strings"
	"time"

	"pulk/checklist/procedure"
	"pulk/checklist/review"
	"pulk/schema/fault"
	"pulk/schema/kind"
	"pulk/sync/change"
	"pulk/sync/clock"
)

// ReviewedStep returns the number of the hold point of a run that has a readiness
// review: the one with an id, or, where none is given, the only one, or else the first
// that is not open.
func (s *State) ReviewedStep(id string) (int, error) {
	var all []string
	first := -1
	for n := range s.Steps {
		step := &s.Steps[n]
		if step.Step.Review == nil {
			continue
		}
		if step.Step.ID == id {
			return n, nil
		}
		all = append(all, step.Step.ID)
		if first < 0 || s.Steps[first].Done && !step.Done {
			first = n
		}
	}
	switch {
	case len(all) == 0:
		return 0, fault.Misuse("the procedure says so, with the key review of a hold point: docs/procedure-format.md", "no hold point of this run asks for a readiness review")
	case id != "":
		return 0, fault.Misuse("these do: "+strings.Join(all, ", "), "step %q asks for no readiness review", id)
	}
	return first, nil
}

// OpenReview opens the review of a hold point with how its checks came out. Where it
// was open before, every go that was given falls.
func (d *Doing) OpenReview(n int, text string, findings []review.Finding) (clock.Dot, error) {
	if d.Steps[n].Done {
		return clock.Dot{}, fault.Refuse("see: pulk run show "+d.tx.Name(d.Run), "hold point %s is open already", d.Steps[n].Step.ID)
	}
	d.tx.SetClass(clock.Expedited)
	id := d.add(change.New(kind.ReviewOpen, change.Ref(d.Run), change.Num(int64(n)), change.Text(text)))
	d.record(n, findings)
	return id, nil
}

// Record keeps how checks came out, where that says something new. It returns how many
// did.
func (d *Doing) Record(n int, findings []review.Finding) (int, error) {
	if err := d.reviewOpen(n); err != nil {
		return 0, err
	}
	d.tx.SetClass(clock.Expedited)
	return d.record(n, findings), nil
}

func (d *Doing) record(n int, findings []review.Finding) int {
	count := 0
	for _, f := range findings {
		if d.told(n, f) {
			continue
		}
		until := int64(0)
		if !f.Until.IsZero() {
			until = f.Until.UnixMilli()
		}
		d.add(change.New(kind.ReviewCheck, change.Ref(d.Run), change.Num(int64(n)), change.Text(f.Name), change.Num(int64(f.Outcome)),
			change.Text(f.Facts), change.Text(f.Source), change.Num(until)))
		count++
	}
	return count
}

// told reports whether a line says what a finding says, and nothing else.
func (d *Doing) told(n int, f review.Finding) bool {
	for _, l := range d.Steps[n].Gate.Review.Lines {
		if l.Key == (review.Key{Name: f.Name}) {
			return len(l.Last) > 0 && !slices.ContainsFunc(l.Last, func(fact review.Fact) bool { return !f.Same(fact) })
		}
	}
	return false
}

func (d *Doing) reviewOpen(n int) error {
	if len(d.Steps[n].Gate.Review.Opened) == 0 {
		return fault.Refuse("open it: pulk review open "+d.tx.Name(d.Run), "no readiness review of step %s was opened", d.Steps[n].Step.ID)
	}
	return nil
}

// Line returns a line of a review by the name that people use: a check, the id of a
// question of the procedure, or that of a question that was asked.
func (d *Doing) Line(n int, name string) (*review.Line, error) {
	var names []string
	for i := range d.Steps[n].Gate.Review.Lines {
		l := &d.Steps[n].Gate.Review.Lines[i]
		is := l.Name()
		if !l.Key.Asked.IsZero() {
			is = d.tx.Name(l.Key.Asked)
		}
		if is == name || l.Key.Name == name && name != "" {
			return l, nil
		}
		names = append(names, is)
	}
	return nil, fault.Misuse("its lines are "+strings.Join(names, ", "), "the review has no line %q", name)
}

// AskReview asks a question that the procedure does not ask.
func (d *Doing) AskReview(n int, text string) (clock.Dot, error) {
	if err := d.reviewOpen(n); err != nil {
		return clock.Dot{}, err
	}
	if text = strings.TrimSpace(text); text == "" {
		return clock.Dot{}, fault.Misuse("ask it so that yes means ready", "a question needs a text")
	}
	d.tx.SetClass(clock.Expedited)
	return d.add(change.New(kind.ReviewAsk, change.Ref(d.Run), change.Num(int64(n)), change.Text(text))), nil
}

// AnswerReview answers a question of a review.
func (d *Doing) AnswerReview(n int, line *review.Line, yes bool, text string) error {
	outcome := review.OK
	switch {
	case !line.Question():
		return fault.Misuse("it is worked out: pulk review check", "%s is no question", line.Name())
	case !yes && strings.TrimSpace(text) == "":
		return fault.Misuse("say behind it what is not ready", "a no needs a text")
	case !yes:
		outcome = review.NotOK
	case line.Role != "" && !d.me.Has(line.Role):
		return fault.Refuse("let someone with that role answer", "question %s is for the role %s, which %s does not hold", line.Name(), line.Role, d.me.Code)
	}
	if err := d.reviewOpen(n); err != nil {
		return err
	}
	d.tx.SetClass(clock.Expedited)
	question := strings.TrimPrefix(line.Key.Name, review.QuestionMark)
	d.add(change.New(kind.ReviewAnswer, change.Ref(d.Run), change.Num(int64(n)), change.Text(question), change.Ref(line.Key.Asked), change.Num(int64(outcome)), change.Text(text)))
	return nil
}

// Waive asks to go on though a line is not ok. It counts once a second person, in the
// role that the procedure names, has granted it.
func (d *Doing) Waive(n int, line *review.Line, reason, risk string, signer Signer) (clock.Dot, error) {
	role := d.Steps[n].Step.Review.WaiverRole
	hint, never := review.NotWaived(line.Key.Name)
	switch {
	case never:
		return clock.Dot{}, fault.Refuse(hint, "line %s cannot be waived", line.Name())
	case role == "":
		return clock.Dot{}, fault.Refuse("make it so, or do not go on", "the procedure names nobody who grants waivers at step %s", d.Steps[n].Step.ID)
	case line.Outcome == review.OK:
		return clock.Dot{}, fault.Hint("nothing to do", "line %s is ok", line.Name())
	case line.Waived != nil:
		return clock.Dot{}, fault.Hint("nothing to do", "line %s is waived already (%s)", line.Name(), d.tx.Name(line.Waived.Dot))
	case strings.TrimSpace(reason) == "":
		return clock.Dot{}, fault.Misuse("give it with --why", "a waiver needs a reason")
	case strings.TrimSpace(risk) == "":
		return clock.Dot{}, fault.Misuse("say with --risk what can go wrong, and what that would cost", "a waiver needs the risk in words")
	}
	if err := d.reviewOpen(n); err != nil {
		return clock.Dot{}, err
	}
	return d.addWaiver(Entry{Kind: kind.ReviewWaive, Step: n, Line: line.Key, Text: reason, Risk: risk}, signer)
}

// Grant grants a waiver that somebody else asked for.
func (d *Doing) Grant(waiver clock.Dot, signer Signer) error {
	w, n := d.waiver(waiver)
	if w == nil {
		return fault.Hint("see: pulk review show "+d.tx.Name(d.Run), "%s is no waiver of run %s", d.tx.Name(waiver), d.tx.Name(d.Run))
	}
	role := d.Steps[n].Step.Review.WaiverRole
	switch {
	case w.Standing != Holds:
		return fault.Refuse("ask for it again: pulk review waive", "waiver %s does not count: %s", d.tx.Name(waiver), w.Standing)
	case w.Entry.Person == d.me.ID:
		return fault.Refuse("it takes a second person, of the role "+role, "%s asked for waiver %s and cannot grant it", d.me.Code, d.tx.Name(waiver))
	case !d.me.Has(role):
		return fault.Refuse("let someone with that role decide", "a waiver is granted by the role %s, which %s does not hold", role, d.me.Code)
	case w.Stands:
		return fault.Hint("nothing to do", "waiver %s is granted already", d.tx.Name(waiver))
	}
	_, err := d.addWaiver(Entry{Kind: kind.ReviewWaive, Step: n, Line: w.Entry.Line, Ref: waiver, Role: role}, signer)
	return err
}

func (d *Doing) waiver(id clock.Dot) (*Waiver, int) {
	for n := range d.Steps {
		if gate := d.Steps[n].Gate; gate != nil && gate.Review != nil {
			for i := range gate.Review.Waivers {
				if w := &gate.Review.Waivers[i]; w.Entry.Dot == id {
					return w, n
				}
			}
		}
	}
	return nil, 0
}

func (d *Doing) addWaiver(e Entry, signer Signer) (clock.Dot, error) {
	d.tx.SetClass(clock.Expedited)
	digest, err := d.evidenceNow()
	if err != nil {
		return clock.Dot{}, err
	}
	e.Digest, e.Origin = digest, &Origin{Wire: d.wire(e.Step)}
	message, here := d.WaiveMessage(&e)
	if !here {
		return clock.Dot{}, fmt.Errorf("what the waiver is about is not here")
	}
	return d.add(change.New(kind.ReviewWaive, change.Ref(d.Run), change.Num(int64(e.Step)), change.Text(e.Line.Name), change.Ref(e.Line.Asked), change.Ref(e.Ref),
		change.Text(e.Text), change.Text(e.Risk), change.Text(e.Role), change.Bytes(digest), change.Ref(signer.Key), change.Bytes(signer.Sign(message)))), nil
}

// evidenceNow is the digest of the run's record as a change that is added now would
// have it. The class must be set.
func (d *Doing) evidenceNow() ([]byte, error) {
	heads, err := d.tx.Heads()
	return d.EvidenceDigest(clock.Context{Of: d.tx.Next(), Others: heads}), err
}

// Decide gives a go or a no-go in a role. A go is refused while a line is neither ok
// nor waived; a no-go is always taken, from anyone, and needs a text.
func (d *Doing) Decide(n int, verdict Verdict, role, text string, signer Signer) error {
	if verdict == Go {
		if err := d.mayDecide(n, role); err != nil {
			return err
		}
	} else if strings.TrimSpace(text) == "" {
		return fault.Misuse("say with --why what speaks against it", "a no-go needs a reason")
	}
	d.tx.SetClass(clock.Expedited)
	digest, err := d.evidenceNow()
	if err != nil {
		return err
	}
	signature := signer.Sign(d.DecideMessage(d.wire(n), verdict, role, text, digest))
	d.add(change.New(kind.ReviewDecide, change.Ref(d.Run), change.Num(int64(n)), change.Num(int64(verdict)), change.Text(role), change.Text(text),
		change.Bytes(digest), change.Ref(signer.Key), change.Bytes(signature)))
	return nil
}

// mayDecide refuses a go that would not hold.
func (d *Doing) mayDecide(n int, role string) error {
	rv := d.Steps[n].Gate.Review
	id := d.Steps[n].Step.ID
	if err := d.reviewOpen(n); err != nil {
		return err
	}
	switch {
	case !slices.Contains(rv.Form.Roles, role):
		return fault.Misuse("its roles are "+strings.Join(rv.Form.Roles, ", "), "the review of step %s is not by the role %q", id, role)
	case !d.me.Has(role):
		return fault.Refuse("let someone with that role decide", "%s does not hold the role %s", d.me.Code, role)
	}
	for _, s := range rv.Decisions {
		if s.Standing == Holds && s.Entry.Person == d.me.ID {
			return fault.Refuse("each role is another person's", "%s has given a go as %s already, and it holds", d.me.Code, s.Entry.Role)
		}
	}
	var open []string
	for i := range rv.Lines {
		if l := &rv.Lines[i]; !l.Clear() {
			open = append(open, l.Words())
		}
	}
	if len(open) > 0 {
		return fault.RefuseBecause(open, "make it so, or ask for a waiver: pulk review waive "+d.tx.Name(d.Run)+" LINE", "the readiness review of step %s is not ready for a go", id)
	}
	return d.unsettled(n, "no go can be given at step "+id)
}

// unsettled refuses with the first thing that speaks against going on at gate n.
func (d *Doing) unsettled(n int, what string) error {
	v := d.whole()
	for _, a := range v.adverse(n) {
		if !a.settled(v) {
			return fault.Refuse("see: pulk nc list, pulk nc dispose; what is not here yet comes with a bundle", "%s: %s (%s)", what, a.Why, d.tx.Name(a.Dot))
		}
	}
	return nil
}

// reviewInTime refuses to go on where the review of a gate does not stand at go, or
// rests on a check that could be relied on only until an earlier time. The second is
// asked where the work is done, and no part of the gate: clocks are no evidence.
func (d *Doing) reviewInTime(n int) error {
	gate := d.Steps[n].Gate
	if gate == nil || gate.Review == nil {
		return nil
	}
	id, show := d.Steps[n].Step.ID, "see: pulk review show "+d.tx.Name(d.Run)+":"+d.Steps[n].Step.ID
	if !gate.Review.Go {
		return fault.RefuseBecause(gate.Review.Shut, show, "the readiness review of step %s does not stand at go", id)
	}
	now := d.tx.Author().Now
	for _, l := range gate.Review.Lines {
		for _, fact := range l.Last {
			if l.Outcome == review.OK && !fact.Until.IsZero() && !now.Before(fact.Until) {
				return fault.Refuse("work the checks out again: pulk review check "+d.tx.Name(d.Run)+":"+id, "the readiness review of step %s: check %s held only until %s: %s",
					id, l.Name(), fact.Until.Format(time.DateOnly+" 15:04Z"), fact.Text)
			}
		}
	}
	return nil
}

// reviewsInTime asks reviewInTime of every gate before an irreversible step.
func (d *Doing) reviewsInTime(step *procedure.Step, n int) error {
	if !step.Irreversible {
		return nil
	}
	for m := range n {
		if err := d.reviewInTime(m); err != nil {
			return err
		}
	}
	return nil
}
