package packing

import (
	"cmp"
	"math"
	"slices"
	"sync"
	"sync/atomic"
)

// filling is one container and the types of boxes that may go into it.
type filling struct {
	size      vec
	types     []boxType
	blocks    []block
	packed    []uint64  // sizes of blocks, for one comparison
	worth     []float64 // of blocks: what their value is at most
	surface   []float64 // of blocks
	supported bool      // spaces stand on what carries wholly
	lowOnly   bool      // blocks are set at the bottom of spaces
	rules     rules
	centre    bounds
	order     []int32 // blocks, most worth first
}

// Exponents of the value of a block in a space: its volume, times the share of the
// space that can still be used to the power of lossPower, times the share of its
// surface that touches to the power of contactPower, over the number of its boxes to
// the power of piecesPower. After Araya, Guerrero and Nuñez (2017), VCS.
const (
	piecesPower = 0.2
	nearShare   = 0.04 // of a block's length: what is as near counts as touching
)

func (f *filling) prepare(limit int, simple bool) {
	f.blocks = f.grids(limit)
	if !simple {
		f.blocks = f.combine(f.blocks, limit)
	}
	f.order = make([]int32, len(f.blocks))
	worth := make([]float64, len(f.blocks))
	for i := range f.blocks {
		b := &f.blocks[i]
		worth[i] = float64(b.volume) * math.Pow(float64(b.pieces), -piecesPower)
		f.order[i] = int32(i)
	}
	slices.SortStableFunc(f.order, func(a, b int32) int { return cmp.Compare(worth[b], worth[a]) })
	// The blocks themselves go in this order, so that a scan reads on.
	at := make([]int32, len(f.blocks))
	sorted := make([]block, len(f.blocks))
	for i, o := range f.order {
		at[o] = int32(i)
		sorted[i] = f.blocks[o]
	}
	f.packed = make([]uint64, len(sorted))
	f.worth = make([]float64, len(sorted))
	f.surface = make([]float64, len(sorted))
	for i := range sorted {
		b := &sorted[i]
		if b.axis >= 0 {
			b.low, b.high = at[b.low], at[b.high]
		}
		f.packed[i] = packed(b.size)
		f.worth[i] = worth[f.order[i]]
		x, y, z := float64(b.size[0]), float64(b.size[1]), float64(b.size[2])
		f.surface[i] = 2 * (x*y + y*z + z*x)
		f.order[i] = int32(i)
	}
	f.blocks = sorted
}

// leastOf returns what no box that is left is smaller than along each axis.
func (f *filling) leastOf(counts []int32) vec {
	least := vec{MaxLength, MaxLength, MaxLength}
	for kind := range f.types {
		if counts[kind] == 0 {
			continue
		}
		for _, s := range f.types[kind].stands {
			for axis := range 3 {
				least[axis] = min(least[axis], s.size[axis])
			}
		}
	}
	return least
}

// wastes returns for each axis and length how much of it no row of boxes can fill.
func (f *filling) wastes(counts []int32, out *[3][]int32) {
	for axis := range 3 {
		n := int(f.size[axis])
		words := n/64 + 1
		reach := make([]uint64, words)
		reach[0] = 1
		var lengths []int32
		for kind := range f.types {
			if counts[kind] == 0 {
				continue
			}
			for _, s := range f.types[kind].stands {
				if v := s.size[axis]; v <= f.size[axis] && !slices.Contains(lengths, v) {
					lengths = append(lengths, v)
				}
			}
		}
		for _, v := range lengths {
			for by := int(v); by <= n; by *= 2 {
				shift, bits := by/64, uint(by%64)
				for i := words - 1; i >= shift; i-- {
					x := reach[i-shift] << bits
					if bits > 0 && i > shift {
						x |= reach[i-shift-1] >> (64 - bits)
					}
					reach[i] |= x
				}
			}
		}
		waste := slices.Grow(out[axis][:0], n+1)[:n+1]
		last := int32(0)
		for d := range int32(n + 1) {
			if reach[d/64]>>(d%64)&1 == 1 {
				last = d
			}
			waste[d] = d - last
		}
		out[axis] = waste
	}
}

// worker is what one goroutine works with; nothing is allocated in its loops.
type worker struct {
	f     *filling
	s     state
	list  []int32
	fresh []cuboid
	bases []rect
	near  [3][2][]side
	area  []int64
	onTop []float64
	order []int32
	top   []choice
}

// side is a part of the side of a space where something touches it.
type side struct{ lo, hi [2]int32 }

// choice is a block for a space, with its value.
type choice struct {
	block int32
	value float64
}

// corner is the space to fill next and the corner of it to fill from.
type corner struct {
	room cuboid
	far  [3]bool // the block goes to the upper end along an axis
}

