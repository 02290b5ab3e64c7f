package limit

import (
	"fmt"
	"math/big"

	"pulk/checklist/ucum"
	"pulk/schema/decimal"
)

// Uncertainty is the expanded uncertainty of a reading, in its unit, with the
// coverage factor k by which it is expanded. With the zero value it is unknown.
type Uncertainty struct {
	Expanded decimal.Decimal // U = k u, not negative
	Coverage decimal.Decimal // k, above 0
}

// Known reports whether an uncertainty was stated.
func (u Uncertainty) Known() bool { return u.Coverage.Mantissa > 0 }

// String writes "U = 5 (k = 2)", in the unit of the reading, or "U unknown".
func (u Uncertainty) String() string {
	if !u.Known() {
		return "U unknown"
	}
	return fmt.Sprintf("U = %s (k = %s)", u.Expanded, u.Coverage)
}

// Stated is what a certificate says of an instrument's uncertainty for readings of
// one dimension: an absolute part in a unit, and a part in per cent of the reading.
// U is their sum, as data sheets and certificates mean "1.5 % of reading + 3 digits".
type Stated struct {
	Unit     string // UCUM
	Absolute decimal.Decimal
	Percent  decimal.Decimal
	Coverage decimal.Decimal
}

// threeDigits is the least whole number of as many significant digits as are kept of an
// uncertainty; it is rounded up. GUM (JCGM 100:2008), 7.2.6 has at most two, and more in
// between.
const threeDigits = 100

// At returns the uncertainty of a reading in a unit. The error is a
// [ucum.DimensionError] where the statement is about another dimension.
func (s Stated) At(value decimal.Decimal, unit string) (Uncertainty, error) {
	of, err := ucum.Parse(s.Unit)
	if err != nil {
		return Uncertainty{}, err
	}
	in, err := ucum.Parse(unit)
	if err != nil {
		return Uncertainty{}, err
	}
	there, err := ucum.Convert(value, in, of)
	if err != nil {
		return Uncertainty{}, err
	}
	sum := new(big.Rat).Mul(there.Rat(), s.Percent.Rat())
	sum.Quo(sum.Abs(sum), big.NewRat(threeDigits, 1))
	whole, err := roundUp(sum.Add(sum, s.Absolute.Rat()))
	if err != nil {
		return Uncertainty{}, err
	}
	expanded, err := ucum.ConvertDifference(whole, of, in)
	if err != nil {
		return Uncertainty{}, err
	}
	expanded, err = roundUp(expanded.Rat())
	return Uncertainty{Expanded: expanded, Coverage: s.Coverage}, err
}

// roundUp returns the least decimal of three significant digits that is
// not under r, without zeros at its end.
func roundUp(r *big.Rat) (decimal.Decimal, error) {
	if r.Sign() == 0 {
		return decimal.Decimal{}, nil
	}
	ten, least := big.NewRat(10, 1), big.NewRat(threeDigits, 1)
	scaled, scale := new(big.Rat).Set(r), 0
	for ; scaled.Cmp(least) < 0 && scale < decimal.MaxScale; scale++ {
		scaled.Mul(scaled, ten)
	}
	whole, rest := new(big.Int).QuoRem(scaled.Num(), scaled.Denom(), new(big.Int))
	if rest.Sign() > 0 {
		whole.Add(whole, big.NewInt(1))
	}
	if !whole.IsInt64() {
		return decimal.Decimal{}, fmt.Errorf("an uncertainty has too many digits")
	}
	d := decimal.Decimal{Mantissa: whole.Int64(), Scale: uint8(scale)}
	for d.Scale > 0 && d.Mantissa%10 == 0 {
		d.Mantissa, d.Scale = d.Mantissa/10, d.Scale-1
	}
	return d, nil
}
