package manifest

import (
	"fmt"
	"slices"

	"pulk/inventory/dangerous"
	"pulk/inventory/stock"
	"pulk/inventory/unit"
	"pulk/sync/clock"
)

// Dangerous is the dangerous goods that lie at a place and in the places within it, or
// everywhere where at is none, summed up: quantities, and units, those too that are
// installed in others. A unit of which sites tell different places is named.
func (h *Holds) Dangerous(at clock.Dot) dangerous.Summary {
	codes := map[clock.Dot]string{}
	for _, l := range h.places {
		codes[l.ID] = l.Code
	}
	here := func(clock.Dot) bool { return true }
	if !at.IsZero() {
		within := stock.Within(h.places, at)
		here = func(place clock.Dot) bool { return within[place] }
	}
	var found goods
	for _, l := range h.levels {
		if l.Quantity > 0 && here(l.Location.ID) {
			found.add(l.Item, l.Quantity, l.Location.Code)
		}
	}
	for _, u := range h.units {
		switch it := h.items[u.Item]; {
		case it == nil:
		case !u.Place.IsZero() && here(u.Place):
			found.addUnit(it, u, codes[u.Place])
		case u.Place.IsZero() && len(u.Contested) > 0 && told(it):
			found.missing = append(found.missing, fmt.Sprintf("%s %s, %s: sites tell different places", it.PartNumber, u.Serial, it.Goods().UN()))
		}
	}
	return found.sum()
}

// DangerousIn is the dangerous goods of lines as they are listed for crates, by the
// crate's code, with units that are installed in listed ones by now.
func (h *Holds) DangerousIn(crates map[string][]Line) dangerous.Summary {
	var found goods
	for code, lines := range crates {
		for _, l := range lines {
			it := h.items[l.Item]
			if it == nil {
				found.missing = append(found.missing, "an item in "+code+" is not here yet: whether it is dangerous goods is not known")
				continue
			}
			found.add(it, l.Quantity, code)
			if l.Unit.IsZero() {
				continue
			}
			for _, u := range h.units {
				if inner := h.items[u.Item]; inner != nil && u.Installed() && h.outermost(u) == l.Unit {
					found.addUnit(inner, u, code)
				}
			}
		}
	}
	return found.sum()
}

// goods are gathered pieces, with what there is to say about them.
type goods struct {
	pieces          []dangerous.Piece
	missing, doubts []string
}

func told(it *stock.Item) bool { return dangerous.Piece{Goods: it.Goods()}.Told() }

func (g *goods) add(it *stock.Item, quantity int64, code string) {
	if told(it) {
		g.pieces = append(g.pieces, dangerous.Piece{Goods: it.Goods(), PartNumber: it.PartNumber, Quantity: quantity, Package: code})
	}
}

func (g *goods) addUnit(it *stock.Item, u *unit.Unit, code string) {
	g.add(it, 1, code)
	if other := it.Goods().InEquipment(); other != "" && u.Installed() {
		g.doubts = append(g.doubts, fmt.Sprintf("%s %s is installed in another unit: in equipment such batteries go as UN %s, and not %s", it.PartNumber, u.Serial, other, it.UNNumber))
	}
}

func (g *goods) sum() dangerous.Summary {
	s := dangerous.Sum(g.pieces)
	s.Missing = append(s.Missing, g.missing...)
	s.Doubts = append(s.Doubts, g.doubts...)
	slices.Sort(s.Missing)
	slices.Sort(s.Doubts)
	s.Missing = slices.Compact(s.Missing)
	return s
}
