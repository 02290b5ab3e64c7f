package stock

import (
	"fmt"
	"time"

	"pulk/schema/kind"
	"pulk/sync/changelog"
	"pulk/sync/clock"
)

// Projection keeps the tables of items, locations and movements.
type Projection struct{}

// Name implements [changelog.Projector].
func (Projection) Name() string { return "stock" }

// Schema implements [changelog.Projector].
func (Projection) Schema() string {
	return `
-- item is every line of the catalogue; its fields are in register.
CREATE TABLE item (
  dot         BLOB PRIMARY KEY,
  part_number TEXT NOT NULL
) STRICT, WITHOUT ROWID;
CREATE INDEX item_part_number ON item (part_number);

-- location is every place; its name and parent are in register.
CREATE TABLE location (
  dot  BLOB PRIMARY KEY,
  code TEXT NOT NULL
) STRICT, WITHOUT ROWID;
CREATE INDEX location_code ON location (code);

-- movement is every movement of stock, voided ones too.
CREATE TABLE movement (
  dot      BLOB PRIMARY KEY,
  kind     INTEGER NOT NULL,
  item     BLOB NOT NULL,
  lot      TEXT NOT NULL,
  from_loc BLOB,             -- NULL: from outside
  to_loc   BLOB,             -- NULL: used up or thrown away
  quantity INTEGER NOT NULL, -- in the item's unit of issue
  held     INTEGER NOT NULL, -- what its author believed to be there before
  run      BLOB,
  step     INTEGER NOT NULL, -- place in the run's revision plus one, or 0
  note     TEXT NOT NULL
) STRICT, WITHOUT ROWID;
CREATE INDEX movement_item ON movement (item);
CREATE INDEX movement_run ON movement (run) WHERE run IS NOT NULL;

-- lot_hold is every quarantine of a lot, released ones too.
CREATE TABLE lot_hold (
  dot      BLOB PRIMARY KEY,
  item     BLOB NOT NULL,
  lot      TEXT NOT NULL,
  location BLOB,            -- NULL: wherever it lies
  why      TEXT NOT NULL,
  person   BLOB,
  since_ms INTEGER NOT NULL -- Unix ms
) STRICT, WITHOUT ROWID;
CREATE INDEX lot_hold_item ON lot_hold (item);

-- lot_release is every release of a hold, which may not be here yet.
CREATE TABLE lot_release (
  dot  BLOB PRIMARY KEY,
  hold BLOB NOT NULL,
  why  TEXT NOT NULL
) STRICT, WITHOUT ROWID;
CREATE INDEX lot_release_hold ON lot_release (hold);

-- reservation is what was kept for a run, ended ones too.
CREATE TABLE reservation (
  dot      BLOB PRIMARY KEY,
  run      BLOB NOT NULL,
  item     BLOB NOT NULL,
  location BLOB NOT NULL,
  quantity INTEGER NOT NULL, -- in the item's unit of issue
  note     TEXT NOT NULL,
  person   BLOB,
  since_ms INTEGER NOT NULL  -- Unix ms
) STRICT, WITHOUT ROWID;

-- reservation_end lets go of one, which may not be here yet.
CREATE TABLE reservation_end (
  dot         BLOB PRIMARY KEY,
  reservation BLOB NOT NULL,
  why         TEXT NOT NULL
) STRICT, WITHOUT ROWID;
CREATE INDEX reservation_end_reservation ON reservation_end (reservation);

-- run_over is every end of a run, which lets go of what was reserved for it.
CREATE TABLE run_over (
  dot BLOB PRIMARY KEY,
  run BLOB NOT NULL
) STRICT, WITHOUT ROWID;
CREATE INDEX run_over_run ON run_over (run);

-- item_pack is what was said of how much of an item is in what it comes in.
CREATE TABLE item_pack (
  dot      BLOB PRIMARY KEY,
  item     BLOB NOT NULL,
  name     TEXT NOT NULL,
  quantity INTEGER NOT NULL, -- units of issue; 0: no more
  why      TEXT NOT NULL,
  person   BLOB
) STRICT, WITHOUT ROWID;

-- item_substitute is what was said of which item may stand for which.
CREATE TABLE item_substitute (
  dot     BLOB PRIMARY KEY,
  item    BLOB NOT NULL, -- what is asked for
  stand   BLOB NOT NULL, -- what may be taken in its place
  role    TEXT NOT NULL, -- or empty
  allowed INTEGER NOT NULL,
  why     TEXT NOT NULL,
  person  BLOB
) STRICT, WITHOUT ROWID;
CREATE INDEX item_substitute_item ON item_substitute (item);

-- stock_instead is which movements took an item in place of another.
CREATE TABLE stock_instead (
  dot      BLOB PRIMARY KEY,
  movement BLOB NOT NULL,
  item     BLOB NOT NULL -- what was asked for
) STRICT, WITHOUT ROWID;
CREATE INDEX stock_instead_movement ON stock_instead (movement);

-- loose_void is every void of something that is no entry of a run.
CREATE TABLE loose_void (
  target BLOB NOT NULL,
  dot    BLOB NOT NULL,
  why    TEXT NOT NULL,
  PRIMARY KEY (target, dot)
) STRICT, WITHOUT ROWID;
`
}

