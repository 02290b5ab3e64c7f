package kit

import "math"

// Chance is where random numbers come from: a *rand.Rand of math/rand/v2 is one.
type Chance interface {
	Float64() float64     // evenly from [0, 1)
	NormFloat64() float64 // standard normal
	ExpFloat64() float64  // exponential with mean 1
}

// Winters is what played winters say of a plan.
type Winters struct {
	Played  int
	Held    int     // winters in which no spare of the plan ran out
	Odds    float64 // Held over Played
	Error   float64 // its standard error, by the binomial distribution
	RanOut  map[string]int
	Missing float64 // spares that were wanting, in the mean of a winter
}

// Simulate plays winters without the formulas of the plan: each winter draws how
// fast each kind of unit really fails, lets every unit fail after an exponential
// time, replaces it from the stock, and goes on to the delivery. Spares in minor are
// not looked at. It checks the odds of a plan: they must agree within a few of the
// simulation's own errors.
func (p *Plan) Simulate(winters int, chance Chance, minor map[string]bool) Winters {
	out := Winters{Played: winters, RanOut: map[string]int{}}
	missing := 0
	for range winters {
		held := true
		for i := range p.Lines {
			l := &p.Lines[i]
			if l.Basis != Spare || minor[l.PartNumber] {
				continue
			}
			if short := l.winter(p.Hours, chance); short > 0 {
				held = false
				out.RanOut[l.PartNumber]++
				missing += short
			}
		}
		if held {
			out.Held++
		}
	}
	if winters > 0 {
		n := float64(winters)
		out.Odds, out.Missing = float64(out.Held)/n, float64(missing)/n
		out.Error = math.Sqrt(max(out.Odds*(1-out.Odds), 1/n) / n)
	}
	return out
}

// winter plays one winter of one kind of unit, and returns how many spares were
// wanting. A unit that could not be replaced stays failed.
func (l *Line) winter(hours float64, chance Chance) int {
	shape, exposure := l.prior.Shape()+float64(l.Failures), l.prior.ExposureHours()+l.UnitHoursSeen
	rate := gamma(shape, chance) / exposure
	stock, short := l.Good+l.Send, 0
	// The units share the stock, so that the order of their failures matters: the
	// next failure of any of those that work is drawn.
	working := float64(l.Installed)
	for at := 0.0; working > 0; {
		if at += chance.ExpFloat64() / (working * rate); at >= hours {
			break
		}
		if stock > 0 {
			stock--
			continue
		}
		short++
		working--
	}
	return short
}

// gamma draws from the gamma distribution with a shape, and scale 1.
//
// Source: Marsaglia and Tsang (2000), ACM Transactions on Mathematical Software 26, 363.
func gamma(shape float64, chance Chance) float64 {
	if shape < 1 {
		return gamma(shape+1, chance) * math.Pow(1-chance.Float64(), 1/shape)
	}
	d := shape - 1.0/3
	for {
		x := chance.NormFloat64()
		v := 1 + x/math.Sqrt(9*d)
		if v <= 0 {
			continue
		}
		v = v * v * v
		if math.Log(1-chance.Float64()) < x*x/2+d-d*v+d*math.Log(v) {
			return d * v
		}
	}
}
