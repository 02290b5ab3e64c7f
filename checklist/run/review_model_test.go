package run_test

import (
	"fmt"
	"slices"
	"strings"

	"pulk/checklist/review"
	"pulk/checklist/run"
)

// The rules of readiness reviews a second time, for the model of model_test.go.

func isReviewVerb(verb string) bool {
	return slices.Contains([]string{"open", "find", "ask", "answer", "waive", "allow", "rgo", "rno"}, verb)
}

// outside are the verbs of what is no entry of the run.
var outside = map[string]bool{"grant": true, "revoke": true, "withdraw": true, "ustate": true, "unc": true, "udispose": true, "recall": true}

// understandReview reads what follows the step of a verb of a review.
func (h *history) understandReview(e *event, args []string) error {
	switch e.verb {
	case "find":
		e.line, e.how, e.bad = args[1], args[2], args[2] != "ok"
	case "answer", "waive":
		if e.line, e.how = args[1], args[2]; !strings.HasPrefix(e.line, "?") {
			e.of = h.find(e.line) // a question that was asked, or -1 for a check
		}
		if e.verb == "answer" && e.of < 0 && !strings.HasPrefix(e.line, "?") {
			return fmt.Errorf("no question %q", e.line)
		}
		e.bad = e.how == "no"
	case "rgo", "rno":
		e.role, e.how = args[1], args[2]
	}
	return nil
}

func (h *history) understandAllow(e *event, args []string) error {
	if e.of = h.find(args[0]); e.of < 0 || h.events[e.of].verb != "waive" {
		return fmt.Errorf("no waiver %q", args[0])
	}
	waiver := h.events[e.of]
	e.step, e.line, e.role = waiver.step, waiver.line, h.steps[waiver.step].Review.WaiverRole
	if i := slices.Index(args, "as"); i >= 0 {
		e.role = args[i+1]
	}
	if args[1] != "as" {
		e.how = args[1]
	}
	return nil
}

// reviewEntry fills in what the program would have read of an entry of a review.
func (h *history) reviewEntry(out *run.Entry, e *event) {
	if !isReviewVerb(e.verb) {
		return
	}
	out.Line = review.Key{Name: e.line}
	if asked := h.find(e.line); asked >= 0 {
		out.Line = review.Key{Asked: h.events[asked].ctx.Of}
	}
	if e.verb != "allow" {
		out.Ref = run.Entry{}.Ref
	}
	out.Outcome = map[string]review.Outcome{"bad": review.NotOK, "no": review.NotOK, "unknown": 9}[e.how]
	if e.verb == "rno" {
		out.Verdict = run.Stop
	}
}

// reviewVerdicts adds to the words on a history: NAME=standing for each go and no-go of
// a review and for each waiver, STEP.review=go or not, STEP/LINE=clear or not.
func reviewVerdicts(out map[string]string, step *run.StepState) {
	if step.Gate == nil || step.Gate.Review == nil {
		return
	}
	rv := step.Gate.Review
	out[step.Step.ID+".review"] = map[bool]string{true: "go", false: "not"}[rv.Go]
	for _, s := range rv.Decisions {
		out[s.Entry.Text] = string(s.Standing)
	}
	for _, w := range rv.Waivers {
		out[w.Entry.Text] = map[bool]string{true: "granted", false: "not"}[w.Stands]
	}
	for i := range rv.Lines {
		l := &rv.Lines[i]
		name := l.Key.Name
		if !l.Key.Asked.IsZero() {
			name = l.Text
		}
		out[step.Step.ID+"/"+name] = map[bool]string{true: "clear", false: "not"}[l.Clear()]
	}
}

// A word on a line is a finding; a no of anyone; a yes of someone with the role that
// the question asks for. A voided answer is none.
func (m *model) isWord(i, hold int, line string, in map[int]bool) bool {
	e := m.events[i]
	if e.step != hold || e.line != line {
		return false
	}
	if e.verb == "find" {
		return true
	}
	if e.verb != "answer" || m.isVoided(i, in) {
		return false
	}
	for _, q := range m.steps[hold].Review.Questions {
		if "?"+q.ID == line && q.Role != "" && !e.bad {
			e.role = q.Role
			return m.heldRoleOf(i, e)
		}
	}
	return true
}

