package stock

import (
	"strconv"
	"strings"

	"pulk/inventory/dangerous"
	"pulk/schema/fault"
	"pulk/schema/kind"
	"pulk/sync/changelog"
)

// hazards is how what is told of dangerous goods is kept: a text for each.
var hazards = []struct {
	key  string
	read func(*dangerous.Goods, string)
	text func(dangerous.Goods) string
}{
	{"name", func(g *dangerous.Goods, s string) { g.Name = s }, func(g dangerous.Goods) string { return g.Name }},
	{"class", func(g *dangerous.Goods, s string) { g.Class = s }, func(g dangerous.Goods) string { return g.Class }},
	{"subsidiary", func(g *dangerous.Goods, s string) { g.Subsidiary = strings.Fields(s) }, func(g dangerous.Goods) string { return strings.Join(g.Subsidiary, " ") }},
	{"packing group", func(g *dangerous.Goods, s string) { g.PackingGroup = s }, func(g dangerous.Goods) string { return g.PackingGroup }},
	{"state", func(g *dangerous.Goods, s string) { g.State = dangerous.State(s) }, func(g dangerous.Goods) string { return string(g.State) }},
	{"zone", func(g *dangerous.Goods, s string) { g.Zone = s }, func(g dangerous.Goods) string { return g.Zone }},
	{"net grams", func(g *dangerous.Goods, s string) { g.NetGrams, _ = strconv.ParseInt(s, 10, 64) }, func(g dangerous.Goods) string { return whole(g.NetGrams) }},
	{"net millilitres", func(g *dangerous.Goods, s string) { g.NetMillilitres, _ = strconv.ParseInt(s, 10, 64) }, func(g dangerous.Goods) string { return whole(g.NetMillilitres) }},
	{"watt-hours", func(g *dangerous.Goods, s string) { g.WattHours, _ = strconv.ParseFloat(s, 64) }, func(g dangerous.Goods) string {
		if g.WattHours == 0 {
			return ""
		}
		return strconv.FormatFloat(g.WattHours, 'f', -1, 64)
	}},
}

func whole(n int64) string {
	if n == 0 {
		return ""
	}
	return strconv.FormatInt(n, 10)
}

// Goods is what an item is by the rules of transport; its UN number is empty where it
// is nothing dangerous, or nothing is told. What cannot be right, as a damaged program
// may have written it, reads as not told.
func (it *Item) Goods() dangerous.Goods {
	g := dangerous.Goods{UNNumber: it.UNNumber}
	for _, h := range hazards {
		before := g
		h.read(&g, it.Hazard[h.key])
		if it.UNNumber != "" && g.Check() != nil {
			g = before
		}
	}
	return g
}

// SetGoods says what an item is by the rules of transport. Without a UN number it is
// nothing dangerous any more, and all else that was told is taken back.
func SetGoods(tx *changelog.Tx, it *Item, g dangerous.Goods, why string) error {
	if g.UNNumber == "" {
		g = dangerous.Goods{}
	} else if err := g.Check(); err != nil {
		return fault.Misuse("look at the safety data sheet, section 14", "%s", err)
	}
	changed := false
	if it.UNNumber != g.UNNumber {
		tx.AssignText(it.ID, kind.FieldItemUNNumber, "", g.UNNumber, why)
		changed = true
	}
	for _, h := range hazards {
		if text := h.text(g); text != it.Hazard[h.key] {
			tx.AssignText(it.ID, kind.FieldItemHazard, h.key, text, why)
			changed = true
		}
	}
	if !changed {
		return fault.Hint("nothing to do", "that is what is told of %s already", it.PartNumber)
	}
	return nil
}
