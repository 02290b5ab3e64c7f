package unit

import (
	"pulk/schema/decimal"
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

-- calibration is every calibration of a unit; the unit itself may not be here yet.
CREATE TABLE calibration (
  dot         BLOB PRIMARY KEY,
  unit        BLOB NOT NULL,
  certificate TEXT NOT NULL,
  laboratory  TEXT NOT NULL,
  calibrated  TEXT NOT NULL, -- YYYY-MM-DD
  due         TEXT NOT NULL, -- YYYY-MM-DD, the last day that it holds
  note        TEXT NOT NULL
) STRICT, WITHOUT ROWID;
CREATE INDEX calibration_unit ON calibration (unit);

-- calibration_statement is the uncertainty that a calibration states.
CREATE TABLE calibration_statement (
  dot         BLOB PRIMARY KEY,
  calibration BLOB NOT NULL,
  of_unit     TEXT NOT NULL, -- UCUM code
  absolute    TEXT NOT NULL, -- decimal, in that unit
  percent     TEXT NOT NULL, -- decimal, of the reading
  coverage    TEXT NOT NULL  -- decimal
) STRICT, WITHOUT ROWID;
CREATE INDEX calibration_statement_calibration ON calibration_statement (calibration);

-- unit_void is every void of what is about no run, as a calibration is; what it voids
-- may not be here yet.
CREATE TABLE unit_void (
  dot    BLOB PRIMARY KEY,
  target BLOB NOT NULL,
  why    TEXT NOT NULL
) STRICT, WITHOUT ROWID;
CREATE INDEX unit_void_target ON unit_void (target);
`
}

// Tables implements [changelog.Projector].
func (Projection) Tables() []string {
	return []string{"unit", "unit_event", "calibration", "calibration_statement", "unit_void"}
}

// Apply implements [changelog.Projector].
func (Projection) Apply(tx *changelog.Tx, e *changelog.Entry) error {
	if e.Kind == kind.UnitAdd {
		v := e.Values
		if err := tx.Exec("INSERT INTO unit (dot, item, serial, lot) VALUES (?, ?, ?, ?)", e.Dot.Key(), v[0].Ref.Key(), v[1].Text, v[2].Text); err != nil {
			return err
		}
	}
	if err := applyCalibration(tx, e); err != nil {
		return err
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

func applyCalibration(tx *changelog.Tx, e *changelog.Entry) error {
	v := e.Values
	switch {
	case e.Kind == kind.UnitCalibrate && !v[0].Ref.IsZero():
		return tx.Exec("INSERT INTO calibration (dot, unit, certificate, laboratory, calibrated, due, note) VALUES (?, ?, ?, ?, ?, ?, ?)",
			e.Dot.Key(), v[0].Ref.Key(), v[1].Text, v[2].Text, v[3].Text, v[4].Text, v[5].Text)
	case e.Kind == kind.UnitUncertainty && !v[0].Ref.IsZero():
		return tx.Exec("INSERT INTO calibration_statement (dot, calibration, of_unit, absolute, percent, coverage) VALUES (?, ?, ?, ?, ?, ?)",
			e.Dot.Key(), v[0].Ref.Key(), v[1].Text, v[2].Decimal().String(), v[3].Decimal().String(), v[4].Decimal().String())
	case e.Kind == kind.Void && v[1].Ref.IsZero() && !v[0].Ref.IsZero():
		return tx.Exec("INSERT INTO unit_void (dot, target, why) VALUES (?, ?, ?)", e.Dot.Key(), v[0].Ref.Key(), v[2].Text)
	}
	return nil
}

// Calibrations returns the calibrations of a unit, the earliest first.
func Calibrations(tx *changelog.Tx, unit clock.Dot) ([]Calibration, error) {
	return calibrations(tx, "WHERE unit = ?", unit.Key())
}

// AllCalibrations returns the calibrations of all units, by unit.
func AllCalibrations(tx *changelog.Tx) (map[clock.Dot][]Calibration, error) {
	list, err := calibrations(tx, "")
	byUnit := map[clock.Dot][]Calibration{}
	for _, c := range list {
		byUnit[c.Unit] = append(byUnit[c.Unit], c)
	}
	return byUnit, err
}

// OfCalibration returns the unit that a calibration is of; none where a change is not
// known to be one.
func OfCalibration(tx *changelog.Tx, id clock.Dot) (clock.Dot, error) {
	var key []byte
	found, err := tx.Row("SELECT unit FROM calibration WHERE dot = ?", []any{id.Key()}, &key)
	if err != nil || !found {
		return clock.Dot{}, err
	}
	return clock.DotFromKey(key)
}

func calibrations(tx *changelog.Tx, where string, args ...any) ([]Calibration, error) {
	var list []Calibration
	err := tx.Each("SELECT dot, unit, certificate, laboratory, calibrated, due, note FROM calibration "+where+" ORDER BY calibrated, dot", args, func(scan func(...any) error) error {
		var c Calibration
		var dot, unit []byte
		if err := scan(&dot, &unit, &c.Certificate, &c.Laboratory, &c.Calibrated, &c.Due, &c.Note); err != nil {
			return err
		}
		var err error
		if c.ID, err = clock.DotFromKey(dot); err != nil {
			return err
		}
		c.Unit, err = clock.DotFromKey(unit)
		list = append(list, c)
		return err
	})
	for i := 0; i < len(list) && err == nil; i++ {
		c := &list[i]
		if c.Statements, err = statementsOf(tx, c.ID); err == nil {
			c.Voided, err = voidOf(tx, c.ID)
		}
	}
	return list, err
}

func statementsOf(tx *changelog.Tx, calibration clock.Dot) ([]Statement, error) {
	var list []Statement
	err := tx.Each("SELECT of_unit, absolute, percent, coverage FROM calibration_statement WHERE calibration = ? ORDER BY dot", []any{calibration.Key()}, func(scan func(...any) error) error {
		var s Statement
		var texts [3]string
		if err := scan(&s.Unit, &texts[0], &texts[1], &texts[2]); err != nil {
			return err
		}
		for i, to := range []*decimal.Decimal{&s.Absolute, &s.Percent, &s.Coverage} {
			var err error
			if *to, err = decimal.Parse(texts[i]); err != nil {
				return err
			}
		}
		list = append(list, s)
		return nil
	})
	return list, err
}

// voidOf returns the first void of a calibration, or nil.
func voidOf(tx *changelog.Tx, calibration clock.Dot) (*CalibrationVoid, error) {
	void, key := &CalibrationVoid{}, []byte(nil)
	found, err := tx.Row("SELECT dot, why FROM unit_void WHERE target = ? ORDER BY dot LIMIT 1", []any{calibration.Key()}, &key, &void.Why)
	if err != nil || !found {
		return nil, err
	}
	void.Dot, err = clock.DotFromKey(key)
	return void, err
}

// concerned lists the units that a change is about.
func concerned(e *changelog.Entry) []clock.Dot {
	switch e.Kind {
	case kind.UnitAdd:
		return []clock.Dot{e.Dot}
	case kind.UnitMove, kind.UnitFail, kind.UnitCalibrate:
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