// next returns the index of the space to fill next: nearest with one of its corners
// to a corner of the container, then the largest.
func (w *worker) next(s *state) (int, corner) {
	best, bestAt, bestVolume := int32(math.MaxInt32), -1, int64(0)
	var c corner
	for i := range s.spaces {
		sp := &s.spaces[i]
		d := int32(0)
		for axis := range 3 {
			if axis == 2 && w.f.lowOnly {
				d += sp.lo[2]
			} else {
				d += min(sp.lo[axis], w.f.size[axis]-sp.hi[axis])
			}
		}
		if d > best {
			continue
		}
		if v := sp.volume(); d < best || v > bestVolume {
			best, bestAt, bestVolume = d, i, v
		}
	}
	if bestAt >= 0 {
		c.room = s.spaces[bestAt]
		for axis := range 3 {
			c.far[axis] = w.f.size[axis]-c.room.hi[axis] < c.room.lo[axis] && !(axis == 2 && w.f.lowOnly)
		}
	}
	return bestAt, c
}

// at returns where a block of this size goes in a corner.
func (c *corner) at(size vec) vec {
	at := c.room.lo
	for axis := range 3 {
		if c.far[axis] {
			at[axis] = c.room.hi[axis] - size[axis]
		}
	}
	return at
}

// look gathers what touches the six sides of a space.
func (w *worker) look(s *state, room *cuboid) {
	for axis := range 3 {
		a, b := (axis+1)%3, (axis+2)%3
		tolerance := int32(nearShare * float64(w.f.size[axis]))
		for end := range 2 {
			list := w.near[axis][end][:0]
			if end == 0 && room.lo[axis] <= tolerance || end == 1 && w.f.size[axis]-room.hi[axis] <= tolerance {
				list = append(list, side{[2]int32{room.lo[a], room.lo[b]}, [2]int32{room.hi[a], room.hi[b]}})
			} else {
				for i := range s.sets {
					o := &s.sets[i].cuboid
					if end == 0 && (o.hi[axis] > room.lo[axis] || o.hi[axis] < room.lo[axis]-tolerance) ||
						end == 1 && (o.lo[axis] < room.hi[axis] || o.lo[axis] > room.hi[axis]+tolerance) {
						continue
					}
					f := side{[2]int32{max(o.lo[a], room.lo[a]), max(o.lo[b], room.lo[b])}, [2]int32{min(o.hi[a], room.hi[a]), min(o.hi[b], room.hi[b])}}
					if f.lo[0] < f.hi[0] && f.lo[1] < f.hi[1] {
						list = append(list, f)
					}
				}
			}
			w.near[axis][end] = list
		}
	}
}

// contact returns the area of a block's surface, at the point at, that touches.
func (w *worker) contact(c *corner, at, size vec) float64 {
	total := int64(0)
	for axis := range 3 {
		a, b := (axis+1)%3, (axis+2)%3
		lo, hi := [2]int32{at[a], at[b]}, [2]int32{at[a] + size[a], at[b] + size[b]}
		near := c.room.hi[axis]-c.room.lo[axis]-size[axis] <= int32(nearShare*float64(w.f.size[axis]))
		whole := int64(size[a]) * int64(size[b])
		for end := range 2 {
			if c.far[axis] == (end == 0) && !near {
				continue
			}
			sum := int64(0)
			for i := range w.near[axis][end] {
				f := &w.near[axis][end][i]
				x := int64(min(hi[0], f.hi[0]) - max(lo[0], f.lo[0]))
				y := int64(min(hi[1], f.hi[1]) - max(lo[1], f.lo[1]))
				if x > 0 && y > 0 {
					sum += x * y
				}
			}
			total += min(sum, whole)
		}
	}
	return float64(total)
}

// choose finds the blocks of most value for a corner, at most want of them, best
// first, in w.top. Blocks for which no boxes are left are taken out of list.
func (w *worker) choose(s *state, c *corner, list []int32, wastes *[3][]int32, want int) []int32 {
	f := w.f
	w.look(s, &c.room)
	var room vec
	var inverse [3]float64
	for axis := range 3 {
		room[axis] = c.room.hi[axis] - c.room.lo[axis]
		inverse[axis] = 1 / float64(room[axis])
	}
	w.top = w.top[:0]
	least := 0.0
	fit := packed(room) | guards
	kept := 0
scan:
	for k, i := range list {
		if f.worth[i] <= least {
			if kept != k {
				kept += copy(list[kept:], list[k:])
			} else {
				kept = len(list)
			}
			return list[:kept]
		}
		if (fit-f.packed[i])&guards != guards {
			list[kept] = i
			kept++
			continue
		}
		b := &f.blocks[i]
		for _, n := range b.needs {
			if s.counts[n.kind] < n.count {
				continue scan
			}
		}
		list[kept] = i
		kept++
		value := f.worth[i]
		for axis := range 3 {
			value *= 1 - float64(wastes[axis][room[axis]-b.size[axis]])*inverse[axis]
		}
		if value <= least {
			continue
		}
		at := c.at(b.size)
		touch := w.contact(c, at, b.size) / f.surface[i]
		touch *= touch
		value *= touch * touch
		if value <= least || !w.allowed(s, i, at, false) {
			continue
		}
		if len(w.top) < want {
			w.top = append(w.top, choice{})
		}
		j := len(w.top) - 1
		for ; j > 0 && w.top[j-1].value < value; j-- {
			w.top[j] = w.top[j-1]
		}
		w.top[j] = choice{i, value}
		if len(w.top) == want {
			least = w.top[want-1].value
		}
	}
	return list[:kept]
}

