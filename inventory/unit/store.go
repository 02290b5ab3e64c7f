package unit

import (
	"pulk/schema/kind"
	"pulk/sync/changelog"
	"pulk/sync/clock"
)

// Projection keeps the tables of units: what each is, and which changes are about
// it. What those say is read from the log.
type Projection struct{}

// Name implements [changelog.Projector].
func (Projection) Name() string { return "unit" }

// Schema implements [changelog.Projector].
func (Projection) Schema() string {
	return `
-- unit is every serialised piece; its place, state and slots are in register.
CREATE TABLE unit (
  dot    BLOB PRIMARY KEY,
  item   BLOB,          -- dot
  serial TEXT NOT NULL,
  lot    TEXT NOT NULL
) STRICT, WITHOUT ROWID;
CREATE INDEX unit_serial ON unit (serial);

-- unit_event lists the changes about a unit, or about what was put into it or taken
-- out of it; the unit itself may not be here yet.
CREATE TABLE unit_event (
  unit BLOB NOT NULL,
  dot  BLOB NOT NULL,
  PRIMARY KEY (unit, dot)
) STRICT, WITHOUT ROWID;
`
}

// Tables implements [changelog.Projector].
func (Projection) Tables() []string { return []string{"unit", "unit_event"} }

// Apply implements [changelog.Projector].
func (Projection) Apply(tx *changelog.Tx, e *changelog.Entry) error {
	if e.Kind == kind.UnitAdd {
		v := e.Values
		if err := tx.Exec("INSERT INTO unit (dot, item, serial, lot) VALUES (?, ?, ?, ?)", e.Dot.Key(), v[0].Ref.Key(), v[1].Text, v[2].Text); err != nil {
			return err
		}
	}
	for _, id := range concerned(e) {
		if id.IsZero() {
			continue
		}
		// A change can name one unit twice, where a damaged program wrote it.
		if err := tx.Exec("INSERT OR IGNORE INTO unit_event (unit, dot) VALUES (?, ?)", id.Key(), e.Dot.Key()); err != nil {
			return err
		}
	}
	return nil
}

// concerned lists the units that a change is about.
func concerned(e *changelog.Entry) []clock.Dot {
	switch e.Kind {
	case kind.UnitAdd:
		return []clock.Dot{e.Dot}
	case kind.UnitMove, kind.UnitFail:
		return []clock.Dot{e.Values[0].Ref}
	case kind.UnitInstall, kind.UnitRemove:
		return []clock.Dot{e.Values[0].Ref, e.Values[1].Ref}
	case kind.AssignText, kind.AssignRef:
		switch kind.FieldID(e.Values[1].Num) {
		case kind.FieldUnitState, kind.FieldUnitPlace:
			return []clock.Dot{e.Values[0].Ref}
		case kind.FieldUnitSlot:
			return []clock.Dot{e.Values[0].Ref, e.Values[3].Ref}
		}
	}
	return nil
}

// Describe implements [changelog.Describer].
func (Projection) Describe(tx *changelog.Tx, id clock.Dot) (string, error) {
	u, err := unitWith(tx, id)
	if u == nil || err != nil {
		return "", err
	}
	return "unit " + u.Serial, nil
}

func units(tx *changelog.Tx) ([]*Unit, error) {
	return unitRows(tx, "SELECT dot, item, serial, lot FROM unit ORDER BY dot")
}

func unitsWith(tx *changelog.Tx, serial string) ([]*Unit, error) {
	return unitRows(tx, "SELECT dot, item, serial, lot FROM unit WHERE serial = ? ORDER BY dot", serial)
}

// unitWith returns the unit with an id, or nil.
func unitWith(tx *changelog.Tx, id clock.Dot) (*Unit, error) {
	list, err := unitRows(tx, "SELECT dot, item, serial, lot FROM unit WHERE dot = ?", id.Key())
	if len(list) == 0 || err != nil {
		return nil, err
	}
	return list[0], nil
}

// doubled returns the units whose item and serial another one has too, those that
// belong together in a row.
func doubled(tx *changelog.Tx) ([]*Unit, error) {
	return unitRows(tx, `SELECT dot, item, serial, lot FROM unit AS u
		WHERE EXISTS (SELECT 1 FROM unit AS other WHERE other.serial = u.serial AND other.item IS u.item AND other.dot <> u.dot)
		ORDER BY serial, item, dot`)
}

func unitRows(tx *changelog.Tx, query string, args ...any) ([]*Unit, error) {
	var list []*Unit
	err := tx.Each(query, args, func(scan func(...any) error) error {
		u := &Unit{}
		var dot, item []byte
		if err := scan(&dot, &item, &u.Serial, &u.Lot); err != nil {
			return err
		}
		var err error
		if u.ID, err = clock.DotFromKey(dot); err != nil {
			return err
		}
		u.Item, err = clock.DotFromKey(item)
		list = append(list, u)
		return err
	})
	return list, err
}

// eventsOf lists the changes about a unit, in the order of their ids.
func eventsOf(tx *changelog.Tx, unit clock.Dot) ([]clock.Dot, error) {
	return tx.Dots("SELECT dot FROM unit_event WHERE unit = ? ORDER BY dot", unit.Key())
}
