package count

import (
	"time"

	"pulk/schema/kind"
	"pulk/sync/changelog"
	"pulk/sync/clock"
)

// Projection keeps the tables of count sheets.
type Projection struct{}

// Name implements [changelog.Projector].
func (Projection) Name() string { return "count" }

// Schema implements [changelog.Projector].
func (Projection) Schema() string {
	return `
-- count_sheet is every count of a place that was asked for.
CREATE TABLE count_sheet (
  dot       BLOB PRIMARY KEY,
  location  BLOB NOT NULL,
  tolerance INTEGER NOT NULL, -- units of issue
  note      TEXT NOT NULL,
  person    BLOB,
  opened_ms INTEGER NOT NULL -- Unix ms
) STRICT, WITHOUT ROWID;

-- count_entry is what somebody counted; its sheet may not be here yet.
CREATE TABLE count_entry (
  dot     BLOB PRIMARY KEY,
  sheet   BLOB NOT NULL,
  item    BLOB NOT NULL,
  lot     TEXT NOT NULL,
  counted INTEGER NOT NULL, -- units of issue
  held    INTEGER NOT NULL, -- by the record at that moment
  alone   TEXT NOT NULL,
  person  BLOB,
  made_ms INTEGER NOT NULL -- Unix ms
) STRICT, WITHOUT ROWID;
CREATE INDEX count_entry_sheet ON count_entry (sheet);

-- count_settled is every lot of a sheet whose difference was taken in.
CREATE TABLE count_settled (
  dot      BLOB PRIMARY KEY,
  sheet    BLOB NOT NULL,
  item     BLOB NOT NULL,
  lot      TEXT NOT NULL,
  movement BLOB NOT NULL
) STRICT, WITHOUT ROWID;
CREATE INDEX count_settled_sheet ON count_settled (sheet);

-- count_void is what was voided that belongs to no run: sheets, entries and movements
-- are among it.
CREATE TABLE count_void (
  dot    BLOB PRIMARY KEY,
  target BLOB NOT NULL,
  why    TEXT NOT NULL
) STRICT, WITHOUT ROWID;
CREATE INDEX count_void_target ON count_void (target);
`
}

// Tables implements [changelog.Projector].
func (Projection) Tables() []string {
	return []string{"count_sheet", "count_entry", "count_settled", "count_void"}
}

// Apply implements [changelog.Projector].
func (Projection) Apply(tx *changelog.Tx, e *changelog.Entry) error {
	v, ms := e.Values, e.At.Time().UnixMilli()
	switch {
	case e.Kind == kind.CountOpen && !v[0].Ref.IsZero():
		return tx.Exec("INSERT INTO count_sheet (dot, location, tolerance, note, person, opened_ms) VALUES (?, ?, ?, ?, ?, ?)",
			e.Dot.Key(), v[0].Ref.Key(), v[1].Num, v[2].Text, e.Person.Key(), ms)
	case e.Kind == kind.CountEnter && !v[0].Ref.IsZero() && !v[1].Ref.IsZero():
		return tx.Exec("INSERT INTO count_entry (dot, sheet, item, lot, counted, held, alone, person, made_ms) VALUES (?, ?, ?, ?, ?, ?, ?, ?, ?)",
			e.Dot.Key(), v[0].Ref.Key(), v[1].Ref.Key(), v[2].Text, v[3].Num, v[4].Num, v[5].Text, e.Person.Key(), ms)
	case e.Kind == kind.CountSettle && !v[0].Ref.IsZero() && !v[1].Ref.IsZero() && !v[3].Ref.IsZero():
		return tx.Exec("INSERT INTO count_settled (dot, sheet, item, lot, movement) VALUES (?, ?, ?, ?, ?)",
			e.Dot.Key(), v[0].Ref.Key(), v[1].Ref.Key(), v[2].Text, v[3].Ref.Key())
	case e.Kind == kind.Void && v[1].Ref.IsZero() && !v[0].Ref.IsZero():
		return tx.Exec("INSERT INTO count_void (dot, target, why) VALUES (?, ?, ?)", e.Dot.Key(), v[0].Ref.Key(), v[2].Text)
	}
	return nil
}

