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
	damaged := &Item{UNNumber: "1203", Hazard: map[string]string{"class": "77", "packing group": "IV", "net grams": "-3", "net millilitres": "5000", "name": "PETROL"}}
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
