package run

import (
	"fmt"
	"slices"
	"strings"

	"pulk/checklist/procedure"
	"pulk/sync/changelog"
	"pulk/sync/clock"
)

// Conflicts implements [changelog.Conflicter]: a step done twice by people who had
// not heard of each other, an irreversible step done behind a shut gate, a run on
// a withdrawn revision, and dispositions that contradict each other.
func (Projection) Conflicts(tx *changelog.Tx, found func(changelog.Conflict) error) error {
	rd := NewReader(tx)
	suspects, err := rd.suspects()
	if err != nil {
		return err
	}
	for _, id := range suspects {
		r, err := rd.Load(id)
		if err != nil {
			return err
		}
		if err := changelog.Found(found, r.conflicts(tx), nil); err != nil {
			return err
		}
	}
	return nil
}

// suspects returns the runs that can have a conflict, so that those of whole seasons
// need not be read. What is written in one lane is in order, each knowing all before
// it: so it takes two lanes to do one step twice or to decide one fault in two ways.
// For the rest it takes a step that cannot be undone, a withdrawn revision, a move to
// another one, or a sheet of paper that was typed in.
func (rd *Reader) suspects() ([]clock.Dot, error) {
	runs, err := List(rd.tx)
	if err != nil {
		return nil, err
	}
	crossed, err := crossedRuns(rd.tx)
	if err != nil {
		return nil, err
	}
	typed, err := typedRuns(rd.tx)
	if err != nil {
		return nil, err
	}
	moved, err := movedRuns(rd.tx)
	if err != nil {
		return nil, err
	}
	risky := map[clock.Dot]bool{} // by revision
	var list []clock.Dot
	for _, r := range runs {
		if _, known := risky[r.Revision]; !known {
			if risky[r.Revision], err = rd.risky(r.Revision); err != nil {
				return nil, err
			}
		}
		if crossed[r.ID] || typed[r.ID] || moved[r.ID] || risky[r.Revision] {
			list = append(list, r.ID)
		}
	}
	return list, nil
}

// risky reports whether a revision was withdrawn or has steps that cannot be undone.
func (rd *Reader) risky(revision clock.Dot) (bool, error) {
	p, err := rd.Procedure(revision)
	if err != nil {
		return false, err
	}
	if p != nil && slices.ContainsFunc(p.Steps, func(s procedure.Step) bool { return s.Irreversible }) {
		return true, nil
	}
	known, found, err := procedure.ByID(rd.tx, revision)
	return found && len(known.Withdrawn) > 0, err
}

func (r *Record) conflicts(tx *changelog.Tx) []changelog.Conflict {
	list := r.gateConflicts(tx)
	list = append(list, r.twiceConflicts(tx)...)
	s := Evaluate(r)
	if len(r.Withdrawals) > 0 && s.Ended == nil {
		c := changelog.Conflict{ID: "withdrawn:" + tx.Name(r.Run), Kind: "run on a withdrawn revision",
			What:   fmt.Sprintf("run %s (%s) goes on under a revision that was withdrawn: %s. Nothing more can be done in it", tx.Name(r.Run), r.Title, r.Withdrawals[0].Why),
			Advice: fmt.Sprintf("move it to another revision: pulk run move %s; or end it: pulk run end %s --abandon --why REASON", tx.Name(r.Run), tx.Name(r.Run)),
			Sides:  []changelog.Side{{Dot: r.Run, What: "run started"}}}
		for _, w := range r.Withdrawals {
			c.Sides = append(c.Sides, changelog.Side{Dot: w.Dot, What: "withdrawn: " + w.Why})
		}
		list = append(list, c)
	}
	if len(r.Contested) > 0 && s.Ended == nil {
		list = append(list, r.contestedConflict(tx))
	}
	for _, nc := range s.NCs {
		if nc.Open && len(nc.Dispositions) > 1 {
			c := changelog.Conflict{ID: "disposition:" + tx.Name(nc.Entry.Dot), Kind: "nonconformance disposed in two ways",
				What:   fmt.Sprintf("%s was disposed in different ways by people who had not seen each other's decision; it counts as open", nc.Entry.Text),
				Advice: "decide again, knowing both: pulk nc dispose " + tx.Name(nc.Entry.Dot)}
			for _, e := range nc.Dispositions {
				c.Sides = append(c.Sides, changelog.Side{Dot: e.Dot, What: e.Disposition.String() + ": " + e.Text})
			}
			list = append(list, c)
		}
	}
	return list
}

