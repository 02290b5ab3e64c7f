package manifest

import (
	"time"

	"pulk/inventory/stock"
	"pulk/schema/decimal"
	"pulk/schema/kind"
	"pulk/sync/changelog"
	"pulk/sync/clock"
)

// Projection keeps the tables of manifests and of what crates weigh.
type Projection struct{}

// Name implements [changelog.Projector].
func (Projection) Name() string { return "manifest" }

// Schema implements [changelog.Projector].
func (Projection) Schema() string {
	return `
-- crate_weighing is every time that a crate was put on a scale.
CREATE TABLE crate_weighing (
  dot            BLOB PRIMARY KEY,
  crate          BLOB NOT NULL, -- its location
  gross_grams    INTEGER NOT NULL,
  reckoned_grams INTEGER NOT NULL, -- by the record at that moment
  seal           TEXT NOT NULL,
  note           TEXT NOT NULL,
  person         BLOB,
  made_ms        INTEGER NOT NULL -- Unix ms
) STRICT, WITHOUT ROWID;
CREATE INDEX crate_weighing_crate ON crate_weighing (crate);

-- manifest is every list of crates that go together.
CREATE TABLE manifest (
  dot       BLOB PRIMARY KEY,
  transit   BLOB NOT NULL, -- location of what is under way
  from_loc  BLOB,
  to_loc    BLOB,
  needed    TEXT NOT NULL, -- YYYY-MM-DD, or empty
  route     TEXT NOT NULL,
  consignor TEXT NOT NULL,
  consignee TEXT NOT NULL,
  note      TEXT NOT NULL,
  person    BLOB,
  made_ms   INTEGER NOT NULL -- Unix ms
) STRICT, WITHOUT ROWID;
CREATE INDEX manifest_transit ON manifest (transit);

-- manifest_crate is every crate of a manifest, as it was when that was made.
CREATE TABLE manifest_crate (
  dot         BLOB PRIMARY KEY,
  manifest    BLOB NOT NULL,
  crate       BLOB NOT NULL,
  piece       INTEGER NOT NULL, -- from 1
  length_mm   INTEGER NOT NULL,
  width_mm    INTEGER NOT NULL,
  height_mm   INTEGER NOT NULL,
  tare_grams  INTEGER NOT NULL,
  gross_grams INTEGER NOT NULL,
  weighed     INTEGER NOT NULL, -- 1: on a scale
  seal        TEXT NOT NULL,
  kept        TEXT NOT NULL -- -20..5 in °C, or empty
) STRICT, WITHOUT ROWID;
CREATE INDEX manifest_crate_manifest ON manifest_crate (manifest);

-- manifest_line is what was in a crate then.
CREATE TABLE manifest_line (
  dot      BLOB PRIMARY KEY,
  manifest BLOB NOT NULL,
  crate    BLOB NOT NULL,
  item     BLOB,
  lot      TEXT NOT NULL,
  unit     BLOB, -- dot of the unit, for a serialised piece
  quantity INTEGER NOT NULL, -- units of issue
  grams    INTEGER NOT NULL  -- 0 where unknown
) STRICT, WITHOUT ROWID;
CREATE INDEX manifest_line_manifest ON manifest_line (manifest);

-- manifest_send is when the crates of a manifest left.
CREATE TABLE manifest_send (
  dot      BLOB PRIMARY KEY,
  manifest BLOB NOT NULL,
  day      TEXT NOT NULL, -- YYYY-MM-DD
  carrier  TEXT NOT NULL,
  note     TEXT NOT NULL
) STRICT, WITHOUT ROWID;
CREATE INDEX manifest_send_manifest ON manifest_send (manifest);

-- manifest_scan is what somebody found on arrival; its manifest may not be here yet.
CREATE TABLE manifest_scan (
  dot       BLOB PRIMARY KEY,
  manifest  BLOB NOT NULL,
  crate     BLOB NOT NULL,
  item      BLOB,
  lot       TEXT NOT NULL,
  unit      BLOB,
  quantity  INTEGER NOT NULL,
  condition INTEGER NOT NULL, -- 0 good, 1 damaged, 2 at a wrong temperature
  whole     INTEGER NOT NULL, -- 1: taken unopened
  seal      TEXT NOT NULL,
  lowest    TEXT NOT NULL, -- °C, or empty
  highest   TEXT NOT NULL,
  note      TEXT NOT NULL,
  person    BLOB,
  made_ms   INTEGER NOT NULL -- Unix ms
) STRICT, WITHOUT ROWID;
CREATE INDEX manifest_scan_manifest ON manifest_scan (manifest);

-- manifest_book is every crate that was taken in.
CREATE TABLE manifest_book (
  dot      BLOB PRIMARY KEY,
  manifest BLOB NOT NULL,
  crate    BLOB NOT NULL,
  at_loc   BLOB,
  note     TEXT NOT NULL,
  person   BLOB,
  made_ms  INTEGER NOT NULL -- Unix ms
) STRICT, WITHOUT ROWID;
CREATE INDEX manifest_book_manifest ON manifest_book (manifest);

-- manifest_finding is what differed from the manifest.
CREATE TABLE manifest_finding (
  dot      BLOB PRIMARY KEY,
  manifest BLOB NOT NULL,
  crate    BLOB NOT NULL,
  item     BLOB,
  lot      TEXT NOT NULL,
  unit     BLOB,
  what     INTEGER NOT NULL, -- 1 short, 2 over, 3 damaged, 4 at a wrong temperature
  quantity INTEGER NOT NULL,
  became   BLOB -- the movement or nonconformance
) STRICT, WITHOUT ROWID;
CREATE INDEX manifest_finding_manifest ON manifest_finding (manifest);
`
}

