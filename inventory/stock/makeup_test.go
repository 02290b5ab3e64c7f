package stock

import (
	"testing"

	"pulk/schema/kind"
	"pulk/sync/clock"
)

func TestMakes(t *testing.T) {
	in := func(seq int, index uint16, n int64) Movement {
		return Movement{ID: clock.Dot{Lane: clock.Lane{Site: 1}, Seq: uint64(seq), Index: index}, Kind: kind.StockReceive, Item: dot(1), To: dot(4), Quantity: n}
	}
	out := func(seq int, index uint16, n int64) Movement {
		m := in(seq, index, n)
		m.Kind, m.Item, m.From, m.To = kind.StockIssue, dot(int(index)+10), dot(4), clock.Dot{}
		return m
	}
	movements := []Movement{
		out(2, 2, 6), in(2, 0, 3), out(2, 1, 12), // three kits of two parts
		in(3, 0, 9),               // came from outside
		in(7, 0, 3), out(7, 1, 4), // uneven
		in(8, 0, 0), out(8, 1, 4), // of nothing
		out(4, 0, 2), out(4, 1, 3), // one issue of two lots
		out(5, 0, 1), in(5, 1, 4), in(5, 2, 2), // a kit broken down
	}
	makes := Makes(movements)
	if len(makes) != 1 || makes[0].Kit.Quantity != 3 || len(makes[0].Parts) != 2 || makes[0].Parts[0].Quantity != 12 || !makes[0].Stands() {
		t.Fatalf("makes = %+v; want three kits of 12 and 6", makes)
	}
	for id, want := range map[Movement]int{movements[0]: 3, movements[1]: 3, movements[3]: 0, movements[8]: 0, movements[10]: 3, movements[12]: 3} {
		if got := BalancedWith(movements, id.ID); len(got) != want {
			t.Errorf("%v is balanced with %d movements; want %d", id.ID, len(got), want)
		}
	}
	movements[2].Voided = dot(99)
	if Makes(movements)[0].Stands() {
		t.Error("a make-up with a voided part stands")
	}
}
