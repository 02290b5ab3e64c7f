package fragment

import (
	"bytes"
	"slices"
	"testing"

	"github.com/klauspost/reedsolomon"
	"pgregory.net/rapid"
)

// TestParityAsTheLibrarys compares parity of up to 256 fragments, byte by byte, with that
// of klauspost/reedsolomon, whose default code is over GF(2^8) with the same polynomial and
// the same points.
func TestParityAsTheLibrarys(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		k := rapid.IntRange(1, 255).Draw(t, "data")
		m := rapid.IntRange(1, min(4*k, 256-k)).Draw(t, "parity")
		size := rapid.IntRange(1, 70).Draw(t, "size")
		parcel := noise(k*size, rapid.Uint64().Draw(t, "seed"))
		c := Cut{Name: NameOf(parcel), Data: k, Parity: m, Size: size, Length: len(parcel)}
		library, err := reedsolomon.New(k, m)
		if err != nil {
			t.Fatal(err)
		}
		want := slices.Collect(slices.Chunk(bytes.Clone(parcel), size))
		for range m {
			want = append(want, make([]byte, size))
		}
		if err := library.Encode(want); err != nil {
			t.Fatal(err)
		}
		for place, body := range c.pieces(parcel) {
			if !bytes.Equal(body, want[place]) {
				t.Fatalf("fragment %d of %+v: %x, the library has %x", place, c, body, want[place])
			}
		}
	})
}

// TestField holds GF(2^8) to that of klauspost/reedsolomon, and what is built on it to
// the laws of a field.
func TestField(t *testing.T) {
	all := make([]byte, 256)
	for i := range all {
		all[i] = byte(i)
	}
	for a := range element(256) {
		want := make([]byte, 256)
		reedsolomon.LowLevel{}.GalMulSlice(byte(a), all, want)
		for b := range element(256) {
			if got := a.times(b); got != element(want[b]) {
				t.Fatalf("%d times %d is %d; the library has %d", a, b, got, want[b])
			}
		}
		if a.times(a)^a == squareOfY {
			t.Errorf("%d² + %d is %#x: a pair would divide zero", a, a, squareOfY)
		}
	}
	seen := map[element]bool{}
	for _, e := range tables().exp {
		seen[e] = true
	}
	if len(seen) != order || seen[0] {
		t.Errorf("the powers of %#x are %d elements, not %d", generator, len(seen), order)
	}
	rapid.Check(t, func(t *rapid.T) {
		draw := rapid.Map(rapid.Uint16(), func(n uint16) element { return element(n) })
		a, b, c := draw.Draw(t, "a"), draw.Draw(t, "b"), draw.Draw(t, "c")
		if a.times(b) != b.times(a) || a.times(b).times(c) != a.times(b.times(c)) || a.times(b^c) != a.times(b)^a.times(c) {
			t.Errorf("%#x, %#x, %#x break a law", a, b, c)
		}
		in := noise(2*rapid.IntRange(1, 100).Draw(t, "half"), 3)
		out := make([]byte, len(in))
		addTimes(out, a, in)
		for i, half := 0, len(in)/2; i < half; i++ {
			if got, want := element(out[i])|element(out[half+i])<<8, a.times(element(in[i])|element(in[half+i])<<8); got != want {
				t.Fatalf("%#x times element %d is %#x, want %#x", a, i, got, want)
			}
		}
	})
}