// Tables implements [changelog.Projector].
func (Projection) Tables() []string {
	return []string{"crate_weighing", "manifest", "manifest_crate", "manifest_line", "manifest_send", "manifest_scan", "manifest_book", "manifest_finding"}
}

// inserts is how a kind of change becomes a row: the columns take the values in their
// order, then person and time where the table has them. What lacks one of its first
// needs references is left out.
var inserts = map[*kind.Kind]struct {
	statement string
	needs     int
	signed    bool
}{
	kind.CrateWeigh: {"crate_weighing (dot, crate, gross_grams, reckoned_grams, seal, note, person, made_ms) VALUES (?, ?, ?, ?, ?, ?, ?, ?)", 1, true},
	kind.ManifestMake: {"manifest (dot, transit, from_loc, to_loc, needed, route, consignor, consignee, note, person, made_ms) VALUES (?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?)",
		1, true},
	kind.ManifestCrate: {"manifest_crate (dot, manifest, crate, piece, length_mm, width_mm, height_mm, tare_grams, gross_grams, weighed, seal, kept) " +
		"VALUES (?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?)", 2, false},
	kind.ManifestLine: {"manifest_line (dot, manifest, crate, item, lot, unit, quantity, grams) VALUES (?, ?, ?, ?, ?, ?, ?, ?)", 2, false},
	kind.ManifestSend: {"manifest_send (dot, manifest, day, carrier, note) VALUES (?, ?, ?, ?, ?)", 1, false},
	kind.ManifestScan: {"manifest_scan (dot, manifest, crate, item, lot, unit, quantity, condition, whole, seal, lowest, highest, note, person, made_ms) " +
		"VALUES (?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?)", 2, true},
	kind.ManifestBook:    {"manifest_book (dot, manifest, crate, at_loc, note, person, made_ms) VALUES (?, ?, ?, ?, ?, ?, ?)", 2, true},
	kind.ManifestFinding: {"manifest_finding (dot, manifest, crate, item, lot, unit, what, quantity, became) VALUES (?, ?, ?, ?, ?, ?, ?, ?, ?)", 2, false},
}

