package packing

import (
	"math"
	"slices"
)

// rules are those of a filling that go beyond room: they are held box by box.
type rules struct {
	massMax   int64   // 0: none
	support   float64 // share of each base
	floor     float64 // grams on a square millimetre of floor; 0: none
	apart     []uint64
	carry     bool // something bounds what rests on a box or on the floor
	boxwise   bool // anything that needs single boxes
	exactBase bool // support is looked at box by box
}

// allowed says whether block i may be set down at the point at, by all rules. In a
// state that is kept box by box, keep adds its boxes when it may.
func (w *worker) allowed(s *state, i int32, at vec, keep bool) bool {
	f := w.f
	b := &f.blocks[i]
	if f.rules.massMax > 0 && s.mass+b.mass > f.rules.massMax {
		return false
	}
	if b.class != 0 && f.clash(s.class, b.class) {
		return false
	}
	if !f.rules.boxwise {
		return true
	}
	spots, touch := len(s.spots), len(s.touch)
	s.spots = unfold(f.blocks, f.types, i, at, s.spots)
	ok := w.stands(s, spots)
	if !ok || !keep {
		s.spots, s.touch = s.spots[:spots], s.touch[:touch]
	}
	return ok
}

// clash says whether boxes of the classes in a and in b, bits, may not share a
// container.
func (f *filling) clash(a, b uint64) bool {
	for bit, others := range f.rules.apart {
		if b>>bit&1 == 1 && a&others != 0 {
			return true
		}
	}
	return false
}

// stands says whether the boxes from first on stand as the rules want, with those
// before them, and adds what touches what.
func (w *worker) stands(s *state, first int) bool {
	f := w.f
	for i := first; i < len(s.spots); i++ {
		b := &s.spots[i]
		t := &f.types[b.kind]
		if t.floor && b.lo[2] > 0 {
			return false
		}
		for j := range i {
			o := &s.spots[j]
			area := rect{max(b.lo[0], o.lo[0]), max(b.lo[1], o.lo[1]), min(b.hi[0], o.hi[0]), min(b.hi[1], o.hi[1])}
			switch {
			case area.x0 >= area.x1 || area.y0 >= area.y1:
			case o.hi[2] == b.lo[2]:
				if f.types[o.kind].fragile {
					return false
				}
				s.touch = append(s.touch, touching{int32(j), int32(i), area.area()})
			case b.hi[2] == o.lo[2]:
				if t.fragile {
					return false
				}
				s.touch = append(s.touch, touching{int32(i), int32(j), area.area()})
			}
		}
	}
	if f.rules.exactBase {
		w.area = append(w.area[:0], make([]int64, len(s.spots))...)
		for _, t := range s.touch {
			w.area[t.above] += t.area
		}
		for i := first; i < len(s.spots); i++ {
			b := &s.spots[i]
			base := float64(b.hi[0]-b.lo[0]) * float64(b.hi[1]-b.lo[1])
			if b.lo[2] > 0 && float64(w.area[i]) < f.rules.support*base*(1-1e-12) {
				return false
			}
		}
	}
	return !f.rules.carry || w.carries(s)
}

// carries says whether each box and the floor bear what rests on them.
func (w *worker) carries(s *state) bool {
	f := w.f
	w.onTop = onTop(w.onTop, s.spots, s.touch, f.types, &w.order, &w.area)
	for i := range s.spots {
		b := &s.spots[i]
		t := &f.types[b.kind]
		if t.topLoad > 0 && w.onTop[i] > float64(t.topLoad)*(1+1e-9) {
			return false
		}
		if f.rules.floor > 0 && b.lo[2] == 0 {
			base := float64(b.hi[0]-b.lo[0]) * float64(b.hi[1]-b.lo[1])
			if float64(t.mass)+w.onTop[i] > f.rules.floor*base*(1+1e-9) {
				return false
			}
		}
	}
	return true
}

// onTop returns the grams that rest on each box: a box gives its mass, and what
// rests on it, to those that it touches below, by area.
func onTop(loads []float64, spots []spot, touch []touching, types []boxType, order *[]int32, areas *[]int64) []float64 {
	loads = append(loads[:0], make([]float64, len(spots))...)
	*areas = append((*areas)[:0], make([]int64, len(spots))...)
	*order = (*order)[:0]
	for i := range touch {
		(*areas)[touch[i].above] += touch[i].area
		*order = append(*order, int32(i))
	}
	slices.SortFunc(*order, func(a, b int32) int {
		za, zb := spots[touch[a].above].lo[2], spots[touch[b].above].lo[2]
		if za != zb {
			return int(zb - za)
		}
		return int(a - b)
	})
	for _, k := range *order {
		t := &touch[k]
		loads[t.below] += (float64(types[spots[t.above].kind].mass) + loads[t.above]) * float64(t.area) / float64((*areas)[t.above])
	}
	return loads
}

// ceilGrams rounds up, but for what is only rounding.
func ceilGrams(g float64) int64 { return int64(math.Ceil(g - 1e-6)) }
