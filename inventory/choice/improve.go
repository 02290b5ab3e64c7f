package choice

// improve betters a choice that fits by changing one item, and two items at a
// time, until nothing more is gained that way. It returns the gain of the
// choice.
func (t *table) improve(columns []int32) float64 {
	m := t.rows
	room := make([]float64, m)
	for r := range room {
		room[r] = 1
		for _, k := range columns {
			room[r] -= t.use[int(k)*m+r]
		}
	}
	fits := func(from, to int32) bool {
		for r := range m {
			if t.use[int(to)*m+r]-t.use[int(from)*m+r] > room[r] {
				return false
			}
		}
		return true
	}
	move := func(i int, to int32) {
		from := columns[i]
		for r := range m {
			room[r] -= t.use[int(to)*m+r] - t.use[int(from)*m+r]
		}
		columns[i] = to
	}
	single := func() bool {
		best, at, to := t.step(), -1, int32(0)
		for i, from := range columns {
			for k := t.first[i]; k < t.first[i+1]; k++ {
				if gain := t.gain[k] - t.gain[from]; gain > best && fits(from, k) {
					best, at, to = gain, i, k
				}
			}
		}
		if at >= 0 {
			move(at, to)
		}
		return at >= 0
	}
	pair := func() bool {
		for i := range columns {
			from := columns[i]
			for k := t.first[i]; k < t.first[i+1]; k++ {
				loss := t.gain[from] - t.gain[k]
				if loss <= 0 {
					continue
				}
				move(i, k)
				best, at, to := loss+t.step(), -1, int32(0)
				for j, other := range columns {
					if j == i {
						continue
					}
					for l := t.first[j]; l < t.first[j+1]; l++ {
						if gain := t.gain[l] - t.gain[other]; gain > best && fits(other, l) {
							best, at, to = gain, j, l
						}
					}
				}
				if at >= 0 {
					move(at, to)
					return true
				}
				move(i, from)
			}
		}
		return false
	}
	kept := append([]int32(nil), columns...)
	for single() || pair() {
		if t.fits(columns) { // by the figures given, not by the scaled ones
			copy(kept, columns)
		}
	}
	copy(columns, kept)
	return t.value(columns)
}
