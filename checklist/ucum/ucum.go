// Package ucum knows units of measure by their UCUM codes, and converts between
// those of one dimension without rounding a factor.
//
// [Parse] reads a case-sensitive code such as "MOhm", "N.m", "kg/m3", "m.s-2" or
// "[lbf_av]/[in_i]2", with prefixes, products, quotients, powers and annotations as
// the Unified Code for Units of Measure writes them. A factor is a ratio of whole
// numbers times a power of π, so nothing is lost until [Convert] writes a decimal.
//
// A unit that has its own zero (Cel, [degF], [degRe], a level such as dB[W]) stands
// alone or with a prefix: a product with it means nothing. A difference of such
// values is told by [ConvertDifference].
//
// It is stricter than UCUM in two places, where UCUM would let a reading in the
// wrong dimension pass: information (bit) and level (bel) are dimensions of their
// own here, pure numbers there. And it takes products of levels, dB/km, which are
// common practice.
//
// Sources: the table and grammar are those of UCUM (ucum-essence.xml in the
// repository ucum-org/ucum, and its specification); the factors that define units
// are the exact ones of NIST Special Publication 811 (2008), appendix B; mole and
// elementary charge are those of the SI since 2019.
package ucum

import (
	"fmt"
	"math/big"
	"strings"
)

// The dimensions of the base units, in the order of a Dimension.
const (
	metre = iota
	second
	gram
	radian
	kelvin
	coulomb
	candela
	bit
	bel
	baseCount
)

var baseCodes = [baseCount]string{"m", "s", "g", "rad", "K", "C", "cd", "bit", "B"}

// Dimension says what sort of quantity a unit measures: the powers of the base
// units, and for a level what it is a level of. Two units convert into each other
// where their dimensions are equal (==).
type Dimension struct {
	powers [baseCount]int8
	level  string
}

// String writes the dimension as a code in base units, "g.m2.s-3"; "1" for a pure
// number.
func (d Dimension) String() string {
	if d.level != "" {
		return "B[" + d.level + "]"
	}
	var parts []string
	for i, power := range d.powers {
		switch {
		case power == 1:
			parts = append(parts, baseCodes[i])
		case power != 0:
			parts = append(parts, fmt.Sprintf("%s%d", baseCodes[i], power))
		}
	}
	if len(parts) == 0 {
		return "1"
	}
	return strings.Join(parts, ".")
}

// Unit is a unit of measure. It is never changed. The zero value is the unit 1.
type Unit struct {
	code   string
	dim    Dimension
	factor *big.Rat // base units in one of it, without the power of π; nil is 1
	pi     int      // power of π in the factor
	zero   *big.Rat // base units at its zero; nil for all but special units
}

// One is the unit of a pure number.
var One = Unit{code: "1"}

// String returns the code.
func (u Unit) String() string {
	if u.code == "" {
		return "1"
	}
	return u.code
}

// Dimension returns the dimension.
func (u Unit) Dimension() Dimension { return u.dim }

// Same reports whether values in the one unit can be converted to the other.
func (u Unit) Same(v Unit) bool { return u.dim == v.dim }

// Special reports whether the unit has a zero of its own, so that it takes part in
// no product and its values and their differences convert differently.
func (u Unit) Special() bool { return u.zero != nil }

// Difference returns the unit in which differences of values in u are told: K for
// Cel, 5.K/9 for [degF], dB for dB[W]; u itself for all others.
func (u Unit) Difference() Unit {
	if !u.Special() {
		return u
	}
	d := Unit{dim: u.dim, factor: u.factor, pi: u.pi}
	if u.dim.level != "" {
		d.code, _, _ = strings.Cut(u.code, "[")
		d.dim = Dimension{}
		d.dim.powers[bel] = 1
		return d
	}
	d.code = d.dim.String()
	if f := u.ratio(); f.Num().String() != "1" {
		d.code = f.Num().String() + "." + d.code
	}
	if f := u.ratio(); !f.IsInt() {
		d.code += "/" + f.Denom().String()
	}
	return d
}