// Tables implements [changelog.Projector].
func (Projection) Tables() []string {
	return []string{"item", "location", "movement", "loose_void", "lot_hold", "lot_release", "reservation", "reservation_end", "run_over", "item_pack",
		"item_substitute", "stock_instead"}
}

// Apply implements [changelog.Projector].
func (Projection) Apply(tx *changelog.Tx, e *changelog.Entry) error {
	v := e.Values
	switch e.Kind {
	case kind.ItemAdd:
		return tx.Exec("INSERT INTO item (dot, part_number) VALUES (?, ?)", e.Dot.Key(), v[0].Text)
	case kind.LocationAdd:
		return tx.Exec("INSERT INTO location (dot, code) VALUES (?, ?)", e.Dot.Key(), v[0].Text)
	case kind.LotHold:
		if v[0].Ref.IsZero() {
			return nil
		}
		return tx.Exec("INSERT INTO lot_hold (dot, item, lot, location, why, person, since_ms) VALUES (?, ?, ?, ?, ?, ?, ?)",
			e.Dot.Key(), v[0].Ref.Key(), v[1].Text, v[2].Ref.Key(), v[3].Text, e.Person.Key(), e.At.Time().UnixMilli())
	case kind.LotRelease:
		if v[0].Ref.IsZero() {
			return nil
		}
		return tx.Exec("INSERT INTO lot_release (dot, hold, why) VALUES (?, ?, ?)", e.Dot.Key(), v[0].Ref.Key(), v[1].Text)
	case kind.StockReserve:
		if v[0].Ref.IsZero() || v[1].Ref.IsZero() || v[2].Ref.IsZero() {
			return nil
		}
		return tx.Exec("INSERT INTO reservation (dot, run, item, location, quantity, note, person, since_ms) VALUES (?, ?, ?, ?, ?, ?, ?, ?)",
			e.Dot.Key(), v[0].Ref.Key(), v[1].Ref.Key(), v[2].Ref.Key(), v[3].Num, v[4].Text, e.Person.Key(), e.At.Time().UnixMilli())
	case kind.ReserveEnd:
		if v[0].Ref.IsZero() {
			return nil
		}
		return tx.Exec("INSERT INTO reservation_end (dot, reservation, why) VALUES (?, ?, ?)", e.Dot.Key(), v[0].Ref.Key(), v[1].Text)
	case kind.RunEnd:
		if v[0].Ref.IsZero() {
			return nil
		}
		return tx.Exec("INSERT INTO run_over (dot, run) VALUES (?, ?)", e.Dot.Key(), v[0].Ref.Key())
	case kind.ItemPack:
		if v[0].Ref.IsZero() {
			return nil
		}
		return tx.Exec("INSERT INTO item_pack (dot, item, name, quantity, why, person) VALUES (?, ?, ?, ?, ?, ?)",
			e.Dot.Key(), v[0].Ref.Key(), v[1].Text, v[2].Num, v[3].Text, e.Person.Key())
	case kind.ItemSubstitute:
		if v[0].Ref.IsZero() || v[1].Ref.IsZero() {
			return nil
		}
		return tx.Exec("INSERT INTO item_substitute (dot, item, stand, role, allowed, why, person) VALUES (?, ?, ?, ?, ?, ?, ?)",
			e.Dot.Key(), v[0].Ref.Key(), v[1].Ref.Key(), v[2].Text, v[3].Num, v[4].Text, e.Person.Key())
	case kind.StockInstead:
		if v[0].Ref.IsZero() || v[1].Ref.IsZero() {
			return nil
		}
		return tx.Exec("INSERT INTO stock_instead (dot, movement, item) VALUES (?, ?, ?)", e.Dot.Key(), v[0].Ref.Key(), v[1].Ref.Key())
	case kind.Void:
		if !v[1].Ref.IsZero() || v[0].Ref.IsZero() {
			return nil
		}
		return tx.Exec("INSERT INTO loose_void (target, dot, why) VALUES (?, ?, ?)", v[0].Ref.Key(), e.Dot.Key(), v[2].Text)
	}
	m, ok := movementOf(e)
	if !ok || m.Item.IsZero() {
		return nil
	}
	return tx.Exec("INSERT INTO movement (dot, kind, item, lot, from_loc, to_loc, quantity, held, run, step, note) VALUES (?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?)",
		m.ID.Key(), m.Kind.ID, m.Item.Key(), m.Lot, m.From.Key(), m.To.Key(), m.Quantity, m.Held, m.Run.Key(), m.Step, m.Note)
}

