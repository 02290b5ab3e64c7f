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

// Part is what goes into one kit.
type Part struct {
	Item     *Item
	Quantity int64 // of each kit, in the part's unit of issue
}

// MakeUp makes kits of parts that lie at a place: the kits come in there as a lot of
// their own, and the parts go out, first expired first out. Each part must be of one lot;
// the kits expire with the first of them. It returns what was drawn of each part.
func MakeUp(tx *changelog.Tx, it *Item, lot string, kits int64, at *Location, parts []Part, overrule string) ([]Draw, error) {
	if err := mayMake(tx, it, lot, kits, parts); err != nil {
		return nil, err
	}
	expires, draws := "", []Draw{}
	for _, p := range parts {
		d, err := oneLot(tx, p, kits, at)
		if err != nil {
			return nil, err
		}
		if day := p.Item.LotExpiry[d.Lot]; day != "" && (expires == "" || day < expires) {
			expires = day
		}
		draws = append(draws, d)
	}
	note := fmt.Sprintf("made up into %s lot %s", it.PartNumber, lot)
	if _, err := Receive(tx, it, lot, at, kits, expires, "made up from parts"); err != nil {
		return nil, err
	}
	for i, p := range parts {
		if _, err := Issue(tx, p.Item, draws[i].Lot, at, p.Quantity*kits, clock.Dot{}, 0, note, overrule); err != nil {
			return nil, err
		}
	}
	return draws, nil
}

func mayMake(tx *changelog.Tx, it *Item, lot string, kits int64, parts []Part) error {
	if err := checkQuantity(kits); err != nil {
		return err
	}
	if lot == "" {
		return fault.Misuse("name it with --lot; what is in the kits is known by it", "kits are made up as a lot of their own")
	}
	known, err := lotKnown(tx, it, lot)
	if err != nil {
		return err
	}
	if known {
		return fault.Refuse("choose another name: what is in the kits is known by the lot", "%s is there already", lotText(it, lot))
	}
	for i, p := range parts {
		switch {
		case p.Item.ID == it.ID:
			return fault.Misuse("name its parts", "%s cannot be a part of itself", it.PartNumber)
		case p.Item.Serialised:
			return fault.Misuse("units go into assemblies: pulk unit install", "%s comes with serial numbers", p.Item.PartNumber)
		case slices.ContainsFunc(parts[:i], func(q Part) bool { return q.Item.ID == p.Item.ID }):
			return fault.Misuse("name each part once", "%s is named twice", p.Item.PartNumber)
		case p.Quantity <= 0 || p.Quantity > MaxQuantity/kits:
			return fault.Misuse("give how much goes into one kit", "%d of %s cannot go into each of %d kits", p.Quantity, p.Item.PartNumber, kits)
		}
	}
	if len(parts) == 0 {
		return fault.Misuse("like --part CON-011=4", "name what goes into one kit")
	}
	return nil
}

// oneLot picks the lot that a part is taken from for all kits.
func oneLot(tx *changelog.Tx, p Part, kits int64, at *Location) (Draw, error) {
	draws, err := draw(tx, p.Item, AnyLot, at, p.Quantity*kits)
	if err != nil {
		return Draw{}, err
	}
	if len(draws) > 1 {
		first := draws[0]
		return Draw{}, fault.Refuse(fmt.Sprintf("make up %d from lot %s first, and the rest as another lot", first.Quantity/p.Quantity, first.Lot),
			"%d %s of %s would come from %d lots, so that nobody knew later which kit has which", p.Quantity*kits, p.Item.UnitOfIssue, p.Item.PartNumber, len(draws))
	}
	return draws[0], nil
}

// MadeLot returns how a lot of kits was made up.
func MadeLot(tx *changelog.Tx, it *Item, lot string) (Made, error) {
	all, err := Movements(tx)
	if err != nil {
		return Made{}, err
	}
	var found []Made
	for _, m := range Makes(all) {
		if m.Kit.Item == it.ID && m.Kit.Lot == lot && m.Stands() {
			found = append(found, m)
		}
	}
	switch len(found) {
	case 0:
		return Made{}, fault.Hint("see: pulk stock history "+it.PartNumber, "%s was not made up from parts", lotText(it, lot))
	case 1:
		return found[0], nil
	}
	return Made{}, fault.Refuse("void the one that is wrong: pulk stock void", "%s was made up %d times by sites that had not heard of each other", lotText(it, lot), len(found))
}

// BreakDown takes kits apart: they go out, and their parts come in as the lots that they
// were. It returns what came in.
func BreakDown(tx *changelog.Tx, it *Item, lot string, kits int64, at *Location, note, overrule string) ([]Movement, error) {
	made, err := MadeLot(tx, it, lot)
	if err != nil {
		return nil, err
	}
	if _, err := Issue(tx, it, lot, at, kits, clock.Dot{}, 0, strings.TrimSuffix("broken down: "+note, ": "), overrule); err != nil {
		return nil, err
	}
	var came []Movement
	for _, p := range made.Parts {
		p.Quantity = p.Quantity / made.Kit.Quantity * kits
		tx.Add(change.New(kind.StockReceive, change.Ref(p.Item), change.Text(p.Lot), change.Ref(at.ID), change.Num(p.Quantity), change.Text(""),
			change.Text(fmt.Sprintf("out of %s lot %s", it.PartNumber, lot))))
		came = append(came, p)
	}
	return came, nil
}

// InKits returns the make-ups that a lot went into.
func InKits(tx *changelog.Tx, it *Item, lot string) ([]Made, error) {
	all, err := Movements(tx)
	if err != nil {
		return nil, err
	}
	return slices.DeleteFunc(Makes(all), func(m Made) bool {
		return !m.Stands() || !slices.ContainsFunc(m.Parts, func(p Movement) bool { return p.Item == it.ID && p.Lot == lot })
	}), nil
}
