package simulate_test

import (
	"crypto/sha256"

	"pulk/checklist/procedure"
	"pulk/schema/decimal"
	"pulk/schema/kind"
	"pulk/sync/change"
	"pulk/sync/simulate"
)

// model is the plain reference: it knows every change-set ever committed and what
// each author's store held, and answers what a store that holds a given set of
// them must say. It shares no code with the stores, the registers or the gates.
type model struct {
	h       *simulate.History
	facts   map[simulate.ID]*fact
	byRun   map[simulate.ID][]*fact
	runs    []*fact
	assigns map[slotKey][]*assignment
	slots   []slotKey // in the order in which they were first assigned
	persons []simulate.ID
	revs    map[simulate.ID]*revision
	loose   []*fact // withdrawals of revisions, keys of persons
	moves   []*fact // of stock
	unknown []simulate.ID
	parsed  map[string]*procedure.Procedure
}

type revision struct {
	base simulate.ID
	text *procedure.Procedure
}

// fact is one entry in plain words.
type fact struct {
	simulate.ID
	c      *simulate.Commit
	kind   *kind.Kind
	person simulate.ID
	v      []change.Value
	refs   []simulate.ID // of v, where it is a ref
	run    simulate.ID
	step   int // -1: about the run as a whole
	target simulate.ID
}

func (f *fact) knows(g *fact) bool { return f.c.Knows(f.Index, g.ID) }

// slotKey is one field of an entity.
type slotKey struct {
	entity simulate.ID
	field  kind.FieldID
	key    string
}

type assignment struct {
	*fact
	value change.Value
	ref   simulate.ID
}

func newModel(h *simulate.History) *model {
	return &model{h: h, facts: map[simulate.ID]*fact{}, byRun: map[simulate.ID][]*fact{}, assigns: map[slotKey][]*assignment{},
		revs: map[simulate.ID]*revision{}, parsed: map[string]*procedure.Procedure{}}
}

// learn books the changes of a change-set.
func (m *model) learn(c *simulate.Commit) error {
	person, err := m.h.Resolve(c, c.Set.Person)
	if err != nil {
		return err
	}
	for i, ch := range c.Set.Changes {
		f := &fact{ID: simulate.ID{N: c.N, Index: i}, c: c, kind: kind.Lookup(ch.Kind), person: person, v: ch.Values, run: simulate.None, target: simulate.None, step: -1}
		if f.kind == nil {
			m.unknown = append(m.unknown, f.ID)
			continue
		}
		for j, column := range f.kind.Columns {
			ref := simulate.None
			if column.Type == kind.Ref {
				if ref, err = m.h.Resolve(c, ch.Values[j].Ref); err != nil {
					return err
				}
			}
			f.refs = append(f.refs, ref)
		}
		m.facts[f.ID] = f
		m.sort(f)
		m.assign(f)
	}
	return nil
}

// sort puts an entry where it belongs.
func (m *model) sort(f *fact) {
	switch f.kind {
	case kind.RunStart:
		m.runs = append(m.runs, f)
	case kind.RevisionImport:
		m.revs[f.ID] = &revision{base: f.refs[3], text: m.parsed[f.v[5].Text]}
	case kind.RevisionWithdraw, kind.PersonKey:
		m.loose = append(m.loose, f)
	case kind.StepCheck, kind.StepReading, kind.StepRecord, kind.StepBegin, kind.StepSign:
		f.run, f.step = f.refs[0], int(f.v[1].Num)
	case kind.RunNote:
		f.run, f.step = f.refs[0], int(f.v[1].Num)-1
	case kind.NCRaise:
		f.run, f.step, f.target = f.refs[0], int(f.v[1].Num)-1, f.refs[3]
	case kind.NCDispose:
		f.run, f.target = f.refs[1], f.refs[0]
	case kind.Void:
		f.run, f.target = f.refs[1], f.refs[0]
	case kind.RunEnd:
		f.run = f.refs[0]
	}
	m.sortStock(f)
	if f.run != simulate.None {
		m.byRun[f.run] = append(m.byRun[f.run], f)
	}
}

func (m *model) assign(f *fact) {
	put := func(entity simulate.ID, field kind.FieldID, key string, value change.Value, ref simulate.ID) {
		if entity == simulate.None {
			return
		}
		at := slotKey{entity, field, key}
		if m.assigns[at] == nil {
			m.slots = append(m.slots, at)
		}
		m.assigns[at] = append(m.assigns[at], &assignment{f, value, ref})
	}
	switch f.kind {
	case kind.AssignText, kind.AssignRef, kind.AssignInt:
		put(f.refs[0], kind.FieldID(f.v[1].Num), f.v[2].Text, f.v[3], f.refs[3])
		return
	}
	for _, set := range f.kind.Sets {
		entity, key, value, ref := f.ID, "", change.Value{}, simulate.None
		if set.Entity != kind.Self {
			entity = f.refs[set.Entity]
		}
		if set.Key != kind.NoKey {
			key = f.v[set.Key].Text
		}
		if set.Value != kind.Nothing {
			value, ref = f.v[set.Value], f.refs[set.Value]
		}
		if set.SkipEmpty && value == (change.Value{}) {
			continue
		}
		put(entity, set.Field, key, value, ref)
	}
}

// standing returns the values of a field that a store holding here must show:
// those that nobody else who gave the field a value had seen.
func (m *model) standing(here simulate.Bits, at slotKey) []*assignment {
	var list []*assignment
	for _, a := range m.assigns[at] {
		replaced := !here.Has(a.N)
		for _, b := range m.assigns[at] {
			replaced = replaced || here.Has(b.N) && b.knows(a.fact)
		}
		if !replaced {
			list = append(list, a)
		}
	}
	return list
}

// textOf returns the procedure of a revision where its text is here.
func (m *model) textOf(here simulate.Bits, id simulate.ID) *procedure.Procedure {
	for at := id; at != simulate.None; at = m.revs[at].base {
		if m.revs[at] == nil || !here.Has(at.N) {
			return nil
		}
	}
	if m.revs[id] == nil {
		return nil
	}
	return m.revs[id].text
}

// gates answers about one run at one site: here is what the site holds, seen the
// part of it that is asked about.
type gates struct {
	m     *model
	here  simulate.Bits
	run   *fact
	steps []procedure.Step
}

func (m *model) gatesOf(here simulate.Bits, run *fact) *gates {
	g := &gates{m: m, here: here, run: run}
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
		if s.knows(f) && !g.here.Has(f.N) {
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

// learnText books what a procedure's text says.
func (m *model) learnText(source []byte, p *procedure.Procedure) {
	digest := sha256.Sum256(source)
	m.parsed[string(digest[:])] = p
}
