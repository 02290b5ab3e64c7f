package sparing

import (
	"maps"
	"math"
	"slices"
)

// Life is how long one piece ran in service, and whether it failed then. One that did
// not is censored: it runs on, or was taken out whole.
type Life struct {
	Hours  float64
	Failed bool
}

// Weibull is a distribution of lifetimes: a piece outlives t hours with probability
// exp(-(t/ScaleHours)^Shape). A shape above 1 is wear-out. Get one from [FitWeibull].
type Weibull struct {
	Shape, ScaleHours float64
	// ShapeLow and ShapeHigh hold the shape with the probability asked for, by the ratio
	// of likelihoods.
	ShapeLow, ShapeHigh float64
	LogLikelihood       float64
	Failures            int
	// Shapes are the shapes that go with the lives, each with its best scale and how
	// probable it is; where there are none Shape is taken as known.
	Shapes []ShapePoint
}

// ShapePoint is a shape that lives may have.
type ShapePoint struct{ Shape, ScaleHours, Weight float64 }

// WearFailuresMin is how many failures a fit needs to mean anything (common practice).
const WearFailuresMin = 4

// FitWeibull fits by maximum likelihood. At least two pieces must have failed, not all
// after the same time; hours are above 0. Else the error is an [*InputError].
//
// Source: NIST/SEMATECH e-Handbook of Statistical Methods, section 8.4.1.2.
func FitWeibull(lives []Life, interval float64) (Weibull, error) {
	w := Weibull{}
	first, last := math.Inf(1), 0.0
	for _, l := range lives {
		if err := checkPositive("hours of a life", l.Hours); err != nil {
			return w, err
		}
		if l.Failed {
			w.Failures++
			first = min(first, l.Hours)
		}
		last = max(last, l.Hours)
	}
	switch {
	case w.Failures < 2:
		return w, &InputError{"failures", float64(w.Failures), "at least 2"}
	case first == last:
		return w, &InputError{"hours of the first failure", first, "below those of the longest life"}
	}
	if err := checkProbability("probability of the interval", interval); err != nil {
		return w, err
	}
	f := likelihood{lives, float64(w.Failures), last}
	w.Shape = bisect(f.slope, shapeMin, shapeMax)
	w.ScaleHours = f.scale(w.Shape)
	w.LogLikelihood = f.at(w.Shape)
	drop := normalQuantile(0.5+interval/2) * normalQuantile(0.5+interval/2) / 2
	below := func(shape float64) float64 { return f.at(shape) - (w.LogLikelihood - drop) }
	w.ShapeLow = bisect(func(s float64) float64 { return -below(s) }, shapeMin, w.Shape)
	w.ShapeHigh = bisect(below, w.Shape, shapeMax)
	w.Shapes = f.shapes(w.Shape)
	return w, nil
}

// shapePoints is how many shapes stand for all, and shapeDrop by how much the logarithm
// of their likelihood lies below the best at most: what is beyond weighs about 1e-3.
const (
	shapePoints = 11
	shapeDrop   = 6.0
)

// shapes cuts what the lives say of the shape into points, at equal steps of its
// logarithm, over which every shape is as probable beforehand. Once the scale is summed
// over, without a prior, the likelihood of a shape is the one with the best scale.
func (f likelihood) shapes(best float64) []ShapePoint {
	top := f.at(best)
	above := func(shape float64) float64 { return f.at(shape) - (top - shapeDrop) }
	low := bisect(func(s float64) float64 { return -above(s) }, shapeMin, best)
	high := bisect(above, best, shapeMax)
	var list []ShapePoint
	sum := 0.0
	for i := range shapePoints {
		shape := low * math.Pow(high/low, (float64(i)+0.5)/shapePoints)
		p := ShapePoint{shape, f.scale(shape), math.Exp(f.at(shape) - top)}
		list = append(list, p)
		sum += p.Weight
	}
	for i := range list {
		list[i].Weight /= sum
	}
	return list
}

// The shapes that are looked among.
const shapeMin, shapeMax = 0.02, 100

// likelihood is that of lives, as a function of the shape alone: the scale is the best
// for it. Hours are taken over the longest, so that powers do not overflow.
type likelihood struct {
	lives    []Life
	failures float64
	unit     float64
}

