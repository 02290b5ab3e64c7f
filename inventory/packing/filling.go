package packing

import (
	"cmp"
	"math"
	"slices"
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
	filled    float64   // what of a block's room must be boxes
	rules     rules
	centre    bounds
	opening   Opening
	order     []int32 // blocks, most worth first
}

func (f *filling) prepare(limit int, simple bool) {
	f.blocks, f.filled = f.grids(limit), f.leastFilled()
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

// typeKey is what makes two boxes alike.
type typeKey struct {
	sides   [3]int
	stands  [6]vec
	mass    int64
	top     int64
	fragile bool
	floor   bool
	class   uint64
}

// filling makes the filling of one container from the boxes that are left, but for
// those that are barred.
func (j *job) filling(k int, barred []bool) *filling {
	c := &j.containers[k]
	f := &filling{size: vec{int32(c.Size[0]), int32(c.Size[1]), int32(c.Size[2])}}
	f.rules = rules{massMax: c.MassGramsMax, support: j.options.Support, floor: float64(c.FloorKgPerM2) / 1000, apart: j.apart}
	index := map[typeKey]int{}
	for i := range j.boxes {
		b := &j.boxes[i]
		if j.left[i] == 0 || barred[i] || b.Cold && !c.Cold {
			continue
		}
		stands := bearable(b, c, standsIn(b, c))
		if len(stands) == 0 {
			continue
		}
		t := boxType{stands: stands, volume: int64(b.Size[0]) * int64(b.Size[1]) * int64(b.Size[2]), mass: b.MassGrams,
			fragile: b.Fragile, topLoad: b.TopLoadGrams, floor: b.FloorOnly}
		if class, ok := j.classes[b.Segregation]; ok && b.Segregation != "" {
			t.class = 1 << class
		}
		key := typeKey{mass: t.mass, top: t.topLoad, fragile: t.fragile, floor: t.floor, class: t.class, sides: b.Size}
		slices.Sort(key.sides[:])
		var sizes []vec
		for _, s := range stands {
			sizes = append(sizes, s.size)
		}
		slices.SortFunc(sizes, func(a, b vec) int { return slices.Compare(a[:], b[:]) })
		copy(key.stands[:], sizes)
		at, ok := index[key]
		if !ok {
			at = len(f.types)
			index[key] = at
			f.types = append(f.types, t)
		}
		f.types[at].count += j.left[i]
		f.types[at].boxes = append(f.types[at].boxes, i)
		f.rules.carry = f.rules.carry || t.topLoad > 0 || f.rules.floor > 0
		f.rules.boxwise = f.rules.boxwise || t.fragile || t.floor
	}
	for at := range f.types {
		t := &f.types[at]
		if t.class != 0 && f.clash(t.class, t.class) {
			t.count = 1
		}
	}
	f.supported = f.rules.support >= 1
	f.rules.exactBase = f.rules.support > 0 && !f.supported
	f.centre, f.opening = bounds{c.CentreMin, c.CentreMax}, c.Opening
	f.lowOnly = f.rules.support > 0
	f.rules.boxwise = f.rules.boxwise || f.rules.carry || f.rules.exactBase
	return f
}
