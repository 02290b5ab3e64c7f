package simulate_test

import (
	"crypto/sha256"

	"pulk/checklist/procedure"
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
	namings []*fact // of sites, for what is confined
	later   []*fact // of kinds that came with the later program
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
	old    bool // its author had the earlier program
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

// learn books the changes of a change-set, written by the earlier program or not.
func (m *model) learn(c *simulate.Commit, old bool) error {
	person, err := m.h.Resolve(c, c.Set.Person)
	if err != nil {
		return err
	}
	for i, ch := range c.Set.Changes {
		f := &fact{ID: simulate.ID{N: c.N, Index: i}, c: c, kind: kind.Lookup(ch.Kind), person: person, v: ch.Values, run: simulate.None, target: simulate.None, step: -1, old: old}
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
		if f.kind.ID >= firstLater {
			m.later = append(m.later, f)
		}
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
	case kind.SiteConfide:
		m.namings = append(m.namings, f)
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
	case kind.RunEnd, kind.RunStay:
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
	return standing(here, m.assigns[at])
}

func standing(here simulate.Bits, assigns []*assignment) []*assignment {
	var list []*assignment
	for _, a := range assigns {
		replaced := !here.Has(a.N)
		for _, b := range assigns {
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

// learnText books what a procedure's text says.
func (m *model) learnText(source []byte, p *procedure.Procedure) {
	digest := sha256.Sum256(source)
	m.parsed[string(digest[:])] = p
}
