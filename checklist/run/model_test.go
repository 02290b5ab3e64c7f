package run_test

import "pulk/checklist/procedure"

// model is the rules of the gates a second time, as plainly as they can be said,
// written from the design's words and sharing nothing with the program: it reads
// only events and the plain sets of what each author knew. A set of events is a
// map; "in" is always what some reader has, everything here or what a signer knew.
type model struct {
	*history
	here map[int]bool
}

func newModel(h *history) *model {
	m := &model{h, map[int]bool{}}
	for i, e := range h.events {
		m.here[i] = !e.lost
	}
	return m
}

// both returns what is in a and in b.
func both(a, b map[int]bool) map[int]bool {
	out := map[int]bool{}
	for i := range a {
		out[i] = a[i] && b[i]
	}
	return out
}

// all lists the events in a set for which ok holds.
func (m *model) all(in map[int]bool, ok func(i int, e event) bool) []int {
	var list []int
	for i, e := range m.events {
		if in[i] && ok(i, e) {
			list = append(list, i)
		}
	}
	return list
}

func (m *model) isVoided(i int, in map[int]bool) bool {
	return len(m.all(in, func(_ int, e event) bool { return e.verb == "void" && e.of == i })) > 0
}

// A nonconformance is decided if its last dispositions, those no other has seen,
// agree on something known; "" if not.
func (m *model) decided(nc int, in map[int]bool) string {
	about := func(_ int, e event) bool { return e.verb == "dispose" && e.of == nc }
	how := ""
	for _, d := range m.all(in, about) {
		seen := m.all(in, func(i int, e event) bool { return about(i, e) && e.knows[d] })
		switch {
		case len(seen) > 0:
		case how != "" && how != m.events[d].how:
			return ""
		default:
			how = m.events[d].how
		}
	}
	known := map[string]bool{"rework": true, "repair": true, "use-as-is": true, "scrap": true}
	if !known[how] {
		return ""
	}
	return how
}

func again(how string) bool { return how == "rework" || how == "repair" }

// A nonconformance is settled for a hold if it is decided, not scrap, and where its
// step lies before the hold and was to be done again, it was.
func (m *model) ncSettled(nc, hold int, in map[int]bool) bool {
	how, step := m.decided(nc, in), m.events[nc].step
	if how == "" || how == "scrap" {
		return false
	}
	return !again(how) || step < 0 || step >= hold || m.done(step, in)
}

func (m *model) causedBy(i int, in map[int]bool) []int {
	return m.all(in, func(_ int, e event) bool { return e.verb == "nc" && e.of == i })
}

// A step is done if as many good entries as it needs stand, made knowing every
// nonconformance at it that asks for the step to be done again, and no bad one is
// open or scrapped. What is used as it is counts as good. A gate is done if open.
func (m *model) done(step int, in map[int]bool) bool {
	if m.steps[step].Sign != nil {
		return m.open(step, in)
	}
	need, good := 1, 0
	if m.steps[step].Reading != nil {
		need = m.steps[step].Reading.Repeat
	}
	toRedo := m.all(in, func(i int, e event) bool { return e.verb == "nc" && e.step == step && again(m.decided(i, in)) })
	does := map[string]bool{"check": true, "no": true, "read": true, "record": true}
	for _, i := range m.all(in, func(i int, e event) bool { return does[e.verb] && e.step == step && !m.isVoided(i, in) }) {
		counts := true
		if m.events[i].bad || m.worthless(i, in) {
			causes := m.causedBy(i, in)
			if len(causes) == 0 && !m.events[i].bad {
				continue // it says nothing, and nobody asked to use it as it is
			}
			for _, nc := range causes {
				how := m.decided(nc, in)
				if how == "" || how == "scrap" {
					return false
				}
				counts = counts && how == "use-as-is"
			}
			if len(causes) == 0 {
				return false
			}
		}
		for _, nc := range toRedo {
			counts = counts && m.events[i].knows[nc]
		}
		if counts {
			good++
		}
	}
	return good >= need
}

// adverse returns whether an event speaks against going on at a hold; and whether
// it is settled, asked of what some reader has.
func (m *model) adverse(i, hold int, in map[int]bool) (bool, func(in map[int]bool) bool) {
	e := m.events[i]
	if isReviewVerb(e.verb) || e.verb == "void" && isReviewVerb(m.events[e.of].verb) && m.here[e.of] || e.verb == "ustate" || e.verb == "unc" {
		return m.adverseReview(i, hold, in)
	}
	always := func(answer bool) func(map[int]bool) bool { return func(map[int]bool) bool { return answer } }
	switch e.verb {
	case "nc":
		return true, func(in map[int]bool) bool { return m.ncSettled(i, hold, in) }
	case "withdraw":
		return true, always(false)
	case "stop":
		return e.step == hold && !m.isVoided(i, in), always(true)
	case "void": // of what is not here nobody can say whether it matters
		voided := m.events[e.of]
		if !m.here[e.of] {
			return true, always(false)
		}
		if voided.verb == "note" || outside[voided.verb] {
			return false, nil
		}
		return true, func(in map[int]bool) bool { return voided.step >= hold || m.done(voided.step, in) }
	case "recall":
		return m.adverseRecall(i, hold, in)
	case "read", "no":
		if !e.bad && !m.isVoided(i, in) && m.risky(i, hold, in) {
			return true, always(true)
		}
		return e.bad && !m.isVoided(i, in), func(in map[int]bool) bool {
			causes := m.causedBy(i, in)
			for _, nc := range causes {
				if !m.ncSettled(nc, hold, in) {
					return false
				}
			}
			return len(causes) > 0
		}
	}
	return false, nil
}

