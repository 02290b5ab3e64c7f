package packing

import (
	"math"
)

// The value of a block in a space is its volume, times the share of each length of the
// space that can still be used beside it, times the square of the share of its surface
// that touches, over the number of its boxes to the power of piecesPower. After Araya,
// Guerrero and Nuñez (2017), VCS, who have other powers: these were chosen by invented
// instances.
const (
	piecesPower = 0.2
	nearShare   = 0.01 // of the container's length: what is as near counts as touching
)

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
