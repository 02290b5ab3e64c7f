package dangerous

import (
	"fmt"
	"slices"
	"strings"
)

// Mark is what a table says of two classes.
type Mark string

// The marks of 49 CFR 177.848 (e).
const (
	Free     Mark = ""  // no restriction in this table
	Together Mark = "*" // class 1 with class 1: by compatibility groups
	Apart    Mark = "O" // not together unless separated so that nothing that leaks can mix
	Never    Mark = "X" // not in the same vehicle or store
)

// rank orders marks by how much they restrict.
func (m Mark) rank() int { return slices.Index([]Mark{Free, Together, Apart, Never}, m) }

// Advice is what the tables say of two goods in one vehicle or store.
type Advice struct {
	Mark   Mark
	Why    []string // in words, each with its source
	Source string
}

// HighwaySource names the table that Segregate reads.
const HighwaySource = "U.S. 49 CFR 177.848 (highway)"

// columns of the table of 49 CFR 177.848 (d), and its rows: they are the same.
var columns = []string{"1.1", "1.3", "1.4", "1.5", "1.6", "2.1", "2.2", "2.3 A", "2.3 B", "3", "4.1", "4.2", "4.3", "5.1", "5.2", "6.1 I A", "7", "8 liquid"}

// highway is the table of 49 CFR 177.848 (d), row by row in the order of columns; a dot
// is a blank. Read in a public copy of the Electronic Code of Federal Regulations
// (Amdt. 177-78, 55 FR 52712, as amended to 2022), and held cell by cell against another
// copy in the tests. 1.1 stands for 1.2 too. Note A (ammonium nitrate with 1.1 and 1.5), the
// exception of (e)(6) for goods of one class, and cyanides with acids (c) are not looked at.
var highway = strings.Fields(`
	*****XXXXXXXXXXXXX
	*****X.XXX.XXXXX.X
	*****O.OOO.O...O.O
	*****XXXXXXXXXXXXX
	*****.............
	XXOX...XO......OO.
	X..X..............
	XXOX.X...XXXXXX..X
	XXOX.O...OOOOOO..O
	XXOX...XO....O.X..
	X..X...XO......X.O
	XXOX...XO......X.X
	XX.X...XO......X.O
	XX.X...XOO.....X.O
	XX.X...XO......X.O
	XXOX.O...XXXXXX..X
	X..X.O............
	XXOX...XO.OXOOOX..
`)

// column is where a hazard of goods stands in the table; -1 where it is not there, which
// restricts nothing. What is not told is taken as the more dangerous.
func column(g Goods, class string) int {
	division, _ := SplitClass(class)
	name := division
	switch division {
	case "1.2":
		name = "1.1"
	case "2.3":
		if name = "2.3 A"; g.Zone != "" && g.Zone != "A" {
			name = "2.3 B"
		}
		if g.Zone == "C" || g.Zone == "D" {
			return -1
		}
	case "6.1":
		if g.State == Solid || g.State == Gas || g.PackingGroup == "II" || g.PackingGroup == "III" || g.Zone != "" && g.Zone != "A" {
			return -1
		}
		name = "6.1 I A"
	case "8":
		if g.State == Solid || g.State == Gas {
			return -1
		}
		name = "8 liquid"
	}
	return slices.Index(columns, name)
}

// Segregate says what 49 CFR 177.848 says of two goods in one vehicle or store: of their
// classes, and of their subsidiary hazards where those restrict more.
func Segregate(a, b Goods) Advice {
	out := Advice{Source: HighwaySource}
	for _, x := range append([]string{a.Class}, a.Subsidiary...) {
		for _, y := range append([]string{b.Class}, b.Subsidiary...) {
			i, j := column(a, x), column(b, y)
			if i < 0 || j < 0 {
				continue
			}
			mark := Mark(strings.Trim(highway[i][j:j+1], "."))
			if mark == Together {
				mark = ofGroups(x, y)
			}
			if mark.rank() > out.Mark.rank() {
				out.Mark = mark
			}
			if mark != Free {
				out.Why = append(out.Why, fmt.Sprintf("%s with %s: %s", x, y, mark.words()))
			}
			if liquidOver(columns[i], columns[j]) {
				out.Why = append(out.Why, "corrosive liquids not above or next to classes 4 and 5, whatever separates them: (e)(3)")
			}
		}
	}
	return out
}

