package packing

import (
	"cmp"
	"math"
	"slices"
)

// vec is a point or a size in millimetres along x, y and z.
type vec = [3]int32

// cuboid is the room from lo to hi.
type cuboid struct{ lo, hi vec }

func (c *cuboid) volume() int64 {
	return int64(c.hi[0]-c.lo[0]) * int64(c.hi[1]-c.lo[1]) * int64(c.hi[2]-c.lo[2])
}

// overlaps says whether two cuboids share room; touching is not sharing.
func (c *cuboid) overlaps(d *cuboid) bool {
	return c.lo[0] < d.hi[0] && d.lo[0] < c.hi[0] &&
		c.lo[1] < d.hi[1] && d.lo[1] < c.hi[1] &&
		c.lo[2] < d.hi[2] && d.lo[2] < c.hi[2]
}

func (c *cuboid) contains(d *cuboid) bool {
	return c.lo[0] <= d.lo[0] && c.lo[1] <= d.lo[1] && c.lo[2] <= d.lo[2] &&
		c.hi[0] >= d.hi[0] && c.hi[1] >= d.hi[1] && c.hi[2] >= d.hi[2]
}

// rect is an area of a horizontal plane.
type rect struct{ x0, y0, x1, y1 int32 }

func (r rect) area() int64 { return int64(max(0, r.x1-r.x0)) * int64(max(0, r.y1-r.y0)) }

// boxType is all boxes that are alike in every respect that the packing knows.
type boxType struct {
	stands  []stand // the ways it may stand, each size once
	count   int32
	volume  int64
	mass    int64
	fragile bool
	topLoad int64 // 0: no limit
	floor   bool
	class   uint64 // bit of its segregation class
	boxes   []int  // indices of the Boxes it stands for
}

type stand struct {
	size    vec
	upright int
}

// need is how many boxes of a type a block takes.
type need struct{ kind, count int32 }

// block is boxes set together as one piece: a grid of one type, or two blocks side
// by side or one on the other.
type block struct {
	size   vec
	pieces int32
	volume int64 // of its boxes
	mass   int64
	class  uint64
	floor  bool // holds a box that must stand on the floor
	needs  []need
	top    rect // the part of its top that may carry, within the block; empty if none

	kind, stand int32 // a grid: which type, how it stands
	grid        vec   // how many along each axis
	low, high   int32 // two blocks, by index: the second lies after the first along axis
	axis        int8  // -1: a grid
	offset      [2]int32
}

const (
	lane   = 20
	guards = uint64(1)<<lane | uint64(1)<<(2*lane+1) | uint64(1)<<(3*lane+2)
)

// packed lays three lengths side by side in one word, a guard bit above each, so
// that one subtraction compares all three.
func packed(v vec) uint64 {
	return uint64(v[0]) | uint64(v[1])<<(lane+1) | uint64(v[2])<<(2*lane+2)
}

// Blocks are worth their place in memory up to here; more only slow the search.
const (
	maxBlocks = 10_000
	fewBlocks = 1_000 // where there is no time to search
)

// What of a block's room must be boxes. Where there are many boxes of each type, grids of
// them are large, and a block with any loss is worse than two without. Where hardly two
// are alike, there are no blocks to speak of but those with some loss.
const (
	leastFilled    = 0.98
	manyCopies     = 4 // boxes of each type, in the mean
	leastOfMany    = 1
	roundingFilled = 1e-9
)

// leastFilled is the share for the boxes at hand.
func (f *filling) leastFilled() float64 {
	boxes := 0
	for i := range f.types {
		boxes += int(f.types[i].count)
	}
	if boxes >= manyCopies*len(f.types) {
		return leastOfMany - roundingFilled
	}
	return leastFilled
}

