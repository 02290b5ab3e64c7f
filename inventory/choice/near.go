package choice

import (
	"context"
	"slices"
	"sync"
)

// Work beside the plain search, in nodes. Settled by trial on the published 10 x
// 100 knapsacks, stopped after 40,000 nodes.
const (
	hardAfter = 1000  // nodes of the whole search before anything else is tried
	coreFirst = 4000  // nodes that cores get in any case
	coreShare = 0.25  // of all nodes
	coreFrom  = 20    // columns of the first core
	coreNodes = 20000 // of one core
	nearShare = 0.4   // of all nodes
	nearNodes = 3000  // of one neighbourhood
	nearItems = 20    // free at first, beside one for each row
)

// cores looks for better answers where they mostly are: among the options that
// the relaxation nearly takes (Balas and Zemel 1980; Puchinger, Raidl and
// Pferschy 2010). Each core is larger than the one before; cores get a share of
// all nodes.
func (q *search) cores(ctx context.Context) {
	for q.core >= 0 && float64(q.spent-q.near) < coreShare*float64(q.nodes())+coreFirst && ctx.Err() == nil {
		kept := make([][]*node, len(q.all))
		for i, w := range q.all {
			kept[i], w.stack = w.stack, nil
		}
		before := q.nodes()
		if q.core = q.core*5/4 + 1; q.core < coreFrom {
			q.core = coreFrom
		}
		if n := q.all[0].coreNode(q.t.root(), q.core); n != nil {
			q.all[0].push(n)
		} else {
			q.core = -1
		}
		for round := roundFrom; ctx.Err() == nil && q.nodes()-before < coreNodes && q.bound() > q.best; round = min(2*round, roundTo/4) {
			q.round(ctx, round)
			spread(q.all)
		}
		q.spent += q.nodes() - before
		for i, w := range q.all {
			w.spare = append(w.spare, w.stack...)
			w.stack = kept[i]
		}
	}
}

// neighbours looks for better answers near the best one: a few items are free,
// drawn from those that may still change, and the rest stays (Danna, Rothberg and
// Le Pape 2005, without their choice of items: measured, it found less here).
func (q *search) neighbours(ctx context.Context) {
	if q.columns == nil || q.core < 0 {
		return
	}
	if q.open == nil {
		q.open = q.all[0].changeable(q.t.root())
	}
	for float64(q.near) < nearShare*float64(q.nodes()) && len(q.open) > 2 && ctx.Err() == nil {
		before := q.nodes()
		var group sync.WaitGroup
		for _, w := range q.all {
			group.Go(func() {
				kept := w.stack
				w.stack = nil
				w.push(w.neighbour(q.columns, q.open))
				w.run(ctx, nearNodes)
				if len(w.stack) == 0 {
					w.free++
				} else if w.free > 4 {
					w.free--
				}
				w.spare = append(w.spare, w.stack...)
				w.stack = kept
			})
		}
		group.Wait()
		q.share()
		q.near += max(1, q.nodes()-before)
		q.spent += q.nodes() - before
	}
}

// changeable returns the items that have other options left.
func (w *worker) changeable(root *node) []int32 {
	if w.relax(root, w.threshold()) != optimal {
		return nil
	}
	w.strike(root)
	var order []int32
	for _, s := range root.items {
		alive := 0
		for e := s.from; e < s.to; e++ {
			if !root.dead[e] {
				alive++
			}
		}
		if alive > 1 {
			order = append(order, s.item)
		}
	}
	return order
}

// neighbour returns a node in which a few items are free and all others settled
// as in columns.
func (w *worker) neighbour(columns, order []int32) *node {
	free := make([]bool, w.t.items)
	for count := min(w.free, len(order)); count > 0; {
		if i := order[int(w.uniform()*float64(len(order)))]; !free[i] {
			free[i] = true
			count--
		}
	}
	n := w.t.root()
	for s, span := range n.items {
		w.basics[s] = 0
		if free[span.item] {
			continue
		}
		for e := span.from; e < span.to; e++ {
			n.dead[e] = n.cols[e] != columns[span.item]
		}
	}
	return w.half(n, -1, 0, false)
}

// uniform returns the next of a worker's numbers from 0 to below 1 (splitmix64).
// They come from a seed of its own, so that a search goes the same way each time.
func (w *worker) uniform() float64 {
	w.seed += 0x9e3779b97f4a7c15
	z := w.seed
	z = (z ^ z>>30) * 0xbf58476d1ce4e5b9
	z = (z ^ z>>27) * 0x94d049bb133111eb
	return float64((z^z>>31)>>11) / (1 << 53)
}

// coreNode returns the root with only so many columns left beside the best of
// each item: those of the least reduced cost. It returns nil when no column that
// could better the best answer is left out.
func (w *worker) coreNode(root *node, columns int) *node {
	if w.relax(root, w.threshold()) != optimal {
		return nil
	}
	w.strike(root)
	var costs []float64
	cost := func(s span, e int32) float64 { return w.worth[s.key] - w.worth[e] }
	for _, s := range root.items {
		for e := s.from; e < s.to; e++ {
			if e != s.key && !root.dead[e] {
				costs = append(costs, cost(s, e))
			}
		}
	}
	if len(costs) <= columns {
		return nil
	}
	slices.Sort(costs)
	for _, s := range root.items {
		for e := s.from; e < s.to; e++ {
			if e != s.key && cost(s, e) > costs[columns] {
				root.dead[e] = true
			}
		}
	}
	return w.half(root, -1, 0, false)
}
