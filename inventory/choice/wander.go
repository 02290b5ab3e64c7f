package choice

import "math"

// wanderer looks for better choices around the best one known: it changes a few
// items at random, mends what no longer fits, and improves. Its numbers come
// from its own seed, so it goes the same way every time.
type wanderer struct {
	t       *table
	seed    uint64
	at      []int32 // where it is
	room    []float64
	value   float64
	idle    int // rounds without anything better
	work    int64
	pool    []int32 // items that are worth changing
	spare   []int32
	blocked []bool // items that the last change settled
}

func (w *wanderer) random(n int) int {
	w.seed += 0x9e3779b97f4a7c15
	z := w.seed
	z = (z ^ z>>30) * 0xbf58476d1ce4e5b9
	z = (z ^ z>>27) * 0x94d049bb133111eb
	return int((z ^ z>>31) % uint64(n))
}

func newWanderer(t *table, seed uint64) *wanderer {
	w := &wanderer{t: t, seed: seed, room: make([]float64, t.rows), blocked: make([]bool, t.items)}
	for i := range t.items {
		if t.first[i+1]-t.first[i] > 1 {
			w.pool = append(w.pool, int32(i))
		}
	}
	return w
}

func (w *wanderer) begin(columns []int32) {
	w.at = append(w.at[:0], columns...)
	w.value = w.t.value(columns)
	m := w.t.rows
	for r := range w.room {
		w.room[r] = 1
		for _, k := range columns {
			w.room[r] -= w.t.use[int(k)*m+r]
		}
	}
}

func (w *wanderer) move(i, to int32) {
	m := w.t.rows
	from := w.at[i]
	for r := range w.room {
		w.room[r] -= w.t.use[int(to)*m+r] - w.t.use[int(from)*m+r]
	}
	w.value += w.t.gain[to] - w.t.gain[from]
	w.at[i] = to
}

func (w *wanderer) fits(from, to int32) bool {
	m := w.t.rows
	a, b := w.t.use[int(from)*m:int(from)*m+m], w.t.use[int(to)*m:int(to)*m+m]
	for r, u := range b {
		if u-a[r] > w.room[r] {
			return false
		}
	}
	return true
}

// round takes one change, mending and improvement from the best choice known,
// or from near it, and leaves the result in at. It reports whether that is
// better than best.
func (w *wanderer) round(best []int32, bestValue float64) bool {
	if len(w.pool) < 2 {
		return false
	}
	if w.at == nil || w.idle%40 == 0 || w.value < bestValue-0.01*math.Abs(bestValue) {
		w.begin(best)
	}
	w.spare = append(w.spare[:0], w.at...)
	before := w.value
	for range 1 + w.random(4) {
		i := w.pool[w.random(len(w.pool))]
		options := int(w.t.first[i+1] - w.t.first[i])
		to := w.t.first[i] + int32(w.random(options-1))
		if to >= w.at[i] {
			to++
		}
		w.blocked[i] = true
		w.move(i, to)
	}
	mended := w.mend()
	if mended {
		w.fill()
		for i := range w.blocked {
			w.blocked[i] = false
		}
		w.exchange()
	} else {
		for i := range w.blocked {
			w.blocked[i] = false
		}
	}
	if !mended || w.value < before-0.002*math.Abs(before) {
		w.begin(w.spare)
	}
	w.idle++
	if w.value > bestValue+w.t.step() && w.t.fits(w.at) {
		w.idle = 0
		return true
	}
	return false
}

// mend changes items to what uses less, least loss for the room first, until
// all fits.
func (w *wanderer) mend() bool {
	m := w.t.rows
	for {
		over := false
		for _, x := range w.room {
			over = over || x < 0
		}
		if !over {
			return true
		}
		best, at, to := math.Inf(1), int32(-1), int32(0)
		for _, i := range w.pool {
			if w.blocked[i] {
				continue
			}
			from := w.at[i]
			for k := w.t.first[i]; k < w.t.first[i+1]; k++ {
				relief := 0.0
				for r, x := range w.room {
					change := w.t.use[int(from)*m+r] - w.t.use[int(k)*m+r]
					if x < 0 {
						relief += min(change, -x)
					} else if x+change < 0 {
						relief += x + change
					}
				}
				w.work += int64(m)
				if relief <= 1e-12 {
					continue
				}
				if loss := (w.t.gain[from] - w.t.gain[k]) / relief; loss < best {
					best, at, to = loss, i, k
				}
			}
		}
		if at < 0 {
			return false
		}
		w.move(at, to)
	}
}

// fill takes the change of one item that gains most and fits, until none does.
func (w *wanderer) fill() {
	for {
		best, at, to := w.t.step(), int32(-1), int32(0)
		for _, i := range w.pool {
			if w.blocked[i] {
				continue
			}
			from := w.at[i]
			for k := w.t.first[i]; k < w.t.first[i+1]; k++ {
				if gain := w.t.gain[k] - w.t.gain[from]; gain > best {
					w.work += int64(w.t.rows)
					if w.fits(from, k) {
						best, at, to = gain, i, k
					}
				}
			}
		}
		w.work += int64(len(w.t.gain))
		if at < 0 {
			return
		}
		w.move(at, to)
	}
}

// exchange changes two items at a time, and one, until nothing is gained.
func (w *wanderer) exchange() {
	for w.pair() {
		w.fill()
	}
}

func (w *wanderer) pair() bool {
	for _, i := range w.pool {
		from := w.at[i]
		for k := w.t.first[i]; k < w.t.first[i+1]; k++ {
			loss := w.t.gain[from] - w.t.gain[k]
			if loss <= 0 {
				continue
			}
			w.move(i, k)
			best, at, to := loss+w.t.step(), int32(-1), int32(0)
			for _, j := range w.pool {
				if j == i {
					continue
				}
				other := w.at[j]
				for l := w.t.first[j]; l < w.t.first[j+1]; l++ {
					if gain := w.t.gain[l] - w.t.gain[other]; gain > best && w.fits(other, l) {
						best, at, to = gain, j, l
					}
				}
			}
			w.work += int64(3 * len(w.t.gain))
			if at >= 0 {
				w.move(at, to)
				return true
			}
			w.move(i, from)
		}
	}
	return false
}
