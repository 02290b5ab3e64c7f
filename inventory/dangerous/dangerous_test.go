package dangerous

import (
	"slices"
	"strings"
	"testing"
)

// TestTableIsWhole: the table is square and says the same of a with b as of b with a.
func TestTableIsWhole(t *testing.T) {
	if len(highway) != len(columns) {
		t.Fatalf("%d rows, %d columns", len(highway), len(columns))
	}
	for i, row := range highway {
		if len(row) != len(columns) || strings.Trim(row, "*.XO") != "" {
			t.Fatalf("row %s: %q", columns[i], row)
		}
		for j := range columns {
			if highway[i][j] != highway[j][i] {
				t.Errorf("%s with %s: %c, the other way round %c", columns[i], columns[j], highway[i][j], highway[j][i])
			}
		}
	}
}

// TestEntries: what the list says can be right.
func TestEntries(t *testing.T) {
	for un := range entries {
		g, _ := Suggest(un)
		if err := g.Check(); err != nil {
			t.Errorf("UN %s: %v", un, err)
		}
		if doubts := g.Doubts(); len(doubts) > 0 && g.PackingGroup != "" {
			t.Errorf("UN %s is in doubt about itself: %v", un, doubts)
		}
	}
}

func TestSegregateBySubsidiary(t *testing.T) {
	methanol := Goods{UNNumber: "1230", Class: "3", Subsidiary: []string{"6.1"}, PackingGroup: "II", State: Liquid}
	oxygen := Goods{UNNumber: "1072", Class: "2.2", Subsidiary: []string{"5.1"}, State: Gas}
	petrol := Goods{UNNumber: "1203", Class: "3", PackingGroup: "II", State: Liquid}
	if got := Segregate(oxygen, petrol); got.Mark != Apart {
		t.Errorf("5.1 as a subsidiary hazard with 3: %q", got.Mark)
	}
	if got := Segregate(methanol, petrol); got.Mark != Free {
		t.Errorf("6.1 of packing group II with 3: %q, %v", got.Mark, got.Why)
	}
	acid := Goods{Class: "8", State: Solid}
	if got := Segregate(acid, Goods{Class: "4.2"}); got.Mark != Free || got.Why != nil {
		t.Errorf("a solid of class 8: the table is about liquids: %+v", got)
	}
	acid.State = ""
	if got := Segregate(acid, Goods{Class: "4.2"}); got.Mark != Never {
		t.Errorf("what may be a liquid is taken as one: %q", got.Mark)
	}
}

// TestGroups goes through cells of 49 CFR 177.848 (f).
func TestGroups(t *testing.T) {
	for _, c := range []struct {
		a, b string
		want Mark
	}{
		{"1.4G", "1.4G", Free}, {"1.4G", "1.3G", Free}, {"1.1A", "1.1B", Never}, {"1.1C", "1.1D", Together}, {"1.1D", "1.1E", Together}, {"1.3G", "1.1D", Together},
		{"1.1F", "1.1D", Never}, {"1.4S", "1.1D", Together}, {"1.4S", "1.1A", Never}, {"1.1L", "1.1L", Never}, {"1.4S", "1.1L", Never}, {"1.6N", "1.1D", Together},
		{"1.6N", "1.3G", Never}, {"1.1B", "1.1D", Together}, {"1.1B", "1.1C", Never}, {"1.1", "1.1D", Never}, {"1.4S", "1.4S", Free}, {"1.3K", "1.3J", Never},
	} {
		if got := Segregate(Goods{Class: c.a}, Goods{Class: c.b}); got.Mark != c.want {
			t.Errorf("%s with %s: %q, want %q", c.a, c.b, got.Mark, c.want)
		}
	}
}

func TestCheck(t *testing.T) {
	good := Goods{UNNumber: "1230", Class: "3", Subsidiary: []string{"6.1"}, PackingGroup: "II", State: Liquid, NetMillilitres: 500}
	if err := good.Check(); err != nil {
		t.Error(err)
	}
	for name, spoil := range map[string]func(*Goods){
		"UN number":        func(g *Goods) { g.UNNumber = "UN1230" },
		"class":            func(g *Goods) { g.Class = "10" },
		"group":            func(g *Goods) { g.Class = "1.4Z" },
		"of another class": func(g *Goods) { g.Class = "3S" },
		"subsidiary":       func(g *Goods) { g.Subsidiary = []string{"6"} },
		"itself":           func(g *Goods) { g.Subsidiary = []string{"3"} },
		"packing group":    func(g *Goods) { g.PackingGroup = "2" },
		"state":            func(g *Goods) { g.State = "wet" },
		"zone":             func(g *Goods) { g.Zone = "E" },
		"both quantities":  func(g *Goods) { g.NetGrams = 5 },
		"below 0":          func(g *Goods) { g.NetMillilitres = -1 },
	} {
		g := good
		spoil(&g)
		if g.Check() == nil {
			t.Errorf("%s: %+v passes", name, g)
		}
	}
}

