package stock

import "testing"

func TestDoubtOf(t *testing.T) {
	const day = "2027-01-05"
	stacks := []Stack{{Lot: "", Quantity: 5}, {Lot: "late", Quantity: 4, Expires: "2028-01-01"}, {Lot: "soon", Quantity: 3, Expires: "2027-02-01"},
		{Lot: "gone", Quantity: 9, Expires: "2027-01-04"}, {Lot: "today", Quantity: -2, Expires: day}, {Lot: "held", Quantity: 9, Expires: "2027-01-06", Quarantined: true},
		{Lot: "held and gone", Quantity: 9, Expires: "2026-01-06", Quarantined: true}}
	for _, c := range []struct {
		lot   string
		want  Doubt
		first string
	}{
		{"soon", NoDoubt, "soon"},
		{"late", NotFirst, "soon"},
		{"", NotFirst, "soon"},
		{"gone", Expired, "gone"},
		{"held", InQuarantine, "held"},
		{"held and gone", InQuarantine, "held and gone"},
		{"today", NoDoubt, ""}, // below zero: there is nothing to doubt
		{"unknown", NoDoubt, ""},
	} {
		if got, first := DoubtOf(stacks, c.lot, day); got != c.want || first.Lot != c.first {
			t.Errorf("DoubtOf %q = %d, %q; want %d, %q", c.lot, got, first.Lot, c.want, c.first)
		}
	}
}

func TestHoldCovers(t *testing.T) {
	everywhere, here := Hold{ID: dot(9), Item: dot(1), Lot: "L1"}, Hold{ID: dot(9), Item: dot(1), Lot: "L1", At: dot(5)}
	for _, c := range []struct {
		name        string
		hold        Hold
		shelf       Shelf
		quarantined bool
	}{
		{"everywhere", everywhere, Shelf{dot(1), "L1", dot(6)}, true},
		{"here", here, Shelf{dot(1), "L1", dot(5)}, true},
		{"elsewhere", here, Shelf{dot(1), "L1", dot(6)}, false},
		{"another_lot", everywhere, Shelf{dot(1), "L2", dot(5)}, false},
		{"another_item", everywhere, Shelf{dot(2), "L1", dot(5)}, false},
		{"released", Hold{Item: dot(1), Lot: "L1", Released: dot(10)}, Shelf{dot(1), "L1", dot(5)}, false},
	} {
		if got := Quarantined([]Hold{c.hold}, c.shelf); got != c.quarantined {
			t.Errorf("%s: %v; want %v", c.name, got, c.quarantined)
		}
	}
}
