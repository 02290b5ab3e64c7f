package run

import (
	"bytes"
	"pulk/checklist/limit"

	"pulk/schema/kind"
	"pulk/sync/clock"
)

// Gate is the state of a hold point or witness point.
type Gate struct {
	Step     int
	Open     bool
	Need     int // how many different people must sign go
	Have     int // how many have, with a sign-off that holds
	Role     string
	SignOffs []SignOff // every one given, voided ones too, in the order of their dots
	Review   *Review   // the readiness review that it needs, or nil
	Shut     []string  // why it is shut, in words; empty if open
	// Conditional are the conditional passes before it, whose risk a go takes.
	Conditional []*Entry
}

// Standing is whether a sign-off holds.
type Standing string

// The standings of a sign-off.
const (
	Holds      Standing = "holds"
	Overtaken  Standing = "overtaken"             // something adverse existed that the signer had not seen
	Reopened   Standing = "reopened"              // something adverse came later
	Unsettled  Standing = "unsettled"             // something adverse that the signer had seen is not settled
	Voided     Standing = "voided"                //
	StopHolds  Standing = "stop"                  // a stop that no go has answered
	StopLifted Standing = "stop, answered"        // a go has seen it
	NoRole     Standing = "no role"               // the signer did not hold it by what they knew, or it was withdrawn meanwhile
	BadKey     Standing = "signature invalid"     //
	KeyNotHere Standing = "key not here yet"      //
	NotAllHere Standing = "evidence not all here" // the signer had seen entries that are not here yet
	NotForThis Standing = "wrong role"            // signed in a role that the step does not ask for

	// OtherRevision is a go that was given on another revision, in which something before
	// the gate, or the gate, was not the same.
	OtherRevision Standing = "given on another revision"
	SamePerson    Standing = "same person" // a waiver granted by who asked for it
)

// SignOff is a sign-off and its standing.
type SignOff struct {
	Entry    *Entry
	Standing Standing
	By       *Adverse // what overtook, reopened or unsettles it; or nil
}

// Adverse is something that speaks against going on.
type Adverse struct {
	Dot clock.Dot
	Ctx clock.Context
	Why string // in words
	// settled reports whether someone who had seen it, and what the view v saw,
	// may go on.
	settled func(v *view) bool
	review  bool // it is about a line of the gate's readiness review, which tells of it
}

// adverse lists what speaks against going on at the gate of step n.
func (v *view) adverse(n int) []Adverse {
	var list []Adverse
	for i := range v.Entries {
		e := &v.Entries[i]
		if !v.sees(e.Dot) {
			continue
		}
		if a, ok := v.adverseEntry(e, n); ok {
			list = append(list, a)
		}
	}
	if v.reviewForm(n) != nil {
		list = append(list, v.outsideAdverse(n)...)
	}
	for i := range v.Recalls {
		r := &v.Recalls[i]
		if !v.sees(r.Dot) {
			continue
		}
		if a, ok := v.adverseRecall(r, n); ok {
			list = append(list, a)
		}
	}
	list = append(list, v.contestedMoves()...)
	for _, w := range v.Withdrawals {
		if v.sees(w.Dot) {
			list = append(list, Adverse{w.Dot, w.Ctx, "the revision was withdrawn: " + w.Why, func(*view) bool { return false }, false})
		}
	}
	return list
}

