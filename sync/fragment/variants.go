package fragment

import "errors"

// Fragments are not signed: whoever can put a parcel on the way can make one that
// names a parcel of another. So a receiver keeps, for a place, several bodies that
// differ, and Resolve looks for those that make the parcel.

// MaxVariants is how many bodies that differ are worth keeping for one place.
const MaxVariants = 4

// Bounds of the work of one Resolve.
const (
	maxTries     = 4096
	maxTryBytes  = 64 << 20 // of parcels that are put together in vain
	minimumTries = 16
	maxTryWork   = 16 << 30 // bytes of bodies that parity is multiplied with; two tries may need more
)

// Resolve returns the parcel from fragments of which some may be false. variants
// holds, by place, the bodies that came for it, the latest first. It tries the
// latest of each place, then others, within bounds. So false fragments can stand in
// the way only until the true ones come again: those are then the latest. It
// returns [ErrNotWhole] or [ErrFalse] as [Cut.Join] does.
func (c Cut) Resolve(variants [][][]byte) ([]byte, error) {
	latest := make([][]byte, c.Total())
	var contested, filled []int
	for place, bodies := range variants[:c.Total()] {
		if len(bodies) > 0 {
			latest[place] = bodies[0]
			filled = append(filled, place)
		}
		if len(bodies) > 1 {
			contested = append(contested, place)
		}
	}
	if c.Lacking(func(place int) bool { return latest[place] != nil }) > 0 {
		return nil, ErrNotWhole
	}
	tries := c.tries(latest)
	try := func(bodies [][]byte) ([]byte, bool, error) {
		tries--
		parcel, err := c.Join(bodies)
		if err == nil || !errors.Is(err, ErrFalse) && !errors.Is(err, ErrNotWhole) {
			return parcel, true, err
		}
		return nil, tries <= 0, ErrFalse
	}
	if parcel, done, err := try(latest); done {
		return parcel, err
	}
	if parcel, done, err := c.without(latest, contested, filled, try); done {
		return parcel, err
	}
	choice := make([]int, c.Total())
	for next(choice, contested, variants) {
		bodies := append([][]byte{}, latest...)
		for _, place := range contested {
			bodies[place] = variants[place][choice[place]]
		}
		if parcel, done, err := try(bodies); done {
			return parcel, err
		}
	}
	return nil, ErrFalse
}

// tries says how often it may be tried to join a cut of which such bodies are there.
func (c Cut) tries(bodies [][]byte) int {
	tries, lost := min(max(maxTryBytes/c.Length, minimumTries), maxTries), 1 // one more may be left out
	for _, body := range bodies[:c.Data] {
		if body == nil {
			lost++
		}
	}
	if c.Parity > 0 {
		tries = min(tries, maxTryWork/(lost*c.Length))
	}
	return max(tries, 2)
}

// without tries to do without places, where there is more than is needed: first
// without all that are contested, then without each.
func (c Cut) without(latest [][]byte, contested, filled []int, try func([][]byte) ([]byte, bool, error)) ([]byte, bool, error) {
	if len(contested) > 0 && len(filled)-len(contested) >= c.Data {
		bodies := append([][]byte{}, latest...)
		for _, place := range contested {
			bodies[place] = nil
		}
		if parcel, done, err := try(bodies); done {
			return parcel, true, err
		}
	}
	if len(filled) > c.Data {
		for _, place := range filled {
			bodies := append([][]byte{}, latest...)
			bodies[place] = nil
			if parcel, done, err := try(bodies); done {
				return parcel, true, err
			}
		}
	}
	return nil, false, ErrFalse
}

// next counts choice on to the next combination of variants, and returns false
// after the last.
func next(choice, contested []int, variants [][][]byte) bool {
	for _, place := range contested {
		if choice[place]++; choice[place] < len(variants[place]) {
			return true
		}
		choice[place] = 0
	}
	return false
}
