// Package dangerous knows what dangerous goods are by the rules of their transport, sums
// them up, and tells what published tables say of goods that lie together.
//
// Nothing here permits anything. A trained and certified shipper decides, by the edition
// of the regulations in force, the rules of the mode and those of the carrier. What a
// table says is told with the table's name.
package dangerous

import (
	"fmt"
	"slices"
	"strconv"
	"strings"
)

// Caution stands before every list of dangerous goods.
const Caution = "This list is no declaration. A trained and certified shipper classifies, packs, marks, labels and declares dangerous goods, by the edition of the regulations in force, the rules of each mode and those of each carrier."

// State is the physical state of goods.
type State string

// The states; empty where nothing is told.
const (
	Solid  State = "solid"
	Liquid State = "liquid"
	Gas    State = "gas"
)

// Goods is what an item is by the rules of transport. Texts are empty where nothing is
// told.
type Goods struct {
	UNNumber     string   // four digits
	Name         string   // proper shipping name
	Class        string   // class or division, of class 1 with its compatibility group: 3, 2.1, 1.4S
	Subsidiary   []string // subsidiary hazards: classes or divisions
	PackingGroup string   // I, II, III, or empty
	State        State
	Zone         string // hazard zone A, B, C or D of what is toxic by inhalation
	// What is in one unit of issue, net: one of the two, 0 where nothing is told.
	NetGrams       int64
	NetMillilitres int64
	WattHours      float64 // of a battery in one unit of issue; 0 where nothing is told

	// Contested names what sites tell differently, in words; it reads as not told.
	Contested []string
}

// The classes and divisions of the UN Model Regulations, part 2.
var classes = []string{"1.1", "1.2", "1.3", "1.4", "1.5", "1.6", "2.1", "2.2", "2.3", "3", "4.1", "4.2", "4.3", "5.1", "5.2", "6.1", "6.2", "7", "8", "9"}

// Compatibility groups of class 1 (UN Model Regulations, 2.1.2.1.1).
const groups = "ABCDEFGHJKLNS"

// SplitClass splits a class 1 with its compatibility group, such as 1.4S.
func SplitClass(class string) (division, group string) {
	if strings.HasPrefix(class, "1.") && len(class) == 4 && strings.Contains(groups, class[3:]) {
		return class[:3], class[3:]
	}
	return class, ""
}

// CheckClass reports whether a text is a class or division.
func CheckClass(class string) error {
	division, _ := SplitClass(class)
	if !slices.Contains(classes, division) {
		return fmt.Errorf("%q is no class or division: like 3, 2.1, 1.4S, 9", class)
	}
	return nil
}

// Check says what cannot be right about goods, whatever is not told.
func (g Goods) Check() error {
	if len(g.UNNumber) != 4 || strings.Trim(g.UNNumber, "0123456789") != "" {
		return fmt.Errorf("%q is no UN number: four digits", g.UNNumber)
	}
	for _, class := range append(slices.Clone(g.Subsidiary), g.Class) {
		if class == "" {
			continue
		}
		if err := CheckClass(class); err != nil {
			return err
		}
	}
	switch {
	case slices.Contains(g.Subsidiary, g.Class):
		return fmt.Errorf("class %s is no subsidiary hazard to itself", g.Class)
	case !slices.Contains([]string{"", "I", "II", "III"}, g.PackingGroup):
		return fmt.Errorf("%q is no packing group: I, II, III, or nothing", g.PackingGroup)
	case !slices.Contains([]State{"", Solid, Liquid, Gas}, g.State):
		return fmt.Errorf("%q is no state: solid, liquid or gas", g.State)
	case !slices.Contains([]string{"", "A", "B", "C", "D"}, g.Zone):
		return fmt.Errorf("%q is no hazard zone: A, B, C, D, or nothing", g.Zone)
	case g.NetGrams < 0 || g.NetMillilitres < 0 || g.NetGrams > NetMax || g.NetMillilitres > NetMax:
		return fmt.Errorf("a net quantity is not below 0, and not above %s", Quantity(NetMax, 0))
	case !(g.WattHours >= 0 && g.WattHours <= wattHoursMax): // NaN neither
		return fmt.Errorf("%g is no number of watt-hours", g.WattHours)
	case g.NetGrams > 0 && g.NetMillilitres > 0:
		return fmt.Errorf("a net quantity is a mass or a volume, not both")
	}
	return nil
}

