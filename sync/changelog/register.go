package changelog

import (
	"cmp"
	"fmt"
	"slices"

	"pulk/schema/kind"
	"pulk/sync/change"
	"pulk/sync/clock"
)

// Value is one value that a field holds: Text, Int or Ref, as the field's type
// says, and the assignment that gave it. An empty value empties the field.
type Value struct {
	Text string
	Int  int64
	Ref  clock.Dot
	Dot  clock.Dot
}

// IsEmpty reports whether the value is empty text, no reference, or 0.
func (v Value) IsEmpty() bool { return v.Text == "" && v.Int == 0 && v.Ref.IsZero() }

// Register is a field of an entity, with every value that stands: more than one
// where authors had not seen each other's.
type Register struct {
	Entity clock.Dot
	Field  kind.FieldID
	Key    string
	Values []Value // in the order of their dots
}

// Conflicted reports whether the field has different values.
func (r Register) Conflicted() bool {
	for _, v := range r.Values[min(1, len(r.Values)):] {
		first := r.Values[0]
		if v.Text != first.Text || v.Int != first.Int || v.Ref != first.Ref {
			return true
		}
	}
	return false
}

// registers is the projection of all assignments.
type registers struct{}

func (registers) Name() string { return "register" }

func (registers) Schema() string {
	return `
-- register holds the values that stand of each field: one, or several that had
-- not seen each other.
CREATE TABLE register (
  entity BLOB NOT NULL,    -- dot
  field  INTEGER NOT NULL, -- number in the field table
  key    TEXT NOT NULL,
  dot    BLOB NOT NULL,    -- of the assignment
  value  ANY,              -- TEXT, INTEGER or a dot, by the field's type
  PRIMARY KEY (entity, field, key, dot)
) STRICT, WITHOUT ROWID;

-- For finding who points at an entity, and fields by value.
CREATE INDEX register_value ON register (field, value);

-- replaced remembers the assignments whose values stand no more.
CREATE TABLE replaced (
  entity BLOB NOT NULL,
  field  INTEGER NOT NULL,
  key    TEXT NOT NULL,
  dot    BLOB NOT NULL,
  PRIMARY KEY (entity, field, key, dot)
) STRICT, WITHOUT ROWID;

-- contested counts, for fields with several values, how many there are.
CREATE TABLE contested (
  entity BLOB NOT NULL,
  field  INTEGER NOT NULL,
  key    TEXT NOT NULL,
  PRIMARY KEY (entity, field, key)
) STRICT, WITHOUT ROWID;
`
}

func (registers) Tables() []string { return []string{"register", "replaced"} }

func (registers) Apply(*Tx, *Entry) error { return nil } // see assign

// assign takes in what an entry assigns.
func (tx *Tx) assign(e *Entry, ctx clock.Context) error {
	return e.eachAssigned(func(a assigned) error {
		return tx.assignValue(a.entity, a.field, a.key, a.valueType, a.value, ctx)
	})
}

// assigned is one value that an entry gives to a field.
type assigned struct {
	entity    clock.Dot
	field     kind.FieldID
	key       string
	valueType kind.Type
	value     change.Value
}

// eachAssigned calls fn with what an entry assigns, by itself or through its
// kind's Sets.
func (e *Entry) eachAssigned(fn func(assigned) error) error {
	switch e.Kind {
	case kind.AssignText, kind.AssignRef, kind.AssignInt:
		return fn(assigned{e.Values[0].Ref, kind.FieldID(e.Values[1].Num), e.Values[2].Text, e.Kind.Columns[3].Type, e.Values[3]})
	}
	for _, set := range e.Kind.Sets {
		a := assigned{entity: e.Dot, field: set.Field, valueType: kind.Ref}
		if set.Entity != kind.Self {
			a.entity = e.Values[set.Entity].Ref
		}
		if set.Key != kind.NoKey {
			a.key = e.Values[set.Key].Text
		}
		if set.Value != kind.Nothing {
			a.value, a.valueType = e.Values[set.Value], e.Kind.Columns[set.Value].Type
		}
		if set.SkipEmpty && a.value == (change.Value{}) {
			continue
		}
		if err := fn(a); err != nil {
			return err
		}
	}
	return nil
}

