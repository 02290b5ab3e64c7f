package changelog

import (
	"slices"

	"pulk/schema/kind"
	"pulk/sync/clock"
)

// Assignment is a value that was given to a field, and what its author knew.
type Assignment struct {
	Value
	Ctx clock.Context
}

// History returns every assignment of a field that is here, of values that stand
// and of those that were replaced, in the order of their dots. From it follows what
// stood at any time, for anyone.
func (tx *Tx) History(entity clock.Dot, field kind.FieldID, key string) ([]Assignment, error) {
	dots, err := tx.assignments("register", entity, field, key)
	if err != nil {
		return nil, err
	}
	replaced, err := tx.assignments("replaced", entity, field, key)
	if err != nil {
		return nil, err
	}
	dots = append(dots, replaced...)
	slices.SortFunc(dots, clock.Dot.Compare)
	list := make([]Assignment, 0, len(dots))
	err = tx.EachRecorded(dots, func(r Recorded) error {
		return r.eachAssigned(func(a assigned) error {
			if a.entity == entity && a.field == field && a.key == key {
				list = append(list, Assignment{Value{Text: a.value.Text, Int: a.value.Num, Ref: a.value.Ref, Dot: r.Dot}, r.Ctx})
			}
			return nil
		})
	})
	return list, err
}
