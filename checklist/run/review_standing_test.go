package run_test

import (
	"strings"
	"testing"

	"pulk/checklist/procedure"
	"pulk/checklist/run"
	"pulk/schema/kind"
)

// atGo is a review that stands at go at every site, and its hold point signed.
const atGo = `
	o stn ida open ready
	u stn ida find ready units ok
	y stn mirre answer ready ?rested yes
	home < stn
	q home oskar rgo ready quality
	r home lena rgo ready release-authority
	g home oskar go ready
	stn < home
	ship < home`

// reviewStandings are histories around one review, in the language of history_test.go.
var reviewStandings = []struct{ name, history, want string }{
	{"not_opened", `
		y stn mirre answer ready ?rested yes
		q stn oskar rgo ready quality
		r stn lena rgo ready release-authority
		g stn oskar go ready`, "ready=shut ready.review=not g=holds q=holds r=holds lower.now=blocked"},
	{"at_go", atGo, "ready=open ready.review=go q=holds r=holds g=holds lower.now=ready"},
	{"a_go_alone_opens_no_hold", `
		o stn ida open ready
		y stn mirre answer ready ?rested yes
		q stn oskar rgo ready quality
		r stn lena rgo ready release-authority`, "ready=shut ready.review=go lower.now=blocked"},
	{"a_role_lacks_a_go", `
		o stn ida open ready
		y stn mirre answer ready ?rested yes
		q stn oskar rgo ready quality
		g stn oskar go ready`, "ready=shut ready.review=not q=holds g=holds"},
	{"one_person_is_not_two_roles", `
		o stn ida open ready
		y stn mirre answer ready ?rested yes
		q stn lena rgo ready quality
		r stn lena rgo ready release-authority`, "ready.review=not q=holds r=holds"},
	{"people_are_shared_out_among_roles", `
		o stn ida open ready
		y stn mirre answer ready ?rested yes
		q stn lena rgo ready quality
		r stn lena rgo ready release-authority
		s stn oskar rgo ready quality`, "ready.review=go"},
	{"a_role_that_the_review_does_not_name", `
		o stn ida open ready
		y stn mirre answer ready ?rested yes
		q stn mirre rgo ready technician`, "q=wrong_role ready.review=not"},
	{"a_role_not_held", `
		o stn ida open ready
		y stn mirre answer ready ?rested yes
		q stn tomas rgo ready quality`, "q=no_role ready.review=not"},
	{"a_go_signed_by_another", `
		o stn ida open ready
		y stn mirre answer ready ?rested yes
		q stn oskar rgo ready quality stolen`, "q=signature_invalid ready.review=not"},
	{"a_question_nobody_answered", `
		o stn ida open ready
		q stn oskar rgo ready quality
		r stn lena rgo ready release-authority`, "ready/?rested=not q=unsettled ready.review=not"},
	{"answered_too_late", `
		o stn ida open ready
		q stn oskar rgo ready quality
		r stn lena rgo ready release-authority
		y stn mirre answer ready ?rested yes`, "ready/?rested=clear q=unsettled ready.review=not"},
	{"a_yes_of_who_may_not_answer", `
		o stn ida open ready
		y stn ida answer ready ?rested yes`, "ready/?rested=not"},
	{"a_no_counts_of_anyone", `
		y stn mirre answer ready ?rested yes
		home < stn
		n home piet answer ready ?rested no`, "ready/?rested=not"},
	{"yes_and_no_that_crossed", `
		y stn mirre answer ready ?rested yes
		n home mirre answer ready ?rested no`, "ready/?rested=not"},
	{"a_later_yes", `
		n home mirre answer ready ?rested no
		stn < home
		y stn mirre answer ready ?rested yes`, "ready/?rested=clear"},
	{"ok_and_not_ok_that_crossed", `
		a stn ida find ready transport ok
		b home ida find ready transport bad`, "ready/transport=not"},
	{"not_known_is_not_ok", `
		a stn ida find ready transport unknown`, "ready/transport=not"},
	{"ok_by_who_had_seen", `
		b home ida find ready transport bad
		stn < home
		a stn ida find ready transport ok`, "ready/transport=clear"},
	{"a_finding_cannot_be_voided", `
		b stn ida find ready transport bad
		v stn ida void b`, "ready/transport=not"},
	{"overtaken_by_a_check", atGo + `
		z stn ida find ready units bad`, "g=reopened q=reopened ready=shut"},
	{"overtaken_by_a_check_that_crossed", `
		o stn ida open ready
		y stn mirre answer ready ?rested yes
		home < stn
		q home oskar rgo ready quality
		b stn ida find ready units bad`, "q=overtaken ready=shut"},
	{"a_check_put_right_opens_nothing_by_itself", atGo + `
		z stn ida find ready units bad
		a stn ida find ready units ok`, "ready/units=clear q=reopened ready=shut"},
	{"overtaken_by_a_reading", atGo + `
		f stn tomas fail measure`, "q=reopened g=reopened ready=shut"},
	{"decided_anew", atGo + `
		f stn tomas fail measure
		d stn oskar dispose f.nc use-as-is
		q2 stn oskar rgo ready quality
		r9 stn lena rgo ready release-authority
		g2 stn oskar go ready`, "q=reopened q2=holds ready=open ready.review=go"},
	{"decided_anew_and_the_hold_not_signed", atGo + `
		z stn ida find ready units bad
		a stn ida find ready units ok
		q2 stn oskar rgo ready quality
		r9 stn lena rgo ready release-authority`, "ready.review=go g=reopened ready=shut"},
	{"overtaken_by_a_question", atGo + `
		k ship piet ask ready
		a ship piet answer ready k yes`, "ready/k=clear q=reopened ready=shut"},
	{"overtaken_by_opening_anew", atGo + `
		p ship ida open ready`, "q=reopened ready=shut"},
	{"a_no_go", atGo + `
		n ship tomas rno ready quality`, "n=stop q=reopened r=reopened g=reopened ready=shut"},
	{"a_no_go_answered_by_all", atGo + `
		n ship tomas rno ready quality
		q2 ship oskar rgo ready quality
		r9 ship lena rgo ready release-authority
		g2 ship oskar go ready`, "n=stop,_answered ready.review=go ready=open"},
	{"a_no_go_answered_by_one", atGo + `
		n ship tomas rno ready quality
		q2 ship oskar rgo ready quality
		g2 ship oskar go ready`, "ready.review=not ready=shut"},
	{"an_answer_taken_back", atGo + `
		v ship mirre void y`, "ready/?rested=not q=reopened ready=shut"},
	{"a_question_taken_back_is_looked_at", `
		o stn ida open ready
		y stn mirre answer ready ?rested yes
		k stn ida ask ready
		home < stn
		v home ida void k
		q stn oskar rgo ready quality`, "q=overtaken"},
	{"a_go_taken_back", atGo + `
		v ship oskar void q`, "q=voided r=reopened ready=shut"},
	{"unit_failed_since", atGo + `
		s ship ida ustate failed`, "q=reopened g=reopened ready=shut"},
	{"unit_failed_elsewhere", `
		o stn ida open ready
		y stn mirre answer ready ?rested yes
		q stn oskar rgo ready quality
		s home ida ustate failed`, "q=overtaken"},
	{"unit_accepted_again", atGo + `
		s ship ida ustate failed
		t ship ida ustate accepted
		q2 ship oskar rgo ready quality
		r9 ship lena rgo ready release-authority
		g2 ship oskar go ready`, "q=reopened ready=open"},
	{"unit_fault_elsewhere", atGo + `
		n ship ida unc -`, "q=reopened g=reopened ready=shut"},
	{"unit_fault_decided", atGo + `
		n ship ida unc -
		d ship ida udispose n use-as-is
		q2 ship oskar rgo ready quality
		r9 ship lena rgo ready release-authority
		g2 ship oskar go ready`, "ready=open"},
	{"unit_fault_scrap", atGo + `
		n ship ida unc -
		d ship ida udispose n scrap
		q2 ship oskar rgo ready quality`, "q2=unsettled ready=shut"},
	{"waived", `
		b stn ida find ready transport bad
		w stn ida waive ready transport
		x stn lena allow w`, "ready/transport=clear w=granted"},
	{"waiver_not_granted", `
		b stn ida find ready transport bad
		w stn ida waive ready transport`, "ready/transport=not w=not"},
	{"waiver_granted_by_who_asked", `
		b stn ida find ready transport bad
		w stn lena waive ready transport
		x stn lena allow w`, "ready/transport=not w=not"},
	{"waiver_granted_in_another_role", `
		b stn ida find ready transport bad
		w stn ida waive ready transport
		x stn lena allow w as quality`, "ready/transport=not w=not"},
	{"waiver_granted_without_the_role", `
		b stn ida find ready transport bad
		w stn ida waive ready transport
		x stn mirre allow w`, "ready/transport=not w=not"},
	{"waiver_granted_with_another_key", `
		b stn ida find ready transport bad
		w stn ida waive ready transport
		x stn lena allow w stolen`, "ready/transport=not w=not"},
	{"waiver_asked_for_with_another_key", `
		b stn ida find ready transport bad
		w stn ida waive ready transport forged
		x stn lena allow w`, "ready/transport=not w=not"},
	{"waiver_taken_back", `
		b stn ida find ready transport bad
		w stn ida waive ready transport
		x stn lena allow w
		v stn ida void w`, "ready/transport=not w=not"},
	{"grant_taken_back", `
		b stn ida find ready transport bad
		w stn ida waive ready transport
		x stn lena allow w
		v stn lena void x`, "ready/transport=not w=not"},
	{"waiver_covers_one_line", `
		b stn ida find ready transport bad
		c stn ida find ready parts bad
		w stn ida waive ready transport
		x stn lena allow w`, "ready/transport=clear ready/parts=not"},
	{"waiver_covers_nothing_later", `
		b stn ida find ready transport bad
		w stn ida waive ready transport
		x stn lena allow w
		c stn ida find ready transport bad`, "ready/transport=not w=granted"},
	{"waiver_covers_nothing_unseen_by_who_asked", `
		b stn ida find ready transport bad
		w stn ida waive ready transport
		c home ida find ready transport bad
		home < stn
		x home lena allow w`, "ready/transport=not w=granted"},
	{"waiver_covers_nothing_unseen_by_who_granted", `
		b home ida find ready transport bad
		stn < home expedited
		w stn ida waive ready transport
		ship < stn expedited
		x ship lena allow w
		c stn ida find ready transport unknown`, "ready/transport=not"},
	{"waiver_of_a_question", `
		w stn ida waive ready ?rested
		x stn lena allow w`, "ready/?rested=clear"},
	{"waiver_of_a_question_that_was_asked", `
		k stn ida ask ready
		w stn ida waive ready k
		x stn lena allow w`, "ready/k=clear"},
	{"faults_are_not_waived", `
		b stn ida find ready faults bad
		w stn ida waive ready faults
		x stn lena allow w`, "ready/faults=not"},
	{"unit_waived", `
		o stn ida open ready
		y stn mirre answer ready ?rested yes
		s stn ida ustate failed
		b stn ida find ready units bad
		w stn ida waive ready units
		x stn lena allow w
		q stn oskar rgo ready quality`, "ready/units=clear q=holds"},
	{"unit_waived_before_it_failed", `
		o stn ida open ready
		y stn mirre answer ready ?rested yes
		b stn ida find ready units bad
		w stn ida waive ready units
		x stn lena allow w
		s stn ida ustate failed
		q stn oskar rgo ready quality`, "ready/units=clear q=unsettled"},
	{"unit_waived_by_who_had_not_heard_of_it", `
		o stn ida open ready
		y stn mirre answer ready ?rested yes
		s stn ida ustate failed
		w stn ida waive ready units
		ship < stn expedited
		x ship lena allow w
		stn < ship
		q stn oskar rgo ready quality`, "w=granted q=unsettled"},
	{"a_waiver_voided_fells_the_go", `
		o stn ida open ready
		y stn mirre answer ready ?rested yes
		b stn ida find ready transport bad
		w stn ida waive ready transport
		x stn lena allow w
		q stn oskar rgo ready quality
		v stn lena void x
		c stn ida find ready transport ok`, "ready/transport=clear q=reopened"},
	{"lowered_behind_a_review_overtaken", atGo + `
		z home ida find ready units bad
		l stn tomas check lower`, "l=deed"},
	{"lowered_behind_a_unit_that_failed", atGo + `
		s home ida ustate failed
		l stn tomas check lower`, "l=deed"},
	{"lowered_at_go", atGo + `
		l stn tomas check lower`, "lower=done l="},
	{"what_came_after_the_deed_is_no_alarm", atGo + `
		l stn tomas check lower
		s stn ida ustate failed`, "lower=done l="},
	{"evidence_not_all_here", `
		o stn ida open ready
		y stn mirre answer ready ?rested yes
		home < stn
		q home oskar rgo ready quality
		lost y`, "q=evidence_not_all_here"},
	{"signed_hold_without_a_review_asked_for", `
		a stn oskar go release
		b stn lena go release`, "release=open"},
}

