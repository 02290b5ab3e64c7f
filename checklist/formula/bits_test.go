package formula

import (
	"crypto/sha256"
	"encoding/hex"
	"fmt"
	"math"
	"testing"

	"pulk/schema/decimal"
)

// bits is the digest of what [TestSameBits] works out: written down on amd64, and the
// same on arm64. It changes only if a function does, which none may that is released.
const bits = "10d776097aba647cd639db3d659a240084412011a66498b32c37918392274966"

// TestSameBits works every function out at 600 places, in and beyond its range, and
// compares the digest of all results, not rounded, with the one written down. Run it on another
// sort of processor to see that limits are the same there; without one:
//
//	GOARCH=arm64 go test -c -o bits.test ./checklist/formula && qemu-aarch64 bits.test -test.run TestSameBits
func TestSameBits(t *testing.T) {
	digest := sha256.New()
	answers := 0
	for _, f := range functions {
		state := uint64(1)
		for range 600 {
			args := make([]float64, len(f.Parameters))
			for i, p := range f.Parameters {
				// A plain generator, so that the places are the same for ever.
				state = state*6364136223846793005 + 1442695040888963407
				args[i] = place(p.Unit, state>>33).Float64()
			}
			number, err := f.call(args)
			if err == nil {
				answers++
			}
			fmt.Fprintf(digest, "%s %x %v\n", f.Name, math.Float64bits(number), err)
		}
	}
	if got := hex.EncodeToString(digest.Sum(nil)); got != bits || answers < 5000 {
		t.Errorf("%d answers with the digest %s; want %s", answers, got, bits)
	}
}

// place draws a value that lies in the range of most functions.
func place(code string, draw uint64) decimal.Decimal {
	span := map[string][2]int64{ // least and most, in hundredths
		"m": {-1000, 950_000}, "deg": {-9100, 9100}, "dbar": {0, 49_000}, "Cel": {-500, 4500}, "1": {-100, 4200}, "g/kg": {0, 4300}, "km": {0, 5_000},
		"dB/km": {0, 900}, "dB": {0, 290}, "W": {1, 100}, "Ohm": {100, 1_000_000_000}, "K": {80, 5000}, "A": {0, 90_000}, "Ohm/km": {0, 900_000},
		"kg": {0, 9_000_000}, "m3": {0, 90_000}, "kg/m3": {0, 190_000}, "N": {0, 9_000_000_000}, "/K": {0, 0}, "km/h": {400, 11_100}, "hPa": {20_000, 128_000},
	}[code]
	return decimal.Decimal{Mantissa: span[0] + int64(draw%uint64(span[1]-span[0]+1)), Scale: 2}
}