func (v *view) adverseEntry(e *Entry, gate int) (Adverse, bool) {
	a := Adverse{Dot: e.Dot, Ctx: e.Ctx}
	switch {
	case e.Kind == kind.NCRaise:
		a.Why = "nonconformance: " + e.Text
		a.settled = func(seen *view) bool { return seen.ncSettled(e, gate) }
	case e.Kind == kind.Void && e.Awaited: // it may be a step entry
		a.Why = "something that is not here yet was voided: " + e.Text
		a.settled = func(*view) bool { return false }
	case e.Kind == kind.Void:
		target := v.entryOf(e.Ref)
		if target != nil && isReviewWord(target.Kind) {
			return v.adverseReviewVoid(e, target, gate)
		}
		if target == nil || !isStepEntry(target.Kind) {
			return a, false
		}
		a.Why = "step " + v.ownID(target) + " was voided: " + e.Text
		a.settled = func(seen *view) bool { return seen.voidSettled(target, gate) }
	case v.voided[e.Dot] != nil:
		return a, false // its void is adverse instead
	case e.Kind == kind.StepSign && e.Verdict != Go && (e.Step == gate || e.Step == Elsewhere): // a stop outlives its gate
		a.Why = "stop: " + e.Role
		a.settled = func(*view) bool { return true } // a go that has seen it answers it
	case isReviewEntry(e.Kind):
		return v.adverseReviewEntry(e, gate)
	case v.failing(e):
		a.Why = v.failureText(e)
		a.settled = func(seen *view) bool { return seen.failureSettled(e, gate) }
	case e.Kind == kind.StepReading && e.Step >= 0 && e.Step < gate && v.judge(e).Conditional():
		a.Why = "step " + v.ownID(e) + ": " + withUnit(e.Value, v.step(e.Step)) + " is a conditional pass"
		a.settled = func(*view) bool { return true } // a go that has seen it takes its risk
	default:
		return v.unjudged(e, gate)
	}
	return a, true
}

func (v *view) entryOf(d clock.Dot) *Entry {
	for i := range v.Entries {
		if v.Entries[i].Dot == d {
			return &v.Entries[i]
		}
	}
	return nil
}

// ownID returns the id of an entry's step as its author knew it.
func (v *view) ownID(e *Entry) string {
	if step := v.own(e); step != nil {
		return step.ID
	}
	return "?"
}

// voidSettled reports whether what was voided lies behind the gate, was done again, or is
// of a step that is no more.
func (v *view) voidSettled(target *Entry, gate int) bool {
	if target.waits() {
		return false
	}
	now := target.placeNow()
	return now == NoStep || now >= gate || v.done(now)
}

func (v *view) failureText(e *Entry) string {
	step := v.own(e)
	if e.Kind == kind.StepReading && step != nil {
		return "step " + step.ID + ": " + step.Reading.Quantity + " " + withUnit(e.Value, step) + " is " + outsideText(v.bounds(e.Step, e).Limits, e)
	}
	return "step " + v.ownID(e) + ": answered no"
}

func outsideText(limits limit.Limits, e *Entry) string {
	if limits.Inside(e.Value) {
		return "inside its limits by less than the guard band"
	}
	return "outside its limits"
}

// ncSettled reports whether a nonconformance is disposed of, and, where its step
// lies before the gate and was to be done again, that this was done.
func (v *view) ncSettled(nc *Entry, gate int) bool {
	d, _, ok := v.disposition(nc)
	switch {
	case !ok || d == Scrapped:
		return false
	case d == UseAsIs:
		return true
	case nc.waits():
		return false
	case nc.Step == NoStep || nc.Step >= gate:
		return true
	}
	return v.done(nc.Step)
}

func (v *view) failureSettled(e *Entry, gate int) bool {
	ncs := v.ncsOf(e)
	for _, nc := range ncs {
		if !v.ncSettled(nc, gate) {
			return false
		}
	}
	return len(ncs) > 0
}

// gate evaluates the hold or witness point at step n.
func (v *view) gate(n int) Gate {
	step := v.step(n)
	g := Gate{Step: n, Need: 1}
	if step != nil && step.Sign != nil {
		g.Need, g.Role = max(1, step.Sign.People), step.Sign.Role
	}
	adverse := v.adverse(n)
	people := map[clock.Dot]bool{}
	for i := range v.Entries {
		e := &v.Entries[i]
		if e.Kind != kind.StepSign || e.Step != n && !e.stale(n) || !v.sees(e.Dot) {
			continue
		}
		s := v.standing(e, g.Role, adverse)
		g.SignOffs = append(g.SignOffs, s)
		if s.Standing == Holds {
			people[e.Person] = true
		}
	}
	g.Have, g.Conditional = len(people), v.conditional(n)
	g.Review = v.review(n, adverse)
	g.Open = g.Have >= g.Need && (g.Review == nil || g.Review.Go)
	if !g.Open {
		g.Shut = v.whyShut(g, adverse)
	}
	return g
}

