package freight

import (
	"cmp"
	"fmt"
	"slices"
)

// Piece is so many pieces alike of a load.
type Piece struct {
	Code    string
	Count   int
	SidesMM [3]int64 // length, width, height, outside
	Grams   int64    // of one, gross
	Upright [3]bool  // which sides may stand upright; none: the height
}

func (p Piece) stands(side int) bool {
	if p.Upright == [3]bool{} {
		return side == 2
	}
	return p.Upright[side]
}

// passes reports whether a piece goes through a door of a clear width and height, carried
// lengthwise with one of the sides upright that may be: then one of the other two must
// be no wider than the door.
func (p Piece) passes(door [2]int64) bool {
	for up := range 3 {
		if !p.stands(up) || p.SidesMM[up] > door[1] {
			continue
		}
		if min(p.SidesMM[(up+1)%3], p.SidesMM[(up+2)%3]) <= door[0] {
			return true
		}
	}
	return false
}

// cubicMM is the volume of one piece in mm³, at most 1e15.
func (p Piece) cubicMM() int64 { return p.SidesMM[0] * p.SidesMM[1] * p.SidesMM[2] }

// Refused is a piece that a leg does not carry, and why.
type Refused struct {
	Code string
	Why  string
}

// Fit is how a load goes by a leg.
type Fit struct {
	Refused []Refused
	Pieces  int
	Grams   int64
	Litres  float64
	// Trips is in how many the load goes, pieces taken largest first; TripsLeast is fewer
	// than which it cannot be. Without limits both are 1, for an empty load 0.
	Trips, TripsLeast int
	ChargedGrams      int64 // 0 where no charge goes by volume
}

const (
	cubicMMPerLitre = 1_000_000
	maxFitPieces    = 20_000
)

// FitOf holds a load against the limits of a leg. Pieces that the leg refuses are not in
// the trips.
func FitOf(l Limits, pieces []Piece) (Fit, error) {
	var fit Fit
	var load []Piece
	for _, p := range pieces {
		if p.Count < 1 || min(p.SidesMM[0], p.SidesMM[1], p.SidesMM[2]) < 1 || max(p.SidesMM[0], p.SidesMM[1], p.SidesMM[2]) > 100_000 || p.Grams < 0 || p.Grams > 1_000_000_000 {
			return fit, fmt.Errorf("%s: at least one piece, sides from 1 mm to 100 m, mass from 0 to a thousand tonnes", p.Code)
		}
		if fit.Pieces += p.Count; fit.Pieces > maxFitPieces {
			return fit, fmt.Errorf("more than %d pieces", maxFitPieces)
		}
		fit.Grams += p.Grams * int64(p.Count)
		fit.Litres += float64(p.cubicMM()) * float64(p.Count) / cubicMMPerLitre
		if why := l.refuses(p); why != "" {
			fit.Refused = append(fit.Refused, Refused{p.Code, why})
			continue
		}
		for range p.Count {
			load = append(load, p)
		}
		if l.Divisor > 0 {
			charge, err := ChargeOf(p.SidesMM, p.Grams, l.Divisor, max(l.StepGrams, 1))
			if err != nil {
				return fit, err
			}
			fit.ChargedGrams += charge.Grams * int64(p.Count)
		}
	}
	fit.TripsLeast, fit.Trips = l.least(load), l.trips(load)
	return fit, nil
}

// refuses says why a leg does not carry a piece at all; empty where it does.
func (l Limits) refuses(p Piece) string {
	switch {
	case l.PieceGrams > 0 && p.Grams > l.PieceGrams:
		return fmt.Sprintf("%.1f kg, and a piece may have %.1f", float64(p.Grams)/1000, float64(l.PieceGrams)/1000)
	case l.Grams > 0 && p.Grams > l.Grams:
		return fmt.Sprintf("%.1f kg, and a trip takes %.1f", float64(p.Grams)/1000, float64(l.Grams)/1000)
	case l.Litres > 0 && p.cubicMM() > l.Litres*cubicMMPerLitre:
		return fmt.Sprintf("%.0f L, and a trip takes %d", float64(p.cubicMM())/cubicMMPerLitre, l.Litres)
	case l.Door != [2]int64{} && !p.passes(l.Door):
		return fmt.Sprintf("does not go through a door of %d × %d mm standing as it may", l.Door[0], l.Door[1])
	}
	return ""
}

// least is fewer trips than which cannot carry a load.
func (l Limits) least(load []Piece) int {
	if len(load) == 0 {
		return 0
	}
	n := int64(1)
	grams, cubic := int64(0), int64(0)
	for _, p := range load {
		grams += p.Grams
		cubic += p.cubicMM() / 1000 // cm³, rounded down: no trip too many
	}
	if l.Grams > 0 {
		n = max(n, up(grams, l.Grams))
	}
	if l.Litres > 0 {
		n = max(n, up(cubic, l.Litres*1000))
	}
	if l.Pieces > 0 {
		n = max(n, up(int64(len(load)), int64(l.Pieces)))
	}
	return int(n)
}

// trips puts each piece, the largest share of a limit first, on the first trip that has
// room by mass, volume and number. Whether it fits in there by its shape is for the
// packer to say.
func (l Limits) trips(load []Piece) int {
	share := func(p Piece) float64 {
		s := 0.0
		if l.Grams > 0 {
			s = max(s, float64(p.Grams)/float64(l.Grams))
		}
		if l.Litres > 0 {
			s = max(s, float64(p.cubicMM())/float64(l.Litres*cubicMMPerLitre))
		}
		return s
	}
	load = slices.Clone(load)
	slices.SortStableFunc(load, func(a, b Piece) int { return cmp.Compare(share(b), share(a)) })
	type trip struct {
		grams, cubic int64
		pieces       int
	}
	var trips []trip
	for _, p := range load {
		at := slices.IndexFunc(trips, func(t trip) bool {
			return (l.Grams == 0 || t.grams+p.Grams <= l.Grams) && (l.Litres == 0 || t.cubic+p.cubicMM() <= l.Litres*cubicMMPerLitre) && (l.Pieces == 0 || t.pieces < l.Pieces)
		})
		if at < 0 {
			at = len(trips)
			trips = append(trips, trip{})
		}
		trips[at] = trip{trips[at].grams + p.Grams, trips[at].cubic + p.cubicMM(), trips[at].pieces + 1}
	}
	return len(trips)
}
