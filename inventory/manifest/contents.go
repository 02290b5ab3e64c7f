package manifest

import (
	"fmt"
	"slices"

	"pulk/inventory/stock"
	"pulk/inventory/unit"
	"pulk/schema/fault"
	"pulk/schema/kind"
	"pulk/sync/change"
	"pulk/sync/changelog"
	"pulk/sync/clock"
)

// Contents is what is in a crate now.
type Contents struct {
	Lines    []Line
	Grams    int64    // of what is known
	Unknown  []string // part numbers whose mass is not known
	Inner    []string // codes of places within the crate that hold something
	Weighing *Weighing
	Outline  stock.Outline
}

// GrossGrams is what the crate weighs packed, and whether that was read from a scale
// since it last changed; else it is reckoned.
func (c Contents) GrossGrams() (grams int64, weighed bool) {
	if w := c.Weighing; w != nil && w.ReckonedGrams == c.reckoned() {
		return w.GrossGrams, true
	}
	return c.reckoned(), false
}

func (c Contents) reckoned() int64 { return c.Outline.TareGrams + c.Grams }

// Stale reports whether the crate was changed after it was put on a scale.
func (c Contents) Stale() bool { return c.Weighing != nil && c.Weighing.ReckonedGrams != c.reckoned() }

// Seal is the seal that the crate bears: that of the last weighing, if nothing in the
// crate has changed since.
func (c Contents) Seal() string {
	if c.Weighing == nil || c.Stale() {
		return ""
	}
	return c.Weighing.Seal
}

// Holds is what lies where, read once for many crates.
type Holds struct {
	levels []stock.Level
	units  []*unit.Unit
	places []*stock.Location
	items  map[clock.Dot]*stock.Item
}

// ReadHolds reads what lies where.
func ReadHolds(tx *changelog.Tx) (*Holds, error) {
	h := &Holds{items: map[clock.Dot]*stock.Item{}}
	var err error
	if h.levels, err = stock.Levels(tx); err != nil {
		return nil, err
	}
	if h.units, err = unit.List(tx, unit.Filter{}); err != nil {
		return nil, err
	}
	if h.places, err = stock.Locations(tx); err != nil {
		return nil, err
	}
	items, err := stock.Items(tx)
	for _, it := range items {
		h.items[it.ID] = it
	}
	return h, err
}

// Places are all locations, by code.
func (h *Holds) Places() []*stock.Location { return h.places }

// Item is an item; nil where it is not here yet.
func (h *Holds) Item(id clock.Dot) *stock.Item { return h.items[id] }

// Within is the codes of the places that a place is in, the nearest first.
func (h *Holds) Within(place *stock.Location) []*stock.Location {
	var list []*stock.Location
	for parent := place.Parent; !parent.IsZero(); {
		i := slices.IndexFunc(h.places, func(l *stock.Location) bool { return l.ID == parent })
		if i < 0 || slices.Contains(list, h.places[i]) {
			break
		}
		list = append(list, h.places[i])
		parent = h.places[i].Parent
	}
	return list
}

// In returns what is in a crate now, by item, lot and serial.
func (h *Holds) In(tx *changelog.Tx, crate *stock.Location) (Contents, error) {
	c := Contents{Outline: crate.Outline}
	grams := func(it *stock.Item, n int64) int64 {
		if it != nil && it.MassGrams > 0 {
			return it.MassGrams * n
		}
		part := "an item that is not here yet"
		if it != nil {
			part = it.PartNumber
		}
		if !slices.Contains(c.Unknown, part) {
			c.Unknown = append(c.Unknown, part)
		}
		return 0
	}
	for _, l := range h.levels {
		if l.Location.ID == crate.ID && l.Quantity > 0 {
			c.Lines = append(c.Lines, Line{Item: l.Item.ID, Lot: l.Lot, Quantity: l.Quantity, Grams: grams(l.Item, l.Quantity)})
		}
	}
	at := map[clock.Dot]int{} // line of an outermost unit
	for _, u := range h.units {
		if u.Place == crate.ID && !u.Installed() {
			at[u.ID] = len(c.Lines)
			c.Lines = append(c.Lines, Line{Item: u.Item, Lot: u.Lot, Unit: u.ID, Quantity: 1, Grams: grams(h.items[u.Item], 1)})
		}
	}
	for _, u := range h.units {
		if u.Place == crate.ID && u.Installed() {
			if i, ok := at[h.outermost(u)]; ok {
				c.Lines[i].Grams += grams(h.items[u.Item], 1)
			}
		}
	}
	for _, l := range c.Lines {
		c.Grams += l.Grams
	}
	slices.SortStableFunc(c.Lines, func(a, b Line) int { return a.Piece().Compare(b.Piece()) })
	slices.Sort(c.Unknown)
	c.Inner = h.innerOf(crate)
	list, err := weighings(tx, crate.ID)
	if err != nil {
		return c, err
	}
	list, err = standing(tx, list, func(w Weighing) clock.Dot { return w.ID })
	if len(list) > 0 {
		c.Weighing = &list[0]
	}
	return c, err
}

// outermost is the unit that a unit is in at last.
func (h *Holds) outermost(u *unit.Unit) clock.Dot {
	for range len(h.units) {
		if !u.Installed() {
			break
		}
		i := slices.IndexFunc(h.units, func(v *unit.Unit) bool { return v.ID == u.Assembly })
		if i < 0 {
			break
		}
		u = h.units[i]
	}
	return u.ID
}

// innerOf names the places within a crate where something lies.
func (h *Holds) innerOf(crate *stock.Location) []string {
	within := stock.Within(h.places, crate.ID)
	var codes []string
	add := func(place clock.Dot, code string) {
		if place != crate.ID && within[place] && !slices.Contains(codes, code) {
			codes = append(codes, code)
		}
	}
	for _, l := range h.levels {
		if l.Quantity > 0 {
			add(l.Location.ID, l.Location.Code)
		}
	}
	for _, u := range h.units {
		for _, l := range h.places {
			if l.ID == u.Place {
				add(l.ID, l.Code)
			}
		}
	}
	slices.Sort(codes)
	return codes
}

// Weigh says what a packed crate weighs on a scale, and which seal it bears. It returns
// what its record comes to.
func Weigh(tx *changelog.Tx, crate *stock.Location, grams int64, seal, note string) (reckoned int64, err error) {
	if !crate.IsCrate() {
		return 0, notACrate(crate)
	}
	if grams < 1 || grams > stock.MaxCrateGrams {
		return 0, fault.Misuse("like 43.5kg", "no crate weighs that")
	}
	h, err := ReadHolds(tx)
	if err != nil {
		return 0, err
	}
	c, err := h.In(tx, crate)
	if err != nil {
		return 0, err
	}
	if most := crate.Outline.GrossGramsMax; most > 0 && grams > most {
		return 0, fault.Refuse("take something out; or if the crate bears more: pulk crate change "+crate.Code+" --max MASS",
			"%s may weigh %s packed, not %s", crate.Code, kilograms(most), kilograms(grams))
	}
	tx.Add(change.New(kind.CrateWeigh, change.Ref(crate.ID), change.Num(grams), change.Num(c.reckoned()), change.Text(seal), change.Text(note)))
	return c.reckoned(), nil
}

func notACrate(l *stock.Location) error {
	return fault.Misuse("say what it is like: pulk crate change "+l.Code+" --outside 1200x800x600 --tare 28kg", "%s is a place and no crate", l.Code)
}

func kilograms(grams int64) string { return fmt.Sprintf("%g kg", float64(grams)/1000) }