// standing judges one sign-off.
func (v *view) standing(e *Entry, role string, adverse []Adverse) SignOff {
	s := SignOff{Entry: e}
	switch {
	case v.voided[e.Dot] != nil:
		s.Standing = Voided
	case e.Verdict != Go: // a stop counts whoever gives it, and so does what is not understood
		s.Standing = v.stopStanding(e)
	case e.Step == Elsewhere:
		s.Standing = OtherRevision
	case e.Role != role:
		s.Standing = NotForThis
	default:
		if s.Standing = v.vouched(e, role); s.Standing == Holds {
			s.Standing, s.By = v.against(e, adverse)
		}
	}
	return s
}

// vouched judges whether an entry that is signed is its person's own, in a role that
// they held, or in none, on evidence that is all here; [Holds] if so.
func (v *view) vouched(e *Entry, role string) Standing {
	switch holds, known := v.signatureHolds(e); {
	case role != "" && !v.Roles[e.Person][role].held(e.Ctx):
		return NoRole
	case !known:
		return KeyNotHere
	case !holds:
		return BadKey
	case !bytes.Equal(e.Digest, v.EvidenceDigest(e.Ctx)):
		return NotAllHere
	}
	return Holds
}

func (v *view) stopStanding(stop *Entry) Standing {
	for _, e := range v.entries(stop.Kind, stop.Step) {
		if e.Verdict == Go && e.Ctx.Has(stop.Dot) {
			return StopLifted
		}
	}
	return StopHolds
}

// against returns what speaks against a go, if anything does. What overtook it is
// told before what came later.
func (v *view) against(e *Entry, adverse []Adverse) (Standing, *Adverse) {
	seen := v.through(func(d clock.Dot) bool { return v.sees(d) && e.Ctx.Has(d) })
	standing, by := Holds, (*Adverse)(nil)
	for i := range adverse {
		a := &adverse[i]
		switch {
		case e.Ctx.Has(a.Dot) && (!a.settled(seen) || !a.settled(v)):
			if standing == Holds {
				standing, by = Unsettled, a
			}
		case e.Ctx.Has(a.Dot):
		case a.Ctx.Has(e.Dot):
			if standing == Holds || standing == Unsettled {
				standing, by = Reopened, a
			}
		default:
			return Overtaken, a
		}
	}
	return standing, by
}

// whyShut says in words why a gate is shut, and each thing once.
func (v *view) whyShut(g Gate, adverse []Adverse) []string {
	var why []string
	told := map[clock.Dot]bool{}
	for _, s := range g.SignOffs {
		if s.By != nil {
			told[s.By.Dot] = s.Standing == Overtaken || s.Standing == Reopened
		}
		switch s.Standing {
		case Overtaken:
			why = append(why, "a sign-off was overtaken: its signer had not seen this: "+s.By.Why)
		case Reopened:
			why = append(why, "reopened by what came after the sign-off: "+s.By.Why)
		case StopHolds:
			why = append(why, "a stop was signed")
		case NotAllHere, KeyNotHere, BadKey, NoRole, NotForThis, OtherRevision:
			why = append(why, "a sign-off does not count: "+string(s.Standing))
		}
	}
	for i := range adverse {
		if !adverse[i].settled(v) && !told[adverse[i].Dot] && !adverse[i].review {
			why = append(why, "not settled: "+adverse[i].Why)
		}
	}
	if g.Review != nil && !g.Review.Go {
		why = append(why, g.Review.Shut...)
	}
	if g.Have < g.Need {
		why = append(why, needText(g))
	}
	return unique(why)
}
