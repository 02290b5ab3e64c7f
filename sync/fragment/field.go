package fragment

import (
	"sync"

	"github.com/klauspost/reedsolomon"
)

// element is one of GF(2^16), made of pairs over GF(2^8): low + high·y, where y² = y +
// [squareOfY] and GF(2^8) has the polynomial x^8 + x^4 + x^3 + x^2 + 1. Elements are added by
// exclusive or. Those below 256 are GF(2^8) itself.
type element uint16

const (
	polynomial = 0x11d
	squareOfY  = 0x20   // the smallest with which y² + y + it has no zero in GF(2^8)
	generator  = 0x0104 // the smallest from y on whose powers are all but zero
	order      = 1<<16 - 1
)

// times8 multiplies in GF(2^8).
func times8(a, b element) element {
	product := element(0)
	for ; b > 0; b >>= 1 {
		if b&1 > 0 {
			product ^= a
		}
		if a <<= 1; a > 0xff {
			a ^= polynomial
		}
	}
	return product
}

func (e element) low() element  { return e & 0xff }
func (e element) high() element { return e >> 8 }

func (e element) times(f element) element {
	highs := times8(e.high(), f.high())
	low := times8(e.low(), f.low()) ^ times8(highs, squareOfY)
	return low | (times8(e.low(), f.high())^times8(e.high(), f.low())^highs)<<8
}

// logarithms are those of all elements but zero, and back.
type logarithms struct {
	of  [order + 1]uint16
	exp [order]element
}

var tables = sync.OnceValue(func() *logarithms {
	t, power := &logarithms{}, element(1)
	for i := range t.exp {
		t.exp[i], t.of[power] = power, uint16(i)
		power = power.times(generator)
	}
	return t
})

// addTimes adds factor times what in holds to out. A body is a vector over GF(2^16) whose
// low bytes are its first half and whose high bytes are its second. Where factor is
// one of GF(2^8) that is each byte times it, so that only other factors need an even length.
func addTimes(out []byte, factor element, in []byte) {
	var field reedsolomon.LowLevel
	if factor.high() == 0 {
		field.GalMulSliceXor(byte(factor), in, out)
		return
	}
	half := len(in) / 2
	low, high := out[:half], out[half:]
	field.GalMulSliceXor(byte(factor.low()), in[:half], low)
	field.GalMulSliceXor(byte(times8(factor.high(), squareOfY)), in[half:], low)
	field.GalMulSliceXor(byte(factor.high()), in[:half], high)
	field.GalMulSliceXor(byte(factor.low()^factor.high()), in[half:], high)
}

// extend returns what the polynomial of the lowest degree through the bodies at some points
// has at other points, by Lagrange's formula. No point may be given twice.
func extend(points []int, bodies [][]byte, others []int) [][]byte {
	if len(others) == 0 {
		return nil
	}
	log := tables()
	product := func(p int) (sum int) { // of the differences, as a logarithm; without 0
		for _, q := range points {
			if p != q {
				sum += int(log.of[p^q])
			}
		}
		return sum % order
	}
	weights := make([]int, len(points))
	for i, p := range points {
		weights[i] = product(p)
	}
	out := make([][]byte, len(others))
	for i, other := range others {
		out[i] = make([]byte, len(bodies[0]))
		all := product(other) + 2*order
		for k, p := range points {
			addTimes(out[i], log.exp[(all-weights[k]-int(log.of[p^other]))%order], bodies[k])
		}
	}
	return out
}
