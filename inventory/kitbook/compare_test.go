package kitbook

import (
	"math"
	"testing"

	"pulk/inventory/kit"
	"pulk/sync/clock"
)

func itemDot(n uint64) clock.Dot { return clock.Dot{Lane: clock.Lane{Site: 1}, Seq: n} }

func TestCompare(t *testing.T) {
	spare := func(n uint64, send int64, odds float64) Line {
		return Line{Item: itemDot(n), Basis: kit.Spare, Send: send, Odds: odds, MassGrams: 100 * send}
	}
	a := &Plan{Lines: []Line{spare(1, 2, 0.99), spare(2, 3, 0.95), {Item: itemDot(3), Basis: kit.Consumable, Send: 7, Odds: -1}, spare(4, 1, 0.9)}}
	b := &Plan{Lines: []Line{spare(2, 1, 0.75), spare(1, 2, 0.99), {Item: itemDot(3), Basis: kit.Consumable, Send: 9, Odds: -1}, {Item: itemDot(4), Basis: kit.Consumable, Send: 1, Odds: -1}}}
	list := Compare(a, b)
	if len(list) != 5 {
		t.Fatalf("%d pairs, want 5: one item is a spare in one plan and a consumable in the other", len(list))
	}
	if first := list[0]; first.Item != itemDot(2) || math.Abs(first.RiskMoved()-0.2) > 1e-12 {
		t.Errorf("first is %+v, by %v; want item 2, whose risk grew by 0.2", first, first.RiskMoved())
	}
	if last := list[4]; last.Item != itemDot(1) || !last.Same() {
		t.Errorf("last is %+v; want item 1, which is the same", last)
	}
	for _, p := range list[1:4] {
		if p.RiskMoved() != 0 || p.Same() {
			t.Errorf("%+v: risk moved %v, the same: %v", p, p.RiskMoved(), p.Same())
		}
	}
	if got := a.Totals(); got.MassGrams != 600 || got.Pieces != 13 {
		t.Errorf("totals %+v", got)
	}
}