// liquidOver reports whether one is a corrosive liquid and the other of class 4 or 5.
func liquidOver(x, y string) bool {
	four := func(s string) bool { return s[0] == '4' || s[0] == '5' }
	return x == "8 liquid" && four(y) || y == "8 liquid" && four(x)
}

func (m Mark) words() string {
	switch m {
	case Never:
		return "not together: X"
	case Apart:
		return "not together unless separated so that nothing that leaks can mix: O"
	case Together:
		return "only as the table of compatibility groups (f) and its notes (g) allow: *"
	}
	return "no restriction in this table"
}

// ofGroups is what the table of compatibility groups, 49 CFR 177.848 (f), says of two
// explosives. Groups that are not told are taken as not together. Where the table has
// a number, a condition is attached: that is for who is trained to judge.
func ofGroups(x, y string) Mark {
	_, a := SplitClass(x)
	_, b := SplitClass(y)
	switch {
	case a == "" || b == "" || a == "L" || b == "L":
		return Never
	case a == b:
		return Free
	case a == "S" || b == "S":
		return conditional(a, b, "A")
	}
	pair := sorted([]string{a, b})
	for _, allowed := range []string{"CD", "CE", "DE", "CG", "DG", "EG", "CN", "DN", "EN", "BD"} {
		if pair[0]+pair[1] == allowed {
			return Together
		}
	}
	return Never
}

// conditional is group S with another: the table has 4/5 everywhere but with A and L.
func conditional(a, b, never string) Mark {
	if a == never || b == never {
		return Never
	}
	return Together
}

// AirSource names what AirAdvice reads.
const AirSource = "ICAO Technical Instructions and IATA Dangerous Goods Regulations (packing instructions 965 and 968, Table 9.3.A)"

// Lithium reports whether goods are lithium batteries by themselves, neither in nor with
// equipment: UN 3480 (ion) and 3090 (metal).
func (g Goods) Lithium() bool { return g.UNNumber == "3480" || g.UNNumber == "3090" }

// InEquipment is the UN number that batteries by themselves get when they are contained in
// equipment or packed with it; empty where there is none (UN Model Regulations, chapter
// 3.2: 3480 and 3481 ion, 3090 and 3091 metal, 3551 and 3552 sodium ion).
func (g Goods) InEquipment() string {
	return map[string]string{"3480": "3481", "3090": "3091", "3551": "3552"}[g.UNNumber]
}

// AirSegregate reports whether the air rules ask for lithium batteries by themselves to be
// kept from other goods: from class 1 but for 1.4S, from 2.1, 3, 4.1 and 5.1. Source:
// AirSource, as summarised in public packing instructions.
func AirSegregate(a, b Goods) bool {
	if b.Lithium() {
		a, b = b, a
	}
	if !a.Lithium() || b.Lithium() {
		return false
	}
	for _, class := range append([]string{b.Class}, b.Subsidiary...) {
		division, group := SplitClass(class)
		if division == "2.1" || division == "3" || division == "4.1" || division == "5.1" ||
			strings.HasPrefix(division, "1.") && !(division == "1.4" && group == "S") {
			return true
		}
	}
	return false
}

// Limits of section II of packing instructions 965 to 970: what is above is fully
// regulated.
const (
	SectionTwoIonBatteryWattHours     = 100
	SectionTwoIonCellWattHours        = 20 // from memory
	SectionTwoMetalBatteryGramLithium = 2
	SectionTwoMetalCellGramLithium    = 1
	IonChargePercentMax               = 30 // of UN 3480 by air, without approval
)

// AirNotes tells what the air rules are known to say of goods by themselves.
func (g Goods) AirNotes() []string {
	var list []string
	switch g.UNNumber {
	case "3480":
		list = append(list, "forbidden as cargo on passenger aircraft", fmt.Sprintf("charged to not more than %d %% of rated capacity, without approval", IonChargePercentMax))
	case "3090":
		list = append(list, "forbidden as cargo on passenger aircraft")
	}
	if ion := g.UNNumber == "3480" || g.UNNumber == "3481"; ion && g.WattHours > SectionTwoIonBatteryWattHours {
		list = append(list, fmt.Sprintf("over %d Wh: fully regulated", SectionTwoIonBatteryWattHours))
	}
	return list
}