// Apply implements [changelog.Projector].
func (Projection) Apply(tx *changelog.Tx, e *changelog.Entry) error {
	insert, ok := inserts[e.Kind]
	if !ok {
		return nil
	}
	args := []any{e.Dot.Key()}
	for i, v := range e.Values {
		if i < insert.needs && v.Ref.IsZero() {
			return nil
		}
		switch e.Kind.Columns[i].Type {
		case kind.Ref:
			args = append(args, v.Ref.Key())
		case kind.Text:
			args = append(args, v.Text)
		default:
			args = append(args, v.Num)
		}
	}
	if insert.signed {
		args = append(args, e.Person.Key(), e.At.Time().UnixMilli())
	}
	return tx.Exec("INSERT INTO "+insert.statement, args...)
}

// Describe implements [changelog.Describer].
func (Projection) Describe(tx *changelog.Tx, id clock.Dot) (string, error) {
	var transit clock.Dot
	found, err := tx.Row("SELECT transit FROM manifest WHERE dot = ?", []any{id.Key()}, &transit)
	if !found || err != nil {
		return "", err
	}
	code, err := stock.LocationLabel(tx, transit)
	return "manifest " + code, err
}

// rows reads a query's rows one by one into a list; each fills one element and returns
// where its columns go, and what is left to do once they are there.
func rows[T any](tx *changelog.Tx, query string, args []any, columns func(*T) (into []any, then func())) ([]T, error) {
	var list []T
	err := tx.Each(query, args, func(scan func(...any) error) error {
		var row T
		into, then := columns(&row)
		if err := scan(into...); err != nil {
			return err
		}
		if then != nil {
			then()
		}
		list = append(list, row)
		return nil
	})
	return list, err
}

// heads returns the manifests without what belongs to them, the earliest first.
func heads(tx *changelog.Tx, where string, args ...any) ([]Manifest, error) {
	return rows(tx, `SELECT dot, transit, from_loc, to_loc, needed, route, consignor, consignee, note, person, made_ms FROM manifest `+where+` ORDER BY made_ms, dot`,
		args, func(m *Manifest) ([]any, func()) {
			ms := new(int64)
			return []any{&m.ID, &m.Transit, &m.From, &m.To, &m.Needed, &m.Route, &m.Consignor, &m.Consignee, &m.Note, &m.Person, ms},
				func() { m.Made = time.UnixMilli(*ms).UTC() }
		})
}

// crateOf is a crate with the manifest that it is on.
type crateOf struct {
	Crate
	manifest clock.Dot
}

func crateRows(tx *changelog.Tx, where string, args ...any) ([]crateOf, error) {
	return rows(tx, `SELECT manifest, crate, piece, length_mm, width_mm, height_mm, tare_grams, gross_grams, weighed, seal, kept FROM manifest_crate `+
		where+` ORDER BY manifest, piece, dot`, args, func(c *crateOf) ([]any, func()) {
		kept := new(string)
		return []any{&c.manifest, &c.ID, &c.Piece, &c.SidesMM[0], &c.SidesMM[1], &c.SidesMM[2], &c.TareGrams, &c.GrossGrams, &c.Weighed, &c.Seal, kept},
			func() { c.Kept, _ = stock.ParseSpan(*kept) } // what a damaged program wrote is none
	})
}

// lineOf is a line with the crate that it is in.
type lineOf struct {
	Line
	crate clock.Dot
}

func lineRows(tx *changelog.Tx, manifest clock.Dot) ([]lineOf, error) {
	return rows(tx, `SELECT crate, item, lot, unit, quantity, grams FROM manifest_line WHERE manifest = ? ORDER BY dot`, []any{manifest.Key()},
		func(l *lineOf) ([]any, func()) {
			return []any{&l.crate, &l.Item, &l.Lot, &l.Unit, &l.Quantity, &l.Grams}, nil
		})
}

func sendRows(tx *changelog.Tx, manifest clock.Dot) ([]Sending, error) {
	return rows(tx, `SELECT dot, day, carrier, note FROM manifest_send WHERE manifest = ? ORDER BY dot`, []any{manifest.Key()},
		func(s *Sending) ([]any, func()) { return []any{&s.ID, &s.Day, &s.Carrier, &s.Note}, nil })
}

