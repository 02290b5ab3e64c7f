package fragment

import (
	"errors"
	"fmt"

	"github.com/klauspost/reedsolomon"
)

// smallField is how many fragments the code over GF(2^8) can number. What has
// more, parity included, is coded over GF(2^16). In both any Data fragments
// rebuild the parcel.
const smallField = 256

// largeUnit is what the size of fragments is a multiple of in the code over
// GF(2^16).
const largeUnit = 64

// large reports whether the code is that over GF(2^16).
func (c Cut) large() bool { return c.Parity > 0 && c.Total() > smallField }

// checkLarge returns an error for what the code over GF(2^16) cannot do, or not in
// bounded memory.
func (c Cut) checkLarge() error {
	group := 1 // the parity rounded up to a power of two; the data is taken in such groups
	for group < c.Parity {
		group *= 2
	}
	switch {
	case c.Size%largeUnit != 0:
		return fmt.Errorf("fragments of %d bytes; with more than %d and parity it is a multiple of %d", c.Size, smallField, largeUnit)
	case (c.Data+group-1)/group*group+group > 1<<16 || c.Total()*c.Size > MaxCoded:
		return fmt.Errorf("%d fragments of %d bytes with parity; at most %d bytes together", c.Total(), c.Size, MaxCoded)
	}
	return nil
}

func (c Cut) code() (reedsolomon.Encoder, error) {
	return reedsolomon.New(c.Data, c.Parity, reedsolomon.WithMaxGoroutines(1), reedsolomon.WithInversionCache(false),
		reedsolomon.WithLeopardGF16(c.large()))
}

// shards returns the parcel in pieces of Size, the last padded with zeros, and
// room for parity.
func (c Cut) shards(parcel []byte) [][]byte {
	whole := make([]byte, c.Total()*c.Size)
	copy(whole, parcel)
	shards := make([][]byte, c.Total())
	for i := range shards {
		shards[i] = whole[i*c.Size : (i+1)*c.Size : (i+1)*c.Size]
	}
	return shards
}

// Fragments returns the fragments of a parcel at the given places; nil is all.
func (c Cut) Fragments(parcel []byte, places []int) ([][]byte, error) {
	if err := c.check(); err != nil {
		return nil, err
	}
	if len(parcel) != c.Length || NameOf(parcel) != c.Name {
		return nil, fmt.Errorf("the cut is of another parcel: %s", c.Name)
	}
	shards := c.shards(parcel)
	if c.Parity > 0 {
		code, err := c.code()
		if err != nil {
			return nil, err
		}
		if err := code.Encode(shards); err != nil {
			return nil, err
		}
	}
	if places == nil {
		for place := range shards {
			places = append(places, place)
		}
	}
	var out [][]byte
	for _, place := range places {
		if place < 0 || place >= len(shards) {
			return nil, fmt.Errorf("there is no fragment %d of %d", place+1, len(shards))
		}
		f := Fragment{Cut: c, Place: place, Body: shards[place][:c.bodySize(place)]}
		out = append(out, f.Encode())
	}
	return out, nil
}

// ErrNotWhole is returned by Join where fragments are missing.
var ErrNotWhole = errors.New("fragments are missing")

// ErrFalse is returned by Join where a fragment is not what its parcel was cut
// into.
var ErrFalse = errors.New("the fragments do not make the parcel that they name: one or more are false")

// Join returns the parcel from the bodies of its fragments by place, of which
// those that are missing are nil. At least Data must be there.
func (c Cut) Join(bodies [][]byte) ([]byte, error) {
	shards := make([][]byte, c.Total())
	have, data := 0, 0
	for place, body := range bodies[:c.Total()] {
		if body == nil || have == c.Data {
			continue
		}
		if len(body) != c.bodySize(place) {
			return nil, fmt.Errorf("fragment %d holds %d bytes, not %d", place+1, len(body), c.bodySize(place))
		}
		shards[place] = body
		have++
		if place < c.Data {
			data++
		}
	}
	if have < c.Data {
		return nil, ErrNotWhole
	}
	if data < c.Data {
		if last := shards[c.Data-1]; last != nil {
			shards[c.Data-1] = append(append(make([]byte, 0, c.Size), last...), make([]byte, c.pad())...)
		}
		code, err := c.code()
		if err != nil {
			return nil, err
		}
		if err := code.ReconstructData(shards); err != nil {
			return nil, err
		}
	}
	parcel := make([]byte, 0, c.Data*c.Size)
	for _, shard := range shards[:c.Data] {
		parcel = append(parcel, shard...)
	}
	if parcel = parcel[:c.Length]; NameOf(parcel) != c.Name {
		return nil, ErrFalse
	}
	return parcel, nil
}
