package fragment

import (
	"bytes"
	"crypto/sha256"
	"errors"
	"fmt"
	"slices"
)

// Numbers of fragments, parity included, where there is parity.
const (
	mostBytes = 256  // that GF(2^8) can number; more are coded over GF(2^16)
	MaxCoded  = 4096 // more would take long to join, and a stranger could make it last
)

// wide tells whether the code is over GF(2^16). Its bodies have an even length.
func (c Cut) wide() bool { return c.Parity > 0 && c.Total() > mostBytes }

// Lacking returns how many more fragments are needed, as the fragments at some
// places are there.
func (c Cut) Lacking(there func(place int) bool) int {
	need := c.Data
	for place := range c.Total() {
		if there(place) {
			need--
		}
	}
	return max(0, need)
}

// padded is the body at a place with zeros to Size.
func (c Cut) padded(place int, body []byte) []byte {
	if place != c.Data-1 || c.pad() == 0 {
		return body
	}
	return append(append(make([]byte, 0, c.Size), body...), make([]byte, c.pad())...)
}

// Fragments returns the fragments of a parcel at the given places; nil is all.
func (c Cut) Fragments(parcel []byte, places []int) ([][]byte, error) {
	if err := c.check(); err != nil {
		return nil, err
	}
	if len(parcel) != c.Length || NameOf(parcel) != c.Name {
		return nil, fmt.Errorf("the cut is of another parcel: %s", c.Name)
	}
	bodies := c.pieces(parcel)
	if places == nil {
		for place := range bodies {
			places = append(places, place)
		}
	}
	var out [][]byte
	for _, place := range places {
		if place < 0 || place >= len(bodies) {
			return nil, fmt.Errorf("there is no fragment %d of %d", place+1, len(bodies))
		}
		f := Fragment{Cut: c, Place: place, Body: bodies[place]}
		out = append(out, f.Encode())
	}
	return out, nil
}

// pieces returns the bodies of all fragments of a parcel.
func (c Cut) pieces(parcel []byte) [][]byte {
	bodies := slices.Collect(slices.Chunk(parcel, c.Size))
	if c.Parity == 0 {
		return bodies
	}
	data := slices.Clone(bodies)
	data[c.Data-1] = c.padded(c.Data-1, data[c.Data-1])
	return append(bodies, extend(upTo(0, c.Data), data, upTo(c.Data, c.Total()))...)
}

// upTo returns the numbers from first to the one before end.
func upTo(first, end int) (list []int) {
	for n := first; n < end; n++ {
		list = append(list, n)
	}
	return list
}

// ErrNotWhole is returned by Join where fragments are missing.
var ErrNotWhole = errors.New("fragments are missing")

// ErrFalse is returned by Join where a fragment is not what its parcel was cut
// into.
var ErrFalse = errors.New("the fragments do not make the parcel that they name: one or more are false")

// Join returns the parcel from the bodies of its fragments by place, of which
// those that are missing are nil.
func (c Cut) Join(bodies [][]byte) ([]byte, error) {
	if err := c.check(); err != nil { // as a program from before this form may have kept
		return nil, fmt.Errorf("%w: %v", ErrFalse, err)
	}
	for place, body := range bodies[:c.Total()] {
		if body != nil && len(body) != c.bodySize(place) {
			return nil, fmt.Errorf("fragment %d holds %d bytes, not %d", place+1, len(body), c.bodySize(place))
		}
	}
	var have, lost []int
	var known [][]byte
	for place := range c.Total() {
		switch body := bodies[place]; {
		case body != nil && len(have) < c.Data:
			have, known = append(have, place), append(known, c.padded(place, body))
		case body == nil && place < c.Data:
			lost = append(lost, place)
		}
	}
	if len(have) < c.Data {
		return nil, ErrNotWhole
	}
	data := slices.Clone(bodies[:c.Data])
	for i, body := range extend(have, known, lost) {
		data[lost[i]] = body[:c.bodySize(lost[i])]
	}
	return c.put(data)
}

// put puts the pieces together, once their digest fits: many may be tried that do
// not, and they are large.
func (c Cut) put(bodies [][]byte) ([]byte, error) {
	digest := sha256.New()
	for _, body := range bodies {
		digest.Write(body)
	}
	if Name(digest.Sum(nil)[:len(c.Name)]) != c.Name {
		return nil, ErrFalse
	}
	return bytes.Join(bodies, nil), nil
}
