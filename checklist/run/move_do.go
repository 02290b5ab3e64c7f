package run

import (
	"fmt"
	"slices"

	"pulk/checklist/procedure"
	"pulk/schema/fault"
	"pulk/schema/kind"
	"pulk/sync/change"
	"pulk/sync/changelog"
	"pulk/sync/clock"
)

// wire returns the number under which an entry that is written now names a step.
func (d *Doing) wire(n int) int { return onWire(n, len(d.Moves())) }

func onWire(place, moves int) int {
	if place < 0 {
		return place
	}
	return place + moves*stepStride
}

// StepOnWire returns the number under which a change that is written now names a step of
// a run by its place.
func StepOnWire(tx *changelog.Tx, run clock.Dot, place int) (int, error) {
	var moves int
	_, err := tx.Row("SELECT count(*) FROM run_entry WHERE run = ? AND kind = 104", []any{run.Key()}, &moves)
	return onWire(place, moves), err
}

// add adds a change about the run: its step, given by its place, is numbered as on the
// wire.
func (d *Doing) add(c change.Change) clock.Dot {
	for i, column := range kind.Lookup(c.Kind).Columns {
		v := &c.Values[i]
		switch {
		case column.Name == "step":
			v.Num = int64(d.wire(int(v.Num)))
		case column.Name == "step_plus_one":
			v.Num = int64(d.wire(int(v.Num)-1) + 1)
		}
	}
	return d.tx.Add(c)
}

// Offer is a later revision than the one that a run is on.
type Offer struct {
	Revision procedure.Revision
	Changes  []procedure.Difference // from the run's revision to it
	Stay     *Entry                 // that the run stays where it is; nil where nobody said so
}

// Offered returns the latest revision of a run's procedure that came after the one that
// the run is on and was not withdrawn; nil where there is none.
func Offered(tx *changelog.Tx, s *State) (*Offer, error) {
	if s.Procedure == nil {
		return nil, nil
	}
	list, err := procedure.RevisionsOf(tx, s.Procedure.ID)
	if err != nil {
		return nil, err
	}
	at := slices.IndexFunc(list, func(r procedure.Revision) bool { return r.ID == s.Revision })
	list = slices.DeleteFunc(list[at+1:], func(r procedure.Revision) bool { return len(r.Withdrawn) > 0 })
	if len(list) == 0 {
		return nil, nil
	}
	o := &Offer{Revision: list[len(list)-1]}
	p, err := procedure.Load(tx, o.Revision.ID)
	if err != nil {
		return nil, err
	}
	if p != nil {
		o.Changes = procedure.Compare(s.Procedure, p)
	}
	for i := range s.Entries {
		if e := &s.Entries[i]; e.Kind == kind.RunStay && e.Ref == o.Revision.ID {
			o.Stay = e
		}
	}
	return o, nil
}

// revisionDecided refuses a go while a later revision is here and nobody has said
// whether the run moves to it or stays.
func (d *Doing) revisionDecided() error {
	o, err := Offered(d.tx, d.State)
	if err != nil || o == nil || o.Stay != nil {
		return err
	}
	name := d.tx.Name(d.Run)
	return fault.Refuse(fmt.Sprintf("read what changed: pulk run show %s; then: pulk run move %s, or: pulk run stay %s --why REASON", name, name, name),
		"revision %s of %s is here, and nobody has said whether run %s moves to it", o.Revision.Revision, o.Revision.Procedure, name)
}

// mayDecideRevision refuses people who may not say which revision holds: it takes a role
// that signs a gate of the one or the other.
func (d *Doing) mayDecideRevision(to *procedure.Procedure) error {
	roles := unique(append(signers(d.Procedure), signers(to)...))
	if slices.ContainsFunc(roles, d.me.Has) {
		return nil
	}
	return fault.Refuse("let someone with such a role decide", "%s may not say which revision holds: it takes one of the roles %v", d.me.Code, roles)
}

// signers returns the roles that sign the gates of a procedure, or give a go in its
// readiness reviews.
func signers(p *procedure.Procedure) []string {
	var roles []string
	for _, step := range p.Steps {
		if step.Sign != nil {
			roles = append(roles, step.Sign.Role)
		}
		if step.Review != nil {
			roles = append(roles, step.Review.Roles...)
		}
	}
	return unique(roles)
}

// Stay says that the run stays on its revision though a later one is here, and why.
func (d *Doing) Stay(why string) (*Offer, error) {
	o, err := Offered(d.tx, d.State)
	switch {
	case err != nil:
		return nil, err
	case o == nil:
		return nil, fault.Hint("nothing to do", "run %s is on the latest revision that is here, %s", d.tx.Name(d.Run), d.Procedure.Revision)
	case why == "":
		return nil, fault.Misuse("give it with --why", "staying on revision %s needs a reason", d.Procedure.Revision)
	case len(d.Withdrawals) > 0:
		return nil, fault.Refuse("move it: pulk run move "+d.tx.Name(d.Run), "revision %s was withdrawn: %s. Nothing more can be done on it", d.Procedure.Revision, d.Withdrawals[0].Why)
	}
	if err := d.mayDecideRevision(d.Procedure); err != nil {
		return nil, err
	}
	d.tx.Add(change.New(kind.RunStay, change.Ref(d.Run), change.Ref(o.Revision.ID), change.Text(why)))
	return o, nil
}

// Move moves the run to another revision of its procedure. What was done there counts
// where the step is the same; the rest is to be done again. It returns what becomes of
// what was done. The news goes ahead of others, so that it comes before what is written
// after it.
func (d *Doing) Move(to procedure.Revision, why string) ([]Fate, error) {
	p, err := procedure.Load(d.tx, to.ID)
	name := d.tx.Name(d.Run)
	switch {
	case err != nil:
		return nil, err
	case p == nil:
		return nil, fault.Hint("it comes with the next bundle", "the text of %s revision %s is not here yet", to.Procedure, to.Revision)
	case to.Procedure != d.Procedure.ID:
		return nil, fault.Refuse("start a run of it: pulk run start "+to.Procedure, "run %s is of %s and cannot be moved to %s", name, d.Procedure.ID, to.Procedure)
	case to.ID == d.Revision && len(d.Contested) == 0:
		return nil, fault.Hint("nothing to do", "run %s is on revision %s", name, to.Revision)
	case len(to.Withdrawn) > 0:
		return nil, fault.Refuse("move it to another one; see: pulk procedure list", "revision %s was withdrawn: %s", to.Revision, to.Withdrawn[0].Why)
	}
	if err := d.mayDecideRevision(p); err != nil {
		return nil, err
	}
	d.Texts[to.ID] = p
	fates := d.Foresee(to.ID)
	d.tx.SetClass(clock.Expedited)
	d.tx.Add(change.New(kind.RunMove, change.Ref(d.Run), change.Ref(d.Revision), change.Ref(to.ID), change.Text(why)))
	return fates, nil
}