// movementOf reads a change as a movement; false if it is none.
func movementOf(e *changelog.Entry) (Movement, bool) {
	v := e.Values
	m := Movement{ID: e.Dot, Kind: e.Kind}
	switch e.Kind {
	case kind.StockReceive:
		m.Item, m.Lot, m.To, m.Quantity, m.Note = v[0].Ref, v[1].Text, v[2].Ref, v[3].Num, v[5].Text
	case kind.StockMove:
		m.Item, m.Lot, m.From, m.To, m.Quantity, m.Held, m.Note = v[0].Ref, v[1].Text, v[2].Ref, v[3].Ref, v[4].Num, v[5].Num, v[6].Text
	case kind.StockIssue:
		m.Item, m.Lot, m.From, m.Quantity, m.Held = v[0].Ref, v[1].Text, v[2].Ref, v[3].Num, v[4].Num
		m.Run, m.Step, m.Note = v[5].Ref, int(v[6].Num), v[7].Text
	case kind.StockCount:
		m.Item, m.Lot, m.Held, m.Note = v[0].Ref, v[1].Text, v[4].Num, v[5].Text
		if difference := v[3].Num - v[4].Num; difference >= 0 {
			m.To, m.Quantity = v[2].Ref, difference
		} else {
			m.From, m.Quantity = v[2].Ref, -difference
		}
	case kind.StockScrap:
		m.Item, m.Lot, m.From, m.Quantity, m.Held, m.Note = v[0].Ref, v[1].Text, v[2].Ref, v[3].Num, v[4].Num, v[5].Text
	default:
		return m, false
	}
	return m, true
}

// Describe implements [changelog.Describer].
func (Projection) Describe(tx *changelog.Tx, id clock.Dot) (string, error) {
	for _, what := range []struct{ word, query string }{
		{"item", "SELECT part_number FROM item WHERE dot = ?"},
		{"location", "SELECT code FROM location WHERE dot = ?"},
	} {
		var text string
		found, err := tx.Row(what.query, []any{id.Key()}, &text)
		if err != nil {
			return "", err
		}
		if found {
			return what.word + " " + text, nil
		}
	}
	return "", nil
}

