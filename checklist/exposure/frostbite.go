package exposure

import (
	"fmt"
	"math"
)

// Band is how soon exposed skin can freeze.
type Band struct {
	From, To int // minutes; both 0 where no time is given, From 0 alone: less than To
}

// Freezes reports whether a time is given at all.
func (b Band) Freezes() bool { return b.To > 0 }

func (b Band) String() string {
	switch {
	case !b.Freezes():
		return "no time is given for exposed skin"
	case b.From == 0:
		return fmt.Sprintf("exposed skin can freeze in less than %d minutes", b.To)
	}
	return fmt.Sprintf("exposed skin can freeze in %d to %d minutes", b.From, b.To)
}

const (
	frostbiteSource = "Environment Canada, Wind Chill Hazards and What To Do"
	frostbiteRange  = "for dry skin of healthy adults; sooner in a wind over 50 km/h; thin air at height is not counted"
)

// bands begin at a wind chill index of so many or less, the mildest first.
//
// Source: Environment Canada's table of bands; that from -40 to -47 lies between two
// that were seen (testdata/checks/wind_chill.csv, WC-381 to WC-397).
var bands = []struct {
	from int
	band Band
}{
	{-28, Band{10, 30}}, {-40, Band{5, 10}}, {-48, Band{2, 5}}, {-55, Band{0, 2}},
}

// Frostbite returns the band of a wind chill index, which is rounded to a whole number
// first, as on the charts.
func Frostbite(index float64) Band {
	rounded := int(math.Floor(index + 0.5))
	var band Band
	for _, b := range bands {
		if rounded <= b.from {
			band = b.band
		}
	}
	return band
}
