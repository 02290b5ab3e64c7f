package stock

import (
	"fmt"
	"maps"
	"slices"
	"strings"

	"pulk/schema/fault"
	"pulk/schema/kind"
	"pulk/sync/change"
	"pulk/sync/changelog"
	"pulk/sync/clock"
)

// MaxQuantity is the largest quantity of one movement.
const MaxQuantity = 1_000_000_000

func checkQuantity(quantity int64) error {
	if quantity <= 0 || quantity > MaxQuantity {
		return fault.Misuse("give a whole number from 1, in the item's unit of issue", "%d is no quantity", quantity)
	}
	return nil
}

// Receive records that stock came from outside. expires is the lot's date
// (YYYY-MM-DD) or empty.
func Receive(tx *changelog.Tx, it *Item, lot string, to *Location, quantity int64, expires, note string) (clock.Dot, error) {
	if err := checkQuantity(quantity); err != nil {
		return clock.Dot{}, err
	}
	if it.Serialised {
		return clock.Dot{}, fault.Misuse("pulk unit add SERIAL --part "+it.PartNumber, "%s comes with serial numbers: add each unit", it.PartNumber)
	}
	if known := it.LotExpiry[lot]; known != "" && expires != "" && known != expires {
		return clock.Dot{}, fault.Hint("give this part of it a lot name of its own", "lot %q of %s expires on %s, not on %s", lot, it.PartNumber, known, expires)
	}
	if lot == "" && expires != "" {
		return clock.Dot{}, fault.Misuse("name it with --lot", "an expiry date belongs to a lot")
	}
	return tx.Add(change.New(kind.StockReceive, change.Ref(it.ID), change.Text(lot), change.Ref(to.ID), change.Num(quantity), change.Text(expires), change.Text(note))), nil
}

// Stacks returns the lots of an item at a location.
func Stacks(tx *changelog.Tx, it *Item, at *Location) ([]Stack, error) {
	all, err := MovementsOf(tx, it.ID)
	if err != nil {
		return nil, err
	}
	holds, err := HoldsOf(tx, it.ID)
	if err != nil {
		return nil, err
	}
	var stacks []Stack
	for shelf, n := range Balance(all) {
		if shelf.Location == at.ID {
			stacks = append(stacks, Stack{shelf.Lot, n, it.LotExpiry[shelf.Lot], Quarantined(holds, shelf)})
		}
	}
	return FirstExpired(stacks), nil
}

// AnyLot picks lots first expired first out.
const AnyLot = "\x00any"

// draw picks what is to be taken from a shelf, and refuses what it does not hold.
func draw(tx *changelog.Tx, it *Item, lot string, from *Location, quantity int64) ([]Draw, error) {
	if err := checkQuantity(quantity); err != nil {
		return nil, err
	}
	stacks, err := Stacks(tx, it, from)
	if err != nil {
		return nil, err
	}
	day := ""
	if lot == AnyLot {
		day = Day(tx.Author().Now)
	} else {
		stacks = slices.DeleteFunc(stacks, func(s Stack) bool { return s.Lot != lot })
		for i := range stacks {
			stacks[i].Quarantined = false // whoever names it may carry it away, or throw it away
		}
	}
	draws, missing := Pick(stacks, quantity, day)
	if missing > 0 {
		where, err := whereElse(tx, it)
		if err != nil {
			return nil, err
		}
		stands, err := standsText(tx, it, from)
		if err != nil {
			return nil, err
		}
		return nil, fault.Refuse(where+stands, "%s does not hold %d %s of %s: %d too few", from.Code, quantity, it.UnitOfIssue, it.PartNumber, missing)
	}
	return draws, nil
}

// whereElse says where an item lies.
func whereElse(tx *changelog.Tx, it *Item) (string, error) {
	all, err := MovementsOf(tx, it.ID)
	if err != nil {
		return "", err
	}
	holds, err := HoldsOf(tx, it.ID)
	if err != nil {
		return "", err
	}
	balance := Balance(all)
	var parts []string
	for _, shelf := range slices.SortedFunc(maps.Keys(balance), Shelf.Compare) {
		code, err := LocationLabel(tx, shelf.Location)
		if err != nil {
			return "", err
		}
		text := fmt.Sprintf("%d at %s", balance[shelf], code)
		if shelf.Lot != "" {
			text += " lot " + shelf.Lot
		}
		if expires := it.LotExpiry[shelf.Lot]; expires != "" {
			text += " until " + expires
		}
		if Quarantined(holds, shelf) {
			text += " in quarantine"
		}
		parts = append(parts, text)
	}
	if len(parts) == 0 {
		return "none is held anywhere; count the shelf if some lies there: pulk stock count", nil
	}
	return "held: " + strings.Join(parts, ", "), nil
}

