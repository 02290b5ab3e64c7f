package manifest

import (
	"fmt"
	"slices"

	"pulk/inventory/dangerous"
	"pulk/inventory/stock"
	"pulk/sync/clock"
)

// Dangerous is the dangerous goods that lie at a place and in the places within it, or
// everywhere where at is none: quantities, and units, those too that are installed in
// others. Lost names, in words, units that may be there: sites tell different places.
func (h *Holds) Dangerous(at clock.Dot) (pieces []dangerous.Piece, lost []string) {
	codes := map[clock.Dot]string{}
	for _, l := range h.places {
		codes[l.ID] = l.Code
	}
	here := func(clock.Dot) bool { return true }
	if !at.IsZero() {
		within := stock.Within(h.places, at)
		here = func(place clock.Dot) bool { return within[place] }
	}
	for _, l := range h.levels {
		if l.Quantity > 0 && here(l.Location.ID) {
			pieces = append(pieces, dangerous.Piece{Goods: l.Item.Goods(), PartNumber: l.Item.PartNumber, Quantity: l.Quantity, Package: l.Location.Code})
		}
	}
	for _, u := range h.units {
		it := h.items[u.Item]
		if it == nil {
			continue
		}
		piece := dangerous.Piece{Goods: it.Goods(), PartNumber: it.PartNumber, Quantity: 1, Package: codes[u.Place]}
		switch {
		case !piece.Told():
		case !u.Place.IsZero() && here(u.Place):
			pieces = append(pieces, piece)
		case u.Place.IsZero() && len(u.Contested) > 0:
			lost = append(lost, fmt.Sprintf("%s %s, %s: sites tell different places", it.PartNumber, u.Serial, it.Goods().UN()))
		}
	}
	slices.Sort(lost)
	// Only what is dangerous, or may be.
	return slices.DeleteFunc(pieces, func(p dangerous.Piece) bool { return !p.Told() }), lost
}
