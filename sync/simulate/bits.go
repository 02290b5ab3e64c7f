package simulate

import "math/bits"

// Bits is a set of change-sets by their numbers in a [History]. The zero value is
// empty.
type Bits []uint64

// Has reports whether n is in the set.
func (b Bits) Has(n int) bool { return n >= 0 && n>>6 < len(b) && b[n>>6]>>(n&63)&1 == 1 }

// Add puts n into the set.
func (b *Bits) Add(n int) {
	for n>>6 >= len(*b) {
		*b = append(*b, 0)
	}
	(*b)[n>>6] |= 1 << (n & 63)
}

// Clone returns a copy that may be changed.
func (b Bits) Clone() Bits { return append(Bits(nil), b...) }

// Or adds all of c.
func (b *Bits) Or(c Bits) {
	for len(*b) < len(c) {
		*b = append(*b, 0)
	}
	for i, word := range c {
		(*b)[i] |= word
	}
}

// And returns what both sets hold.
func (b Bits) And(c Bits) Bits {
	both := make(Bits, min(len(b), len(c)))
	for i := range both {
		both[i] = b[i] & c[i]
	}
	return both
}

// Without returns what c does not hold.
func (b Bits) Without(c Bits) Bits {
	rest := b.Clone()
	for i := range min(len(rest), len(c)) {
		rest[i] &^= c[i]
	}
	return rest
}

// Covers reports whether all of c is in b.
func (b Bits) Covers(c Bits) bool { return c.Without(b).Count() == 0 }

// Count returns how many change-sets are in the set.
func (b Bits) Count() int {
	n := 0
	for _, word := range b {
		n += bits.OnesCount64(word)
	}
	return n
}

// All yields the numbers in order.
func (b Bits) All(yield func(int) bool) {
	for i, word := range b {
		for ; word != 0; word &= word - 1 {
			if !yield(i<<6 | bits.TrailingZeros64(word)) {
				return
			}
		}
	}
}
