package run

import (
	"pulk/checklist/procedure"
	"pulk/schema/kind"
	"pulk/sync/changelog"
	"pulk/sync/clock"
)

var placeFields = map[string]kind.FieldID{"latitude": kind.FieldLocationLatitude, "elevation": kind.FieldLocationElevation}

var targetFields = map[string]kind.FieldID{"length": kind.FieldAssemblyLength, "position": kind.FieldAssemblyPosition, "depth": kind.FieldAssemblyDepth}

// loadFacts reads what was ever told of target and place, for the inputs of formulas.
func (r *Record) loadFacts(tx *changelog.Tx) error {
	for revision, p := range r.Texts {
		if p == nil || len(p.Inputs) == 0 {
			continue
		}
		facts, err := r.factsFor(tx, p)
		if err != nil {
			return err
		}
		if r.FactsOn == nil {
			r.FactsOn = map[clock.Dot]map[string]Facts{}
		}
		r.FactsOn[revision] = facts
	}
	r.Facts = r.FactsOn[r.Revision]
	return nil
}

func (r *Record) factsFor(tx *changelog.Tx, p *procedure.Procedure) (map[string]Facts, error) {
	byName := map[string]Facts{}
	for i := range p.Inputs {
		in := &p.Inputs[i]
		var facts Facts
		var err error
		switch {
		case in.Place != "":
			facts, err = placeFacts(tx, r.Location, placeFields[in.Place])
		case in.Target != "":
			facts, err = targetFacts(tx, r.Target, in)
		default:
			continue
		}
		if err != nil {
			return nil, err
		}
		byName[in.Name] = facts
	}
	return byName, nil
}

// placesMax bounds how far places are followed: two sites could each have put one of
// two into the other.
const placesMax = 16

func placeFacts(tx *changelog.Tx, place clock.Dot, field kind.FieldID) (Facts, error) {
	if place.IsZero() {
		return Facts{Missing: "the run has no place; it is given when a run is started"}, nil
	}
	var facts Facts
	for range placesMax {
		if place.IsZero() {
			break
		}
		if err := facts.add(tx, place, field, "", nil); err != nil {
			return facts, err
		}
		register, err := tx.Register(place, kind.FieldLocationParent, "")
		if err != nil {
			return facts, err
		}
		parent, _, err := tx.Stands(register)
		if err != nil {
			return facts, err
		}
		place = parent.Ref
	}
	return facts, nil
}

// targetFacts finds whose an input of the target is: the assembly's itself, or that of
// the slot which is named or which the target is in.
func targetFacts(tx *changelog.Tx, target clock.Dot, in *procedure.Input) (Facts, error) {
	if target.IsZero() {
		return Facts{Missing: "the run has no target; it is given when a run is started"}, nil
	}
	var facts Facts
	field := targetFields[in.Target]
	if in.Slot != "" {
		return facts, facts.addSlot(tx, target, field, in.Slot)
	}
	slots, err := tx.FieldWithRef(kind.FieldUnitSlot, target)
	if err != nil {
		return facts, err
	}
	if field == kind.FieldAssemblyLength {
		if err := facts.add(tx, target, field, "", nil); err != nil {
			return facts, err
		}
		for _, slot := range slots {
			if err := facts.add(tx, slot.Entity, field, "", nil); err != nil {
				return facts, err
			}
		}
		return facts, nil
	}
	switch len(slots) {
	case 0:
		return Facts{Missing: "the target is in no slot of an assembly"}, nil
	case 1:
		return facts, facts.addSlot(tx, slots[0].Entity, field, slots[0].Key)
	}
	return Facts{Missing: "the target is in several slots: settle that first"}, nil
}

// addSlot adds what was told of a slot and of what is in it.
func (f *Facts) addSlot(tx *changelog.Tx, assembly clock.Dot, field kind.FieldID, slot string) error {
	inside, err := tx.Register(assembly, kind.FieldUnitSlot, slot)
	if err != nil {
		return err
	}
	units := map[clock.Dot]bool{}
	for _, value := range inside.Values {
		units[value.Ref] = true
	}
	return f.add(tx, assembly, field, slot, units)
}

// add adds a level of facts. Of a slot, what was said of a unit that is there no more is
// nothing.
func (f *Facts) add(tx *changelog.Tx, entity clock.Dot, field kind.FieldID, key string, units map[clock.Dot]bool) error {
	history, err := tx.History(entity, field, key)
	if err != nil {
		return err
	}
	var level []Fact
	for _, a := range history {
		if units != nil {
			said, err := tx.Entry(a.Dot)
			if err != nil {
				return err
			}
			if said.Kind == kind.AssemblyBuilt && !units[said.Values[2].Ref] {
				continue
			}
		}
		level = append(level, Fact{a.Dot, a.Ctx, a.Text})
	}
	f.Levels = append(f.Levels, level)
	return nil
}
