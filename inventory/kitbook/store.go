package kitbook

import (
	"strconv"
	"time"

	"pulk/inventory/kit"
	"pulk/schema/kind"
	"pulk/sync/changelog"
	"pulk/sync/clock"
)

// Projection keeps the tables of kept kit plans.
type Projection struct{}

// Name implements [changelog.Projector].
func (Projection) Name() string { return "kitbook" }

// Schema implements [changelog.Projector].
func (Projection) Schema() string {
	return `
-- kit_plan is every kit plan that was kept. Numbers that are decimals are texts.
CREATE TABLE kit_plan (
  dot               BLOB PRIMARY KEY,
  name              TEXT NOT NULL,
  begins            TEXT NOT NULL, -- YYYY-MM-DD
  until             TEXT NOT NULL, -- YYYY-MM-DD
  late              TEXT NOT NULL, -- 14=0.25, spaces between
  place             BLOB,          -- dot
  runs              TEXT NOT NULL, -- NAME=COUNT, spaces between
  confidence        TEXT NOT NULL,
  mass_cap_grams    INTEGER NOT NULL, -- 0 for none
  volume_cap_litres TEXT NOT NULL,
  money_cap_cents   INTEGER NOT NULL,
  odds_now          TEXT NOT NULL,
  odds              TEXT NOT NULL,
  odds_bound        TEXT NOT NULL, -- below 0 where not known
  note              TEXT NOT NULL,
  person            BLOB,
  made_ms           INTEGER NOT NULL -- Unix ms
) STRICT, WITHOUT ROWID;

-- kit_line is every item of a plan; the plan itself, and the item, may not be here yet.
CREATE TABLE kit_line (
  dot            BLOB PRIMARY KEY,
  plan           BLOB NOT NULL,
  item           BLOB,
  basis          INTEGER NOT NULL, -- 0 spare, 1 consumable, 2 no rate known
  class          INTEGER NOT NULL, -- 0 essential, 1 vital, 2 desirable
  installed      INTEGER NOT NULL,
  needed         INTEGER NOT NULL,
  pack           INTEGER NOT NULL,
  rate           TEXT NOT NULL, -- failures per million unit-hours
  failures_known TEXT NOT NULL,
  expected       TEXT NOT NULL,
  there          INTEGER NOT NULL,
  send           INTEGER NOT NULL,
  odds_now       TEXT NOT NULL, -- below 0 where not known
  odds           TEXT NOT NULL,
  mass_grams     INTEGER NOT NULL,
  litres         TEXT NOT NULL,
  cents          INTEGER NOT NULL
) STRICT, WITHOUT ROWID;
CREATE INDEX kit_line_plan ON kit_line (plan);

-- kit_void is what was voided that belongs to no run: kit plans are among it.
CREATE TABLE kit_void (
  dot    BLOB PRIMARY KEY,
  target BLOB NOT NULL,
  why    TEXT NOT NULL
) STRICT, WITHOUT ROWID;
CREATE INDEX kit_void_target ON kit_void (target);
`
}

// Tables implements [changelog.Projector].
func (Projection) Tables() []string { return []string{"kit_plan", "kit_line", "kit_void"} }

// Apply implements [changelog.Projector].
func (Projection) Apply(tx *changelog.Tx, e *changelog.Entry) error {
	v := e.Values
	text := func(i int) string { return v[i].Decimal().String() }
	switch {
	case e.Kind == kind.KitPlan:
		return tx.Exec(`INSERT INTO kit_plan (dot, name, begins, until, late, place, runs, confidence, mass_cap_grams, volume_cap_litres, money_cap_cents,
			odds_now, odds, odds_bound, note, person, made_ms) VALUES (?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?)`,
			e.Dot.Key(), v[0].Text, v[1].Text, v[2].Text, v[3].Text, v[4].Ref.Key(), v[5].Text, text(6), v[7].Num, text(8), v[9].Num,
			text(10), text(11), text(12), v[13].Text, e.Person.Key(), e.At.Time().UnixMilli())
	case e.Kind == kind.KitLine && !v[0].Ref.IsZero():
		return tx.Exec(`INSERT INTO kit_line (dot, plan, item, basis, class, installed, needed, pack, rate, failures_known, expected, there, send,
			odds_now, odds, mass_grams, litres, cents) VALUES (?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?)`,
			e.Dot.Key(), v[0].Ref.Key(), v[1].Ref.Key(), v[2].Num, v[3].Num, v[4].Num, v[5].Num, v[6].Num, text(7), text(8), text(9), v[10].Num, v[11].Num,
			text(12), text(13), v[14].Num, text(15), v[16].Num)
	case e.Kind == kind.Void && v[1].Ref.IsZero() && !v[0].Ref.IsZero():
		return tx.Exec("INSERT INTO kit_void (dot, target, why) VALUES (?, ?, ?)", e.Dot.Key(), v[0].Ref.Key(), v[2].Text)
	}
	return nil
}