// sums are those of (t/unit)^shape, of the same times its logarithm, and of the
// logarithms of the failures.
func (f likelihood) sums(shape float64) (powers, powersLog, logs float64) {
	for _, l := range f.lives {
		t := l.Hours / f.unit
		p := math.Pow(t, shape)
		powers += p
		powersLog += p * math.Log(t)
		if l.Failed {
			logs += math.Log(t)
		}
	}
	return powers, powersLog, logs
}

// slope is the derivative by the shape over the failures: it falls.
func (f likelihood) slope(shape float64) float64 {
	powers, powersLog, logs := f.sums(shape)
	return 1/shape + logs/f.failures - powersLog/powers
}

func (f likelihood) scale(shape float64) float64 {
	powers, _, _ := f.sums(shape)
	return f.unit * math.Pow(powers/f.failures, 1/shape)
}

// at is the logarithm of the likelihood, hours being in hours.
func (f likelihood) at(shape float64) float64 {
	powers, _, logs := f.sums(shape)
	// sum of ln(shape/scale) + (shape-1) ln(t/scale), less (t/scale)^shape over all lives.
	lnScale := math.Log(powers/f.failures) / shape // over unit
	return f.failures*(math.Log(shape)-shape*lnScale-1) + (shape-1)*logs - f.failures*math.Log(f.unit)
}

// bisect returns where a function that falls from above 0 to below crosses it, or the
// end that is nearest.
func bisect(f func(float64) float64, low, high float64) float64 {
	for range 200 {
		if middle := low + (high-low)/2; f(middle) > 0 {
			low = middle
		} else {
			high = middle
		}
	}
	return high
}

func normalQuantile(p float64) float64 { return math.Sqrt2 * math.Erfinv(2*p-1) }

// MeanHours is the mean lifetime.
func (w Weibull) MeanHours() float64 { return w.ScaleHours * math.Gamma(1+1/w.Shape) }

// WearsOut reports whether the interval of the shape lies above 1.
func (w Weibull) WearsOut() bool { return w.ShapeLow > 1 }

// Counts is a demand given by its point probabilities.
type Counts struct{ points []float64 }

// Mean implements [Demand].
func (c Counts) Mean() float64 {
	sum := 0.0
	for k, p := range c.points {
		sum += float64(k) * p
	}
	return sum
}

// PointProbability implements [Demand].
func (c Counts) PointProbability(k int64) float64 {
	if k < 0 || k >= int64(len(c.points)) {
		return 0
	}
	return c.points[k]
}

// CDF implements [Demand].
func (c Counts) CDF(k int64) float64 {
	if k < 0 {
		return 0
	}
	return 1 - c.Survival(k)
}

// Survival implements [Demand]. It is summed from the far end, which keeps small risks.
func (c Counts) Survival(k int64) float64 {
	sum := 0.0
	for i := int64(len(c.points)) - 1; i > k; i-- {
		sum += c.points[i]
	}
	return min(1, sum)
}

// wearSteps is into how many steps the time is cut. The error of a count's probability
// falls with its square: 2e-5 for shapes up to 3, and some 5e-4 for a shape of 30, whose
// lives end within a few steps of each other.
const wearSteps = 200

// Demand returns how many pieces will fail until so many hours from now, of units that
// have run for agesHours and are replaced by new ones at once. It is summed over
// Shapes and, given the shape, over the scale: the lives to the power of the shape are
// exponential then, so that their rate is gamma distributed with the failures as its
// shape (no prior; Soland 1969, IEEE Transactions on Reliability 18, 181, from memory).
// Shape and scale are the same for all units.
func (w Weibull) Demand(agesHours []float64, hours float64) (Counts, error) {
	err := firstError(checkPositive("shape", w.Shape), checkPositive("scale (h)", w.ScaleHours), checkPositive("hours", hours))
	for _, age := range agesHours {
		err = firstError(err, checkNotNegative("age (h)", age))
	}
	expected := float64(len(agesHours)) * hours / w.MeanHours()
	switch {
	case err != nil:
		return Counts{}, err
	case w.Failures < 1:
		return Counts{}, &InputError{"failures", float64(w.Failures), "at least 1"}
	case len(agesHours) > maxGroup:
		return Counts{}, &InputError{"units", float64(len(agesHours)), "at most 1000"}
	case expected > maxWear:
		return Counts{}, &InputError{"failures to be expected", expected, "at most 1000"}
	}
	// Over the best scale, the rate has the mean 1.
	rate, err := NewRate(float64(w.Failures), float64(w.Failures))
	if err != nil {
		return Counts{}, err
	}
	shapes := w.Shapes
	if len(shapes) == 0 {
		shapes = []ShapePoint{{w.Shape, w.ScaleHours, 1}}
	}
	var out Counts
	for _, s := range shapes {
		for _, p := range rate.points(int64(expected) + 1) {
			if weight := s.Weight * p.weight; weight > leastWear {
				scale := s.ScaleHours * math.Pow(p.perHour, -1/s.Shape)
				out.mix(failures(s.Shape, scale, agesHours, hours), weight)
			}
		}
	}
	total := 0.0
	for _, p := range out.points {
		total += p
	}
	for k := range out.points { // what was left out of the sum
		out.points[k] /= total
	}
	return out, nil
}

