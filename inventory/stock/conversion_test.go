package stock

import (
	"errors"
	"fmt"
	"testing"

	"pgregory.net/rapid"

	"pulk/schema/fault"
	"pulk/sync/clock"
)

func TestConvert(t *testing.T) {
	packs := []Pack{{Name: "box", Quantity: 100}, {Name: "roll", Quantity: 50}, {Name: "bag", Quantity: 12}, {Name: "bag", Quantity: 10}}
	for _, c := range []struct {
		text string
		want int64
	}{
		{"250", 250}, {"0", 0}, {"-3", -3}, {"250m", 250}, {"2box", 200}, {"2 box + 30 m", 230}, {"2.5roll", 125}, {"0.01box", 1}, {"2box+30", 230}, {"30+2box+0.5roll", 255},
		{"1.5+0.5", 2}, {"0.1roll+0.1roll+0.1roll", 15}, {"90071992547409.93box", 9007199254740993},
	} {
		if got, err := Convert(c.text, "m", packs); err != nil || got != c.want {
			t.Errorf("Convert %q = %d, %v; want %d", c.text, got, err, c.want)
		}
	}
	for text, want := range map[string]string{
		"":                      `"" is no quantity`,
		"box":                   `"box" is no quantity`,
		"2box+":                 `"2box+" is no quantity`,
		"2crate":                "it is not known how much is in a crate",
		"2bag":                  "sites say different things of how much is in a bag: 100 in a box, 50 in a roll, 12 in a bag, 10 in a bag",
		"0.333box":              "0.333box is 33.300 m",
		"2.5":                   "2.5 is 2.500 m",
		"1.2.3box":              `"1.2.3box" is no quantity`,
		"999999999999999999box": "999999999999999999box is too much",
	} {
		if got, err := Convert(text, "m", packs); err == nil || err.Error() != want && err.Error() != "refused: "+want {
			t.Errorf("Convert %q = %d, %v; want %s", text, got, err, want)
		}
	}
	var refused *fault.Refused
	if _, err := Convert("1bag", "m", packs); !errors.As(err, &refused) {
		t.Errorf("a pack in conflict gave %v; want a refusal", err)
	}
}

// Whole packs and single pieces add up.
func TestConvertAddsUp(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		size, n, more := rapid.Int64Range(1, 1_000_000).Draw(t, "size"), rapid.Int64Range(0, 1000).Draw(t, "packs"), rapid.Int64Range(0, 1000).Draw(t, "more")
		got, err := Convert(fmt.Sprintf("%dbox+%d", n, more), "each", []Pack{{Name: "box", Quantity: size}})
		if err != nil || got != n*size+more {
			t.Fatalf("%d boxes of %d and %d are %d, %v", n, size, more, got, err)
		}
	})
}

func TestStanding(t *testing.T) {
	pack := func(n int, name string, quantity int64, knew ...int) Pack {
		return Pack{ID: dot(n), Item: dot(1), Name: name, Quantity: quantity, Knew: func(d clock.Dot) bool {
			for _, k := range knew {
				if d == dot(k) {
					return true
				}
			}
			return false
		}}
	}
	for _, c := range []struct {
		name  string
		packs []Pack
		want  string
	}{
		{"one", []Pack{pack(10, "box", 100)}, "box 100 "},
		{"replaced", []Pack{pack(10, "box", 100), pack(11, "box", 50, 10)}, "box 50 "},
		{"taken_back", []Pack{pack(10, "box", 100), pack(11, "box", 0, 10)}, ""},
		{"two_names", []Pack{pack(10, "box", 100), pack(11, "bag", 5, 10)}, "box 100 bag 5 "},
		{"unheard", []Pack{pack(10, "box", 100), pack(11, "box", 50)}, "box 100 box 50 "},
		{"unheard_the_same", []Pack{pack(10, "box", 100), pack(11, "box", 100)}, "box 100 "},
		{"unheard_taken_back", []Pack{pack(10, "box", 100), pack(11, "box", 0, 10), pack(12, "box", 50, 10)}, "box 0 box 50 "},
		{"unheard_the_same_and_one_replaced", []Pack{pack(10, "box", 100), pack(11, "box", 100), pack(12, "box", 50, 10)}, "box 100 box 50 "},
		{"agreed", []Pack{pack(10, "box", 100), pack(11, "box", 50), pack(12, "box", 50, 10, 11)}, "box 50 "},
	} {
		got := ""
		for _, p := range Standing(c.packs) {
			got += fmt.Sprintf("%s %d ", p.Name, p.Quantity)
		}
		if got != c.want {
			t.Errorf("%s: %q; want %q", c.name, got, c.want)
		}
	}
}
