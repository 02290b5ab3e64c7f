package run

import (
	"fmt"
	"slices"
	"strings"

	"pulk/checklist/procedure"
	"pulk/checklist/review"
	"pulk/schema/kind"
	"pulk/sync/clock"
)

// Review is how the readiness review of a hold point stands.
type Review struct {
	Form      *procedure.Review
	Opened    []*Entry // each time that it was opened, in the order of their dots
	Lines     []review.Line
	Waivers   []Waiver  // every one asked for, voided ones too, in the order of their dots
	Decisions []SignOff // every go and no-go, voided ones too, in the order of their dots
	Missing   []string  // the roles that lack a go that holds, of another person each
	Go        bool      // it was opened, and all roles give a go that holds
	Shut      []string  // why it does not stand at go, in words; empty if it does
	NoGo      []string  // of those, what is about no line
}

// Waiver is a wish to go on though a line is not ok, and what became of it.
type Waiver struct {
	Entry    *Entry
	Standing Standing // of who asked: Holds where nothing is wrong with it
	Grants   []SignOff
	// Stands reports whether it was asked for and granted as it must be. What it then
	// covers is told by the lines.
	Stands bool
}

// reviewForm returns what the procedure says of the readiness review of step n; nil
// where it needs none.
func (v *view) reviewForm(n int) *procedure.Review {
	if step := v.step(n); step != nil {
		return step.Review
	}
	return nil
}

// isReviewEntry reports whether a kind belongs to readiness reviews.
func isReviewEntry(k *kind.Kind) bool {
	return k == kind.ReviewOpen || k == kind.ReviewCheck || isReviewWord(k)
}

// isReviewWord reports whether a kind is what a person says in a review, so that it
// can be voided. How a check came out is replaced by a later one alone: a line does
// not go away.
func isReviewWord(k *kind.Kind) bool {
	switch k {
	case kind.ReviewAsk, kind.ReviewAnswer, kind.ReviewWaive, kind.ReviewDecide:
		return true
	}
	return false
}

// review judges the readiness review of gate n; nil where it needs none.
func (v *view) review(n int, adverse []Adverse) *Review {
	form := v.reviewForm(n)
	if form == nil {
		return nil
	}
	rv := &Review{Form: form, Opened: v.entries(kind.ReviewOpen, n), Lines: v.book(n).Lines(), Waivers: v.waivers(n)}
	var goes []review.Go
	for i := range v.Entries {
		e := &v.Entries[i]
		if e.Kind != kind.ReviewDecide || e.Step != n && !e.stale(n) || !v.sees(e.Dot) {
			continue
		}
		s := v.standing(e, e.Role, adverse)
		if !slices.Contains(form.Roles, e.Role) && e.Verdict == Go && s.Standing != Voided && s.Standing != OtherRevision {
			s = SignOff{Entry: e, Standing: NotForThis}
		}
		rv.Decisions = append(rv.Decisions, s)
		if s.Standing == Holds {
			goes = append(goes, review.Go{Role: e.Role, Person: e.Person})
		}
	}
	rv.Missing = review.Missing(form.Roles, goes)
	rv.Go = len(rv.Opened) > 0 && len(rv.Missing) == 0
	if !rv.Go {
		rv.Shut, rv.NoGo = rv.whyShut()
	}
	return rv
}

// book returns what this view sees of the review of gate n: what was voided, signed by
// someone else, or answered by who may not, is left out.
func (v *view) book(n int) *review.Book {
	if b, read := v.books[n]; read {
		return b
	}
	b := &review.Book{Form: v.reviewForm(n)}
	v.books[n] = b
	for i := range v.Entries {
		e := &v.Entries[i]
		if e.Step != n || !v.sees(e.Dot) || v.voided[e.Dot] != nil {
			continue
		}
		switch {
		case e.Kind == kind.ReviewCheck, e.Kind == kind.ReviewAnswer && v.mayAnswer(e, b.Form):
			b.Facts = append(b.Facts, review.Fact{Key: e.Line, Dot: e.Dot, Ctx: e.Ctx, Outcome: e.Outcome, Text: e.Text, Source: e.Source, Until: e.Until})
		case e.Kind == kind.ReviewAsk:
			b.Asked = append(b.Asked, review.Question{Dot: e.Dot, Text: e.Text})
		}
	}
	for _, w := range v.waivers(n) {
		if !w.Stands {
			continue
		}
		waiver := review.Waiver{Key: w.Entry.Line, Dot: w.Entry.Dot, Ctx: w.Entry.Ctx, Person: w.Entry.Person, Reason: w.Entry.Text, Risk: w.Entry.Risk}
		for _, g := range w.Grants {
			if g.Standing == Holds {
				waiver.Grants = append(waiver.Grants, review.Grant{Dot: g.Entry.Dot, Ctx: g.Entry.Ctx, Person: g.Entry.Person})
			}
		}
		b.Waivers = append(b.Waivers, waiver)
	}
	return b
}