// assignValue takes one value into a register: those that its author knew are
// replaced, and it is itself where the author of another knew it. A replaced one
// is remembered: as apply needs no causal order, who replaced the replacement need
// not have known it, and it must stay replaced all the same.
func (tx *Tx) assignValue(entity clock.Dot, field kind.FieldID, key string, t kind.Type, value change.Value, ctx clock.Context) error {
	if entity.IsZero() {
		return nil
	}
	standing, err := tx.assignments("register", entity, field, key)
	if err != nil {
		return err
	}
	replaced, err := tx.assignments("replaced", entity, field, key)
	if err != nil {
		return err
	}
	late, err := tx.knownToAny(ctx, standing, replaced)
	if err != nil {
		return err
	}
	count := 0
	for _, other := range standing {
		if !ctx.Has(other) {
			count++
			continue
		}
		if err := tx.Exec("DELETE FROM register WHERE entity = ? AND field = ? AND key = ? AND dot = ?", entity.Key(), field, key, other.Key()); err != nil {
			return err
		}
		if err := tx.Exec(insertReplaced, entity.Key(), field, key, other.Key()); err != nil {
			return err
		}
	}
	if late {
		err = tx.Exec(insertReplaced, entity.Key(), field, key, ctx.Of.Key())
	} else {
		count++
		err = tx.Exec("INSERT INTO register (entity, field, key, dot, value) VALUES (?, ?, ?, ?, ?)", entity.Key(), field, key, ctx.Of.Key(), sqlValue(t, value))
	}
	switch {
	case err != nil:
		return err
	case count > 1:
		return tx.Exec("INSERT OR IGNORE INTO contested (entity, field, key) VALUES (?, ?, ?)", entity.Key(), field, key)
	case len(standing) > 1:
		return tx.Exec("DELETE FROM contested WHERE entity = ? AND field = ? AND key = ?", entity.Key(), field, key)
	}
	return nil
}

const insertReplaced = "INSERT INTO replaced (entity, field, key, dot) VALUES (?, ?, ?, ?)"

// knownToAny reports whether the author of any of some assignments knew the change
// of ctx. Those that ctx knows came before it.
func (tx *Tx) knownToAny(ctx clock.Context, lists ...[]clock.Dot) (bool, error) {
	for _, other := range slices.Concat(lists...) {
		if ctx.Has(other) {
			continue
		}
		theirs, err := tx.Context(other)
		if err != nil || theirs.Has(ctx.Of) {
			return true, err
		}
	}
	return false, nil
}

// assignments lists those of a field that stand (table register) or were replaced.
func (tx *Tx) assignments(table string, entity clock.Dot, field kind.FieldID, key string) ([]clock.Dot, error) {
	return tx.Dots("SELECT dot FROM "+table+" WHERE entity = ? AND field = ? AND key = ? ORDER BY dot", entity.Key(), field, key)
}

func sqlValue(t kind.Type, value change.Value) any {
	switch t {
	case kind.Text:
		return value.Text
	case kind.Ref:
		return value.Ref.Key()
	}
	return value.Num
}

func scanValue(raw any, value *Value) (err error) {
	switch v := raw.(type) {
	case string:
		value.Text = v
	case int64:
		value.Int = v
	case []byte:
		value.Ref, err = clock.DotFromKey(v)
	}
	return err
}

const registerColumns = "SELECT entity, field, key, dot, value FROM register "

// Registers returns fields selected by a condition on the register table, in the
// order of entity, field, key.
func (tx *Tx) registers(where string, args ...any) ([]Register, error) {
	var list []Register
	err := tx.Each(registerColumns+where+" ORDER BY entity, field, key, dot", args, func(scan func(...any) error) error {
		var entity, dot []byte
		var raw any
		var r Register
		var v Value
		if err := scan(&entity, &r.Field, &r.Key, &dot, &raw); err != nil {
			return err
		}
		var err error
		if r.Entity, err = clock.DotFromKey(entity); err != nil {
			return err
		}
		if v.Dot, err = clock.DotFromKey(dot); err != nil {
			return err
		}
		if err := scanValue(raw, &v); err != nil {
			return err
		}
		if n := len(list); n > 0 && list[n-1].Entity == r.Entity && list[n-1].Field == r.Field && list[n-1].Key == r.Key {
			list[n-1].Values = append(list[n-1].Values, v)
			return nil
		}
		r.Values = []Value{v}
		list = append(list, r)
		return nil
	})
	return list, err
}