// A person held a role for a sign-off if it was granted by the last word on it that
// the signer knew, by each where several did not know each other, and if nobody
// withdrew it who did not know the sign-off and whom the signer did not know.
func (m *model) heldRole(g int) bool {
	word := func(i int, e event) bool {
		return m.here[i] && (e.verb == "grant" || e.verb == "revoke") && e.whom == m.events[g].person && e.role == m.events[g].role
	}
	crossed := m.all(m.here, func(i int, e event) bool {
		return word(i, e) && e.verb == "revoke" && !e.knows[g] && !m.events[g].knows[i]
	})
	old := map[int]bool{}
	known := m.all(m.events[g].knows, word)
	for _, later := range known {
		for _, i := range known {
			old[i] = old[i] || m.events[later].knows[i]
		}
	}
	last := map[string]int{}
	for _, i := range known {
		if !old[i] {
			last[m.events[i].verb]++
		}
	}
	return len(crossed) == 0 && last["grant"] > 0 && last["revoke"] == 0
}

// faults returns everything that keeps a go from holding, in what a reader has.
func (m *model) faults(g int, in map[int]bool) map[string]bool {
	e := m.events[g]
	out := map[string]bool{}
	add := func(fault string, is bool) {
		if is {
			out[fault] = true
		}
	}
	add("voided", m.isVoided(g, in))
	add("wrong role", e.verb == "go" && e.role != m.steps[e.step].Sign.Role || e.verb == "rgo" && !m.inReview(e))
	add("no role", !m.heldRole(g))
	add("key not here yet", e.how == "nokey")
	add("signature invalid", e.how == "forged" || e.how == "stolen")
	for i := range e.knows {
		add("evidence not all here", !outside[m.events[i].verb] && !m.here[i])
	}
	seen := both(in, e.knows)
	for i := range m.events {
		against, settled := false, (func(map[int]bool) bool)(nil)
		if in[i] {
			against, settled = m.adverse(i, e.step, in)
		}
		switch {
		case !against:
		case e.knows[i]:
			add("unsettled", !settled(seen) || !settled(in))
		case m.events[i].knows[g]:
			add("reopened", true)
		default:
			add("overtaken", true)
		}
	}
	return out
}

// A gate is open if as many different people as it needs signed a go that holds, and
// its readiness review, if it needs one, stands at go.
func (m *model) open(hold int, in map[int]bool) bool {
	who := map[string]bool{}
	for _, g := range m.all(in, func(_ int, e event) bool { return e.verb == "go" && e.step == hold }) {
		if len(m.faults(g, in)) == 0 {
			who[m.events[g].person] = true
		}
	}
	return len(who) >= m.steps[hold].Sign.People && m.reviewGo(hold, in)
}

// A deed is wrong if a gate before it was shut, by all that is here but what was
// written knowing the deed, and the deed itself.
func (m *model) wrongDeed(c int) bool {
	then := map[int]bool{}
	for i, e := range m.events {
		then[i] = m.here[i] && i != c && !e.knows[c]
	}
	for step := range m.events[c].step {
		if s := m.steps[step]; (s.Kind == procedure.KindHold || s.Kind == procedure.KindWitness) && !m.open(step, then) {
			return true
		}
	}
	return false
}

// A step is blocked by a shut hold before it, by a shut witness point before it if
// it cannot be undone, by an undone step it comes after, and by a withdrawal.
func (m *model) blocked(n int) bool {
	blocked := len(m.all(m.here, func(_ int, e event) bool { return e.verb == "withdraw" })) > 0
	for before, s := range m.steps {
		if before < n && s.Sign != nil && (s.Kind == procedure.KindHold || m.steps[n].Irreversible) {
			blocked = blocked || !m.open(before, m.here)
		}
		for _, id := range m.steps[n].After {
			blocked = blocked || s.ID == id && !m.done(before, m.here)
		}
	}
	return blocked
}

// An entry is one of a pair if another of its kind at its step crossed it.
func (m *model) twice(i int) bool {
	a := m.events[i]
	class := map[string]string{"check": "check", "no": "check", "record": "record"}
	return class[a.verb] != "" && !m.isVoided(i, m.here) && len(m.all(m.here, func(j int, b event) bool {
		return j != i && b.step == a.step && class[b.verb] == class[a.verb] && !b.knows[i] && !a.knows[j] && !m.isVoided(j, m.here)
	})) > 0
}