// mayAnswer reports whether an answer counts: a no does, whoever gives it; a yes if it
// is by someone with the role that the question asks for.
func (v *view) mayAnswer(e *Entry, form *procedure.Review) bool {
	for _, q := range form.Questions {
		if e.Line.Name == review.QuestionMark+q.ID && q.Role != "" && e.Outcome == review.OK {
			return v.Roles[e.Person][q.Role].held(e.Ctx)
		}
	}
	return true
}

// waivers judges the waivers that were asked for at gate n. The second person must be
// another one, in the role that the procedure names.
func (v *view) waivers(n int) []Waiver {
	var list []Waiver
	role := v.reviewForm(n).WaiverRole
	for i := range v.Entries {
		e := &v.Entries[i]
		if e.Kind == kind.ReviewWaive && e.Ref.IsZero() && (e.Step == n || e.stale(n)) && v.sees(e.Dot) {
			list = append(list, v.waiver(e, role))
		}
	}
	return list
}

func (v *view) waiver(e *Entry, role string) Waiver {
	w := Waiver{Entry: e}
	switch {
	case v.voided[e.Dot] != nil:
		w.Standing = Voided
	case e.Step == Elsewhere:
		w.Standing = OtherRevision
	default:
		w.Standing = v.vouched(e, "")
	}
	for j := range v.Entries {
		if g := &v.Entries[j]; g.Kind == kind.ReviewWaive && g.Ref == e.Dot && v.sees(g.Dot) {
			s := v.grant(g, e, role)
			w.Grants = append(w.Grants, s)
			w.Stands = w.Stands || s.Standing == Holds && w.Standing == Holds
		}
	}
	return w
}

// Waivers returns every waiver that was ever asked for in the run, those of hold points
// that its revision has not any more too, in the order of their dots.
func (s *State) Waivers() []Waiver {
	var list []Waiver
	v := s.all
	for i := range v.Entries {
		if e := &v.Entries[i]; e.Kind == kind.ReviewWaive && e.Ref.IsZero() {
			role := ""
			if step := v.own(e); step != nil && step.Review != nil {
				role = step.Review.WaiverRole
			}
			list = append(list, v.waiver(e, role))
		}
	}
	return list
}

func (v *view) grant(g, waiver *Entry, role string) SignOff {
	s := SignOff{Entry: g}
	switch {
	case v.voided[g.Dot] != nil:
		s.Standing = Voided
	case g.Step == Elsewhere:
		s.Standing = OtherRevision
	case role == "" || g.Role != role || g.Line != waiver.Line || g.Step != waiver.Step:
		s.Standing = NotForThis
	case g.Person == waiver.Person:
		s.Standing = SamePerson
	default:
		s.Standing = v.vouched(g, role)
	}
	return s
}

// adverseReviewEntry says how an entry of a review speaks against going on at a gate.
// Whoever gives a go must have seen it; that all lines are clear is asked by the
// opening of the review, for all of them.
func (v *view) adverseReviewEntry(e *Entry, gate int) (Adverse, bool) {
	a := Adverse{Dot: e.Dot, Ctx: e.Ctx, review: true}
	if e.Step != gate || v.reviewForm(gate) == nil {
		return a, false
	}
	a.settled = func(*view) bool { return true }
	switch {
	case e.Kind == kind.ReviewOpen:
		a.Why = "the readiness review was opened"
		a.settled = func(seen *view) bool {
			lines := seen.book(gate).Lines()
			return !slices.ContainsFunc(lines, func(l review.Line) bool { return !l.Clear() })
		}
	case e.Kind == kind.ReviewDecide && e.Verdict != Go:
		a.Why = "no-go: " + e.Role
	case e.Kind == kind.ReviewCheck && e.Outcome != review.OK:
		a.Why = fmt.Sprintf("readiness, %s: %s: %s", e.Line.Name, e.Outcome, e.Text)
	case e.Kind == kind.ReviewAnswer && e.Outcome != review.OK:
		a.Why = "a question of the review was answered no: " + e.Text
	case e.Kind == kind.ReviewAsk:
		a.Why = "a question was asked in the review: " + e.Text
	default:
		return a, false
	}
	return a, true
}