func (r *Record) gateConflicts(tx *changelog.Tx) []changelog.Conflict {
	var list []changelog.Conflict
	found := r.DoneBehindShutGate()
	for _, check := range sortedEntries(found) {
		c := r.gateConflict(tx, check, strings.Join(found[check], "; "))
		for _, a := range r.unseenAdverse(check) {
			c.Sides = append(c.Sides, changelog.Side{Dot: a.Dot, What: a.Why})
		}
		list = append(list, c)
	}
	return list
}

// gateConflict tells of a deed behind a shut gate.
func (r *Record) gateConflict(tx *changelog.Tx, deed *Entry, why string) changelog.Conflict {
	step := r.own(deed)
	where := fmt.Sprintf("step %s of run %s (%s)", step.ID, tx.Name(r.Run), r.Title)
	how := "something that its doer had not seen had shut the gate before it"
	if deed.Paper != nil {
		how = "the gate before it was shut, as a sheet of paper tells"
		if deed.Paper.Why != "" {
			how += " (" + deed.Paper.Why + ")"
		}
	}
	c := changelog.Conflict{ID: "gate:" + tx.Name(deed.Dot), Kind: "irreversible step done behind a shut gate", Urgent: true,
		What:   fmt.Sprintf("%s cannot be undone and was done, while %s: %s", where, how, why),
		Advice: "nothing here can undo it: tell the release authority now, by voice if there is one; write down what is decided with pulk run note"}
	if !step.Irreversible {
		c.Kind, c.Urgent = "step done on paper behind a shut gate", false
		c.What = fmt.Sprintf("%s was done, while %s: %s", where, how, why)
		c.Advice = fmt.Sprintf("let who may sign look at it, and sign the gate; or void it with pulk run void %s and do the step again", tx.Name(deed.Dot))
	}
	c.Sides = []changelog.Side{{Dot: deed.Dot, What: "step " + step.ID + " done"}}
	return c
}

// unseenAdverse lists what spoke against going on, crossed an entry and was not
// known to its author.
func (r *Record) unseenAdverse(e *Entry) []Adverse {
	var list []Adverse
	v := r.whole()
	for n := range e.Step {
		if !isGate(r.step(n)) {
			continue
		}
		for _, a := range v.adverse(n) {
			known := slices.ContainsFunc(list, func(b Adverse) bool { return a.Dot == b.Dot })
			if !known && !e.Ctx.Has(a.Dot) && !a.Ctx.Has(e.Dot) && a.Dot != e.Dot {
				list = append(list, a)
			}
		}
	}
	return list
}

func (r *Record) twiceConflicts(tx *changelog.Tx) []changelog.Conflict {
	var list []changelog.Conflict
	twice := r.DoneTwice()
	for n := range len(r.steps()) {
		entries := twice[n]
		if len(entries) < 2 {
			continue
		}
		step := r.step(n)
		c := changelog.Conflict{ID: fmt.Sprintf("twice:%s:%s", tx.Name(r.Run), step.ID), Kind: "step done twice", Urgent: step.Irreversible,
			What:   fmt.Sprintf("step %s of run %s was done by people who had not heard of each other", step.ID, tx.Name(r.Run)),
			Advice: "find out what was really done, and void the entry that is wrong: pulk run void"}
		for _, e := range entries {
			what := "done"
			if e.Text != "" {
				what = e.Text
			}
			c.Sides = append(c.Sides, changelog.Side{Dot: e.Dot, What: what})
		}
		list = append(list, c)
	}
	return list
}

func sortedEntries(found map[*Entry][]string) []*Entry {
	var list []*Entry
	for e := range found {
		list = append(list, e)
	}
	slices.SortFunc(list, func(a, b *Entry) int { return clock.Dot.Compare(a.Dot, b.Dot) })
	return list
}

// contestedConflict tells of a run that was moved to several revisions.
func (r *Record) contestedConflict(tx *changelog.Tx) changelog.Conflict {
	c := changelog.Conflict{ID: "moved:" + tx.Name(r.Run), Kind: "run moved to several revisions",
		What:   fmt.Sprintf("run %s (%s) was moved to several revisions by people who had not heard of each other. Nothing more can be done in it", tx.Name(r.Run), r.Title),
		Advice: "decide, knowing both: pulk run move " + tx.Name(r.Run) + " --to REVISION --why REASON"}
	for _, m := range r.Contested {
		name := tx.Name(m.Ref)
		if p := r.Texts[m.Ref]; p != nil {
			name = p.Revision
		}
		c.Sides = append(c.Sides, changelog.Side{Dot: m.Dot, What: "moved to revision " + name})
	}
	return c
}
