package crew

import (
	"pulk/schema/kind"
	"pulk/sync/changelog"
	"pulk/sync/clock"
)

// Personal keeps the tables of what is confined about persons: when they arrived at
// a place, which trainings and clearances they have. It is there at named sites alone
// (docs/decisions/confined-lane.md).
type Personal struct{}

// Name implements [changelog.Projector].
func (Personal) Name() string { return "personal" }

// Confined implements [changelog.Confider].
func (Personal) Confined() {}

// Schema implements [changelog.Projector].
func (Personal) Schema() string {
	return `
-- arrival is when somebody came to a place to sleep there.
CREATE TABLE arrival (
  dot           BLOB PRIMARY KEY,
  person        BLOB, -- dot
  location      BLOB, -- dot, or NULL
  height_metres INTEGER NOT NULL,
  arrived       INTEGER NOT NULL -- Unix minutes
) STRICT, WITHOUT ROWID;
CREATE INDEX arrival_person ON arrival (person);

-- clearance is that somebody has a training or a medical clearance, or not any more.
CREATE TABLE clearance (
  dot         BLOB PRIMARY KEY,
  person      BLOB, -- dot
  code        TEXT NOT NULL,
  sort        INTEGER NOT NULL, -- 0 training, 1 medical clearance
  state       INTEGER NOT NULL, -- 0 withdrawn, 1 valid
  valid_until TEXT NOT NULL -- YYYY-MM-DD
) STRICT, WITHOUT ROWID;
CREATE INDEX clearance_person ON clearance (person);

-- personal_void is which of these are not to be relied on.
CREATE TABLE personal_void (
  target BLOB NOT NULL, -- dot
  dot    BLOB NOT NULL,
  PRIMARY KEY (target, dot)
) STRICT, WITHOUT ROWID;
`
}

// Tables implements [changelog.Projector].
func (Personal) Tables() []string { return []string{"arrival", "clearance", "personal_void"} }

// Apply implements [changelog.Projector].
func (Personal) Apply(tx *changelog.Tx, e *changelog.Entry) error {
	v := e.Values
	switch e.Kind {
	case kind.PersonArrive:
		return tx.Exec("INSERT INTO arrival (dot, person, location, height_metres, arrived) VALUES (?, ?, ?, ?, ?)",
			e.Dot.Key(), v[0].Ref.Key(), v[1].Ref.Key(), v[2].Num, v[3].Num)
	case kind.PersonClearance:
		return tx.Exec("INSERT INTO clearance (dot, person, code, sort, state, valid_until) VALUES (?, ?, ?, ?, ?, ?)",
			e.Dot.Key(), v[0].Ref.Key(), v[1].Text, v[2].Num, v[3].Num, v[4].Text)
	case kind.Void:
		if v[0].Ref.IsZero() {
			return nil
		}
		return tx.Exec("INSERT INTO personal_void (target, dot) VALUES (?, ?)", v[0].Ref.Key(), e.Dot.Key())
	}
	return nil
}

// arrivalsOf returns the arrivals of a person that stand.
func arrivalsOf(tx *changelog.Tx, person clock.Dot) ([]Arrival, error) {
	var list []Arrival
	err := tx.Each(`SELECT dot, location, height_metres, arrived FROM arrival AS a WHERE person = ?
		AND NOT EXISTS (SELECT 1 FROM personal_void AS v WHERE v.target = a.dot) ORDER BY arrived, dot`, []any{person.Key()}, func(scan func(...any) error) error {
		var dot, location []byte
		var a Arrival
		var minutes int64
		err := scan(&dot, &location, &a.HeightMetres, &minutes)
		a.At = unixMinutes(minutes)
		if err == nil {
			a.ID, err = clock.DotFromKey(dot)
		}
		if err == nil {
			a.Location, err = clock.DotFromKey(location)
		}
		list = append(list, a)
		return err
	})
	return list, err
}

// clearancesOf returns the entries about a person's clearances that stand.
func clearancesOf(tx *changelog.Tx, person clock.Dot) ([]Clearance, error) {
	var list []Clearance
	err := tx.Each(`SELECT dot, code, sort, state, valid_until FROM clearance AS c WHERE person = ?
		AND NOT EXISTS (SELECT 1 FROM personal_void AS v WHERE v.target = c.dot) ORDER BY code, dot`, []any{person.Key()}, func(scan func(...any) error) error {
		var dot []byte
		var c Clearance
		err := scan(&dot, &c.Code, &c.Sort, &c.Valid, &c.Until)
		if err == nil {
			c.ID, err = clock.DotFromKey(dot)
		}
		list = append(list, c)
		return err
	})
	return list, err
}
