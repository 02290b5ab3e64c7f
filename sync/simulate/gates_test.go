package simulate_test

import (
	"pulk/checklist/procedure"
	"pulk/schema/decimal"
	"pulk/schema/kind"
	"pulk/sync/simulate"
)

// gates answers about one run at one site: here is what the site holds, seen the
// part of it that is asked about.
type gates struct {
	m     *model
	here  simulate.Bits
	run   *fact
	steps []procedure.Step
	old   bool // the site has the earlier program
}

func (m *model) gatesOf(here simulate.Bits, run *fact, old bool) *gates {
	g := &gates{m: m, here: here, run: run, old: old}
	if p := m.textOf(here, run.refs[0]); p != nil {
		g.steps = p.Steps
	}
	return g
}

func isStep(f *fact) bool {
	switch f.kind {
	case kind.StepCheck, kind.StepReading, kind.StepRecord, kind.StepBegin, kind.StepSign:
		return true
	}
	return false
}

// of lists the entries of a kind that are seen and not voided; step -1 is any.
func (g *gates) of(seen simulate.Bits, k *kind.Kind, step int) []*fact {
	var list []*fact
	for _, f := range g.m.byRun[g.run.ID] {
		if seen.Has(f.N) && f.kind == k && (step == -1 || f.step == step) && !g.voided(seen, f) {
			list = append(list, f)
		}
	}
	return list
}

func (g *gates) voided(seen simulate.Bits, f *fact) bool {
	if !isStep(f) && f.kind != kind.RunNote {
		return false
	}
	for _, v := range g.m.byRun[g.run.ID] {
		if v.kind == kind.Void && v.target == f.ID && seen.Has(v.N) {
			return true
		}
	}
	return false
}

// fails: a reading outside its limits, or a no.
func (g *gates) fails(f *fact) bool {
	switch f.kind {
	case kind.StepCheck:
		return f.v[2].Num != 0
	case kind.StepReading:
		if f.step >= len(g.steps) || g.steps[f.step].Reading == nil {
			return false
		}
		l := g.steps[f.step].Reading.Limits
		value := f.v[2].Decimal()
		return outside(value, l.Min, -1) || outside(value, l.Max, 1)
	}
	return false
}

func outside(value decimal.Decimal, bound *decimal.Decimal, side int) bool {
	return bound != nil && value.Cmp(*bound) == side
}

// decided: what was last said about a nonconformance; 0 where nothing was, or
// where people who had not heard of each other said different things.
func (g *gates) decided(seen simulate.Bits, nc *fact) int64 {
	said := int64(0)
	for _, d := range g.of(seen, kind.NCDispose, -1) {
		if d.target != nc.ID {
			continue
		}
		last := true
		for _, e := range g.of(seen, kind.NCDispose, -1) {
			last = last && !(e.target == nc.ID && e.knows(d))
		}
		switch {
		case last && said != 0 && said != d.v[2].Num:
			return 0
		case last:
			said = d.v[2].Num
		}
	}
	return said
}

const (
	rework  = 1
	repair  = 2
	useAsIs = 3
	scrap   = 4
)

// fate is what all nonconformances that an entry caused say together.
func (g *gates) fate(seen simulate.Bits, f *fact) int64 {
	worst, any := int64(useAsIs), false
	for _, nc := range g.of(seen, kind.NCRaise, -1) {
		if nc.target != f.ID {
			continue
		}
		any = true
		switch g.decided(seen, nc) {
		case 0:
			return 0
		case scrap:
			worst = scrap
		case rework, repair:
			if worst != scrap {
				worst = rework
			}
		}
	}
	if !any {
		return 0
	}
	return worst
}

// done: the step has as many good entries as it asks for, by people who knew of
// everything that was to be done again, and nothing in it is undecided.
func (g *gates) done(seen simulate.Bits, n int) bool {
	step := g.steps[n]
	k, need := kind.StepCheck, 1
	switch step.Kind {
	case procedure.KindHold, procedure.KindWitness:
		return g.open(seen, n)
	case procedure.KindRecord:
		k = kind.StepRecord
	case procedure.KindReading:
		k, need = kind.StepReading, max(1, step.Reading.Repeat)
	}
	var again, good []*fact
	for _, nc := range g.of(seen, kind.NCRaise, n) { // also one that a person raised at a good step
		if d := g.decided(seen, nc); d == rework || d == repair {
			again = append(again, nc)
		}
	}
	for _, f := range g.of(seen, k, n) {
		switch fate := int64(useAsIs); {
		case !g.fails(f):
			good = append(good, f)
		default:
			if fate = g.fate(seen, f); fate == 0 || fate == scrap {
				return false
			} else if fate == rework {
				again = append(again, f)
			} else {
				good = append(good, f)
			}
		}
	}
	for _, f := range good {
		knew := true
		for _, failed := range again {
			knew = knew && f.knows(failed)
		}
		if knew {
			need--
		}
	}
	return need <= 0
}

