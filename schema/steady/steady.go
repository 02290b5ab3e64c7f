// Package steady does floating-point arithmetic that gives the same bits on every
// machine, so that a limit worked out from a formula is the same limit at every
// site.
//
// Two things make plain Go differ between processors. A compiler may fuse x*y + z
// into one operation that rounds once (arm64 has one, amd64 as built here does not
// use it); and package math has Exp and others in assembly on some processors.
// Here every product is rounded by an explicit conversion, which the Go
// specification says prevents fusing, and the functions are written out. Add,
// subtract, divide and math.Sqrt round correctly everywhere by IEEE 754.
//
// The functions are good to about 1e-15 of their value, which is ample for physics
// whose own formulas are good to 1e-6 or worse.
package steady

import "math"

// Poly returns c[0] + c[1] x + c[2] x² + ….
func Poly(x float64, c ...float64) float64 {
	sum := 0.0
	for i := len(c) - 1; i >= 0; i-- {
		sum = float64(sum*x) + c[i]
	}
	return sum
}

// Times returns the product of its values, rounded after each.
func Times(x float64, more ...float64) float64 {
	for _, y := range more {
		x = float64(x * y)
	}
	return x
}

// ln 2 in two parts: the first has so few digits that k times it is exact for
// every k that is needed.
const (
	ln2High = 0x1.62e42fee00000p-1
	ln2Low  = 0x1.a39ef35793c76p-33
)

// Exp returns e to the power x: 0 under -745, +Inf over 709.
func Exp(x float64) float64 {
	switch {
	case math.IsNaN(x):
		return x
	case x > 709:
		return math.Inf(1)
	case x < -745:
		return 0
	}
	k := math.Floor(float64(x*math.Log2E) + 0.5)
	r := (x - float64(k*ln2High)) - float64(k*ln2Low) // |r| <= 0.35
	// The series of e^r: the first term left out is under 1e-17.
	sum := 1.0
	for n := 14.0; n >= 1; n-- {
		sum = 1 + float64(r/n*sum)
	}
	return math.Ldexp(sum, int(k))
}

// Log returns the natural logarithm of x: NaN under 0, -Inf at 0.
func Log(x float64) float64 {
	switch {
	case math.IsNaN(x) || x < 0:
		return math.NaN()
	case x == 0:
		return math.Inf(-1)
	case math.IsInf(x, 1):
		return x
	}
	f, k := math.Frexp(x)
	if f < math.Sqrt2/2 {
		f, k = f*2, k-1
	}
	// ln f = 2 artanh s with s = (f-1)/(f+1), |s| <= 0.172: the first term of its
	// series that is left out is under 1e-20.
	s := (f - 1) / (f + 1)
	square, sum := float64(s*s), 0.0
	for n := 25.0; n >= 1; n -= 2 {
		sum = float64(sum*square) + 1/n
	}
	whole := float64(k)
	return float64(whole*ln2High) + (float64(2*float64(s*sum)) + float64(whole*ln2Low))
}

// Log10 returns the logarithm of x to base 10, as [Log] does.
func Log10(x float64) float64 { return float64(Log(x) * math.Log10E) }

// Pow returns x to the power y for x over 0, and NaN for others.
func Pow(x, y float64) float64 {
	if !(x > 0) {
		return math.NaN()
	}
	return Exp(float64(y * Log(x)))
}

// SinDegrees returns the sine of an angle in degrees from -90 to 90, and NaN
// beyond.
func SinDegrees(degrees float64) float64 {
	if !(degrees >= -90 && degrees <= 90) {
		return math.NaN()
	}
	x := float64(degrees * (math.Pi / 180))
	square, sum := float64(x*x), 1.0
	for n := 24.0; n >= 2; n -= 2 {
		sum = 1 - float64(square/float64(n*(n+1))*sum)
	}
	return float64(x * sum)
}

// Round returns x with so many significant digits, halves away from zero as
// people round. It takes the decimal digits of x, so it is exact about them.
func Round(x float64, digits int) float64 {
	if x == 0 || math.IsNaN(x) || math.IsInf(x, 0) {
		return x
	}
	return roundText(x, digits)
}