// grids makes the blocks of one type that fit into a container.
func (f *filling) grids(limit int) []block {
	var list []block
	types, size := f.types, f.size
	for kind := range types {
		t := &types[kind]
		for s, stand := range t.stands {
			d := stand.size
			if d[0] > size[0] || d[1] > size[1] || d[2] > size[2] {
				continue
			}
			for nx := int32(1); nx <= t.count && nx*d[0] <= size[0]; nx++ {
				for ny := int32(1); nx*ny <= t.count && ny*d[1] <= size[1]; ny++ {
					for nz := int32(1); nx*ny*nz <= t.count && nz*d[2] <= size[2]; nz++ {
						if nz > 1 && (t.fragile || t.floor) {
							break
						}
						n := nx * ny * nz
						b := block{size: vec{nx * d[0], ny * d[1], nz * d[2]}, pieces: n, volume: int64(n) * t.volume,
							mass: int64(n) * t.mass, class: t.class, floor: t.floor, needs: []need{{int32(kind), n}},
							kind: int32(kind), stand: int32(s), grid: vec{nx, ny, nz}, axis: -1}
						if !t.fragile {
							b.top = rect{0, 0, b.size[0], b.size[1]}
						}
						list = append(list, b)
					}
				}
			}
		}
	}
	if len(list) > limit {
		// Too many grids: single boxes stay, then what is largest.
		slices.SortStableFunc(list, func(a, b block) int {
			if (a.pieces == 1) != (b.pieces == 1) {
				return cmp.Compare(min(a.pieces, 2), min(b.pieces, 2))
			}
			return cmp.Compare(b.volume, a.volume)
		})
		singles := 0
		for singles < len(list) && list[singles].pieces == 1 {
			singles++
		}
		list = list[:max(limit, singles)]
	}
	return list
}

type blockKey struct {
	size   vec
	volume int64
	needs  uint64
}

func keyOf(b *block) blockKey {
	k := blockKey{size: b.size, volume: b.volume}
	for _, n := range b.needs {
		k.needs ^= mix(uint64(n.kind)<<32 | uint64(n.count))
	}
	return k
}

// mix scatters the bits of x; it is the finaliser of splitmix64.
func mix(x uint64) uint64 {
	x += 0x9e3779b97f4a7c15
	x = (x ^ x>>30) * 0xbf58476d1ce4e5b9
	x = (x ^ x>>27) * 0x94d049bb133111eb
	return x ^ x>>31
}

// combine adds pairs of blocks to the list, pairs of these, and so on. If support is
// asked for, each box in a block stands wholly on boxes below or on the base.
func (f *filling) combine(list []block, limit int) []block {
	seen := make(map[blockKey]bool, limit)
	for i := range list {
		seen[keyOf(&list[i])] = true
	}
	fresh := 0
	var scratch []need
	for fresh < len(list) && len(list) < limit {
		end := len(list)
		// Candidates by their size across, so that near ones are found.
		var by [3][]int32
		for axis := range by {
			by[axis] = make([]int32, end)
			for i := range by[axis] {
				by[axis][i] = int32(i)
			}
			across := (axis + 1) % 3
			slices.SortStableFunc(by[axis], func(a, b int32) int { return cmp.Compare(list[a].size[across], list[b].size[across]) })
		}
		for i := fresh; i < end && len(list) < limit; i++ {
			for axis := 0; axis < 3 && len(list) < limit; axis++ {
				across := (axis + 1) % 3
				least := int32(math.Ceil(float64(list[i].size[across]) * 0.96))
				from, _ := slices.BinarySearchFunc(by[axis], least, func(k, v int32) int { return cmp.Compare(list[k].size[across], v) })
				for _, j := range by[axis][from:] {
					a, b := &list[i], &list[j]
					if float64(b.size[across])*0.96 > float64(a.size[across]) {
						break
					}
					if int(j) >= fresh && int(j) < i {
						continue
					}
					c, ok := f.join(list, int32(i), j, axis, &scratch)
					if !ok {
						continue
					}
					key := keyOf(&c)
					if seen[key] {
						continue
					}
					seen[key] = true
					c.needs = slices.Clone(scratch)
					c.top, c.offset = topOf(&list[c.low], &list[c.high], axis, c.size, f.restsInside())
					list = append(list, c)
					if len(list) >= limit {
						break
					}
				}
			}
		}
		fresh = end
	}
	return list
}

// restsInside reports whether every box in a block stands on boxes with all of its
// base. A smaller share is asked of each box where the block is set down.
func (f *filling) restsInside() bool { return f.rules.support > 0 }

