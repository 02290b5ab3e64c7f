package ucum

import (
	"fmt"
	"math/big"

	"pulk/schema/decimal"
)

// DimensionError says that a value in one unit is asked for in another that
// measures something else.
type DimensionError struct{ From, To Unit }

func (e *DimensionError) Error() string {
	return fmt.Sprintf("%s is a unit of %s, %s one of %s", e.From, e.From.dim.Name(), e.To, e.To.dim.Name())
}

// Convert tells a value in another unit of its dimension. The result is exact where
// that takes at most exactDigits significant digits; else it is rounded, half to
// even, to three digits more than value has, and at least roundedDigits; of a small
// one to as many as a decimal keeps, if those are enough. It has as
// many digits after the point as value's last digit is worth, or more: 0.550 GOhm
// are 550 MOhm, 1.50 min are 90.0 s.
//
// The error is a [DimensionError], or says that a value is too great or too small to
// be kept.
func Convert(value decimal.Decimal, from, to Unit) (decimal.Decimal, error) {
	if from.dim != to.dim {
		return decimal.Decimal{}, &DimensionError{from, to}
	}
	return express(value, from, to, from.zero, to.zero)
}

// ConvertDifference is Convert for a difference of two values, such as an
// uncertainty: 0.5 Cel are 0.5 K and 0.9 [degF].
func ConvertDifference(value decimal.Decimal, from, to Unit) (decimal.Decimal, error) {
	from, to = from.Difference(), to.Difference()
	if from.dim != to.dim {
		return decimal.Decimal{}, &DimensionError{from, to}
	}
	return express(value, from, to, nil, nil)
}

// Digits of a converted value; see [Convert].
const (
	exactDigits   = 15
	roundedDigits = 9
)

func express(value decimal.Decimal, from, to Unit, fromZero, toZero *big.Rat) (decimal.Decimal, error) {
	ratio := new(big.Rat).Quo(from.ratio(), to.ratio())
	ratio.Mul(ratio, power(pi, from.pi-to.pi))
	if to.code == from.code {
		return value, nil
	}
	result := new(big.Rat).Mul(value.Rat(), ratio)
	for _, shift := range []struct {
		zero *big.Rat
		sign int64
	}{{fromZero, 1}, {toZero, -1}} {
		if shift.zero != nil {
			bases := new(big.Rat).Quo(shift.zero, to.ratio())
			result.Add(result, bases.Mul(bases, big.NewRat(shift.sign, 1)))
		}
	}
	least := min(max(int(value.Scale)-magnitude(ratio), 0), decimal.MaxScale)
	if d, ok := exact(result, least); ok {
		return d, nil
	}
	digits := max(roundedDigits, len(new(big.Int).Abs(big.NewInt(value.Mantissa)).String())+3)
	scale := digits - 1 - magnitude(result)
	if beyond := scale - decimal.MaxScale; beyond > 0 && digits-beyond >= roundedDigits {
		scale = decimal.MaxScale // of a small value with many digits
	}
	d, err := decimal.FromRat(result, max(scale, 0))
	if err != nil || scale > decimal.MaxScale {
		return decimal.Decimal{}, fmt.Errorf("%s %s is too great or too small to be kept in %s", value, from, to)
	}
	return d, nil
}

// exact returns a value with all its digits, at least so many after the point;
// false where that takes more than exactDigits.
func exact(r *big.Rat, least int) (decimal.Decimal, bool) {
	for scale := least; scale <= decimal.MaxScale; scale++ {
		d, err := decimal.FromRat(r, scale)
		if err != nil {
			return decimal.Decimal{}, false
		}
		if d.Rat().Cmp(r) == 0 {
			digits := len(new(big.Int).Abs(big.NewInt(d.Mantissa)).String())
			return d, digits <= exactDigits
		}
	}
	return decimal.Decimal{}, false
}

// magnitude returns n where 10^n ≤ |r| < 10^(n+1); 0 for 0.
func magnitude(r *big.Rat) int {
	if r.Sign() == 0 {
		return 0
	}
	one, ten := new(big.Rat).Abs(r), big.NewRat(10, 1)
	n := 0
	for ; one.Cmp(ten) >= 0; n++ {
		one.Quo(one, ten)
	}
	for ; one.Cmp(big.NewRat(1, 1)) < 0; n-- {
		one.Mul(one, ten)
	}
	return n
}