func itemsByPart(tx *changelog.Tx, partNumber string) ([]clock.Dot, error) {
	return tx.Dots("SELECT dot FROM item WHERE part_number = ? ORDER BY dot", partNumber)
}

func locationsByCode(tx *changelog.Tx, code string) ([]clock.Dot, error) {
	return tx.Dots("SELECT dot FROM location WHERE code = ? ORDER BY dot", code)
}

const movementColumns = `SELECT m.dot, m.kind, m.item, m.lot, m.from_loc, m.to_loc, m.quantity, m.held, m.run, m.step, m.note,
  (SELECT min(v.dot) FROM loose_void v WHERE v.target = m.dot),
  (SELECT min(i.item) FROM stock_instead i WHERE i.movement = m.dot) FROM movement m `

// eachMovement calls fn with movements; which and in what order is the end of a query.
func eachMovement(tx *changelog.Tx, which string, args []any, fn func(Movement) error) error {
	return tx.Each(movementColumns+which, args, func(scan func(...any) error) error {
		var m Movement
		var id kind.ID
		if err := scan(&m.ID, &id, &m.Item, &m.Lot, &m.From, &m.To, &m.Quantity, &m.Held, &m.Run, &m.Step, &m.Note, &m.Voided, &m.Instead); err != nil {
			return err
		}
		m.Kind = kind.Lookup(id)
		return fn(m)
	})
}

func movements(tx *changelog.Tx, where string, args ...any) ([]Movement, error) {
	var list []Movement
	err := eachMovement(tx, where+" ORDER BY m.dot", args, func(m Movement) error { list = append(list, m); return nil })
	return list, err
}

// eachLot calls fn with the movements of each lot of each item, in the order of their
// ids. Whatever lies somewhere is of one lot, so each shelf is in one call alone, and a
// store of years need not be in memory. The slice is used again.
func eachLot(tx *changelog.Tx, fn func([]Movement) error) error {
	var lot []Movement
	err := eachMovement(tx, "ORDER BY m.item, m.lot, m.dot", nil, func(m Movement) error {
		if len(lot) > 0 && (lot[0].Item != m.Item || lot[0].Lot != m.Lot) {
			if err := fn(lot); err != nil {
				return err
			}
			lot = lot[:0]
		}
		lot = append(lot, m)
		return nil
	})
	if err != nil || len(lot) == 0 {
		return err
	}
	return fn(lot)
}

// Balances returns what lies where, of all movements.
func Balances(tx *changelog.Tx) (map[Shelf]int64, error) {
	sum := sums{}
	err := eachMovement(tx, "", nil, func(m Movement) error { sum.add(m); return nil })
	return sum.balance(), err
}

// Movements returns all movements, in the order of their ids.
func Movements(tx *changelog.Tx) ([]Movement, error) { return movements(tx, "") }

// MovementsOf returns the movements of an item.
func MovementsOf(tx *changelog.Tx, item clock.Dot) ([]Movement, error) {
	return movements(tx, "WHERE m.item = ?", item.Key())
}

// MovementsFor returns what was issued to a run.
func MovementsFor(tx *changelog.Tx, run clock.Dot) ([]Movement, error) {
	return movements(tx, "WHERE m.run = ?", run.Key())
}

// MovementByID returns one movement; false if there is none.
func MovementByID(tx *changelog.Tx, id clock.Dot) (Movement, bool, error) {
	list, err := movements(tx, "WHERE m.dot = ?", id.Key())
	if len(list) == 0 || err != nil {
		return Movement{}, false, err
	}
	return list[0], true, nil
}

const holdColumns = `SELECT h.dot, h.item, h.lot, h.location, h.why, h.person, h.since_ms,
  (SELECT min(r.dot) FROM lot_release r WHERE r.hold = h.dot) FROM lot_hold h `

