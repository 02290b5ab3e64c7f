package packing

import (
	"cmp"
	"slices"
)

// inOrder returns the spots in the order of loading. A box that would have to wait for
// itself, round a ring of boxes that are in each other's way, is left out with all that
// waits for it.
func (f *filling) inOrder(spots []spot) []spot {
	order := loadingOrder(spots, f.opening)
	out := make([]spot, 0, len(order))
	for _, i := range order {
		out = append(out, spots[i])
	}
	return out
}

// loadingOrder returns the spots in an order in which they can be loaded: from the
// back to the door, from below upwards.
func loadingOrder(spots []spot, opening Opening) []int {
	n := len(spots)
	waits := make([]int, n)
	after := make([][]int, n)
	for i := range spots {
		for k := range spots {
			if i != k && before(&spots[i], &spots[k], opening) {
				after[i] = append(after[i], k)
				waits[k]++
			}
		}
	}
	nearer := func(a, b int) int {
		p, q := &spots[a], &spots[b]
		if opening == OpenTop {
			return cmp.Or(cmp.Compare(p.lo[2], q.lo[2]), cmp.Compare(p.lo[0], q.lo[0]), cmp.Compare(p.lo[1], q.lo[1]), cmp.Compare(a, b))
		}
		return cmp.Or(cmp.Compare(p.lo[0], q.lo[0]), cmp.Compare(p.lo[2], q.lo[2]), cmp.Compare(p.lo[1], q.lo[1]), cmp.Compare(a, b))
	}
	var ready, out []int
	for i := range spots {
		if waits[i] == 0 {
			ready = append(ready, i)
		}
	}
	for len(ready) > 0 {
		i := slices.MinFunc(ready, nearer)
		ready = slices.DeleteFunc(ready, func(k int) bool { return k == i })
		out = append(out, i)
		for _, k := range after[i] {
			if waits[k]--; waits[k] == 0 {
				ready = append(ready, k)
			}
		}
	}
	return out
}

// before says whether a must be loaded before b, because b then stands in its way.
func before(a, b *spot, opening Opening) bool {
	if a.lo[1] >= b.hi[1] || b.lo[1] >= a.hi[1] {
		return false
	}
	if a.lo[0] < b.hi[0] && b.lo[0] < a.hi[0] {
		return a.hi[2] <= b.lo[2]
	}
	return opening == OpenEnd && a.hi[0] <= b.lo[0] && a.lo[2] < b.hi[2] && b.lo[2] < a.hi[2]
}