// Describe implements [changelog.Describer].
func (Projection) Describe(tx *changelog.Tx, id clock.Dot) (string, error) {
	var name string
	found, err := tx.Row("SELECT name FROM kit_plan WHERE dot = ?", []any{id.Key()}, &name)
	if !found || err != nil {
		return "", err
	}
	return "kit plan " + name, nil
}

// List returns the plans that are kept, with their lines, the earliest first.
func List(tx *changelog.Tx) ([]*Plan, error) {
	var list []*Plan
	err := tx.Each(`SELECT dot, name, begins, until, late, place, runs, confidence, mass_cap_grams, volume_cap_litres, money_cap_cents,
		odds_now, odds, odds_bound, note, person, made_ms FROM kit_plan ORDER BY made_ms, dot`, nil, func(scan func(...any) error) error {
		p := &Plan{}
		var dot, place, person []byte
		var ms int64
		err := scan(&dot, &p.Name, &p.From, &p.Until, &p.Late, &place, &p.Runs, figure{&p.Confidence}, &p.Caps[0], figure{&p.Caps[1]}, &p.Caps[2],
			figure{&p.OddsNow}, figure{&p.Odds}, figure{&p.OddsBound}, &p.Note, &person, &ms)
		if err != nil {
			return err
		}
		p.Made = time.UnixMilli(ms).UTC()
		list = append(list, p)
		return dots(map[*clock.Dot][]byte{&p.ID: dot, &p.At: place, &p.Person: person})
	})
	for i := 0; i < len(list) && err == nil; i++ {
		if list[i].Lines, err = lines(tx, list[i].ID); err == nil {
			list[i].Voided, err = voidOf(tx, list[i].ID)
		}
	}
	return list, err
}

func lines(tx *changelog.Tx, plan clock.Dot) ([]Line, error) {
	var list []Line
	err := tx.Each(`SELECT item, basis, class, installed, needed, pack, rate, failures_known, expected, there, send, odds_now, odds, mass_grams, litres, cents
		FROM kit_line WHERE plan = ? ORDER BY dot`, []any{plan.Key()}, func(scan func(...any) error) error {
		var l Line
		var item []byte
		var basis, class int64
		err := scan(&item, &basis, &class, &l.Installed, &l.Needed, &l.Pack, figure{&l.RatePerHour}, figure{&l.FailuresKnown}, figure{&l.Expected}, &l.There, &l.Send,
			figure{&l.OddsNow}, figure{&l.Odds}, &l.MassGrams, figure{&l.Litres}, &l.Cents)
		if err != nil {
			return err
		}
		l.RatePerHour /= perMillion
		// What a later program writes as another basis or class is shown as the mildest.
		l.Basis = bases[min(uint64(basis), uint64(len(bases)-1))]
		if l.Class = kit.Class(class); class < 0 || l.Class > kit.Desirable {
			l.Class = kit.Essential
		}
		err = dots(map[*clock.Dot][]byte{&l.Item: item})
		list = append(list, l)
		return err
	})
	return list, err
}

// voidOf returns the first void of a plan, or nil.
func voidOf(tx *changelog.Tx, plan clock.Dot) (*Void, error) {
	void, key := &Void{}, []byte(nil)
	found, err := tx.Row("SELECT dot, why FROM kit_void WHERE target = ? ORDER BY dot LIMIT 1", []any{plan.Key()}, &key, &void.Why)
	if err != nil || !found {
		return nil, err
	}
	return void, dots(map[*clock.Dot][]byte{&void.Dot: key})
}

func dots(keys map[*clock.Dot][]byte) error {
	for to, key := range keys {
		dot, err := clock.DotFromKey(key)
		if err != nil {
			return err
		}
		*to = dot
	}
	return nil
}

// figure reads a decimal as a number for sums; what a damaged program wrote is 0.
type figure struct{ to *float64 }

// Scan implements the scanner of database/sql.
func (f figure) Scan(value any) error {
	text, _ := value.(string)
	*f.to, _ = strconv.ParseFloat(text, 64)
	return nil
}