// finish fills a state by the best block for each corner, until nothing goes in.
func (w *worker) finish(s *state, list []int32, wastes *[3][]int32) {
	for len(s.spaces) > 0 && len(list) > 0 {
		i, c := w.next(s)
		list = w.choose(s, &c, list, wastes, 1)
		if len(w.top) == 0 {
			s.spaces[i] = s.spaces[len(s.spaces)-1]
			s.spaces = s.spaces[:len(s.spaces)-1]
			continue
		}
		w.set(s, w.top[0].block, c.at(w.f.blocks[w.top[0].block].size))
	}
}

// set sets down a block that is allowed.
func (w *worker) set(s *state, i int32, at vec) {
	if w.f.rules.boxwise {
		w.allowed(s, i, at, true)
	}
	w.place(s, i, at)
}

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

	mu         sync.Mutex
	best       atomic.Int64 // volume of boxes
	turn       int64        // of the first trial of the layer: trials count on from it
	bestTurn   int64        // of the best
	spots      []spot       // of the best
	unbalanced []int32      // types of which the best left some out for balance
	found      func(best int64, pieces int)
}

func (q *search) ended() bool {
	return q.stop.Load() || q.limit > 0 && q.rollouts.Load() >= q.limit
}

// each calls fn for 0 to n-1, spread over the workers, until the search is stopped.
func (q *search) each(n int, fn func(w *worker, i int)) {
	var at atomic.Int64
	var group sync.WaitGroup
	work := func(w *worker) {
		for !q.stop.Load() {
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
	volume, unbalanced := s.volume, []int32(nil)
	if q.f.centre.any() {
		if spots, unbalanced = q.f.balance(spots); len(unbalanced) > 0 {
			volume = 0
			for i := range spots {
				volume += q.f.types[spots[i].kind].volume
			}
		}
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
	f := q.f
	all := int64(0)
	for kind := range f.types {
		all += int64(f.types[kind].count) * f.types[kind].volume
	}
	layer, cut := []*node{q.root()}, false
	var children []child
	for len(layer) > 0 && !q.ended() {
		q.each(len(layer), func(w *worker, i int) {
			n := layer[i]
			f.wastes(n.s.counts, &n.wastes)
			n.top = n.top[:0]
			for len(n.s.spaces) > 0 {
				var at int
				at, n.corner = w.next(&n.s)
				n.list = w.choose(&n.s, &n.corner, n.list, &n.wastes, width)
				if len(w.top) > 0 {
					n.top = append(n.top, w.top...)
					return
				}
				n.s.spaces = slices.Delete(n.s.spaces, at, at+1)
			}
		})
		children = children[:0]
		for _, n := range layer {
			cut = cut || len(n.top) == width
			for _, c := range n.top {
				children = append(children, child{parent: n, choice: c})
			}
		}
		q.each(len(children), func(w *worker, i int) {
			c := &children[i]
			s := &w.s
			s.copyFrom(&c.parent.s)
			w.list = append(w.list[:0], c.parent.list...)
			w.set(s, c.choice.block, c.parent.corner.at(f.blocks[c.choice.block].size))
			w.finish(s, w.list, &c.parent.wastes)
			c.value = s.volume
			c.hash = 0
			for j := range s.sets {
				o := &s.sets[j]
				c.hash ^= mix(uint64(o.block)<<40 ^ mix(packed(o.lo)))
			}
			q.rollouts.Add(1)
			if s.volume >= q.best.Load() {
				q.offer(s, q.turn+int64(i))
			}
		})
		q.turn += int64(len(children))
		if q.best.Load() == all {
			return true
		}
		if q.ended() {
			return false
		}
		order := make([]int, len(children))
		for i := range order {
			order[i] = i
		}
		slices.SortStableFunc(order, func(a, b int) int { return cmp.Compare(children[b].value, children[a].value) })
		next := make([]*node, 0, min(width, len(children)))
		seen := map[uint64]bool{}
		for _, i := range order {
			c := &children[i]
			if seen[c.hash] {
				continue
			}
			if len(next) == width {
				cut = true
				break
			}
			seen[c.hash] = true
			n := &node{value: c.value, list: slices.Clone(c.parent.list)}
			n.s.copyFrom(&c.parent.s)
			q.workers[0].set(&n.s, c.choice.block, c.parent.corner.at(f.blocks[c.choice.block].size))
			next = append(next, n)
		}
		layer = next
	}
	return !cut && !q.ended()
}