func TestReviewStanding(t *testing.T) {
	for _, c := range reviewStandings {
		t.Run(c.name, func(t *testing.T) {
			h := mustTell(t, reviewSteps(), c.history)
			got := h.verdicts()
			for _, want := range strings.Fields(c.want) {
				key, value, _ := strings.Cut(want, "=")
				if value = strings.ReplaceAll(value, "_", " "); got[key] != value {
					t.Errorf("%s is %q; want %q", key, got[key], value)
				}
			}
			if why := disagreement(h, map[string]int{}); why != "" {
				t.Errorf("the model: %s", why)
			}
		})
	}
}

// What is said in the review of one hold point does not concern another.
func TestReviewOfItsOwnHoldPoint(t *testing.T) {
	steps := reviewSteps()
	steps[3].Review = &procedure.Review{Roles: []string{"quality"}}
	h := mustTell(t, steps, atGo+`
		o2 ship ida open release
		b ship ida find release units bad
		k ship ida ask release
		v ship ida void k
		n ship ida rno release quality
		w ship ida waive release units
		x ship lena allow w`) // and it names nobody who grants waivers
	got := h.verdicts()
	for key, want := range map[string]string{"ready": "open", "q": "holds", "g": "holds", "n": "stop", "release.review": "not", "release/units": "not", "w": "not"} {
		if got[key] != want {
			t.Errorf("%s is %q; want %q", key, got[key], want)
		}
	}
	if why := disagreement(h, map[string]int{}); why != "" {
		t.Errorf("the model: %s", why)
	}
}