func (u Unit) ratio() *big.Rat {
	if u.factor == nil {
		return big.NewRat(1, 1)
	}
	return u.factor
}

// SpecialError says that a unit with its own zero stands in a product.
type SpecialError struct{ Code string }

func (e *SpecialError) Error() string {
	instead := "the unit of its differences"
	if e.Code == "Cel" {
		instead = "K"
	}
	return fmt.Sprintf("%s has a zero of its own and cannot be multiplied; use %s", e.Code, instead)
}

// powerMax bounds the powers of a dimension; no quantity comes near.
const powerMax = 100

// times returns u × v^n. It keeps the code of u.
func (u Unit) times(v Unit, n int) (Unit, error) {
	for _, one := range []Unit{u, v} {
		if one.Special() {
			return Unit{}, &SpecialError{one.String()}
		}
	}
	out := Unit{code: u.code, dim: u.dim, factor: new(big.Rat).Mul(u.ratio(), power(v.ratio(), n)), pi: u.pi + n*v.pi}
	for i, p := range v.dim.powers {
		sum := int(u.dim.powers[i]) + n*int(p)
		if sum > powerMax || sum < -powerMax {
			return Unit{}, fmt.Errorf("the power of %s is over %d", baseCodes[i], powerMax)
		}
		out.dim.powers[i] = int8(sum)
	}
	return out, nil
}

func power(r *big.Rat, n int) *big.Rat {
	out := big.NewRat(1, 1)
	for range max(n, -n) {
		out.Mul(out, r)
	}
	if n < 0 {
		out.Inv(out)
	}
	return out
}

// Mul returns the product of two units.
func (u Unit) Mul(v Unit) (Unit, error) {
	out, err := u.times(v, 1)
	switch {
	case u.String() == "1":
		out.code = v.String()
	case v.String() == "1":
	case strings.HasPrefix(v.code, "/"):
		out.code = u.code + v.code
	default:
		out.code = u.code + "." + v.code
	}
	return out, err
}

// Div returns the quotient of two units.
func (u Unit) Div(v Unit) (Unit, error) {
	out, err := u.times(v, -1)
	divisor := v.String()
	if strings.HasPrefix(divisor, "/") {
		divisor = "1" + divisor
	}
	if strings.ContainsAny(divisor, "./") {
		divisor = "(" + divisor + ")"
	}
	switch {
	case divisor == "1":
	case u.String() == "1":
		out.code = "/" + divisor
	default:
		out.code = u.code + "/" + divisor
	}
	return out, err
}

// Pow returns a whole power of a unit, from -exponentMax to exponentMax.
func (u Unit) Pow(n int) (Unit, error) {
	if n > exponentMax || n < -exponentMax {
		return Unit{}, fmt.Errorf("%s to the power of %d: at most %d is taken", u, n, exponentMax)
	}
	out := One
	var err error
	for range max(n, -n) {
		if n > 0 {
			out, err = out.Mul(u)
		} else {
			out, err = out.Div(u)
		}
		if err != nil {
			return Unit{}, err
		}
	}
	return out, nil
}

// Factor returns how many base units one of u is, as the nearest float, for
// physics; of a special unit, those of a difference.
func (u Unit) Factor() float64 {
	f, _ := u.wholeFactor().Float64()
	return f
}

// Zero returns how many base units the zero of u is, as the nearest float: 273.15
// for Cel, 0 for most.
func (u Unit) Zero() float64 {
	if u.zero == nil {
		return 0
	}
	f, _ := u.zero.Float64()
	return f
}

// wholeFactor is the factor with π to 50 digits.
func (u Unit) wholeFactor() *big.Rat {
	return new(big.Rat).Mul(u.ratio(), power(pi, u.pi))
}

// Source: OEIS A000796.
var pi, _ = new(big.Rat).SetString("3.14159265358979323846264338327950288419716939937510")