// Register returns one field of an entity. It has no values where none was ever
// assigned.
func (tx *Tx) Register(entity clock.Dot, field kind.FieldID, key string) (Register, error) {
	list, err := tx.registers("WHERE entity = ? AND field = ? AND key = ?", entity.Key(), field, key)
	if len(list) == 0 || err != nil {
		return Register{Entity: entity, Field: field, Key: key}, err
	}
	return list[0], nil
}

// Fields returns all fields of an entity.
func (tx *Tx) Fields(entity clock.Dot) ([]Register, error) {
	return tx.registers("WHERE entity = ?", entity.Key())
}

// FieldOfAll returns one field of all entities that have it.
func (tx *Tx) FieldOfAll(field kind.FieldID) ([]Register, error) {
	return tx.registers("WHERE field = ?", field)
}

// FieldWithText returns the fields of one kind that hold a text, and maybe others.
func (tx *Tx) FieldWithText(field kind.FieldID, value string) ([]Register, error) {
	return tx.registers("WHERE field = ? AND value = ?", field, value)
}

// FieldWithRef returns the fields of one kind that hold a reference, and maybe
// others.
func (tx *Tx) FieldWithRef(field kind.FieldID, value clock.Dot) ([]Register, error) {
	return tx.registers("WHERE field = ? AND value = ?", field, value.Key())
}

// Contested returns the fields with different values that had not seen each other.
func (tx *Tx) Contested() ([]Register, error) {
	list, err := tx.registers("WHERE (entity, field, key) IN (SELECT entity, field, key FROM contested)")
	if err != nil {
		return nil, err
	}
	return slices.DeleteFunc(list, func(r Register) bool { return !r.Conflicted() }), nil
}

// Stands returns the value of a field that counts, by the field's policy. The
// second result is false where there is none: none assigned, or values in
// conflict that a person must settle.
func (tx *Tx) Stands(r Register) (Value, bool, error) {
	if len(r.Values) == 0 {
		return Value{}, false, nil
	}
	if !r.Conflicted() {
		return r.Values[0], true, nil
	}
	field := kind.LookupField(r.Field)
	if field == nil {
		return Value{}, false, nil
	}
	switch field.Policy {
	case kind.Latest:
		return tx.latest(r)
	case kind.Safest:
		return safest(field, r), true, nil
	}
	return Value{}, false, nil
}

func (tx *Tx) latest(r Register) (Value, bool, error) {
	best, bestAt := r.Values[0], clock.Stamp(0)
	for _, v := range r.Values {
		info, err := tx.Info(v.Dot)
		if err != nil {
			return Value{}, false, err
		}
		if info.At >= bestAt {
			best, bestAt = v, info.At
		}
	}
	return best, true, nil
}

// safest returns the most careful value: the first in the field's order; a value
// not in it is more careful than all.
func safest(field *kind.Field, r Register) Value {
	return slices.MinFunc(r.Values, func(a, b Value) int {
		return cmp.Or(cmp.Compare(slices.Index(field.Order, a.Text), slices.Index(field.Order, b.Text)), a.Dot.Compare(b.Dot))
	})
}

// Settle ends a conflict: it assigns to a field one of the values that stand, as
// an assignment that has seen them all.
func (tx *Tx) Settle(r Register, value Value, why string) (clock.Dot, error) {
	field := kind.LookupField(r.Field)
	if field == nil {
		return clock.Dot{}, fmt.Errorf("field %d is not known to this program; a newer one must settle it", r.Field)
	}
	switch field.Type {
	case kind.Text:
		return tx.AssignText(r.Entity, r.Field, r.Key, value.Text, why), nil
	case kind.Ref:
		return tx.AssignRef(r.Entity, r.Field, r.Key, value.Ref, why), nil
	}
	return tx.AssignInt(r.Entity, r.Field, r.Key, value.Int, why), nil
}
