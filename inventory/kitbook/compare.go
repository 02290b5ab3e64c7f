package kitbook

import (
	"cmp"
	"math"
	"slices"

	"pulk/inventory/kit"
	"pulk/sync/clock"
)

// Pair is one item of two plans. A side that has no such line is nil.
type Pair struct {
	Item  clock.Dot
	Basis kit.Basis
	A, B  *Line
}

// sides returns both lines, an empty one where a side has none.
func (p Pair) sides() (a, b Line) {
	if p.A != nil {
		a = *p.A
	}
	if p.B != nil {
		b = *p.B
	}
	return a, b
}

// Same reports whether nothing that is sent or looked for differs.
func (p Pair) Same() bool {
	a, b := p.sides()
	return p.A != nil && p.B != nil && a.Send == b.Send && a.There == b.There && a.Class == b.Class && a.Installed == b.Installed && a.Needed == b.Needed &&
		math.Abs(a.Odds-b.Odds) < 5e-5 && math.Abs(a.Expected-b.Expected) < 5e-3
}

// RiskMoved is by how much the probability of running out is greater in the second
// plan; 0 where one of them says nothing of it.
func (p Pair) RiskMoved() float64 {
	a, b := p.sides()
	if p.A == nil || p.B == nil || a.Odds < 0 || b.Odds < 0 {
		return 0
	}
	return a.Odds - b.Odds
}

// Compare puts the lines of two plans side by side: where risk moves most first, then
// what else differs, then what is the same.
func Compare(a, b *Plan) []Pair {
	type key struct {
		item  clock.Dot
		basis kit.Basis
	}
	at := map[key]int{}
	var list []Pair
	place := func(l *Line) *Pair {
		k := key{l.Item, l.Basis}
		if _, ok := at[k]; !ok {
			at[k] = len(list)
			list = append(list, Pair{Item: l.Item, Basis: l.Basis})
		}
		return &list[at[k]]
	}
	for i := range a.Lines {
		place(&a.Lines[i]).A = &a.Lines[i]
	}
	for i := range b.Lines {
		place(&b.Lines[i]).B = &b.Lines[i]
	}
	slices.SortStableFunc(list, func(p, q Pair) int {
		return cmp.Or(cmp.Compare(math.Abs(q.RiskMoved()), math.Abs(p.RiskMoved())), boolFirst(!p.Same(), !q.Same()))
	})
	return list
}

// boolFirst orders what is true before what is not.
func boolFirst(a, b bool) int {
	switch {
	case a == b:
		return 0
	case a:
		return -1
	}
	return 1
}
