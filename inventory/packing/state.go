package packing

// set is a block that was set down.
type set struct {
	cuboid
	block int32
}

// level is a part of a top that may carry, at the height z.
type level struct {
	rect
	z int32
}

// state is a packing in the making. Its slices are its own.
type state struct {
	spaces []cuboid // the largest cuboids that are still free; they overlap
	sets   []set
	counts []int32 // boxes left, by type
	levels []level // with full support: tops that may carry
	spots  []spot  // with rules beyond room: each box
	touch  []touching
	least  vec // no box that is left is smaller along an axis
	volume int64
	mass   int64
	class  uint64
}

// touching says that one box rests on another, over so many square millimetres.
type touching struct {
	below, above int32
	area         int64
}

func (s *state) copyFrom(o *state) {
	s.spaces = append(s.spaces[:0], o.spaces...)
	s.sets = append(s.sets[:0], o.sets...)
	s.counts = append(s.counts[:0], o.counts...)
	s.levels = append(s.levels[:0], o.levels...)
	s.spots = append(s.spots[:0], o.spots...)
	s.touch = append(s.touch[:0], o.touch...)
	s.least, s.volume, s.mass, s.class = o.least, o.volume, o.mass, o.class
}

// split takes room away from each free space and appends what stays of it to out.
// What is thinner than least holds nothing and is dropped. above is false where
// the top of room carries nothing by itself.
func split(s, room *cuboid, least *vec, above bool, out []cuboid) []cuboid {
	for axis := range 3 {
		if s.hi[axis]-s.lo[axis] < least[axis] {
			return out
		}
	}
	for axis := range 3 {
		if room.lo[axis]-s.lo[axis] >= least[axis] {
			n := *s
			n.hi[axis] = room.lo[axis]
			out = append(out, n)
		}
		if s.hi[axis]-room.hi[axis] >= least[axis] && (axis < 2 || above) {
			n := *s
			n.lo[axis] = room.hi[axis]
			out = append(out, n)
		}
	}
	return out
}

// occupy takes the room of a block out of the free spaces.
func (w *worker) occupy(s *state, room *cuboid, above bool) {
	fresh := w.fresh[:0]
	kept := 0
	for i := range s.spaces {
		if !s.spaces[i].overlaps(room) {
			if kept != i {
				s.spaces[kept] = s.spaces[i]
			}
			kept++
			continue
		}
		fresh = split(&s.spaces[i], room, &s.least, above, fresh)
	}
	s.spaces = s.spaces[:kept]
	w.fresh = fresh
	w.admit(s, kept)
}

// admit adds the fresh spaces that lie within no other.
func (w *worker) admit(s *state, kept int) {
	fresh := w.fresh
next:
	for i := range fresh {
		f := &fresh[i]
		for j := range fresh {
			if i != j && fresh[j].contains(f) && (j < i || fresh[j] != *f) {
				continue next
			}
		}
		for j := range kept {
			if s.spaces[j].contains(f) {
				continue next
			}
		}
		s.spaces = append(s.spaces, *f)
	}
}

// place sets block i down at the point at, and keeps all that follows from it up to
// date. The block must be allowed there.
func (w *worker) place(s *state, i int32, at vec) {
	b := &w.f.blocks[i]
	room := cuboid{at, vec{at[0] + b.size[0], at[1] + b.size[1], at[2] + b.size[2]}}
	out := false
	for _, n := range b.needs {
		s.counts[n.kind] -= n.count
		out = out || s.counts[n.kind] == 0
	}
	if out {
		s.least = w.f.leastOf(s.counts)
	}
	s.volume += b.volume
	s.mass += b.mass
	s.class |= b.class
	s.sets = append(s.sets, set{room, i})
	w.occupy(s, &room, !w.f.supported)
	if w.f.supported && b.top.area() > 0 && room.hi[2] < w.f.size[2] {
		w.raise(s, level{rect{at[0] + b.top.x0, at[1] + b.top.y0, at[0] + b.top.x1, at[1] + b.top.y1}, room.hi[2]})
	}
}

// raise adds the spaces that stand on a new top, alone and together with tops of the
// same height beside it.
func (w *worker) raise(s *state, l level) {
	s.levels = append(s.levels, l)
	bases := append(w.bases[:0], l.rect)
	for i := 0; i < len(bases) && len(bases) < 24; i++ {
		for j := range s.levels {
			if o := &s.levels[j]; o.z == l.z {
				for axis := range 2 {
					if r, ok := join(bases[i], o.rect, axis); ok && !within(bases, r) {
						bases = append(bases, r)
					}
				}
			}
		}
	}
	w.bases = bases
	kept := len(s.spaces)
	fresh := w.fresh[:0]
	for i, r := range bases {
		inner := false
		for j, o := range bases {
			inner = inner || i != j && o.x0 <= r.x0 && o.y0 <= r.y0 && o.x1 >= r.x1 && o.y1 >= r.y1 && (o != r || j < i)
		}
		if inner {
			continue
		}
		start := len(fresh)
		fresh = append(fresh, cuboid{vec{r.x0, r.y0, l.z}, vec{r.x1, r.y1, w.f.size[2]}})
		for j := range s.sets {
			c := &s.sets[j].cuboid
			if c.hi[2] <= l.z {
				continue
			}
			end := len(fresh)
			for k := start; k < end; k++ {
				if fresh[k].overlaps(c) {
					whole := fresh[k]
					fresh = split(&whole, c, &s.least, false, fresh)
					fresh[k].hi[2] = fresh[k].lo[2] // gone
				}
			}
			live := start
			for k := start; k < len(fresh); k++ {
				if fresh[k].hi[2] > fresh[k].lo[2] {
					fresh[live] = fresh[k]
					live++
				}
			}
			fresh = fresh[:live]
		}
	}
	live := 0
	for i := range fresh {
		f := &fresh[i]
		if f.hi[0]-f.lo[0] >= s.least[0] && f.hi[1]-f.lo[1] >= s.least[1] && f.hi[2]-f.lo[2] >= s.least[2] {
			fresh[live] = *f
			live++
		}
	}
	w.fresh = fresh[:live]
	w.admit(s, kept)
}

// join returns the rectangle over two that meet along axis, as far as both carry.
func join(a, b rect, axis int) (rect, bool) {
	var r rect
	if axis == 0 {
		if a.x1 < b.x0 || b.x1 < a.x0 {
			return r, false
		}
		r = rect{min(a.x0, b.x0), max(a.y0, b.y0), max(a.x1, b.x1), min(a.y1, b.y1)}
	} else {
		if a.y1 < b.y0 || b.y1 < a.y0 {
			return r, false
		}
		r = rect{max(a.x0, b.x0), min(a.y0, b.y0), min(a.x1, b.x1), max(a.y1, b.y1)}
	}
	return r, r.x1 > r.x0 && r.y1 > r.y0
}

func within(list []rect, r rect) bool {
	for _, o := range list {
		if o.x0 <= r.x0 && o.y0 <= r.y0 && o.x1 >= r.x1 && o.y1 >= r.y1 {
			return true
		}
	}
	return false
}
