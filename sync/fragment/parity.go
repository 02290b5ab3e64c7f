package fragment

import (
	"bytes"
	"crypto/sha256"
	"errors"
	"fmt"

	"github.com/klauspost/reedsolomon"
)

// groupMost is how many fragments the code over GF(2^8) can number. What has more,
// parity included, is coded in as many groups as it takes, interleaved.
const groupMost = 256

// groups returns the number of groups. Data and Parity alone say it.
func (c Cut) groups() int {
	if c.Parity == 0 {
		return 1
	}
	g := max(1, c.Total()/groupMost)
	for ceil(c.Data, g)+ceil(c.Parity, g) > groupMost {
		g++
	}
	return g
}

// group is one code: data fragments and parity fragments, in order.
type group struct {
	data   int
	places []int
}

// groupOf returns group n of g: every g-th fragment of the data, and of the parity.
func (c Cut) groupOf(n, g int) group {
	var places []int
	for place := n; place < c.Data; place += g {
		places = append(places, place)
	}
	data := len(places)
	for place := c.Data + n; place < c.Total(); place += g {
		places = append(places, place)
	}
	return group{data, places}
}

// Lacking returns how many more fragments are needed, as the fragments at some
// places are there: with one group what Data is more than those.
func (c Cut) Lacking(there func(place int) bool) int {
	lacking, g := 0, c.groups()
	for n := range g {
		of := c.groupOf(n, g)
		need := of.data
		for _, place := range of.places {
			if there(place) {
				need--
			}
		}
		lacking += max(0, need)
	}
	return lacking
}

func (g group) code() (reedsolomon.Encoder, error) {
	return reedsolomon.New(g.data, len(g.places)-g.data, reedsolomon.WithMaxGoroutines(1), reedsolomon.WithInversionCache(false))
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
	if err := c.addParity(shards); err != nil {
		return nil, err
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

// addParity fills in the pieces that hold parity.
func (c Cut) addParity(shards [][]byte) error {
	if c.Parity == 0 {
		return nil
	}
	for n := range c.groups() {
		of := c.groupOf(n, c.groups())
		code, err := of.code()
		if err != nil {
			return err
		}
		if err := code.Encode(pick(shards, of.places)); err != nil {
			return err
		}
	}
	return nil
}

func pick(shards [][]byte, places []int) [][]byte {
	list := make([][]byte, len(places))
	for i, place := range places {
		list[i] = shards[place]
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
	for place, body := range bodies[:c.Total()] {
		if body != nil && len(body) != c.bodySize(place) {
			return nil, fmt.Errorf("fragment %d holds %d bytes, not %d", place+1, len(body), c.bodySize(place))
		}
	}
	data := append([][]byte{}, bodies[:c.Data]...)
	for n := range c.groups() {
		if err := c.rebuild(data, bodies, c.groupOf(n, c.groups())); err != nil {
			return nil, err
		}
	}
	return c.put(data)
}

// rebuild fills in the pieces of data that a group lacks.
func (c Cut) rebuild(data, bodies [][]byte, of group) error {
	shards, have, whole := make([][]byte, len(of.places)), 0, true
	for i, place := range of.places {
		if bodies[place] == nil {
			whole = whole && i >= of.data
			continue
		}
		if have == of.data {
			break
		}
		shards[i] = bodies[place]
		have++
	}
	switch {
	case have < of.data:
		return ErrNotWhole
	case whole:
		return nil
	}
	for i, place := range of.places[:of.data] {
		if place == c.Data-1 && shards[i] != nil {
			shards[i] = append(append(make([]byte, 0, c.Size), shards[i]...), make([]byte, c.pad())...)
		}
	}
	code, err := of.code()
	if err != nil {
		return err
	}
	if err := code.ReconstructData(shards); err != nil {
		return err
	}
	for i, place := range of.places[:of.data] {
		data[place] = shards[i]
	}
	return nil
}

// put puts the pieces together, once their digest fits: many may be tried that do
// not, and they are large.
func (c Cut) put(shards [][]byte) ([]byte, error) {
	last := len(shards) - 1
	shards[last] = shards[last][:c.bodySize(last)]
	digest := sha256.New()
	for _, shard := range shards {
		digest.Write(shard)
	}
	if Name(digest.Sum(nil)[:len(c.Name)]) != c.Name {
		return nil, ErrFalse
	}
	return bytes.Join(shards, nil), nil
}
