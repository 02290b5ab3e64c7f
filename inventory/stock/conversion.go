package stock

import (
	"math/big"
	"slices"
	"strconv"
	"strings"

	"pulk/schema/decimal"
	"pulk/schema/fault"
	"pulk/sync/clock"
)

// Pack is how much of an item is in what it comes in: a box of 100, a roll of 50 m.
type Pack struct {
	ID       clock.Dot
	Item     clock.Dot
	Name     string
	Quantity int64 // units of issue; 0: the item comes in this no more
	Why      string
	Person   clock.Dot

	// Knew tells what its author knew: what was said before by that is replaced.
	Knew func(clock.Dot) bool
}

// Standing returns what holds of what was said of one item's packs: nothing that another
// replaces. Where sites that had not heard of each other said different things of one
// name, it is there more than once.
func Standing(packs []Pack) []Pack {
	among := func(list []Pack, p Pack, holds func(q Pack) bool) bool {
		return slices.ContainsFunc(list, func(q Pack) bool {
			return q.Item == p.Item && q.Name == p.Name && q.ID != p.ID && holds(q)
		})
	}
	without := func(list []Pack, gone func(Pack) bool) []Pack { return slices.DeleteFunc(slices.Clone(list), gone) }
	latest := without(packs, func(p Pack) bool { return among(packs, p, func(q Pack) bool { return q.Knew(p.ID) }) })
	differing := without(latest, func(p Pack) bool {
		return among(latest, p, func(q Pack) bool { return q.Quantity == p.Quantity && q.ID.Compare(p.ID) < 0 })
	})
	return without(differing, func(p Pack) bool {
		return p.Quantity == 0 && !among(differing, p, func(Pack) bool { return true })
	})
}

// Convert reads a quantity in units of issue: 250, 2box, 2.5roll, 2box+30. It must come to
// a whole number, exactly. unit is the name of the unit of issue itself.
func Convert(text, unit string, packs []Pack) (int64, error) {
	if n, err := strconv.ParseInt(text, 10, 64); err == nil {
		return n, nil
	}
	sum := new(big.Rat)
	for part := range strings.SplitSeq(text, "+") {
		part = strings.TrimSpace(part)
		name := strings.TrimLeft(part, "0123456789.")
		number, err := decimal.Parse(strings.TrimSuffix(part, name))
		if err != nil {
			return 0, fault.Misuse("give a whole number, in the item's unit of issue, or like 2box+30", "%q is no quantity", text)
		}
		each, err := factor(strings.TrimSpace(name), unit, packs)
		if err != nil {
			return 0, err
		}
		sum.Add(sum, new(big.Rat).Mul(number.Rat(), new(big.Rat).SetInt64(each)))
	}
	if !sum.IsInt() {
		return 0, fault.Misuse("quantities are whole numbers of the unit of issue", "%s is %s %s", text, sum.FloatString(3), unit)
	}
	if !sum.Num().IsInt64() {
		return 0, fault.Misuse("give less at a time", "%s is too much", text)
	}
	return sum.Num().Int64(), nil
}

// factor returns how many units of issue are in one of what a name stands for.
func factor(name, unit string, packs []Pack) (int64, error) {
	if name == "" || name == unit {
		return 1, nil
	}
	var found []Pack
	var names []string
	for _, p := range packs {
		if names = append(names, strconv.FormatInt(p.Quantity, 10)+" in a "+p.Name); p.Name == name {
			found = append(found, p)
		}
	}
	switch {
	case len(found) == 1:
		return found[0].Quantity, nil
	case len(found) > 1:
		return 0, fault.Refuse("agree on one: pulk item pack PART "+name+" QUANTITY --why REASON", "sites say different things of how much is in a %s: %s", name, strings.Join(names, ", "))
	case len(names) == 0:
		return 0, fault.Misuse("say how much is in one: pulk item pack PART "+name+" QUANTITY --why REASON", "it is not known how much is in a %s", name)
	}
	return 0, fault.Misuse("known are: "+strings.Join(names, ", "), "it is not known how much is in a %s", name)
}