func holds(tx *changelog.Tx, where string, args ...any) ([]Hold, error) {
	var list []Hold
	err := tx.Each(holdColumns+where+" ORDER BY h.since_ms, h.dot", args, func(scan func(...any) error) error {
		var h Hold
		var ms int64
		if err := scan(&h.ID, &h.Item, &h.Lot, &h.At, &h.Why, &h.Person, &ms, &h.Released); err != nil {
			return err
		}
		h.Since = time.UnixMilli(ms).UTC()
		list = append(list, h)
		return nil
	})
	return list, err
}

// Holds returns all holds, released ones too, the earliest first.
func Holds(tx *changelog.Tx) ([]Hold, error) { return holds(tx, "") }

// HoldsOf returns the holds of an item.
func HoldsOf(tx *changelog.Tx, item clock.Dot) ([]Hold, error) {
	return holds(tx, "WHERE h.item = ?", item.Key())
}

// reservationRows returns all reservations, ended ones too, the earliest first.
func reservationRows(tx *changelog.Tx) ([]Reservation, error) {
	var list []Reservation
	err := tx.Each(`SELECT r.dot, r.run, r.item, r.location, r.quantity, r.note, r.person, r.since_ms,
		(SELECT min(e.dot) FROM reservation_end e WHERE e.reservation = r.dot),
		(SELECT min(o.dot) FROM run_over o WHERE o.run = r.run) FROM reservation r ORDER BY r.since_ms, r.dot`, nil, func(scan func(...any) error) error {
		var r Reservation
		var ms int64
		if err := scan(&r.ID, &r.Run, &r.Item, &r.At, &r.Quantity, &r.Note, &r.Person, &ms, &r.Ended, &r.RunOver); err != nil {
			return err
		}
		r.Since = time.UnixMilli(ms).UTC()
		list = append(list, r)
		return nil
	})
	return list, err
}

// substituteRows returns all that was said of what may stand for an item.
func substituteRows(tx *changelog.Tx, item clock.Dot) ([]Substitute, error) {
	var list []Substitute
	query := "SELECT dot, item, stand, role, allowed, why, person FROM item_substitute WHERE item = ? ORDER BY dot"
	err := tx.Each(query, []any{item.Key()}, func(scan func(...any) error) error {
		var s Substitute
		if err := scan(&s.ID, &s.Item, &s.Stand, &s.Role, &s.Allowed, &s.Why, &s.Person); err != nil {
			return err
		}
		list = append(list, s)
		return nil
	})
	return list, err
}

// packRows returns all that was said of packs, by item and name.
func packRows(tx *changelog.Tx) ([]Pack, error) {
	var list []Pack
	err := tx.Each("SELECT dot, item, name, quantity, why, person FROM item_pack ORDER BY item, name, dot", nil, func(scan func(...any) error) error {
		var p Pack
		if err := scan(&p.ID, &p.Item, &p.Name, &p.Quantity, &p.Why, &p.Person); err != nil {
			return err
		}
		list = append(list, p)
		return nil
	})
	return list, err
}

func doubled(tx *changelog.Tx, noun, column, table string) ([]changelog.Conflict, error) {
	var list []changelog.Conflict
	query := fmt.Sprintf("SELECT %[1]s, dot FROM %[2]s WHERE %[1]s IN (SELECT %[1]s FROM %[2]s GROUP BY %[1]s HAVING count(*) > 1) ORDER BY %[1]s, dot", column, table)
	err := tx.Each(query, nil, func(scan func(...any) error) error {
		var code string
		var key []byte
		if err := scan(&code, &key); err != nil {
			return err
		}
		dot, err := clock.DotFromKey(key)
		id := noun + ":" + code
		if n := len(list); n == 0 || list[n-1].ID != id {
			list = append(list, changelog.Conflict{ID: id, Kind: "two " + noun + "s with one " + column,
				What:   fmt.Sprintf("%s %s was added by sites that had not heard of each other; it cannot be used by that name until one of the two is out of use", noun, code),
				Advice: "move what belongs to one of them to the other under ids, and agree on one"})
		}
		c := &list[len(list)-1]
		c.Sides = append(c.Sides, changelog.Side{Dot: dot, What: noun + " " + tx.Name(dot)})
		return err
	})
	return list, err
}