func (m *model) heldRoleOf(i int, e event) bool {
	was := m.events[i]
	m.events[i] = e
	defer func() { m.events[i] = was }()
	return m.heldRole(i)
}

// A line is clear if the last words on it, those that no other word had seen, are all
// ok and there is one; or if it is waived: somebody who had seen all that speaks
// against it asked, somebody else who had seen it granted. Steps and faults never are.
func (m *model) lineClear(hold int, line string, in map[int]bool) bool {
	words := m.all(in, func(i int, _ event) bool { return m.isWord(i, hold, line, in) })
	var against []int
	last := 0
	for _, i := range words {
		replaced := false
		for _, j := range words {
			replaced = replaced || m.events[j].knows[i]
		}
		if replaced {
			continue
		}
		last++
		if m.events[i].bad {
			against = append(against, i)
		}
	}
	if last > 0 && len(against) == 0 {
		return true
	}
	if line == "steps" || line == "faults" {
		return false
	}
	for _, w := range m.waiversOf(hold, line, in) {
		if all := m.sawAll(w, against, in); all {
			return true
		}
	}
	return false
}

// waiversOf lists the waivers of a line that somebody else granted.
func (m *model) waiversOf(hold int, line string, in map[int]bool) []int {
	return m.all(in, func(i int, e event) bool {
		return e.verb == "waive" && e.step == hold && e.line == line && m.signedWell(i, in) && len(m.grantsOf(i, in)) > 0
	})
}

func (m *model) grantsOf(w int, in map[int]bool) []int {
	role := m.steps[m.events[w].step].Review.WaiverRole
	return m.all(in, func(i int, e event) bool {
		return e.verb == "allow" && e.of == w && e.person != m.events[w].person && e.role == role && m.signedWell(i, in) && m.heldRole(i)
	})
}

// signedWell says that an entry is not voided, is its person's own, and that all that
// its person knew of the run is here.
func (m *model) signedWell(i int, in map[int]bool) bool {
	e := m.events[i]
	if m.isVoided(i, in) || e.how == "nokey" || e.how == "forged" || e.how == "stolen" {
		return false
	}
	for j := range e.knows {
		if !outside[m.events[j].verb] && !m.here[j] {
			return false
		}
	}
	return true
}

// sawAll says that who asked for a waiver saw each of some events, and one or another
// who granted it did.
func (m *model) sawAll(w int, events []int, in map[int]bool) bool {
	for _, i := range events {
		seen := false
		for _, g := range m.grantsOf(w, in) {
			seen = seen || m.events[g].knows[i]
		}
		if !seen || !m.events[w].knows[i] {
			return false
		}
	}
	return true
}

// lines lists the lines of a review that a reader has.
func (m *model) lines(hold int, in map[int]bool) []string {
	found := map[string]bool{}
	for _, q := range m.steps[hold].Review.Questions {
		found["?"+q.ID] = true
	}
	for _, i := range m.all(in, func(i int, e event) bool {
		return e.step == hold && (e.verb == "find" || e.verb == "ask" && !m.isVoided(i, in))
	}) {
		if m.events[i].verb == "ask" {
			found[m.events[i].name] = true
		} else {
			found[m.events[i].line] = true
		}
	}
	var list []string
	for line := range found {
		list = append(list, line)
	}
	slices.Sort(list)
	return list
}

func (m *model) allClear(hold int, in map[int]bool) bool {
	for _, line := range m.lines(hold, in) {
		if !m.lineClear(hold, line, in) {
			return false
		}
	}
	return true
}

// adverseReview is what speaks against going on at a hold that has a review: that it
// was opened, until all lines are clear; a bad word, a new question, a no-go and
// something taken back, until they were seen; a unit in a bad state, until it is in a
// good one or that was waived; a fault of it elsewhere, until it is decided.
func (m *model) adverseReview(i, hold int, in map[int]bool) (bool, func(in map[int]bool) bool) {
	e := m.events[i]
	if m.steps[hold].Review == nil {
		return false, nil
	}
	switch e.verb {
	case "ustate":
		return e.bad, func(in map[int]bool) bool { return m.unitReady(in) || m.unitWaived(i, hold, in) }
	case "unc":
		return true, func(in map[int]bool) bool { return m.unitFaultSettled(i, in) }
	case "void":
		of := m.events[e.of]
		cannot := of.verb == "open" || of.verb == "find"
		return of.step == hold && !cannot, func(map[int]bool) bool { return true }
	}
	if e.step != hold || m.isVoided(i, in) && e.verb != "find" && e.verb != "open" {
		return false, nil
	}
	switch e.verb {
	case "open":
		return true, func(in map[int]bool) bool { return m.allClear(hold, in) }
	case "rno", "ask":
		return true, func(map[int]bool) bool { return true }
	case "find", "answer":
		return e.bad, func(map[int]bool) bool { return true }
	}
	return false, nil
}

