package stock

import (
	"reflect"
	"testing"

	"pulk/inventory/dangerous"
)

// TestGoodsAreKeptWhole: what is told reads back as it was, through its texts.
func TestGoodsAreKeptWhole(t *testing.T) {
	for _, g := range []dangerous.Goods{
		{UNNumber: "1230", Name: "METHANOL", Class: "3", Subsidiary: []string{"6.1"}, PackingGroup: "II", State: dangerous.Liquid, NetMillilitres: 500},
		{UNNumber: "3480", Name: "LITHIUM ION BATTERIES", Class: "9", State: dangerous.Solid, NetGrams: 620, WattHours: 129.6},
		{UNNumber: "1017", Class: "2.3", Subsidiary: []string{"5.1", "8"}, State: dangerous.Gas, Zone: "B"},
		{UNNumber: "1203"},
	} {
		it := &Item{UNNumber: g.UNNumber, Hazard: map[string]string{}}
		for _, h := range hazards {
			it.Hazard[h.key] = h.text(g)
		}
		if got := it.Goods(); !reflect.DeepEqual(clean(got), clean(g)) {
			t.Errorf("%+v reads back as %+v", g, got)
		}
	}
	damaged := &Item{UNNumber: "1203", Hazard: map[string]string{"class": "77", "packing-group": "IV", "net-grams": "-3", "net-millilitres": "5000", "name": "PETROL"}}
	if got := damaged.Goods(); got.Class != "" || got.PackingGroup != "" || got.NetGrams != 0 || got.NetMillilitres != 5000 || got.Name != "PETROL" {
		t.Errorf("what cannot be right: %+v", got)
	}
}

func clean(g dangerous.Goods) dangerous.Goods {
	if len(g.Subsidiary) == 0 {
		g.Subsidiary = nil
	}
	return g
}

// TestGoodsContested: what sites tell differently reads as not told and is named; so is
// a net quantity of which one told the mass and another one the volume.
func TestGoodsContested(t *testing.T) {
	it := &Item{UNNumber: "1203", Hazard: map[string]string{"name": "PETROL"}, hazardContested: map[string]bool{"packing-group": true, "net-grams": true, "net-millilitres": true}}
	if g := it.Goods(); !reflect.DeepEqual(g.Contested, []string{"packing group", "net quantity"}) || g.Name != "PETROL" {
		t.Errorf("%+v", g)
	}
	it = &Item{UNNumber: "1203", Hazard: map[string]string{"net-grams": "620", "net-millilitres": "500"}}
	if g := it.Goods(); !reflect.DeepEqual(g.Contested, []string{"net quantity"}) || g.NetGrams != 0 || g.NetMillilitres != 0 {
		t.Errorf("%+v", g)
	}
	it = &Item{Contested: []string{"item.un_number"}}
	if g := it.Goods(); !reflect.DeepEqual(g.Contested, []string{"UN number"}) {
		t.Errorf("%+v", g)
	}
}

// FuzzGoods: whatever text is told, what is read can be right.
func FuzzGoods(f *testing.F) {
	f.Add("1203", "class", "3", "net-grams", "620")
	f.Add("3480", "watt-hours", "NaN", "subsidiary", "5.1 8")
	f.Add("1203", "net-grams", "5", "net-millilitres", "9223372036854775807")
	f.Fuzz(func(t *testing.T, un, key, text, key2, text2 string) {
		it := &Item{UNNumber: un, Hazard: map[string]string{key: text, key2: text2}}
		g := it.Goods()
		if numberIsRight := (dangerous.Goods{UNNumber: un}).Check() == nil; numberIsRight && g.Check() != nil {
			t.Fatalf("%+v: %v", g, g.Check())
		}
		s := dangerous.Sum([]dangerous.Piece{{Goods: g, PartNumber: "A", Quantity: 2, Package: "C"}, {Goods: dangerous.Goods{UNNumber: "3480", Class: "9"}, PartNumber: "B", Quantity: 1}})
		for _, p := range s.Pairs {
			if p.Words() == "" {
				t.Fatal("advice without words")
			}
		}
	})
}
