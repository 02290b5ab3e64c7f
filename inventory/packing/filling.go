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
	rules     rules
	centre    bounds
	order     []int32 // blocks, most worth first
}

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
