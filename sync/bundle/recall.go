package bundle

// recallSize is how many values a recall list holds.
const recallSize = 64

// recall lists the latest different values, the newest first.
type recall[T comparable] struct{ recent []T }

// find returns the place of a value, or -1.
func (r *recall[T]) find(value T) int {
	for i, have := range r.recent {
		if have == value {
			return i
		}
	}
	return -1
}

// use moves the value at a place to the front.
func (r *recall[T]) use(place int) {
	value := r.recent[place]
	copy(r.recent[1:place+1], r.recent[:place])
	r.recent[0] = value
}

// add puts a value that is not in the list to the front; the oldest may fall out.
func (r *recall[T]) add(value T) {
	if len(r.recent) < recallSize {
		r.recent = append(r.recent, value)
	}
	copy(r.recent[1:], r.recent)
	r.recent[0] = value
}

// zigzag maps small numbers of either sign to small ones without.
func zigzag(n int64) uint64 { return uint64(n<<1) ^ uint64(n>>63) }

func unzigzag(n uint64) int64 { return int64(n>>1) ^ -int64(n&1) }
