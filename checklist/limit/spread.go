package limit

import (
	"math/big"

	"pulk/schema/decimal"
)

// Spread says how far readings of one thing lie apart. Each reading is judged by
// itself; this is shown beside them.
type Spread struct {
	N     int
	Mean  decimal.Decimal // with one digit more than the readings
	Range decimal.Decimal // greatest less least, exact
	// Deviation is the standard deviation with n - 1, the repeatability of one
	// reading (GUM, JCGM 100:2008, 4.2.2), with one digit more than the readings; 0
	// for one reading.
	Deviation decimal.Decimal
}

// SpreadOf works out the spread of readings in one unit; false where there is none,
// or their digits are more than can be kept.
func SpreadOf(values []decimal.Decimal) (Spread, bool) {
	if len(values) == 0 {
		return Spread{}, false
	}
	least, greatest, scale := values[0], values[0], 0
	sum := new(big.Rat)
	for _, v := range values {
		if v.Cmp(least) < 0 {
			least = v
		}
		if v.Cmp(greatest) > 0 {
			greatest = v
		}
		scale = max(scale, int(v.Scale))
		sum.Add(sum, v.Rat())
	}
	mean := sum.Quo(sum, big.NewRat(int64(len(values)), 1))
	squares := new(big.Rat)
	for _, v := range values {
		off := new(big.Rat).Sub(v.Rat(), mean)
		squares.Add(squares, off.Mul(off, off))
	}
	deviation := new(big.Rat)
	if n := int64(len(values)); n > 1 {
		deviation = root(squares.Quo(squares, big.NewRat(n-1, 1)))
	}
	s := Spread{N: len(values)}
	more := min(scale+1, decimal.MaxScale)
	for _, part := range []struct {
		to    *decimal.Decimal
		from  *big.Rat
		scale int
	}{{&s.Mean, mean, more}, {&s.Range, new(big.Rat).Sub(greatest.Rat(), least.Rat()), scale}, {&s.Deviation, deviation, more}} {
		d, err := decimal.FromRat(part.from, part.scale)
		if err != nil {
			return Spread{}, false
		}
		*part.to = d
	}
	return s, true
}

// root returns a square root to 200 bits, the same on every machine.
func root(r *big.Rat) *big.Rat {
	f := new(big.Float).SetPrec(200).SetRat(r)
	out, _ := f.Sqrt(f).Rat(nil)
	return out
}
