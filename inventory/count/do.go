package count

import (
	"fmt"
	"slices"
	"time"

	"pulk/inventory/stock"
	"pulk/schema/fault"
	"pulk/schema/kind"
	"pulk/sync/change"
	"pulk/sync/changelog"
	"pulk/sync/clock"
)

// Sheet is a count of a place.
type Sheet struct {
	ID        clock.Dot
	At        clock.Dot // the place
	Tolerance int64     // a difference up to this needs no recount; units of issue
	Note      string
	Person    clock.Dot
	Opened    time.Time
	Voided    clock.Dot // the change that voided it, or none
	Lines     []Line
}

// ToCount tells how many lines are still open.
func (s *Sheet) ToCount() int {
	n := 0
	for _, l := range s.Lines {
		if l.Open() {
			n++
		}
	}
	return n
}

// List returns all sheets with their lines, the earliest first.
func List(tx *changelog.Tx) ([]*Sheet, error) {
	list, err := sheetRows(tx)
	if err != nil || len(list) == 0 {
		return nil, err
	}
	moves, err := stock.Movements(tx)
	if err != nil {
		return nil, err
	}
	for _, s := range list {
		if s.Lines, err = linesOf(tx, s, moves); err != nil {
			return nil, err
		}
	}
	return list, nil
}

// Counting returns what is still to be counted on any sheet: whoever counts it is not to be
// shown the record.
func Counting(tx *changelog.Tx) (map[stock.Shelf]bool, error) {
	list, err := List(tx)
	if err != nil {
		return nil, err
	}
	out := map[stock.Shelf]bool{}
	for _, s := range list {
		for _, l := range s.Lines {
			if s.Voided.IsZero() && l.Open() {
				out[stock.Shelf{Item: l.Lot.Item, Lot: l.Lot.Name, Location: s.At}] = true
			}
		}
	}
	return out, nil
}

// Find returns the sheet with an id.
func Find(tx *changelog.Tx, name string) (*Sheet, error) {
	list, err := List(tx)
	if err != nil {
		return nil, err
	}
	for _, s := range list {
		if tx.Name(s.ID) == name {
			return s, nil
		}
	}
	return nil, fault.Hint("see: pulk count list", "there is no count sheet %q here", name)
}

// linesOf puts together the lines of a sheet: what lay at the place by the movements
// that its author knew, with what was entered since.
func linesOf(tx *changelog.Tx, s *Sheet, moves []stock.Movement) ([]Line, error) {
	ctx, err := tx.Context(s.ID)
	if err != nil {
		return nil, err
	}
	known := slices.DeleteFunc(slices.Clone(moves), func(m stock.Movement) bool { return !ctx.Has(m.ID) })
	var asked []Lot
	for shelf := range stock.Balance(known) {
		if shelf.Location == s.At {
			asked = append(asked, Lot{shelf.Item, shelf.Lot})
		}
	}
	entries, err := entryRows(tx, s.ID)
	if err != nil {
		return nil, err
	}
	settlements, err := settlementRows(tx, s.ID)
	if err != nil {
		return nil, err
	}
	for i := range settlements {
		by, err := tx.Context(settlements[i].ID)
		if err != nil {
			return nil, err
		}
		settlements[i].Knew = by.Has
	}
	return Lines(asked, entries, settlements), nil
}

// Open asks for a blind count of a place.
func Open(tx *changelog.Tx, at *stock.Location, tolerance int64, note string) (clock.Dot, error) {
	if tolerance < 0 || tolerance > stock.MaxQuantity {
		return clock.Dot{}, fault.Misuse("give 0 or more, in units of issue", "%d is no tolerance", tolerance)
	}
	list, err := List(tx)
	if err != nil {
		return clock.Dot{}, err
	}
	for _, s := range list {
		if s.At == at.ID && s.Voided.IsZero() && s.ToCount() > 0 {
			return clock.Dot{}, fault.Refuse(fmt.Sprintf("go on with it: pulk count sheet %[1]s; or end it: pulk count void %[1]s --why REASON", tx.Name(s.ID)),
				"a count of %s is open: %s", at.Code, tx.Name(s.ID))
		}
	}
	return tx.Add(change.New(kind.CountOpen, change.Ref(at.ID), change.Num(tolerance), change.Text(note))), nil
}

// Outcome is what an entry led to.
type Outcome struct {
	Verdict    Verdict
	Difference int64 // not to be shown where the verdict is Recount
}