func TestDoubts(t *testing.T) {
	g := Goods{UNNumber: "1203", Class: "8", PackingGroup: "III", Subsidiary: []string{"6.1"}}
	if doubts := g.Doubts(); len(doubts) != 3 {
		t.Errorf("%q", doubts)
	}
	if doubts := (Goods{UNNumber: "9999", Class: "8"}).Doubts(); doubts != nil {
		t.Errorf("a number that is not in the list: %q", doubts)
	}
	// Aerosols are of 2.1 or 2.2, by what is in them, and so are their subsidiary hazards.
	for class, doubted := range map[string]int{"2.1": 0, "2.2": 0, "3": 1} {
		if doubts := (Goods{UNNumber: "1950", Class: class, Subsidiary: []string{"8"}}).Doubts(); len(doubts) != doubted {
			t.Errorf("aerosols of class %s: %q", class, doubts)
		}
	}
	if g, ok := Suggest("1950"); !ok || g.Class != "" || g.Name != "AEROSOLS" {
		t.Errorf("of several classes none is suggested: %+v", g)
	}
	if doubts := (Goods{UNNumber: "1203"}).Doubts(); doubts != nil {
		t.Errorf("nothing was told: %q", doubts)
	}
}

// TestSum adds up a small load.
func TestSum(t *testing.T) {
	ion, _ := Suggest("3480")
	ion.NetGrams, ion.WattHours, ion.State = 620, 129.6, Solid
	petrol, _ := Suggest("1203")
	petrol.NetMillilitres, petrol.State = 5000, Liquid
	unknown := Goods{UNNumber: "1993"}
	s := Sum([]Piece{{ion, "BAT-1", 3, "CR-2"}, {petrol, "FUE-1", 2, "CR-1"}, {ion, "BAT-1", 1, "CR-1"}, {unknown, "PNT-1", 1, "CR-3"}, {Goods{}, "CON-1", 9, "CR-3"}})
	if len(s.Lines) != 3 {
		t.Fatalf("%d lines", len(s.Lines))
	}
	if l := s.Lines[2]; l.Goods.UNNumber != "3480" || l.NetGrams != 4*620 || !slices.Equal(l.Packages, []string{"CR-1", "CR-2"}) || Quantity(l.NetGrams, l.NetMillilitres) != "2.48 kg" {
		t.Errorf("%+v", l)
	}
	if l := s.Lines[0]; l.NetMillilitres != 10_000 || Quantity(l.NetGrams, l.NetMillilitres) != "10 L" {
		t.Errorf("%+v", l)
	}
	if want := []string{"PNT-1, UN 1993: proper shipping name, class, net quantity"}; !slices.Equal(s.Missing, want) {
		t.Errorf("%q", s.Missing)
	}
	if !slices.Equal(s.Lines[1].Undescribed, []string{"PNT-1"}) {
		t.Errorf("%q", s.Lines[1].Undescribed)
	}
	if len(s.Pairs) != 1 || !s.Pairs[0].Air || !slices.Equal(s.Pairs[0].Packages, []string{"CR-1"}) || !strings.Contains(s.Pairs[0].Words(), "both in CR-1. By air lithium") {
		t.Errorf("%+v", s.Pairs)
	}
	if len(s.Notes) != 3 || !strings.Contains(strings.Join(s.Notes, "\n"), "over 100 Wh") {
		t.Errorf("%q", s.Notes)
	}
	if empty := Sum(nil); empty.Lines != nil || empty.Pairs != nil {
		t.Errorf("of nothing: %+v", empty)
	}
}

// TestInEquipment: batteries in equipment have numbers of their own, which the list has.
func TestInEquipment(t *testing.T) {
	for un, want := range map[string]string{"3480": "3481", "3090": "3091", "3551": "3552", "3481": "", "1203": "", "": ""} {
		got := Goods{UNNumber: un}.InEquipment()
		if got != want || want != "" && !strings.Contains(entries[got].name, "CONTAINED IN") {
			t.Errorf("UN %s in equipment: %q (%s), want %q", un, got, entries[got].name, want)
		}
	}
}