// scanRows returns the scans of a manifest, voided ones too.
func scanRows(tx *changelog.Tx, manifest clock.Dot) ([]Scan, error) {
	return rows(tx, `SELECT dot, crate, item, lot, unit, quantity, condition, whole, seal, lowest, highest, note, person, made_ms FROM manifest_scan
		WHERE manifest = ? ORDER BY made_ms, dot`, []any{manifest.Key()},
		func(s *Scan) ([]any, func()) {
			ms, lowest, highest := new(int64), new(string), new(string)
			return []any{&s.ID, &s.Crate, &s.Piece.Item, &s.Piece.Lot, &s.Piece.Unit, &s.Quantity, &s.Condition, &s.Whole, &s.Seal, lowest, highest, &s.Note, &s.Person, ms},
				func() {
					s.At = time.UnixMilli(*ms).UTC()
					s.Logger = readingOf(*lowest, *highest)
				}
		})
}

// readingOf reads what a logger showed; none where one of the two is not told.
func readingOf(lowest, highest string) Reading {
	low, err := decimal.Parse(lowest)
	high, err2 := decimal.Parse(highest)
	return Reading{low, high, err == nil && err2 == nil}
}

func bookRows(tx *changelog.Tx, manifest clock.Dot) ([]Booking, error) {
	return rows(tx, `SELECT dot, crate, at_loc, note, person, made_ms FROM manifest_book WHERE manifest = ? ORDER BY made_ms, dot`, []any{manifest.Key()},
		func(b *Booking) ([]any, func()) {
			ms := new(int64)
			return []any{&b.ID, &b.Crate, &b.At, &b.Note, &b.Person, ms}, func() { b.Made = time.UnixMilli(*ms).UTC() }
		})
}

// findingOf is a finding with its own id and crate.
type findingOf struct {
	Finding
	id, crate clock.Dot
}

func findingRows(tx *changelog.Tx, manifest clock.Dot) ([]findingOf, error) {
	return rows(tx, `SELECT dot, crate, item, lot, unit, what, quantity, became FROM manifest_finding WHERE manifest = ? ORDER BY dot`, []any{manifest.Key()},
		func(f *findingOf) ([]any, func()) {
			return []any{&f.id, &f.crate, &f.Piece.Item, &f.Piece.Lot, &f.Piece.Unit, &f.What, &f.Quantity, &f.Became}, nil
		})
}

// Weighing is what a crate weighed on a scale.
type Weighing struct {
	ID            clock.Dot
	GrossGrams    int64
	ReckonedGrams int64 // by the record at that moment
	Seal          string
	Note          string
	Made          time.Time
}

// weighings returns how often a crate was weighed, the latest first, voided ones too.
func weighings(tx *changelog.Tx, crate clock.Dot) ([]Weighing, error) {
	return rows(tx, `SELECT dot, gross_grams, reckoned_grams, seal, note, made_ms FROM crate_weighing
		WHERE crate = ? ORDER BY made_ms DESC, dot DESC`, []any{crate.Key()},
		func(w *Weighing) ([]any, func()) {
			ms := new(int64)
			return []any{&w.ID, &w.GrossGrams, &w.ReckonedGrams, &w.Seal, &w.Note, ms}, func() { w.Made = time.UnixMilli(*ms).UTC() }
		})
}

// crateOfScan is the manifest and the crate of a scan; none if it is no scan.
func crateOfScan(tx *changelog.Tx, id clock.Dot) (manifest, crate clock.Dot, err error) {
	_, err = tx.Row("SELECT manifest, crate FROM manifest_scan WHERE dot = ?", []any{id.Key()}, &manifest, &crate)
	return manifest, crate, err
}

// isWeighing reports whether something is a weighing of a crate.
func isWeighing(tx *changelog.Tx, id clock.Dot) (bool, error) {
	var one int
	return tx.Row("SELECT 1 FROM crate_weighing WHERE dot = ?", []any{id.Key()}, &one)
}
