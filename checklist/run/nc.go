package run

import (
	"errors"
	"slices"

	"pulk/checklist/crew"
	"pulk/schema/fault"
	"pulk/schema/kind"
	"pulk/sync/change"
	"pulk/sync/changelog"
	"pulk/sync/clock"
)

func (r *Record) loadKey(tx *changelog.Tx, id clock.Dot) error {
	if _, ok := r.Keys[id]; ok {
		return nil
	}
	key, person, found, err := crew.KeyByID(tx, id)
	if found {
		r.Keys[id] = SigningKey{person, key.Public}
	}
	return err
}

// Nonconformance is a nonconformance anywhere, with its standing.
type Nonconformance struct {
	NC
	Run  clock.Dot // or none
	Unit clock.Dot // or none
}

// Nonconformances returns all nonconformances in the order of their ids.
func Nonconformances(tx *changelog.Tx) ([]Nonconformance, error) {
	return nonconformances(tx, "SELECT dot, run, unit FROM nonconformance ORDER BY dot")
}

// NonconformancesOf returns those about a unit.
func NonconformancesOf(tx *changelog.Tx, unit clock.Dot) ([]Nonconformance, error) {
	return nonconformances(tx, "SELECT dot, run, unit FROM nonconformance WHERE unit = ? ORDER BY dot", unit.Key())
}

// FindNC returns one nonconformance by id.
func FindNC(tx *changelog.Tx, id clock.Dot) (Nonconformance, error) {
	list, err := nonconformances(tx, "SELECT dot, run, unit FROM nonconformance WHERE dot = ?", id.Key())
	if err == nil && len(list) == 0 {
		err = fault.Hint("see: pulk nc list", "there is no nonconformance %s here", tx.Name(id))
	}
	if err != nil {
		return Nonconformance{}, err
	}
	return list[0], nil
}

func nonconformances(tx *changelog.Tx, query string, args ...any) ([]Nonconformance, error) {
	var list []Nonconformance
	var ids []clock.Dot
	err := tx.Each(query, args, func(scan func(...any) error) error {
		var keys [3][]byte
		if err := scan(&keys[0], &keys[1], &keys[2]); err != nil {
			return err
		}
		var dots [3]clock.Dot
		for i, key := range keys {
			var err error
			if dots[i], err = clock.DotFromKey(key); err != nil {
				return err
			}
		}
		ids = append(ids, dots[0])
		list = append(list, Nonconformance{Run: dots[1], Unit: dots[2]})
		return nil
	})
	if err != nil {
		return nil, err
	}
	i := 0
	err = tx.EachRecorded(ids, func(logged changelog.Recorded) error {
		raised := entryFrom(logged)
		list[i].Entry = &raised
		i++
		return nil
	})
	if err != nil {
		return nil, err
	}
	return list, dispose(tx, list)
}

// dispose fills in what was decided about nonconformances.
func dispose(tx *changelog.Tx, list []Nonconformance) error {
	byRun := map[clock.Dot][]Entry{}
	for i := range list {
		nc := &list[i]
		query, about := "SELECT dot FROM loose_disposition WHERE nc = ? ORDER BY dot", nc.Entry.Dot
		if !nc.Run.IsZero() {
			query, about = "SELECT dot FROM run_entry WHERE run = ? AND kind = 19 ORDER BY dot", nc.Run
		}
		if _, read := byRun[about]; !read {
			var err error
			if byRun[about], err = entriesOf(tx, query, about); err != nil {
				return err
			}
		}
		v := (&Record{Entries: append([]Entry{*nc.Entry}, byRun[about]...)}).whole()
		d, last, ok := v.disposition(nc.Entry)
		nc.Disposition, nc.Dispositions, nc.Open = d, last, !ok
	}
	return nil
}

// RaiseNC opens a nonconformance about a run, a unit, or both.
func RaiseNC(tx *changelog.Tx, run clock.Dot, step int, unit clock.Dot, text string) (clock.Dot, error) {
	switch {
	case run.IsZero() && unit.IsZero():
		return clock.Dot{}, fault.Misuse("name a run or a unit", "a nonconformance is about something")
	case text == "":
		return clock.Dot{}, fault.Misuse("say what does not conform", "a nonconformance needs a description")
	}
	wire, err := StepOnWire(tx, run, step)
	if err != nil {
		return clock.Dot{}, err
	}
	tx.SetClass(clock.Expedited)
	return tx.Add(change.New(kind.NCRaise, change.Ref(run), change.Num(int64(wire+1)), change.Ref(unit), change.Value{}, change.Text(text))), nil
}

// RaiseFound opens a nonconformance about what an entry elsewhere than in a run shows, such as
// the scan of a crate on arrival; about a unit, or none. It is news that goes ahead of
// others: who calls it makes the change-set an expedited one.
func RaiseFound(tx *changelog.Tx, cause, unit clock.Dot, text string) clock.Dot {
	return tx.Add(change.New(kind.NCRaise, change.Value{}, change.Num(0), change.Ref(unit), change.Ref(cause), change.Text(text)))
}

// Dispose disposes of a nonconformance. Its author must hold a role that signs a hold
// point of the run's procedure, or gives a go in a readiness review of it: who may let work go on decides about faults.
// About no run, anyone with a role may. A later disposition replaces those
// it has seen.
func Dispose(tx *changelog.Tx, me *crew.Person, id clock.Dot, d Disposition, why string) error {
	if why == "" {
		return fault.Misuse("give it with --why", "a disposition needs a reason")
	}
	nc, err := FindNC(tx, id)
	if err != nil {
		return err
	}
	if !nc.Open && nc.Disposition == d {
		return fault.Hint("nothing to do", "nonconformance %s is disposed as %s already", tx.Name(id), d)
	}
	roles, err := disposers(tx, nc)
	if err != nil {
		return err
	}
	if roles == nil && len(me.Granted()) == 0 || roles != nil && !slices.ContainsFunc(roles, me.Has) {
		return fault.Refuse("let someone with such a role decide", "%s may not dispose of %s: it takes one of the roles %v", me.Code, tx.Name(id), roles)
	}
	tx.SetClass(clock.Expedited)
	tx.Add(change.New(kind.NCDispose, change.Ref(id), change.Ref(nc.Run), change.Num(int64(d)), change.Text(why)))
	return nil
}

// disposers returns the roles that may dispose of a nonconformance; nil for any.
func disposers(tx *changelog.Tx, nc Nonconformance) ([]string, error) {
	if nc.Run.IsZero() {
		return nil, nil
	}
	r, err := Load(tx, nc.Run)
	if errors.Is(err, ErrNotHere) || err == nil && r.Procedure == nil {
		return nil, fault.Refuse("wait for the bundle that brings it: whose decision it is stands there", "the run that %s is about is not here yet", tx.Name(nc.Entry.Dot))
	}
	if err != nil {
		return nil, err
	}
	return signers(r.Procedure), nil
}
