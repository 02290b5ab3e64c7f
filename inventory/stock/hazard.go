package stock

import (
	"slices"
	"strconv"
	"strings"

	"pulk/inventory/dangerous"
	"pulk/schema/fault"
	"pulk/schema/kind"
	"pulk/sync/changelog"
)

// hazard is one thing that is told of dangerous goods: its key in the field item.hazard,
// which stands in ids of conflicts and so has no space, and how it is read from, and written as, a text.
type hazard struct {
	key  string
	read func(*dangerous.Goods, string)
	text func(dangerous.Goods) string
}

// hazards is how what is told of dangerous goods is kept: a text for each.
var hazards = []hazard{
	{"name", func(g *dangerous.Goods, s string) { g.Name = s }, func(g dangerous.Goods) string { return g.Name }},
	{"class", func(g *dangerous.Goods, s string) { g.Class = s }, func(g dangerous.Goods) string { return g.Class }},
	{"subsidiary", func(g *dangerous.Goods, s string) { g.Subsidiary = strings.Fields(s) }, func(g dangerous.Goods) string { return strings.Join(g.Subsidiary, " ") }},
	{"packing-group", func(g *dangerous.Goods, s string) { g.PackingGroup = s }, func(g dangerous.Goods) string { return g.PackingGroup }},
	{"state", func(g *dangerous.Goods, s string) { g.State = dangerous.State(s) }, func(g dangerous.Goods) string { return string(g.State) }},
	{"zone", func(g *dangerous.Goods, s string) { g.Zone = s }, func(g dangerous.Goods) string { return g.Zone }},
	{"net-grams", func(g *dangerous.Goods, s string) { g.NetGrams, _ = strconv.ParseInt(s, 10, 64) }, func(g dangerous.Goods) string { return whole(g.NetGrams) }},
	{"net-millilitres", func(g *dangerous.Goods, s string) { g.NetMillilitres, _ = strconv.ParseInt(s, 10, 64) }, func(g dangerous.Goods) string { return whole(g.NetMillilitres) }},
	{"watt-hours", func(g *dangerous.Goods, s string) { g.WattHours, _ = strconv.ParseFloat(s, 64) }, func(g dangerous.Goods) string {
		if g.WattHours == 0 {
			return ""
		}
		return strconv.FormatFloat(g.WattHours, 'f', -1, 64)
	}},
}

// word is what people call what is told.
func (h hazard) word() string {
	switch h.key {
	case "name":
		return "proper shipping name"
	case "net-grams", "net-millilitres":
		return "net quantity"
	case "packing-group":
		return "packing group"
	}
	return h.key
}

func whole(n int64) string {
	if n == 0 {
		return ""
	}
	return strconv.FormatInt(n, 10)
}

// Goods is what an item is by the rules of transport; its UN number is empty where it
// is nothing dangerous, or nothing is told. What cannot be right, as a damaged program
// may have written it, reads as not told, and so does what sites tell differently.
func (it *Item) Goods() dangerous.Goods {
	g := dangerous.Goods{UNNumber: it.UNNumber}
	if slices.Contains(it.Contested, kind.LookupField(kind.FieldItemUNNumber).Name) {
		g.Contested = append(g.Contested, "UN number")
	}
	for _, h := range hazards {
		if it.hazardContested[h.key] {
			g.Contested = append(g.Contested, h.word())
			continue
		}
		before := g
		h.read(&g, it.Hazard[h.key])
		if it.UNNumber != "" && g.Check() != nil {
			g = before
		}
	}
	// One site told a mass, another one a volume: which of them holds is not known.
	if g.NetGrams > 0 && it.otherNet() {
		g.NetGrams, g.Contested = 0, append(g.Contested, "net quantity")
	}
	g.Contested = slices.Compact(g.Contested)
	return g
}

// otherNet reports whether a volume is told as well.
func (it *Item) otherNet() bool {
	n, err := strconv.ParseInt(it.Hazard["net-millilitres"], 10, 64)
	return err == nil && n > 0 && n <= dangerous.NetMax
}

// SetGoods says what an item is by the rules of transport. Without a UN number it is
// nothing dangerous any more, and all else that was told is taken back.
func SetGoods(tx *changelog.Tx, it *Item, g dangerous.Goods, why string) error {
	if g.UNNumber == "" {
		g = dangerous.Goods{}
	} else if err := g.Check(); err != nil {
		return fault.Misuse("look at the safety data sheet, section 14", "%s", err)
	}
	was := it.Goods()
	changed := false
	if it.UNNumber != g.UNNumber || slices.Contains(was.Contested, "UN number") {
		tx.AssignText(it.ID, kind.FieldItemUNNumber, "", g.UNNumber, why)
		changed = true
	}
	for _, h := range hazards {
		if text := h.text(g); text != it.Hazard[h.key] || it.hazardContested[h.key] {
			tx.AssignText(it.ID, kind.FieldItemHazard, h.key, text, why)
			changed = true
		}
	}
	if !changed {
		return fault.Hint("nothing to do", "that is what is told of %s already", it.PartNumber)
	}
	return nil
}