// settled: someone who saw what is in seen may go on in spite of f.
func (g *gates) settled(seen simulate.Bits, f *fact, hold int) bool {
	ncSettled := func(nc *fact) bool {
		switch g.decided(seen, nc) {
		case useAsIs:
			return true
		case rework, repair:
			return nc.step < 0 || nc.step >= hold || g.done(seen, nc.step)
		}
		return false
	}
	switch f.kind {
	case kind.NCRaise:
		return ncSettled(f)
	case kind.Void:
		if !g.here.Has(f.target.N) {
			return false
		}
		step := g.m.facts[f.target].step
		return step >= hold || g.done(seen, step)
	case kind.StepSign:
		return true // a go that has seen a stop answers it
	case kind.StepCheck, kind.StepReading:
		any := false
		for _, nc := range g.of(seen, kind.NCRaise, -1) {
			if nc.target == f.ID {
				any = true
				if !ncSettled(nc) {
					return false
				}
			}
		}
		return any
	}
	return false // the revision was withdrawn
}

// against lists what speaks against going on at a hold.
func (g *gates) against(seen simulate.Bits, hold int) []*fact {
	var list []*fact
	for _, f := range g.m.byRun[g.run.ID] {
		if !seen.Has(f.N) {
			continue
		}
		adverse := false
		switch f.kind {
		case kind.NCRaise:
			adverse = true
		case kind.Void:
			target := g.m.facts[f.target]
			adverse = !g.here.Has(f.target.N) || target != nil && isStep(target) && target.run == g.run.ID
		case kind.StepSign:
			adverse = f.step == hold && f.v[2].Num == 1 && !g.voided(seen, f)
		default:
			adverse = g.fails(f) && !g.voided(seen, f)
		}
		if adverse {
			list = append(list, f)
		}
	}
	for _, f := range g.m.loose {
		if f.kind == kind.RevisionWithdraw && f.refs[0] == g.run.refs[0] && seen.Has(f.N) {
			list = append(list, f)
		}
	}
	return list
}

// The standings of a sign-off, as far as the model tells them apart.
const (
	holds     = "holds"
	overtaken = "overtaken"
	reopened  = "reopened"
	unsettled = "unsettled"
	noGood    = "does not count"
)

// standing judges one sign-off.
func (g *gates) standing(seen simulate.Bits, s *fact, hold int) string {
	if s.v[2].Num != 0 || g.voided(seen, s) || s.v[3].Text != g.steps[hold].Sign.Role || !g.entitled(s) || !g.genuine(s) {
		return noGood
	}
	for _, f := range g.m.byRun[g.run.ID] {
		if !s.knows(f) {
			continue
		}
		// Where one of signer and site has a program that does not know the entry, they
		// do not look at the same record.
		if !g.here.Has(f.N) || f.kind.ID >= firstLater && s.old != g.old {
			return noGood // part of its evidence is not here
		}
	}
	answer := holds
	for _, f := range g.against(seen, hold) {
		both := simulate.Bits.And(seen, s.c.Knew)
		switch {
		case s.knows(f):
			if answer == holds && !(g.settled(both, f, hold) && g.settled(seen, f, hold)) {
				answer = unsettled
			}
		case f.knows(s):
			if answer != overtaken {
				answer = reopened
			}
		default:
			answer = overtaken
		}
	}
	return answer
}

// entitled: for the signer the role was granted, by every last word on it, and no
// withdrawal crossed the sign-off.
func (g *gates) entitled(s *fact) bool {
	at := slotKey{s.person, kind.FieldPersonRole, s.v[3].Text}
	for _, a := range g.m.assigns[at] {
		crossed := !s.knows(a.fact) && !a.knows(s)
		if crossed && g.here.Has(a.N) && a.value.Text != "granted" {
			return false
		}
	}
	granted := false
	for _, a := range g.m.standing(simulate.Bits.And(g.here, s.c.Knew), at) {
		if a.value.Text != "granted" {
			return false
		}
		granted = true
	}
	return granted
}

// genuine: the key is here and the signer's own. The simulator signs wrongly only
// with somebody else's key.
func (g *gates) genuine(s *fact) bool {
	key := g.m.facts[s.refs[5]]
	return key != nil && g.here.Has(key.N) && key.refs[0] == s.person
}

// open reports whether the gate at a hold or witness point is open.
func (g *gates) open(seen simulate.Bits, hold int) bool {
	people := map[simulate.ID]bool{}
	for _, s := range g.m.byRun[g.run.ID] {
		if s.kind == kind.StepSign && s.step == hold && seen.Has(s.N) && g.standing(seen, s, hold) == holds {
			people[s.person] = true
		}
	}
	return len(people) >= max(1, g.steps[hold].Sign.People)
}

// notAfter returns what of here was not written by people who knew f, nor together
// with it.
func (g *gates) notAfter(f *fact) simulate.Bits {
	var before simulate.Bits
	for n := range g.here.All {
		if n != f.N && !g.m.h.Commits[n].Knew.Has(f.N) {
			before.Add(n)
		}
	}
	return before
}