// dots reads keys into dots, in order.
func dots(keys [][]byte, into ...*clock.Dot) (err error) {
	for i, dot := range into {
		if *dot, err = clock.DotFromKey(keys[i]); err != nil {
			return err
		}
	}
	return nil
}

// sheetRows returns the sheets without their lines, the earliest first.
func sheetRows(tx *changelog.Tx) ([]*Sheet, error) {
	var list []*Sheet
	err := tx.Each(`SELECT s.dot, s.location, s.tolerance, s.note, s.person, s.opened_ms,
		(SELECT min(v.dot) FROM count_void v WHERE v.target = s.dot) FROM count_sheet s ORDER BY s.opened_ms, s.dot`, nil, func(scan func(...any) error) error {
		s, keys, ms := &Sheet{}, make([][]byte, 4), int64(0)
		if err := scan(&keys[0], &keys[1], &s.Tolerance, &s.Note, &keys[2], &ms, &keys[3]); err != nil {
			return err
		}
		s.Opened = time.UnixMilli(ms).UTC()
		list = append(list, s)
		return dots(keys, &s.ID, &s.At, &s.Person, &s.Voided)
	})
	return list, err
}

func entryRows(tx *changelog.Tx, sheet clock.Dot) ([]Entry, error) {
	var list []Entry
	err := tx.Each(`SELECT dot, item, lot, counted, held, alone, person, made_ms,
		EXISTS (SELECT 1 FROM count_void v WHERE v.target = e.dot) FROM count_entry e WHERE sheet = ? ORDER BY dot`, []any{sheet.Key()}, func(scan func(...any) error) error {
		var e Entry
		keys, ms := make([][]byte, 3), int64(0)
		if err := scan(&keys[0], &keys[1], &e.Lot.Name, &e.Counted, &e.Held, &e.Alone, &keys[2], &ms, &e.Voided); err != nil {
			return err
		}
		e.At = time.UnixMilli(ms).UTC()
		err := dots(keys, &e.ID, &e.Lot.Item, &e.Person)
		list = append(list, e)
		return err
	})
	return list, err
}

func settlementRows(tx *changelog.Tx, sheet clock.Dot) ([]Settlement, error) {
	var list []Settlement
	err := tx.Each(`SELECT dot, item, lot, movement,
		EXISTS (SELECT 1 FROM count_void v WHERE v.target = s.movement) FROM count_settled s WHERE sheet = ? ORDER BY dot`, []any{sheet.Key()}, func(scan func(...any) error) error {
		var s Settlement
		keys := make([][]byte, 3)
		if err := scan(&keys[0], &keys[1], &s.Lot.Name, &keys[2], &s.Void); err != nil {
			return err
		}
		err := dots(keys, &s.ID, &s.Lot.Item, &s.Movement)
		list = append(list, s)
		return err
	})
	return list, err
}

// sheetOfEntry returns the sheet that an entry belongs to; none if it is no entry.
func sheetOfEntry(tx *changelog.Tx, entry clock.Dot) (clock.Dot, error) {
	list, err := tx.Dots("SELECT sheet FROM count_entry WHERE dot = ?", entry.Key())
	if len(list) == 0 || err != nil {
		return clock.Dot{}, err
	}
	return list[0], nil
}

// Describe implements [changelog.Describer].
func (Projection) Describe(tx *changelog.Tx, id clock.Dot) (string, error) {
	var one int
	found, err := tx.Row("SELECT 1 FROM count_sheet WHERE dot = ?", []any{id.Key()}, &one)
	if !found || err != nil {
		return "", err
	}
	return "count sheet " + tx.Name(id), nil
}
