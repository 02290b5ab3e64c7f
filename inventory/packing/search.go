package packing

import (
	"cmp"
	"math"
	"slices"
	"sync"
	"sync/atomic"
)

// node is a packing of the beam.
type node struct {
	s      state
	list   []int32
	wastes [3][]int32
	corner corner
	top    []choice
	value  int64 // of the packing that finish makes of it
}

// child is a block more for a node.
type child struct {
	parent *node
	choice choice
	value  int64
	hash   uint64
}

// search looks for the fullest packing.
type search struct {
	f        *filling
	workers  []worker
	stop     *atomic.Bool
	rollouts atomic.Int64
	limit    int64
	used     func() float64 // the share of the time that is over; nil: nothing asks for it
	until    float64        // up to which the search goes on

	mu         sync.Mutex
	best       atomic.Int64 // volume of boxes
	turn       int64        // of the first trial of the layer: trials count on from it
	bestTurn   int64        // of the best
	spots      []spot       // of the best
	unbalanced []int32      // types of which the best left some out for balance
	found      func(best int64, pieces int)
}

func (q *search) ended() bool {
	return q.stop.Load() || q.limit > 0 && q.rollouts.Load() >= q.limit || q.late()
}

// late reports whether the time for this container is over. The first trial is always
// made.
func (q *search) late() bool { return q.used != nil && q.best.Load() > 0 && q.used() >= q.until }

// each calls fn for 0 to n-1, spread over the workers, until the search is stopped.
func (q *search) each(n int, fn func(w *worker, i int)) {
	var at atomic.Int64
	var group sync.WaitGroup
	work := func(w *worker) {
		for !q.stop.Load() && !q.late() {
			i := int(at.Add(1)) - 1
			if i >= n {
				return
			}
			fn(w, i)
		}
	}
	for i := 1; i < min(n, len(q.workers)); i++ {
		group.Add(1)
		go func() {
			defer group.Done()
			work(&q.workers[i])
		}()
	}
	work(&q.workers[0])
	group.Wait()
}

// run widens the beam by the root of two each time, until the search ends.
func (q *search) run() {
	for width := 1; ; width = max(width+1, int(math.Ceil(float64(width)*math.Sqrt2))) {
		if whole := q.beam(width); whole || q.ended() {
			return
		}
	}
}

// greedily fills a container by the best block for each corner, once.
func (q *search) greedily() {
	w, n := &q.workers[0], q.root()
	w.f.wastes(n.s.counts, &n.wastes)
	w.finish(&n.s, n.list, &n.wastes)
	q.rollouts.Add(1)
	q.offer(&n.s, 0)
}

func (q *search) root() *node {
	f := q.f
	n := &node{list: slices.Clone(f.order)}
	for kind := range f.types {
		n.s.counts = append(n.s.counts, f.types[kind].count)
	}
	n.s.least = f.leastOf(n.s.counts)
	n.s.spaces = []cuboid{{hi: f.size}}
	return n
}

// offer keeps a packing that is better than the best: fuller, or as full and of an
// earlier turn, so that it is the same whichever worker comes first.
func (q *search) offer(s *state, turn int64) {
	q.mu.Lock()
	defer q.mu.Unlock()
	better := func(volume int64) bool {
		best := q.best.Load()
		return volume > best || volume == best && volume > 0 && turn < q.bestTurn
	}
	if !better(s.volume) {
		return
	}
	var spots []spot
	for _, o := range s.sets {
		spots = unfold(q.f.blocks, q.f.types, o.block, o.lo, spots)
	}
	spots, unbalanced := q.f.settled(spots)
	volume := int64(0)
	for i := range spots {
		volume += q.f.types[spots[i].kind].volume
	}
	if volume == 0 && q.best.Load() == 0 {
		q.unbalanced = unbalanced // nothing stays: at least it is known why
	}
	if better(volume) {
		q.best.Store(volume)
		q.bestTurn = turn
		q.spots, q.unbalanced = spots, unbalanced
		q.found(volume, len(spots))
	}
}

// beam is one search of a width. It says whether there is no more to find: all boxes
// went in, or nothing was cut away.
func (q *search) beam(width int) bool {
	all := int64(0)
	for kind := range q.f.types {
		all += int64(q.f.types[kind].count) * q.f.types[kind].volume
	}
	layer, cut := []*node{q.root()}, false
	var children []child
	for len(layer) > 0 && !q.ended() {
		q.each(len(layer), func(w *worker, i int) { w.openUp(layer[i], width) })
		children = children[:0]
		for _, n := range layer {
			cut = cut || len(n.top) == width
			for _, c := range n.top {
				children = append(children, child{parent: n, choice: c})
			}
		}
		q.each(len(children), func(w *worker, i int) { q.try(w, &children[i], q.turn+int64(i)) })
		q.turn += int64(len(children))
		if q.best.Load() == all {
			return true
		}
		if q.ended() {
			return false
		}
		next, left := q.fullest(children, width)
		layer, cut = next, cut || left
	}
	return !cut && !q.ended()
}

// openUp finds the corner of a node that takes a block, and the blocks of most value
// for it, at most want of them.
func (w *worker) openUp(n *node, want int) {
	w.f.wastes(n.s.counts, &n.wastes)
	n.top = n.top[:0]
	for len(n.s.spaces) > 0 {
		var at int
		at, n.corner = w.next(&n.s)
		n.list = w.choose(&n.s, &n.corner, n.list, &n.wastes, want)
		if len(w.top) > 0 {
			n.top = append(n.top, w.top...)
			return
		}
		n.s.spaces = slices.Delete(n.s.spaces, at, at+1)
	}
}

// try finishes the packing of a child, to know what it is worth.
func (q *search) try(w *worker, c *child, turn int64) {
	s := &w.s
	s.copyFrom(&c.parent.s)
	w.list = append(w.list[:0], c.parent.list...)
	w.set(s, c.choice.block, c.at(q.f))
	w.finish(s, w.list, &c.parent.wastes)
	c.value, c.hash = s.volume, 0
	for j := range s.sets {
		o := &s.sets[j]
		c.hash ^= mix(uint64(o.block)<<40 ^ mix(packed(o.lo)))
	}
	q.rollouts.Add(1)
	if s.volume >= q.best.Load() {
		q.offer(s, turn)
	}
}

// at returns where the block of a child goes.
func (c *child) at(f *filling) vec { return c.parent.corner.at(f.blocks[c.choice.block].size) }

// fullest makes nodes of the children of most value, each packing once, at most width
// of them. It reports whether any was left out for that.
func (q *search) fullest(children []child, width int) (next []*node, left bool) {
	order := make([]int, len(children))
	for i := range order {
		order[i] = i
	}
	slices.SortStableFunc(order, func(a, b int) int { return cmp.Compare(children[b].value, children[a].value) })
	next = make([]*node, 0, min(width, len(children)))
	seen := map[uint64]bool{}
	for _, i := range order {
		c := &children[i]
		if seen[c.hash] {
			continue
		}
		if len(next) == width {
			return next, true
		}
		seen[c.hash] = true
		n := &node{value: c.value, list: slices.Clone(c.parent.list)}
		n.s.copyFrom(&c.parent.s)
		q.workers[0].set(&n.s, c.choice.block, c.at(q.f))
		next = append(next, n)
	}
	return next, false
}