// adverseReviewVoid says how the void of what somebody said in a review speaks against
// going on: whoever gives a go must know of it.
func (v *view) adverseReviewVoid(e, target *Entry, gate int) (Adverse, bool) {
	a := Adverse{e.Dot, e.Ctx, "something said in the review was voided: " + e.Text, func(*view) bool { return true }, true}
	return a, target.Step == gate && v.reviewForm(gate) != nil
}

// whyShut says in words why a review does not stand at go, and what of that is about no
// line.
func (rv *Review) whyShut() (all, noGo []string) {
	if len(rv.Opened) == 0 {
		noGo = []string{"it needs a readiness review, and none was opened"}
		return noGo, noGo
	}
	for i := range rv.Lines {
		if l := &rv.Lines[i]; !l.Clear() {
			all = append(all, "readiness review: "+l.Words())
		}
	}
	noGo = rv.whyNoGo()
	return append(all, noGo...), noGo
}

// whyNoGo tells what fells several roles once.
func (rv *Review) whyNoGo() []string {
	var why, told []string
	roles := map[string][]string{}
	tell := func(format, role, by string) {
		key := format + by
		if roles[key] == nil {
			told = append(told, key)
		}
		roles[key] = unique(append(roles[key], role))
	}
	for _, s := range rv.Decisions {
		switch s.Standing {
		case Overtaken:
			tell("the go of %s was overtaken: who signed it had not seen this: ", s.Entry.Role, s.By.Why)
		case Reopened:
			tell("the go of %s fell by what came after it: ", s.Entry.Role, s.By.Why)
		case StopHolds:
			tell("a no-go was signed (%s): ", s.Entry.Role, s.Entry.Text)
		case NotAllHere, KeyNotHere, BadKey, NoRole, NotForThis, OtherRevision:
			tell("the go of %s does not count: ", s.Entry.Role, string(s.Standing))
		}
	}
	for _, key := range told {
		why = append(why, strings.Replace(key, "%s", strings.Join(roles[key], ", "), 1))
	}
	if len(rv.Missing) > 0 {
		why = append(why, "the readiness review needs a go as "+strings.Join(rv.Missing, " and as "))
	}
	return why
}

// Outside is what bears on a readiness review and is no entry of the run.
type Outside struct {
	// NCs are nonconformances about the run's units in other runs or in none, and
	// their dispositions.
	NCs []Entry
	// States are all states that the units were ever set to.
	States []UnitState
}

// UnitState is a state that a unit was set to.
type UnitState struct {
	Dot   clock.Dot
	Ctx   clock.Context
	Unit  clock.Dot
	Name  string // the unit in words
	State string
	Ready bool // it may be lowered: accepted or released
}

func (o *Outside) knows(d, other clock.Dot) bool {
	for i := range o.NCs {
		if o.NCs[i].Dot == d {
			return o.NCs[i].Ctx.Has(other)
		}
	}
	for _, s := range o.States {
		if s.Dot == d {
			return s.Ctx.Has(other)
		}
	}
	return false
}

// UnitsCheck names the check whose waiver covers a unit that is not ready.
const UnitsCheck = "units"

// outsideAdverse lists what speaks against going on at the reviewed gate n and is no
// entry of the run: a fault of one of its units, or a state that stops it.
func (v *view) outsideAdverse(n int) []Adverse {
	var list []Adverse
	for i := range v.Outside.NCs {
		nc := &v.Outside.NCs[i]
		if nc.Kind == kind.NCRaise && v.sees(nc.Dot) {
			list = append(list, Adverse{nc.Dot, nc.Ctx, "nonconformance of a unit: " + nc.Text, func(seen *view) bool {
				d, _, ok := (&Record{Entries: v.Outside.NCs}).through(seen.sees).disposition(nc)
				return ok && d != Scrapped
			}, false})
		}
	}
	for _, s := range v.Outside.States {
		if !s.Ready && v.sees(s.Dot) {
			list = append(list, Adverse{s.Dot, s.Ctx, s.Name + " was set to " + s.State, func(seen *view) bool {
				return seen.ready(s.Unit) || seen.book(n).Covers(review.Key{Name: UnitsCheck}, s.Dot)
			}, false})
		}
	}
	return list
}

// ready reports whether every state of a unit that no other had seen lets it be
// lowered.
func (v *view) ready(unit clock.Dot) bool {
	of := slices.DeleteFunc(slices.Clone(v.Outside.States), func(s UnitState) bool { return s.Unit != unit || !v.sees(s.Dot) })
	last := slices.DeleteFunc(slices.Clone(of), func(s UnitState) bool {
		return slices.ContainsFunc(of, func(other UnitState) bool { return other.Ctx.Has(s.Dot) })
	})
	return !slices.ContainsFunc(last, func(s UnitState) bool { return !s.Ready })
}
