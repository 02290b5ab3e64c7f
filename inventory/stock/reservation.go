package stock

import (
	"fmt"
	"slices"
	"strings"

	"pulk/schema/fault"
	"pulk/schema/kind"
	"pulk/sync/change"
	"pulk/sync/changelog"
	"pulk/sync/clock"
)

// Kept is a reservation with what of it is still to be issued.
type Kept struct {
	Reservation
	Outstanding int64
}

// Reservations returns what is reserved for runs that go on and not issued yet, the
// earliest first; of one item, or of all where item is none.
func Reservations(tx *changelog.Tx, item clock.Dot) ([]Kept, error) {
	all, err := reservationRows(tx)
	if err != nil || len(all) == 0 {
		return nil, err
	}
	all = slices.DeleteFunc(all, func(r Reservation) bool { return !item.IsZero() && r.Item != item })
	for i := range all {
		ctx, err := tx.Context(all[i].ID)
		if err != nil {
			return nil, err
		}
		all[i].Knew = ctx.Has
	}
	moves, err := movements(tx, "WHERE m.run IN (SELECT run FROM reservation)")
	if err != nil {
		return nil, err
	}
	open := Outstanding(all, moves)
	var list []Kept
	for _, r := range all {
		if n := open[r.ID]; n > 0 {
			list = append(list, Kept{r, n})
		}
	}
	return list, nil
}

// FreeAt tells what of an item at a place is fit for use, and how much of that is
// reserved, with the reservations.
func FreeAt(tx *changelog.Tx, it *Item, at *Location) (Free, []Kept, error) {
	stacks, err := Stacks(tx, it, at)
	if err != nil {
		return Free{}, nil, err
	}
	kept, err := Reservations(tx, it.ID)
	if err != nil {
		return Free{}, nil, err
	}
	kept = slices.DeleteFunc(kept, func(k Kept) bool { return k.At != at.ID })
	free := Free{OnHand: Fit(stacks, Day(tx.Author().Now))}
	for _, k := range kept {
		free.Reserved += k.Outstanding
	}
	return free, kept, nil
}

// Reserve keeps a quantity at a place for a run. It is refused where less is free.
func Reserve(tx *changelog.Tx, it *Item, at *Location, quantity int64, run clock.Dot, note string) (clock.Dot, Free, error) {
	if err := checkQuantity(quantity); err != nil {
		return clock.Dot{}, Free{}, err
	}
	if it.Serialised {
		return clock.Dot{}, Free{}, fault.Misuse("see: pulk unit list", "%s comes with serial numbers: units are not reserved", it.PartNumber)
	}
	free, kept, err := FreeAt(tx, it, at)
	if err != nil {
		return clock.Dot{}, free, err
	}
	if quantity > free.Free() {
		hint, err := whereElse(tx, it)
		if err != nil {
			return clock.Dot{}, free, err
		}
		if len(kept) > 0 {
			hint = keptText(tx, kept) + "; " + hint
		}
		return clock.Dot{}, free, fault.Refuse(hint, "of %s at %s %d %s are free, not %d", it.PartNumber, at.Code, max(0, free.Free()), it.UnitOfIssue, quantity)
	}
	id := tx.Add(change.New(kind.StockReserve, change.Ref(run), change.Ref(it.ID), change.Ref(at.ID), change.Num(quantity), change.Text(note)))
	free.Reserved += quantity
	return id, free, nil
}

// keptText tells who has reserved what.
func keptText(tx *changelog.Tx, kept []Kept) string {
	var parts []string
	for _, k := range kept {
		parts = append(parts, fmt.Sprintf("%d for run %s (%s)", k.Outstanding, tx.Name(k.Run), tx.Name(k.ID)))
	}
	return "reserved: " + strings.Join(parts, ", ")
}

// KeptFor returns what is reserved for a run, which its end lets go of.
func KeptFor(tx *changelog.Tx, run clock.Dot) ([]Kept, error) {
	all, err := Reservations(tx, clock.Dot{})
	return slices.DeleteFunc(all, func(k Kept) bool { return k.Run != run }), err
}

