// Package decimal holds decimal numbers exactly as a person wrote them.
//
// A reading of 4.10 is not the same record as 4.1: the digits say how finely
// the instrument could be read. Comparison is by value, equality of records by
// digits.
package decimal

import (
	"fmt"
	"math/big"
	"strconv"
	"strings"
)

// MaxScale is the largest number of digits after the point.
const MaxScale = 18

// Decimal is Mantissa × 10^-Scale. The zero value is 0.
type Decimal struct {
	Mantissa int64
	Scale    uint8 // digits after the point, 0 to MaxScale
}

// Parse reads an optional sign, digits, and at most one point with digits on at
// least one side; no exponent, no thousands separator. It keeps trailing zeros.
func Parse(text string) (Decimal, error) {
	bad := func(why string) (Decimal, error) {
		return Decimal{}, fmt.Errorf("%q is not a decimal number: %s", text, why)
	}
	digits := text
	negative := false
	switch {
	case strings.HasPrefix(digits, "-"):
		negative, digits = true, digits[1:]
	case strings.HasPrefix(digits, "+"):
		digits = digits[1:]
	}
	whole, fraction, _ := strings.Cut(digits, ".")
	if whole == "" && fraction == "" {
		return bad("no digits")
	}
	if len(fraction) > MaxScale {
		return bad("more than 18 digits after the point")
	}
	for _, r := range whole + fraction {
		if r < '0' || r > '9' {
			return bad("expected digits and at most one point, like -12.50")
		}
	}
	sign := ""
	if negative {
		sign = "-"
	}
	mantissa, err := strconv.ParseInt(sign+whole+fraction, 10, 64)
	if err != nil {
		return bad("too many digits")
	}
	return Decimal{mantissa, uint8(len(fraction))}, nil
}

// String returns the digits as written, with a leading zero before a bare point.
func (d Decimal) String() string {
	text := strconv.FormatInt(d.Mantissa, 10)
	if d.Scale == 0 {
		return text
	}
	sign := ""
	if text[0] == '-' {
		sign, text = "-", text[1:]
	}
	if missing := int(d.Scale) + 1 - len(text); missing > 0 {
		text = strings.Repeat("0", missing) + text
	}
	point := len(text) - int(d.Scale)
	return sign + text[:point] + "." + text[point:]
}

// Cmp compares by value: -1 if d < e, 0 if equal, +1 if d > e.
func (d Decimal) Cmp(e Decimal) int {
	if d.Scale == e.Scale {
		switch {
		case d.Mantissa < e.Mantissa:
			return -1
		case d.Mantissa > e.Mantissa:
			return 1
		}
		return 0
	}
	return d.Rat().Cmp(e.Rat())
}

// Float64 returns the nearest float, for physics and drawing, never for limits.
func (d Decimal) Float64() float64 {
	f, _ := d.Rat().Float64()
	return f
}

// Rat returns the value as a ratio of whole numbers, without loss.
func (d Decimal) Rat() *big.Rat {
	power := new(big.Int).Exp(big.NewInt(10), big.NewInt(int64(d.Scale)), nil)
	return new(big.Rat).SetFrac(big.NewInt(d.Mantissa), power)
}

// FromRat returns the decimal with scale digits after the point that is nearest to r,
// the even one of two that are equally near. It fails where the digits do not fit.
func FromRat(r *big.Rat, scale int) (Decimal, error) {
	if scale < 0 || scale > MaxScale {
		return Decimal{}, fmt.Errorf("%d digits after the point; 0 to %d can be kept", scale, MaxScale)
	}
	power := new(big.Int).Exp(big.NewInt(10), big.NewInt(int64(scale)), nil)
	scaled := new(big.Rat).Mul(r, new(big.Rat).SetInt(power))
	whole, rest := new(big.Int).QuoRem(scaled.Num(), scaled.Denom(), new(big.Int))
	half := rest.Abs(rest).Lsh(rest, 1).Cmp(scaled.Denom())
	if half > 0 || half == 0 && whole.Bit(0) == 1 {
		whole.Add(whole, big.NewInt(int64(scaled.Sign())))
	}
	if !whole.IsInt64() {
		return Decimal{}, fmt.Errorf("too many digits")
	}
	return Decimal{whole.Int64(), uint8(scale)}, nil
}

// MarshalText writes the digits as a string, so that JSON readers lose none.
func (d Decimal) MarshalText() ([]byte, error) { return []byte(d.String()), nil }

// UnmarshalText reads what MarshalText wrote.
func (d *Decimal) UnmarshalText(text []byte) error {
	parsed, err := Parse(string(text))
	if err != nil {
		return err
	}
	*d = parsed
	return nil
}
