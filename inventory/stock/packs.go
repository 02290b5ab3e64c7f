package stock

import (
	"fmt"
	"slices"
	"strings"
	"unicode"

	"pulk/schema/fault"
	"pulk/schema/kind"
	"pulk/sync/change"
	"pulk/sync/changelog"
	"pulk/sync/clock"
)

// Packs returns what an item comes in, by name; of all items where item is none.
func Packs(tx *changelog.Tx, item clock.Dot) ([]Pack, error) {
	all, err := packRows(tx)
	if err != nil {
		return nil, err
	}
	all = slices.DeleteFunc(all, func(p Pack) bool { return !item.IsZero() && p.Item != item })
	for i := range all {
		ctx, err := tx.Context(all[i].ID)
		if err != nil {
			return nil, err
		}
		all[i].Knew = ctx.Has
	}
	return Standing(all), nil
}

// Quantity reads a quantity of an item as a person types it; see [Convert].
func Quantity(tx *changelog.Tx, it *Item, text string) (int64, error) {
	packs, err := Packs(tx, it.ID)
	if err != nil {
		return 0, err
	}
	return Convert(text, it.UnitOfIssue, packs)
}

// SetPack says how much of an item is in what it comes in; 0 takes that back. What is on
// record is in units of issue and stays as it is.
func SetPack(tx *changelog.Tx, it *Item, name string, quantity int64, why string) error {
	letters := strings.IndexFunc(name, func(r rune) bool { return !unicode.IsLetter(r) && r != '-' }) < 0
	switch {
	case name == "" || !letters || strings.HasPrefix(name, "-"):
		return fault.Misuse("use letters and hyphens, like box or roll", "%q cannot be the name of a pack", name)
	case name == it.UnitOfIssue:
		return fault.Misuse("choose another name", "%s is the unit of issue of %s", name, it.PartNumber)
	case quantity < 0 || quantity > MaxQuantity:
		return fault.Misuse("give how many units of issue are in it; 0 takes it back", "%d cannot be in a %s", quantity, name)
	case it.Serialised:
		return fault.Misuse("see: pulk unit list", "%s comes with serial numbers: units are counted one by one", it.PartNumber)
	case why == "":
		return fault.Misuse("give it with --why, such as what stands on the label", "saying what is in a pack needs a reason")
	}
	packs, err := Packs(tx, it.ID)
	if err != nil {
		return err
	}
	var of []Pack
	for _, p := range packs {
		if p.Name == name {
			of = append(of, p)
		}
	}
	if len(of) == 0 && quantity == 0 || len(of) == 1 && of[0].Quantity == quantity {
		return fault.Hint("nothing to do", "a %s of %s is %d %s already", name, it.PartNumber, quantity, it.UnitOfIssue)
	}
	tx.Add(change.New(kind.ItemPack, change.Ref(it.ID), change.Text(name), change.Num(quantity), change.Text(why)))
	return nil
}

// packedTwice lists the packs of which sites that had not heard of each other said
// different things.
func packedTwice(tx *changelog.Tx) ([]changelog.Conflict, error) {
	packs, err := Packs(tx, clock.Dot{})
	if err != nil {
		return nil, err
	}
	var list []changelog.Conflict
	for _, p := range packs {
		item, err := tx.Describe(p.Item)
		if err != nil {
			return nil, err
		}
		id := fmt.Sprintf("pack:%s:%s", tx.Name(p.Item), p.Name)
		i := slices.IndexFunc(list, func(c changelog.Conflict) bool { return c.ID == id })
		if i < 0 {
			i = len(list)
			list = append(list, changelog.Conflict{ID: id, Kind: "two sizes of a pack",
				What:   fmt.Sprintf("sites that had not heard of each other said different things of how much of %s is in a %s; nobody can count in it until one says it anew", item, p.Name),
				Advice: fmt.Sprintf("look at one, then: pulk item pack PART %s QUANTITY --why REASON; and count what was received by it", p.Name)})
		}
		list[i].Sides = append(list[i].Sides, changelog.Side{Dot: p.ID, What: fmt.Sprintf("%d: %s", p.Quantity, p.Why)})
	}
	return slices.DeleteFunc(list, func(c changelog.Conflict) bool { return len(c.Sides) < 2 }), nil
}