// Missing names what a summary needs and is not told.
func (g Goods) Missing() []string {
	var list []string
	for _, what := range []struct {
		missing bool
		name    string
	}{
		{g.Name == "", "proper shipping name"}, {g.Class == "", "class"}, {g.NetGrams == 0 && g.NetMillilitres == 0, "net quantity"},
	} {
		if what.missing && !slices.Contains(g.Contested, what.name) {
			list = append(list, what.name)
		}
	}
	for _, name := range g.Contested {
		list = append(list, name+" (sites tell it differently)")
	}
	return list
}

// UN is the number as it is written: UN 3480.
func (g Goods) UN() string {
	if g.UNNumber == "" {
		return "UN number not known"
	}
	return "UN " + g.UNNumber
}

// ClassText is the class with its subsidiary hazards, as 3 (6.1).
func (g Goods) ClassText() string {
	if len(g.Subsidiary) == 0 {
		return g.Class
	}
	return g.Class + " (" + strings.Join(g.Subsidiary, ", ") + ")"
}

// WattHoursOf is the energy of a battery in watt-hours: nominal voltage times rated
// capacity in ampere-hours (UN Model Regulations, special provision 188).
func WattHoursOf(volts, ampereHours float64) float64 { return volts * ampereHours }

// ListSource names what [Goods.Doubts] and [Suggest] read.
const ListSource = "this program's own list, after the UN Model Regulations, 23rd revised edition (2023), from memory"

// Doubts compares goods with the list of UN numbers that this program has, and says what
// differs. What is not in that list is in no doubt.
func (g Goods) Doubts() []string {
	e, ok := entries[g.UNNumber]
	if !ok {
		return nil
	}
	var list []string
	classes := strings.Split(e.class, "/")
	if g.Class != "" && !slices.Contains(classes, g.Class) {
		list = append(list, fmt.Sprintf("UN %s is of class %s, and not %s", g.UNNumber, strings.Join(classes, " or "), g.Class))
	}
	// Where the class is one of several, so are the subsidiary hazards.
	if want := strings.Fields(e.subsidiary); g.Class != "" && len(classes) == 1 && !slices.Equal(sorted(want), sorted(g.Subsidiary)) {
		list = append(list, fmt.Sprintf("UN %s has the subsidiary hazards %s, and not %s", g.UNNumber, orNone(want), orNone(g.Subsidiary)))
	}
	if may := strings.Split(e.packingGroups, "/"); g.Class != "" && !slices.Contains(may, g.PackingGroup) {
		list = append(list, fmt.Sprintf("UN %s is of packing group %s, and not %s", g.UNNumber, orNone(slices.DeleteFunc(may, func(s string) bool { return s == "" })), orNone(strings.Fields(g.PackingGroup))))
	}
	return list
}

// Suggest returns what the list of UN numbers says of a number: its name, class and
// subsidiary hazards, and packing group, each where there is only one.
func Suggest(unNumber string) (Goods, bool) {
	e, ok := entries[unNumber]
	g := Goods{UNNumber: unNumber, Name: e.name, Subsidiary: strings.Fields(e.subsidiary)}
	if !strings.Contains(e.class, "/") {
		g.Class = e.class
	}
	if !strings.Contains(e.packingGroups, "/") {
		g.PackingGroup = e.packingGroups
	}
	return g, ok
}

func sorted(list []string) []string {
	list = slices.Clone(list)
	slices.Sort(list)
	return list
}

func orNone(list []string) string {
	if len(list) == 0 {
		return "none"
	}
	return strings.Join(list, " or ")
}

// Quantity is a net quantity in words.
func Quantity(grams, millilitres int64) string {
	var parts []string
	for _, q := range []struct {
		n    int64
		unit string
	}{{grams, "kg"}, {millilitres, "L"}} {
		if q.n > 0 {
			parts = append(parts, strconv.FormatFloat(float64(q.n)/1000, 'f', -1, 64)+" "+q.unit)
		}
	}
	return strings.Join(parts, " + ")
}