// unitReady says that every last state of the unit is a good one.
func (m *model) unitReady(in map[int]bool) bool {
	states := m.all(in, func(_ int, e event) bool { return e.verb == "ustate" })
	for _, i := range states {
		replaced := false
		for _, j := range states {
			replaced = replaced || m.events[j].knows[i]
		}
		if !replaced && m.events[i].bad {
			return false
		}
	}
	return true
}

func (m *model) unitWaived(i, hold int, in map[int]bool) bool {
	for _, w := range m.waiversOf(hold, "units", in) {
		if m.sawAll(w, []int{i}, in) {
			return true
		}
	}
	return false
}

// unitFaultSettled says that the last decisions on a fault agree, and not on scrap.
func (m *model) unitFaultSettled(nc int, in map[int]bool) bool {
	decisions := m.all(in, func(_ int, e event) bool { return e.verb == "udispose" && e.of == nc })
	how := map[string]bool{}
	for _, i := range decisions {
		replaced := false
		for _, j := range decisions {
			replaced = replaced || m.events[j].knows[i]
		}
		if !replaced {
			how[m.events[i].how] = true
		}
	}
	return len(how) == 1 && (how["rework"] || how["repair"] || how["use-as-is"])
}

func (m *model) inReview(e event) bool {
	form := m.steps[e.step].Review
	return form != nil && slices.Contains(form.Roles, e.role)
}

// A review stands at go if it was opened and each role has a go that holds, no person
// giving that of two.
func (m *model) reviewGo(hold int, in map[int]bool) bool {
	form := m.steps[hold].Review
	if form == nil {
		return true
	}
	who := map[string][]string{}
	for _, g := range m.all(in, func(_ int, e event) bool { return e.verb == "rgo" && e.step == hold }) {
		if len(m.faults(g, in)) == 0 {
			who[m.events[g].role] = append(who[m.events[g].role], m.events[g].person)
		}
	}
	opened := m.all(in, func(i int, e event) bool { return e.verb == "open" && e.step == hold })
	return len(opened) > 0 && shared(form.Roles, who, map[string]bool{})
}

// shared tries every way to give each role a person of its own.
func shared(roles []string, who map[string][]string, taken map[string]bool) bool {
	if len(roles) == 0 {
		return true
	}
	for _, person := range who[roles[0]] {
		if taken[person] {
			continue
		}
		taken[person] = true
		if shared(roles[1:], who, taken) {
			return true
		}
		taken[person] = false
	}
	return false
}

func (m *model) waiverWord(i int) string {
	if len(m.grantsOf(i, m.here)) > 0 && m.signedWell(i, m.here) {
		return "granted"
	}
	return "not"
}

// reviewDisagrees says where program and model differ on reviews and their lines.
func (m *model) reviewDisagrees(got map[string]string, tally map[string]int) string {
	for n, step := range m.steps {
		if step.Review == nil {
			continue
		}
		want := map[bool]string{true: "go", false: "not"}[m.reviewGo(n, m.here)]
		tally["review "+want]++
		if got[step.ID+".review"] != want {
			return fmt.Sprintf("the review of %s is %q; the model says %q", step.ID, got[step.ID+".review"], want)
		}
		for _, line := range m.lines(n, m.here) {
			want := map[bool]string{true: "clear", false: "not"}[m.lineClear(n, line, m.here)]
			tally["line "+want]++
			if got[step.ID+"/"+line] != want {
				return fmt.Sprintf("line %s of %s is %q; the model says %q", line, step.ID, got[step.ID+"/"+line], want)
			}
		}
	}
	return ""
}