// join puts two blocks side by side along an axis, or one on the other; false where they
// do not go together, or leave too much room between them. What the block needs lies in
// scratch, until the next call. Its top is not worked out yet.
func (f *filling) join(list []block, i, j int32, axis int, scratch *[]need) (block, bool) {
	a, b := &list[i], &list[j]
	across, other := (axis+1)%3, (axis+2)%3
	if a.size[axis]+b.size[axis] > f.size[axis] || a.class != 0 && f.clash(a.class, b.class) {
		return block{}, false
	}
	var d vec
	d[axis] = a.size[axis] + b.size[axis]
	d[across] = max(a.size[across], b.size[across])
	d[other] = max(a.size[other], b.size[other])
	room := int64(d[0]) * int64(d[1]) * int64(d[2])
	if float64(a.volume+b.volume) < f.filled*float64(room) {
		return block{}, false
	}
	low, high := i, j
	if axis == 2 && !fits(a, b, f.restsInside()) {
		if !fits(b, a, f.restsInside()) {
			return block{}, false
		}
		low, high = high, low
	}
	needs, ok := sumNeeds((*scratch)[:0], a.needs, b.needs, f.types)
	*scratch = needs
	return block{size: d, pieces: a.pieces + b.pieces, volume: a.volume + b.volume, mass: a.mass + b.mass,
		class: a.class | b.class, floor: a.floor || b.floor, low: low, high: high, axis: int8(axis), needs: needs}, ok
}

// fits says whether b may be set on a within a block.
func fits(a, b *block, supported bool) bool {
	if a.top.area() == 0 || b.floor {
		return false
	}
	return !supported || b.size[0] <= a.top.x1-a.top.x0 && b.size[1] <= a.top.y1-a.top.y0
}

// topOf returns the carrying part of the top of two blocks set together, and where
// the second lies on the first if it is on top of it.
func topOf(a, b *block, axis int, d vec, supported bool) (rect, [2]int32) {
	shift := func(r rect, dx, dy int32) rect { return rect{r.x0 + dx, r.y0 + dy, r.x1 + dx, r.y1 + dy} }
	if axis == 2 {
		var at [2]int32
		if supported {
			at = [2]int32{a.top.x0, a.top.y0}
		}
		return shift(b.top, at[0], at[1]), at
	}
	ra, rb := a.top, b.top
	if a.size[2] < d[2] {
		ra = rect{}
	}
	if b.size[2] < d[2] {
		rb = rect{}
	}
	if axis == 0 {
		rb = shift(rb, a.size[0], 0)
	} else {
		rb = shift(rb, 0, a.size[1])
	}
	best := ra
	if rb.area() > best.area() {
		best = rb
	}
	if ra.area() > 0 && rb.area() > 0 {
		var both rect
		if axis == 0 && ra.x1 == rb.x0 {
			both = rect{ra.x0, max(ra.y0, rb.y0), rb.x1, min(ra.y1, rb.y1)}
		} else if axis == 1 && ra.y1 == rb.y0 {
			both = rect{max(ra.x0, rb.x0), ra.y0, min(ra.x1, rb.x1), rb.y1}
		}
		if both.x1 > both.x0 && both.y1 > both.y0 && both.area() > best.area() {
			best = both
		}
	}
	return best, [2]int32{}
}

// sumNeeds appends the sum of two sorted lists of needs to out; false if there are
// not as many boxes.
func sumNeeds(out, a, b []need, types []boxType) ([]need, bool) {
	i, j := 0, 0
	for i < len(a) || j < len(b) {
		var n need
		switch {
		case j == len(b) || i < len(a) && a[i].kind < b[j].kind:
			n, i = a[i], i+1
		case i == len(a) || b[j].kind < a[i].kind:
			n, j = b[j], j+1
		default:
			n, i, j = need{a[i].kind, a[i].count + b[j].count}, i+1, j+1
		}
		if n.count > types[n.kind].count {
			return out, false
		}
		out = append(out, n)
	}
	return out, true
}

// spot is one box in its place.
type spot struct {
	cuboid
	kind, stand int32
}

// unfold appends the boxes of block i, set down at the point at.
func unfold(list []block, types []boxType, i int32, at vec, out []spot) []spot {
	b := &list[i]
	if b.axis >= 0 {
		out = unfold(list, types, b.low, at, out)
		at[b.axis] += list[b.low].size[b.axis]
		at[0] += b.offset[0]
		at[1] += b.offset[1]
		return unfold(list, types, b.high, at, out)
	}
	d := types[b.kind].stands[b.stand].size
	for z := range b.grid[2] {
		for x := range b.grid[0] {
			for y := range b.grid[1] {
				lo := vec{at[0] + x*d[0], at[1] + y*d[1], at[2] + z*d[2]}
				out = append(out, spot{cuboid{lo, vec{lo[0] + d[0], lo[1] + d[1], lo[2] + d[2]}}, b.kind, b.stand})
			}
		}
	}
	return out
}
