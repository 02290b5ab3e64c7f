package dangerous

import (
	"fmt"
	"strings"
	"testing"
)

func TestParseNet(t *testing.T) {
	for _, c := range []struct {
		text               string
		grams, millilitres int64
	}{
		{"620g", 620, 0}, {"0.62kg", 620, 0}, {"0.62 KG", 620, 0}, {"1.5L", 0, 1500}, {"500ml", 0, 500}, {" 500 mL ", 0, 500}, {"12.345kg", 12345, 0},
		{"1000000kg", 1_000_000_000, 0}, {"0.001l", 0, 1},
	} {
		if g, ml, err := ParseNet(c.text); g != c.grams || ml != c.millilitres || err != nil {
			t.Errorf("%q: %d g, %d ml (%v); want %d and %d", c.text, g, ml, err, c.grams, c.millilitres)
		}
	}
	for _, text := range []string{"", "620", "g", "kg", "0g", "0.0kg", "-5g", "+5g", "1.5g", "0.5ml", "0.0001kg", ".5kg", "5.kg", "1e3g", "1,5kg", "1000001kg", "99999999999999999999g", "5 lb", "5gg", "NaNg"} {
		if g, ml, err := ParseNet(text); err == nil {
			t.Errorf("%q is taken for %d g, %d ml", text, g, ml)
		} else if !strings.Contains(err.Error(), "like 620g") {
			t.Errorf("%q: %v: no example", text, err)
		}
	}
}

// FuzzParseNet: what is read is within bounds, one of the two, and reads back from the
// words it is shown in.
func FuzzParseNet(f *testing.F) {
	for _, seed := range []string{"620g", "0.62kg", "1.5L", "500ml", "", "1e9kg", "0x10g", "9999999999kg"} {
		f.Add(seed)
	}
	f.Fuzz(func(t *testing.T, text string) {
		g, ml, err := ParseNet(text)
		if err != nil {
			if g != 0 || ml != 0 {
				t.Fatalf("%q is refused and gives %d g, %d ml", text, g, ml)
			}
			return
		}
		goods := Goods{UNNumber: "1203", NetGrams: g, NetMillilitres: ml}
		if err := goods.Check(); err != nil || (g == 0) == (ml == 0) {
			t.Fatalf("%q: %d g, %d ml: %v", text, g, ml, err)
		}
		g2, ml2, err := ParseNet(Quantity(g, ml))
		if g2 != g || ml2 != ml || err != nil {
			t.Fatalf("%q is shown as %q, which reads as %d g, %d ml (%v)", text, Quantity(g, ml), g2, ml2, err)
		}
	})
}

// TestRating: watt-hours are volts times ampere-hours (UN Model Regulations, special
// provision 188), as on a label.
func TestRating(t *testing.T) {
	for _, c := range []struct {
		volts, ampereHours string
		want               float64
	}{{"14.4", "9", 129.6}, {"3.6 V", "2.6Ah", 9.36}, {"11.1", "8.8", 97.68}} {
		got, err := ParseRating(c.volts, c.ampereHours)
		if got != c.want || err != nil {
			t.Errorf("%s V, %s Ah: %v Wh (%v), want %v", c.volts, c.ampereHours, got, err, c.want)
		}
	}
	for _, ratings := range [][2]string{{"0.001", "0.001"}, {"1000000", "1000000"}} {
		if wh, err := ParseRating(ratings[0], ratings[1]); err == nil {
			t.Errorf("%v are taken: %v Wh", ratings, wh)
		}
	}
	for _, bad := range []string{"", "0", "-3", "NaN", "Inf", "1e2", "0x1p3", "2000000000", "3,6"} {
		if wh, err := ParseRating(bad, "1"); err == nil {
			t.Errorf("%q V is taken: %v Wh", bad, wh)
		}
		if wh, err := ParseRating("1", bad); err == nil {
			t.Errorf("%q Ah is taken: %v Wh", bad, wh)
		}
		if wh, err := ParseWattHours(bad); err == nil {
			t.Errorf("%q Wh is taken: %v", bad, wh)
		}
	}
}

// TestContestedIsNamed: what sites tell differently is named as missing, once, and
// goods whose number is in conflict stay in the summary.
func TestContestedIsNamed(t *testing.T) {
	g := Goods{UNNumber: "1203", Name: "PETROL", NetMillilitres: 5000, Contested: []string{"class"}}
	if got := fmt.Sprint(g.Missing()); got != "[class (sites tell it differently)]" {
		t.Error(got)
	}
	s := Sum([]Piece{{Goods{Contested: []string{"UN number"}, Name: "PETROL", Class: "3", NetMillilitres: 5000}, "FUE-1", 2, "CR-1"}, {Goods{}, "CON-1", 1, "CR-1"}})
	if len(s.Lines) != 1 || s.Lines[0].NetMillilitres != 10_000 || fmt.Sprint(s.Missing) != "[FUE-1, UN number not known: UN number (sites tell it differently)]" {
		t.Errorf("%+v", s)
	}
}
