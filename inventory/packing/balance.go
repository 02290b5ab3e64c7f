package packing

// miss says by how much a centre of mass is out of its bounds, as a share of the
// container summed over the axes; 0 is within.
func (b *bounds) miss(centre [3]float64) float64 {
	miss := 0.0
	for axis := range 3 {
		if b.high[axis] > 0 {
			miss += max(0, b.low[axis]-centre[axis], centre[axis]-b.high[axis])
		}
	}
	return miss
}

// bounds are those of a centre of mass, as shares of the inner size.
type bounds struct{ low, high [3]float64 }

func (b *bounds) any() bool { return b.high != [3]float64{} }

// balance brings the centre of mass within the bounds of the filling: it mirrors the
// load, moves all of it, and as a last resort leaves boxes out, which are those with
// nothing on them. It returns the boxes that stay and the types of those left out.
func (f *filling) balance(spots []spot) (stay []spot, out []int32) {
	stay = append(stay, spots...)
	for len(stay) > 0 {
		miss, mirror, shift := f.settle(centre(f.types, stay), stay)
		if miss <= 0 {
			move(stay, f.size, mirror, shift)
			return stay, out
		}
		carries := make([]bool, len(stay))
		for i := range stay {
			for k := range stay {
				carries[i] = carries[i] || stay[k].lo[2] == stay[i].hi[2] &&
					stay[k].lo[0] < stay[i].hi[0] && stay[i].lo[0] < stay[k].hi[0] && stay[k].lo[1] < stay[i].hi[1] && stay[i].lo[1] < stay[k].hi[1]
			}
		}
		best, at := 0.0, -1
		mass, moment := moments(f.types, stay)
		for i := range stay {
			if carries[i] {
				continue
			}
			m := weight(f.types, &stay[i], mass)
			rest := [3]float64{}
			if all := total(f.types, stay, mass) - m; all > 0 {
				for axis := range 3 {
					rest[axis] = (moment[axis] - m*float64(stay[i].lo[axis]+stay[i].hi[axis])/2) / all
				}
			}
			left, _, _ := f.settle(rest, stay)
			if gain := (miss - left) / float64(f.types[stay[i].kind].volume); at < 0 || gain > best {
				best, at = gain, i
			}
		}
		out = append(out, stay[at].kind)
		stay = append(stay[:at], stay[at+1:]...)
	}
	return stay, out
}

// settled returns what of a packing can be loaded, in the order of loading, with its
// centre of mass where it may be; and the types of which some were left out for that.
// What is mirrored for balance may have to be loaded in another order.
func (f *filling) settled(spots []spot) (stay []spot, unbalanced []int32) {
	stay = f.inOrder(spots)
	for f.centre.any() {
		balanced, out := f.balance(stay)
		unbalanced = append(unbalanced, out...)
		stay = f.inOrder(balanced)
		if len(stay) == len(balanced) {
			break
		}
	}
	return stay, unbalanced
}

// settle finds the mirroring and the move along x and y that bring a centre of mass
// nearest to its bounds, and by how much it then misses them.
func (f *filling) settle(centre [3]float64, spots []spot) (miss float64, mirror [2]bool, shift [2]int32) {
	least, most := f.size, vec{}
	for i := range spots {
		for axis := range 3 {
			least[axis] = min(least[axis], spots[i].lo[axis])
			most[axis] = max(most[axis], spots[i].hi[axis])
		}
	}
	var share [3]float64
	share[2] = centre[2] / float64(f.size[2])
	for axis := range 2 {
		size := float64(f.size[axis])
		share[axis] = centre[axis] / size
		if f.centre.high[axis] == 0 {
			continue
		}
		bestMiss := -1.0
		at := centre[axis]
		for _, turned := range [2]bool{false, true} {
			c, down, up := at, least[axis], f.size[axis]-most[axis]
			if turned {
				c, down, up = size-c, up, down
			}
			by := int32(0)
			if low := f.centre.low[axis] * size; c < low {
				by = min(up, int32(low-c)+1)
			} else if high := f.centre.high[axis] * size; c > high {
				by = -min(down, int32(c-high)+1)
			}
			c += float64(by)
			m := max(0, f.centre.low[axis]-c/size, c/size-f.centre.high[axis])
			if bestMiss < 0 || m < bestMiss {
				bestMiss, mirror[axis], shift[axis], share[axis] = m, turned, by, c/size
			}
		}
	}
	return f.centre.miss(share), mirror, shift
}

// move mirrors spots and then moves them.
func move(spots []spot, size vec, mirror [2]bool, shift [2]int32) {
	for i := range spots {
		s := &spots[i]
		for axis := range 2 {
			if mirror[axis] {
				s.lo[axis], s.hi[axis] = size[axis]-s.hi[axis], size[axis]-s.lo[axis]
			}
			s.lo[axis] += shift[axis]
			s.hi[axis] += shift[axis]
		}
	}
}

// massless says whether no box has mass: then volume counts in its place.
func massless(types []boxType, spots []spot) bool {
	for i := range spots {
		if types[spots[i].kind].mass > 0 {
			return false
		}
	}
	return true
}

func weight(types []boxType, s *spot, byMass bool) float64 {
	if byMass {
		return float64(types[s.kind].mass)
	}
	return float64(types[s.kind].volume)
}

func total(types []boxType, spots []spot, byMass bool) float64 {
	sum := 0.0
	for i := range spots {
		sum += weight(types, &spots[i], byMass)
	}
	return sum
}

// moments returns whether mass counts, and the sum of mass times place.
func moments(types []boxType, spots []spot) (byMass bool, sum [3]float64) {
	byMass = !massless(types, spots)
	for i := range spots {
		m := weight(types, &spots[i], byMass)
		for axis := range 3 {
			sum[axis] += m * float64(spots[i].lo[axis]+spots[i].hi[axis]) / 2
		}
	}
	return byMass, sum
}

// centre returns the centre of mass in mm; of volume if nothing has mass.
func centre(types []boxType, spots []spot) [3]float64 {
	byMass, sum := moments(types, spots)
	all := total(types, spots, byMass)
	for axis := range 3 {
		if all > 0 {
			sum[axis] /= all
		}
	}
	return sum
}