// EndReservation lets go of what is still reserved.
func EndReservation(tx *changelog.Tx, name, why string) (Kept, error) {
	if why == "" {
		return Kept{}, fault.Misuse("give it with --why", "ending a reservation needs a reason")
	}
	list, err := Reservations(tx, clock.Dot{})
	if err != nil {
		return Kept{}, err
	}
	for _, k := range list {
		if tx.Name(k.ID) == name {
			tx.Add(change.New(kind.ReserveEnd, change.Ref(k.ID), change.Text(why)))
			return k, nil
		}
	}
	return Kept{}, fault.Hint("what is issued or ended is not listed; see: pulk reserve list", "nothing is reserved by %s", name)
}

// encroach refuses to take what is reserved for others than the run, if any, that it is
// for. A reason overrules that; it is returned as it is to be noted. A lot that is named and
// not fit for use is nobody's.
func encroach(tx *changelog.Tx, it *Item, lot string, from *Location, quantity int64, run clock.Dot, overrule string) (string, error) {
	free, kept, err := FreeAt(tx, it, from)
	if err != nil || len(kept) == 0 {
		return "", err
	}
	stacks, err := Stacks(tx, it, from)
	if err != nil {
		return "", err
	}
	named := slices.DeleteFunc(stacks, func(s Stack) bool { return s.Lot != lot })
	if lot != AnyLot && Fit(named, Day(tx.Author().Now)) == 0 {
		return "", nil
	}
	others := slices.DeleteFunc(kept, func(k Kept) bool { return !run.IsZero() && k.Run == run })
	reserved := int64(0)
	for _, k := range others {
		reserved += k.Outstanding
	}
	if reserved == 0 || quantity > free.OnHand || quantity <= free.OnHand-reserved {
		return "", nil // what is not there at all is refused by draw
	}
	what := fmt.Sprintf("%d %s of %s at %s are reserved", reserved, it.UnitOfIssue, it.PartNumber, from.Code)
	if overrule == "" {
		return "", fault.Refuse(keptText(tx, others)+"; "+fmt.Sprintf("take up to %d, or say why this goes first: --why REASON", max(0, free.OnHand-reserved)),
			"%s for other runs", what)
	}
	return what + " for other runs, taken all the same: " + overrule, nil
}

// spot is an item at a place, whatever the lot.
type spot struct{ item, at clock.Dot }

// reservedTwice lists the places where people who had not heard of each other reserved more
// than lies there.
func reservedTwice(tx *changelog.Tx, lies map[spot]int64) ([]changelog.Conflict, error) {
	kept, err := Reservations(tx, clock.Dot{})
	if err != nil || len(kept) < 2 {
		return nil, err
	}
	byspot := map[spot][]Kept{}
	var order []spot
	for _, k := range kept {
		at := spot{k.Item, k.At}
		if len(byspot[at]) == 0 {
			order = append(order, at)
		}
		byspot[at] = append(byspot[at], k)
	}
	var list []changelog.Conflict
	for _, at := range order {
		sum := int64(0)
		for _, k := range byspot[at] {
			sum += k.Outstanding
		}
		if sum <= lies[at] || !unheard(byspot[at]) {
			continue
		}
		c, err := overReserved(tx, byspot[at], sum, lies[at])
		if err != nil {
			return nil, err
		}
		list = append(list, c)
	}
	return list, nil
}

// unheard reports whether any two reservations were made without knowing each other.
func unheard(kept []Kept) bool {
	for i, a := range kept {
		for _, b := range kept[:i] {
			if !a.Knew(b.ID) && !b.Knew(a.ID) {
				return true
			}
		}
	}
	return false
}

func overReserved(tx *changelog.Tx, kept []Kept, sum, lies int64) (changelog.Conflict, error) {
	item, err := tx.Describe(kept[0].Item)
	if err != nil {
		return changelog.Conflict{}, err
	}
	place, err := LocationLabel(tx, kept[0].At)
	c := changelog.Conflict{ID: fmt.Sprintf("reserved:%s:%s", tx.Name(kept[0].Item), place), Kind: "reserved twice",
		What:   fmt.Sprintf("%d of %s at %s are reserved and %d lie there: people reserved them who had not heard of each other", sum, item, place, lies),
		Advice: "agree whose run goes first, then end the other: pulk reserve end ID --why REASON"}
	for _, k := range kept {
		c.Sides = append(c.Sides, changelog.Side{Dot: k.ID, What: fmt.Sprintf("reserve %d for run %s", k.Outstanding, tx.Name(k.Run))})
	}
	return c, err
}
