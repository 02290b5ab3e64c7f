package packing

import "slices"

// whyLeft says why box i was left out.
func (j *job) whyLeft(i int) Reason {
	switch {
	case j.reason[i] != NoRoom:
		return j.reason[i]
	case j.keptApart(i):
		return KeptApart
	case j.full(i):
		return TooMuchMass
	case j.pressesTooMuch(i):
		return FloorTooWeak
	case j.notBorne(i):
		return NotBorne
	}
	return NoRoom
}

// A place is looked for by trying corners, which is quick only up to so many boxes in a
// container.
const corneredMost = 400

// notBorne says whether there is room for box i in some container, with its base held up
// as it must be, and in each such place something below, or the floor, does not bear it.
func (j *job) notBorne(i int) bool {
	b := &j.boxes[i]
	found := false
	for l := range j.result.Loads {
		load := &j.result.Loads[l]
		c := &j.containers[load.Container]
		stands := standsIn(b, c)
		mass := c.MassGramsMax > 0 && load.MassGrams+b.MassGrams > c.MassGramsMax
		if len(stands) == 0 || b.Cold && !c.Cold || mass || len(load.Placements) > corneredMost || j.clashes(i, load) {
			continue
		}
		room, borne := j.tryCorners(i, load, stands)
		if borne {
			return false
		}
		found = found || room
	}
	return found
}

// tryCorners looks for room for box i beside what is loaded, and whether it is borne there.
func (j *job) tryCorners(i int, load *Load, stands []stand) (room, borne bool) {
	c := &j.containers[load.Container]
	f := &filling{size: vec{int32(c.Size[0]), int32(c.Size[1]), int32(c.Size[2])}}
	f.rules = rules{support: j.options.Support, floor: float64(c.FloorKgPerM2) / 1000, carry: true, boxwise: true, exactBase: j.options.Support > 0}
	for k := range j.boxes {
		b := &j.boxes[k]
		f.types = append(f.types, boxType{mass: b.MassGrams, fragile: b.Fragile, topLoad: b.TopLoadGrams, floor: b.FloorOnly})
	}
	w, s := &worker{f: f}, &state{}
	for _, p := range load.Placements {
		at := spot{kind: int32(p.Box)}
		for axis := range 3 {
			at.lo[axis], at.hi[axis] = int32(p.At[axis]), int32(p.At[axis]+p.Size[axis])
		}
		s.spots = append(s.spots, at)
	}
	if !w.stands(s, 0) {
		return false, false // what is loaded keeps to the rules, so this is not to be
	}
	touch := len(s.touch)
	for _, size := range stands {
		for _, at := range corners(s.spots, size.size, f.size, j.options.Support > 0) {
			// Held up it must be, whatever it weighs: else this is no room.
			if f.rules.support > 0 && at.lo[2] > 0 && heldUp(s.spots, &at) < f.rules.support*(1-1e-12) {
				continue
			}
			room = true
			at.kind = int32(i)
			s.spots = append(s.spots, at)
			ok := w.stands(s, len(s.spots)-1)
			s.spots, s.touch = s.spots[:len(s.spots)-1], s.touch[:touch]
			if ok {
				return true, true
			}
		}
	}
	return room, false
}

// heldUp is the share of a base that lies on the tops of boxes.
func heldUp(spots []spot, b *spot) float64 {
	held := int64(0)
	for i := range spots {
		o := &spots[i]
		r := rect{max(b.lo[0], o.lo[0]), max(b.lo[1], o.lo[1]), min(b.hi[0], o.hi[0]), min(b.hi[1], o.hi[1])}
		if o.hi[2] == b.lo[2] && r.x0 < r.x1 && r.y0 < r.y1 {
			held += r.area()
		}
	}
	return float64(held) / (float64(b.hi[0]-b.lo[0]) * float64(b.hi[1]-b.lo[1]))
}

// corners returns where something of a size has room beside boxes: it touches a wall or a
// box along each axis. On tops or the floor only, where it must be held up.
func corners(spots []spot, size, room vec, held bool) []spot {
	var out []spot
	heights := besides(spots, 2, size, room, func(*spot) bool { return true })
	if held {
		heights = slices.DeleteFunc(heights, func(z int32) bool {
			return z > 0 && !slices.ContainsFunc(spots, func(o spot) bool { return o.hi[2] == z })
		})
	}
	for _, z := range heights {
		beside := func(o *spot) bool { return o.lo[2] < z+size[2] && o.hi[2] >= z }
		xs, ys := besides(spots, 0, size, room, beside), besides(spots, 1, size, room, beside)
		for _, x := range xs {
			for _, y := range ys {
				at := spot{cuboid: cuboid{vec{x, y, z}, vec{x + size[0], y + size[1], z + size[2]}}}
				if !slices.ContainsFunc(spots, func(o spot) bool { return o.overlaps(&at.cuboid) }) {
					out = append(out, at)
				}
			}
		}
	}
	return out
}

// besides returns where along an axis something of a size touches a wall or one of the
// boxes that near says.
func besides(spots []spot, axis int, size, room vec, near func(*spot) bool) []int32 {
	list := []int32{0, room[axis] - size[axis]}
	for i := range spots {
		if near(&spots[i]) {
			list = append(list, spots[i].hi[axis], spots[i].lo[axis]-size[axis], spots[i].lo[axis], spots[i].hi[axis]-size[axis])
		}
	}
	slices.Sort(list)
	list = slices.Compact(list)
	return slices.DeleteFunc(list, func(at int32) bool { return at < 0 || at > room[axis]-size[axis] })
}

// full says whether each container that is in use and would take box i has no mass left
// for it.
func (j *job) full(i int) bool {
	b := &j.boxes[i]
	found := false
	for _, load := range j.result.Loads {
		c := &j.containers[load.Container]
		if len(standsIn(b, c)) == 0 || b.Cold && !c.Cold {
			continue
		}
		if c.MassGramsMax == 0 || load.MassGrams+b.MassGrams <= c.MassGramsMax {
			return false
		}
		found = true
	}
	return found
}

// pressesTooMuch says whether box i alone presses more on the floor of each container
// than that bears: it can only stand on others.
func (j *job) pressesTooMuch(i int) bool {
	b := &j.boxes[i]
	found := false
	for k := range j.containers {
		c := &j.containers[k]
		stands := standsIn(b, c)
		if len(stands) == 0 || b.Cold && !c.Cold {
			continue
		}
		if c.FloorKgPerM2 == 0 || len(light(b, c, stands)) > 0 {
			return false
		}
		found = true
	}
	return found
}

// keptApart says whether each container holds something that box i must be apart from.
func (j *job) keptApart(i int) bool {
	if _, ok := j.classes[j.boxes[i].Segregation]; !ok {
		return false
	}
	for l := range j.result.Loads {
		if !j.clashes(i, &j.result.Loads[l]) {
			return false
		}
	}
	return len(j.result.Loads) > 0
}

// clashes says whether a container holds something that box i must be apart from.
func (j *job) clashes(i int, load *Load) bool {
	bit, ok := j.classes[j.boxes[i].Segregation]
	return ok && slices.ContainsFunc(load.Placements, func(p Placement) bool {
		other, ok := j.classes[j.boxes[p.Box].Segregation]
		return ok && j.apart[bit]>>other&1 == 1
	})
}