// Nobody who has a site's key alone can change a word of what a person signed.
func TestReviewSignaturesCoverEveryWord(t *testing.T) {
	const history = `
		o stn ida open ready
		k stn ida ask ready
		y stn mirre answer ready ?rested yes
		b stn ida find ready transport bad
		w stn ida waive ready transport
		w2 stn ida waive ready k
		x stn lena allow w
		x2 stn lena allow w2
		q stn oskar rgo ready quality`
	standing := func(change func(e *run.Entry)) (waiver, grant, decision run.Standing) {
		r := mustTell(t, reviewSteps(), history).record()
		for i := range r.Entries {
			change(&r.Entries[i])
		}
		rv := run.Evaluate(r).Steps[1].Gate.Review
		return rv.Waivers[0].Standing, rv.Waivers[0].Grants[0].Standing, rv.Decisions[0].Standing
	}
	at := func(k *kind.Kind, granted bool, change func(e *run.Entry)) func(e *run.Entry) {
		return func(e *run.Entry) {
			if e.Kind == k && e.Ref.IsZero() != granted {
				change(e)
			}
		}
	}
	for _, c := range []struct {
		name                    string
		change                  func(e *run.Entry)
		waiver, grant, decision run.Standing
	}{
		{"nothing", func(*run.Entry) {}, run.Holds, run.Holds, run.Holds},
		{"reason", at(kind.ReviewWaive, false, func(e *run.Entry) { e.Text += "!" }), run.BadKey, run.Holds, run.Unsettled},
		{"risk", at(kind.ReviewWaive, false, func(e *run.Entry) { e.Risk = "none" }), run.BadKey, run.Holds, run.Unsettled},
		{"line", at(kind.ReviewWaive, false, func(e *run.Entry) { e.Line.Name = "units" }), run.BadKey, run.NotForThis, run.Unsettled},
		{"granted_waiver", at(kind.ReviewWaive, true, func(e *run.Entry) { e.Text = "gladly" }), run.Holds, run.BadKey, run.Unsettled},
		{"decision_text", at(kind.ReviewDecide, false, func(e *run.Entry) { e.Text += "!" }), run.Holds, run.Holds, run.BadKey},
		{"decision_role", at(kind.ReviewDecide, false, func(e *run.Entry) { e.Role = "release-authority" }), run.Holds, run.Holds, run.BadKey},
	} {
		t.Run(c.name, func(t *testing.T) {
			if waiver, grant, decision := standing(c.change); waiver != c.waiver || grant != c.grant || decision != c.decision {
				t.Errorf("waiver %q, grant %q, decision %q; want %q, %q, %q", waiver, grant, decision, c.waiver, c.grant, c.decision)
			}
		})
	}
	// A grant of one waiver is none of another.
	r := mustTell(t, reviewSteps(), history).record()
	var first, second *run.Entry
	for i := range r.Entries {
		switch e := &r.Entries[i]; e.Text {
		case "x":
			first = e
		case "x2":
			second = e
		}
	}
	first.Ref, first.Line = second.Ref, second.Line
	if s := run.Evaluate(r).Steps[1].Gate.Review.Waivers[1].Grants; len(s) != 2 || s[0].Standing != run.BadKey || s[1].Standing != run.Holds {
		t.Errorf("grants %+v; the one of another waiver counts", s)
	}
}

// A hold point that asks for no review does not care about one.
func TestReviewOnlyWhereAskedFor(t *testing.T) {
	steps := reviewSteps()
	steps[1].Review = (*procedure.Review)(nil)
	h := mustTell(t, steps, `
		s stn ida ustate failed
		n stn ida unc -
		g stn oskar go ready`)
	if got := h.verdicts()["ready"]; got != "open" {
		t.Errorf("ready is %s; want open", got)
	}
}
