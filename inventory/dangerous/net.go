package dangerous

import (
	"fmt"
	"math"
	"strconv"
	"strings"
)

// NetMax bounds a net quantity in one unit of issue, in grams or millilitres: a
// thousand tonnes or cubic metres. It keeps sums far from overflow.
const NetMax = 1_000_000_000

// netUnits are the units of a net quantity: how many grams or millilitres one has, as a
// power of ten.
var netUnits = []struct {
	name   string
	places int
	litres bool
}{{"kg", 3, false}, {"g", 0, false}, {"ml", 0, true}, {"l", 3, true}}

// ParseNet reads a net quantity as 620g, 0.62kg, 500ml or 1.5L. It is exact: what is no
// whole number of grams or millilitres is refused, and so is 0.
func ParseNet(text string) (grams, millilitres int64, err error) {
	lower := strings.ToLower(strings.TrimSpace(text))
	for _, u := range netUnits {
		number, ok := strings.CutSuffix(lower, u.name)
		if !ok {
			continue
		}
		n, ok := thousandths(strings.TrimSpace(number), u.places)
		if !ok || n < 1 || n > NetMax {
			break
		}
		if u.litres {
			return 0, n, nil
		}
		return n, 0, nil
	}
	return 0, 0, fmt.Errorf("%q is no net quantity: like 620g, 0.62kg, 500ml or 1.5L, in whole grams or millilitres", text)
}

// thousandths reads a decimal of so many places at most as a whole number of its last.
func thousandths(text string, places int) (int64, bool) {
	whole, fraction, point := strings.Cut(text, ".")
	if point && fraction == "" || len(fraction) > places || len(whole) > 10 || strings.Trim(whole+fraction, "0123456789") != "" {
		return 0, false
	}
	n, err := strconv.ParseInt(whole+fraction+strings.Repeat("0", places-len(fraction)), 10, 64)
	return n, err == nil && whole != ""
}

// ParseWattHours reads the energy of a battery in one unit of issue.
func ParseWattHours(text string) (float64, error) { return positive(text, "Wh") }

// ParseRating reads nominal volts and rated ampere-hours, and returns [WattHoursOf].
func ParseRating(volts, ampereHours string) (float64, error) {
	v, err := positive(volts, "V")
	if err != nil {
		return 0, err
	}
	a, err := positive(ampereHours, "Ah")
	if err != nil {
		return 0, err
	}
	// To a hundredth: what a label has. 11.1 times 8.8 is 97.68, and no longer number.
	wh := math.Round(WattHoursOf(v, a)*100) / 100
	if wh == 0 || wh > wattHoursMax {
		return 0, fmt.Errorf("%s V and %s Ah are no battery", volts, ampereHours)
	}
	return wh, nil
}

// wattHoursMax is far above any battery that is carried.
const wattHoursMax = 1e9

func positive(text, unit string) (float64, error) {
	number := strings.TrimSpace(strings.TrimSuffix(strings.TrimSpace(text), unit))
	x, err := strconv.ParseFloat(number, 64)
	if err != nil || !(x > 0 && x <= wattHoursMax) || strings.Trim(number, "0123456789.") != "" {
		return 0, fmt.Errorf("%q is no number of %s: like 129.6", text, unit)
	}
	return x, nil
}