// Enter takes in what somebody counted of a lot. Nobody counts one twice, unless alone
// says why nobody else could. why goes into the reason of the movement.
func Enter(tx *changelog.Tx, s *Sheet, it *stock.Item, lot string, counted int64, alone, why string) (Outcome, error) {
	if counted < 0 || counted > stock.MaxQuantity {
		return Outcome{}, fault.Misuse("give what lies there, 0 or more", "%d cannot have been counted", counted)
	}
	line := Line{Lot: Lot{it.ID, lot}}
	for _, l := range s.Lines {
		if l.Lot == line.Lot {
			line = l
		}
	}
	if err := mayEnter(tx, s, it, line, alone); err != nil {
		return Outcome{}, err
	}
	at, err := stock.LocationByID(tx, s.At)
	if err != nil {
		return Outcome{}, err
	}
	if at == nil {
		return Outcome{}, fault.Hint("take the bundle that brings it first", "the place of this count is not here yet")
	}
	held, err := stock.Held(tx, it, lot, at)
	if err != nil {
		return Outcome{}, err
	}
	entry := Entry{Lot: line.Lot, Counted: counted, Held: held}
	tx.Add(change.New(kind.CountEnter, change.Ref(s.ID), change.Ref(it.ID), change.Text(lot), change.Num(counted), change.Num(held), change.Text(alone)))
	out := Outcome{Judge(line.Entries, entry, s.Tolerance), entry.Difference()}
	if out.Verdict == Recount {
		return out, nil
	}
	movement := tx.Next()
	if _, err := stock.Count(tx, it, lot, at, counted, reason(tx, s, out.Verdict, why)); err != nil {
		return Outcome{}, err
	}
	tx.Add(change.New(kind.CountSettle, change.Ref(s.ID), change.Ref(it.ID), change.Text(lot), change.Ref(movement)))
	return out, nil
}

// mayEnter refuses an entry that a rule of counting forbids.
func mayEnter(tx *changelog.Tx, s *Sheet, it *stock.Item, line Line, alone string) error {
	sheet := tx.Name(s.ID)
	switch {
	case !s.Voided.IsZero():
		return fault.Refuse("open another: pulk count open LOCATION", "count sheet %s is voided", sheet)
	case it.Serialised:
		return fault.Misuse("see: pulk unit list", "%s comes with serial numbers: look for each unit", it.PartNumber)
	case line.Settled != nil:
		return fault.Refuse(fmt.Sprintf("if it was wrong: pulk stock void %s --why REASON, then count again", tx.Name(line.Settled.Movement)),
			"%s is counted on sheet %s", it.PartNumber, sheet)
	case line.CountedBy(tx.Author().Person) && alone == "":
		return fault.Refuse("let somebody else count, who is not told your figure; if there is nobody: --alone REASON",
			"you counted %s on sheet %s already", it.PartNumber, sheet)
	}
	if line.Lot.Name == "" && len(line.Entries) == 0 && !slices.ContainsFunc(s.Lines, func(l Line) bool { return l.Lot == line.Lot }) &&
		slices.ContainsFunc(s.Lines, func(l Line) bool { return l.Lot.Item == it.ID }) {
		return fault.Misuse("name it with --lot, as on the piece; --lot '' for pieces without one", "the sheet asks for lots of %s", it.PartNumber)
	}
	return nil
}

func reason(tx *changelog.Tx, s *Sheet, verdict Verdict, why string) string {
	text := "blind count " + tx.Name(s.ID)
	switch verdict {
	case Within:
		text += fmt.Sprintf(", within %d", s.Tolerance)
	case Agreed:
		text += ", two counts agree"
	}
	if why != "" {
		text += ": " + why
	}
	return text
}

// Void ends a sheet, or says that an entry is not to be relied on. What was settled
// stays: it is a movement, and voided as one.
func Void(tx *changelog.Tx, name, why string) error {
	if why == "" {
		return fault.Misuse("give it with --why", "voiding needs a reason")
	}
	id, err := tx.ParseName(name)
	if err != nil {
		return fault.Misuse("see: pulk count list", "%s", err)
	}
	sheetID, err := sheetOfEntry(tx, id)
	if err != nil {
		return err
	}
	if sheetID.IsZero() {
		s, err := Find(tx, name)
		if err != nil {
			return err
		}
		if !s.Voided.IsZero() {
			return fault.Hint("nothing to do", "%s is voided already", name)
		}
	} else if err := mayVoidEntry(tx, sheetID, id); err != nil {
		return err
	}
	tx.Add(change.New(kind.Void, change.Ref(id), change.Value{}, change.Text(why)))
	return nil
}

func mayVoidEntry(tx *changelog.Tx, sheet, entry clock.Dot) error {
	s, err := Find(tx, tx.Name(sheet))
	if err != nil {
		return err
	}
	for _, l := range s.Lines {
		if !slices.ContainsFunc(l.Entries, func(e Entry) bool { return e.ID == entry }) {
			continue
		}
		if l.Settled != nil {
			return fault.Refuse(fmt.Sprintf("void that: pulk stock void %s --why REASON", tx.Name(l.Settled.Movement)), "%s led to a movement of stock", tx.Name(entry))
		}
		return nil
	}
	return fault.Hint("nothing to do", "%s counts no more", tx.Name(entry))
}
