package choice

import (
	"math"
)

// branch picks an item that the relaxation takes in parts, and where to cut its
// options in two.
func (w *worker) branch(n *node) (at, cut int32, upper bool) {
	at = -1
	best := -1.0
	for p, b := range n.basis {
		if b.span < 0 || w.level[p] < 1e-7 {
			continue
		}
		span := n.items[b.span]
		mean, low := 0.0, int32(math.MaxInt32)
		share := func(e int32, level float64) {
			if level > 1e-7 {
				mean += level * float64(e)
				low = min(low, e)
			}
		}
		share(span.key, w.keyLeft[b.span])
		for q, c := range n.basis {
			if c.span == b.span {
				share(c.at, w.level[q])
			}
		}
		edge := max(low, int32(math.Floor(mean+1e-7))) + 1
		below := 0.0
		count := func(e int32, level float64) {
			if e < edge {
				below += level
			}
		}
		count(span.key, w.keyLeft[b.span])
		for q, c := range n.basis {
			if c.span == b.span {
				count(c.at, w.level[q])
			}
		}
		// What rounding may cost: the part to be given up, times how much the
		// options differ. Whole crates come before single pieces.
		spread := 0.0
		for q, c := range n.basis {
			if c.span == b.span && w.level[q] > 1e-7 {
				spread = max(spread, math.Abs(w.t.gain[n.cols[c.at]]-w.t.gain[n.cols[span.key]]))
			}
		}
		if score := min(below, 1-below) * spread; min(below, 1-below) > 1e-7 && score > best && w.splits(n, span, edge) {
			best, at, cut, upper = score, b.span, edge, below < 0.5
		}
	}
	return at, cut, upper
}

// splits reports whether columns are left on both sides of a cut.
func (w *worker) splits(n *node, s span, cut int32) bool {
	below, above := false, false
	for e := s.from; e < s.to; e++ {
		below = below || e < cut && !n.dead[e]
		above = above || e >= cut && !n.dead[e]
	}
	return below && above
}

// anyBranch halves the first item that has two options left; -1 if none has.
func (w *worker) anyBranch(n *node) (at, cut int32) {
	for s := range n.items {
		alive := int32(-1)
		for e := n.items[s].from; e < n.items[s].to; e++ {
			if n.dead[e] {
				continue
			}
			if alive >= 0 {
				return int32(s), e
			}
			alive = e
		}
	}
	// Everything is settled: this is a choice to judge, unless it was the
	// relaxation's own.
	copy(w.trial, n.taken)
	for _, s := range n.items {
		for e := s.from; e < s.to; e++ {
			if !n.dead[e] {
				w.trial[s.item] = n.cols[e]
			}
		}
	}
	w.offer(w.trial)
	return -1, 0
}

// half copies a node with one side of an item's columns struck out, and settles
// items with one option left. It returns nil if an item has none. Of items alike
// an earlier one never takes an earlier column, as a change of places makes no
// other choice: what holds for one so holds for those before or after it.
func (w *worker) half(n *node, at, cut int32, upper bool) *node {
	m := w.t.rows
	var h *node
	if last := len(w.spare) - 1; last >= 0 {
		h = w.spare[last]
		w.spare = w.spare[:last]
	} else {
		h = &node{}
	}
	h.bound, h.fixed = n.bound, n.fixed
	h.room = append(h.room[:0], n.room...)
	h.taken = append(h.taken[:0], n.taken...)
	h.basis = append(h.basis[:0], n.basis...)
	h.items, h.cols, h.dead = h.items[:0], h.cols[:0], h.dead[:0]
	kind, edge := int32(-1), int32(0)
	if at >= 0 {
		item := n.items[at].item
		kind, edge = w.t.kind[item], n.cols[cut]-w.t.first[item]
	}
	for s, old := range n.items {
		cuts := w.t.kind[old.item] == kind && (int32(s) == at || (int32(s) < at) == upper)
		gone := func(e int32) bool {
			return n.dead[e] || cuts && (n.cols[e]-w.t.first[old.item] >= edge) != upper
		}
		alive, one := 0, int32(-1)
		for e := old.from; e < old.to; e++ {
			if !gone(e) {
				alive, one = alive+1, e
			}
		}
		if alive == 0 {
			w.spare = append(w.spare, h)
			return nil
		}
		if alive == 1 && w.basics[s] == 0 {
			k := int(n.cols[one])
			h.taken[old.item] = int32(k)
			h.fixed += w.t.gain[k]
			for r, u := range w.t.use[k*m : k*m+m] {
				h.room[r] -= u
			}
			continue
		}
		fresh := span{old.item, int32(len(h.cols)), 0, -1}
		for e := old.from; e < old.to; e++ {
			inBasis := w.basics[s] > 0 && (e == old.key || n.basic(int32(s), e))
			if gone(e) && !inBasis {
				continue
			}
			if e == old.key {
				fresh.key = int32(len(h.cols))
			}
			if inBasis {
				for p, b := range n.basis {
					if b.span == int32(s) && b.at == e {
						h.basis[p] = place{int32(len(h.items)), int32(len(h.cols))}
					}
				}
			}
			h.cols = append(h.cols, n.cols[e])
			h.dead = append(h.dead, gone(e))
		}
		if fresh.to = int32(len(h.cols)); fresh.key < 0 {
			fresh.key = fresh.from
		}
		h.items = append(h.items, fresh)
	}
	return h
}