// leastWear is the weight below which a shape and scale are left out.
const leastWear = 1e-6

// maxWear bounds the failures to be expected.
const maxWear = 1000

func (c *Counts) mix(points []float64, weight float64) {
	for len(c.points) < len(points) {
		c.points = append(c.points, 0)
	}
	for k, p := range points {
		c.points[k] += weight * p
	}
}

// failures are the point probabilities of how many of all units fail, at a known scale.
func failures(shape, scale float64, ages []float64, hours float64) []float64 {
	same := map[float64]int{}
	for _, age := range ages {
		same[age]++
	}
	all := []float64{1}
	lives := newChain(newGrid(func(t float64) float64 { return 1 - math.Exp(-math.Pow(t/scale, shape)) }, hours))
	for _, age := range slices.Sorted(maps.Keys(same)) {
		gone := math.Pow(age/scale, shape)
		first := newGrid(func(t float64) float64 { return 1 - math.Exp(gone-math.Pow((age+t)/scale, shape)) }, hours)
		one := lives.renewals(first)
		for range same[age] {
			all = convolve(all, one)
		}
	}
	return all
}

// grid is a distribution function at the ends and at the middles of equal steps.
type grid struct{ ends, middles [wearSteps + 1]float64 }

func newGrid(f func(float64) float64, hours float64) *grid {
	g, step := &grid{}, hours/wearSteps
	for i := range g.ends {
		g.ends[i] = f(step * float64(i))
		g.middles[i] = f(step * (float64(i) + 0.5))
	}
	return g
}

// chain holds how probable it is that so many lives, one after the other, end within
// the time that is left at the middle of each step.
type chain [][wearSteps + 1]float64 // by number of lives, from 1; by middles

// newChain follows lives one after the other: that the n-th ends by then follows from
// the one before by the middle point rule (as Xie 1989, Naval Research Logistics 36,
// 335, does for the renewal function).
func newChain(life *grid) chain {
	list := chain{life.middles}
	for by := life.ends; by[wearSteps] > 1e-13 && len(list) < 10_000; {
		var next, middles [wearSteps + 1]float64
		for i := 1; i <= wearSteps; i++ {
			for j := 1; j <= i; j++ {
				next[i] += (by[j] - by[j-1]) * life.middles[i-j]
			}
		}
		for i := range wearSteps {
			middles[i] = (next[i] + next[i+1]) / 2
		}
		by = next
		list = append(list, middles)
	}
	return list
}

// renewals are the point probabilities of the number of failures at one place, where
// the first life has a distribution of its own.
func (c chain) renewals(first *grid) []float64 {
	before := first.ends[wearSteps] // P(at least so many failures)
	points := []float64{1 - before}
	for _, lives := range c {
		after := 0.0
		for j := 1; j <= wearSteps; j++ {
			after += (first.ends[j] - first.ends[j-1]) * lives[wearSteps-j]
		}
		points = append(points, max(0, before-after))
		before = after
	}
	return append(points, max(0, before))
}

// convolve are the point probabilities of a sum of two counts.
func convolve(a, b []float64) []float64 {
	out := make([]float64, len(a)+len(b)-1)
	for i, p := range a {
		for j, q := range b {
			out[i+j] += p * q
		}
	}
	for len(out) > 1 && out[len(out)-1] < 1e-16 {
		out = out[:len(out)-1]
	}
	return out
}