// Move records that stock was carried from one place to another. To carry away what is
// reserved where it lies needs overrule, the reason.
func Move(tx *changelog.Tx, it *Item, lot string, from, to *Location, quantity int64, note, overrule string) ([]Draw, error) {
	if from.ID == to.ID {
		return nil, fault.Misuse("name two places", "%s is moved from %s to itself", it.PartNumber, from.Code)
	}
	encroaches, err := encroach(tx, it, lot, from, quantity, clock.Dot{}, overrule)
	if err != nil {
		return nil, err
	}
	note = strings.Trim(note+"; "+encroaches, "; ")
	draws, err := draw(tx, it, lot, from, quantity)
	for _, d := range draws {
		tx.Add(change.New(kind.StockMove, change.Ref(it.ID), change.Text(d.Lot), change.Ref(from.ID), change.Ref(to.ID), change.Num(d.Quantity), change.Num(d.Held), change.Text(note)))
	}
	return draws, err
}

// Issue records that stock was taken for use, for a step of a run where given
// (step is its place plus one, or 0). Lots go first expired first out. One that is
// named out of turn, or has expired, needs overrule, the reason; one in quarantine is
// refused. What is reserved for other runs needs overrule too.
func Issue(tx *changelog.Tx, it *Item, lot string, from *Location, quantity int64, run clock.Dot, step int, note, overrule string) ([]Draw, error) {
	stacks, err := Stacks(tx, it, from)
	if err != nil {
		return nil, err
	}
	overruled, err := doubt(it, stacks, lot, Day(tx.Author().Now), overrule)
	if err != nil {
		return nil, err
	}
	encroaches, err := encroach(tx, it, lot, from, quantity, run, overrule)
	if err != nil {
		return nil, err
	}
	note = strings.Join(slices.DeleteFunc([]string{note, overruled, encroaches}, func(s string) bool { return s == "" }), "; ")
	draws, err := draw(tx, it, lot, from, quantity)
	for _, d := range draws {
		tx.Add(change.New(kind.StockIssue, change.Ref(it.ID), change.Text(d.Lot), change.Ref(from.ID), change.Num(d.Quantity), change.Num(d.Held),
			change.Ref(run), change.Num(int64(step)), change.Text(note)))
	}
	return draws, err
}

// Scrap records that stock was thrown away.
func Scrap(tx *changelog.Tx, it *Item, lot string, from *Location, quantity int64, why string) ([]Draw, error) {
	if why == "" {
		return nil, fault.Misuse("give it with --why", "scrapping needs a reason")
	}
	if lot == AnyLot {
		stacks, err := Stacks(tx, it, from)
		if err != nil {
			return nil, err
		}
		if len(stacks) > 1 {
			return nil, fault.Misuse("name it with --lot", "%s holds several lots of %s", from.Code, it.PartNumber)
		}
		lot = ""
		if len(stacks) == 1 {
			lot = stacks[0].Lot
		}
	}
	draws, err := draw(tx, it, lot, from, quantity)
	for _, d := range draws {
		tx.Add(change.New(kind.StockScrap, change.Ref(it.ID), change.Text(d.Lot), change.Ref(from.ID), change.Num(d.Quantity), change.Num(d.Held), change.Text(why)))
	}
	return draws, err
}

// Count records what was found of a lot at a place. What it differs from the record
// becomes a movement with the reason. It returns what was believed before.
func Count(tx *changelog.Tx, it *Item, lot string, at *Location, counted int64, why string) (held int64, err error) {
	if counted < 0 || counted > MaxQuantity {
		return 0, fault.Misuse("give what lies there, 0 or more", "%d cannot have been counted", counted)
	}
	if held, err = Held(tx, it, lot, at); err != nil {
		return 0, err
	}
	if held != counted && why == "" {
		return held, fault.Misuse("give it with --why", "the record says %d: a difference needs a reason", held)
	}
	tx.Add(change.New(kind.StockCount, change.Ref(it.ID), change.Text(lot), change.Ref(at.ID), change.Num(counted), change.Num(held), change.Text(why)))
	return held, nil
}

// Held returns what lies of a lot at a place, by the record.
func Held(tx *changelog.Tx, it *Item, lot string, at *Location) (int64, error) {
	stacks, err := Stacks(tx, it, at)
	for _, s := range stacks {
		if s.Lot == lot {
			return s.Quantity, err
		}
	}
	return 0, err
}

// Void says that a movement did not happen as recorded. Those of a make-up or a
// break-down of kits are voided together; it says how many that were.
func Void(tx *changelog.Tx, id clock.Dot, why string) (int, error) {
	if why == "" {
		return 0, fault.Misuse("give it with --why", "voiding needs a reason")
	}
	m, found, err := MovementByID(tx, id)
	switch {
	case err != nil:
		return 0, err
	case !found:
		return 0, fault.Hint("see: pulk stock history PART", "%s is no movement of stock", tx.Name(id))
	case !m.Voided.IsZero():
		return 0, fault.Hint("nothing to do", "%s is voided already", tx.Name(id))
	}
	all, err := Movements(tx)
	if err != nil {
		return 0, err
	}
	together := BalancedWith(all, id)
	if len(together) == 0 {
		together = []Movement{m}
	}
	for _, m := range together {
		if m.Voided.IsZero() {
			tx.Add(change.New(kind.Void, change.Ref(m.ID), change.Value{}, change.Text(why)))
		}
	}
	return len(together), nil
}
