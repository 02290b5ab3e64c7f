// Package winter plays the time until the next delivery, failure by failure.
//
// It is the independent check on what inventory/sparing and inventory/choice
// work out: it shares no formula with them. In each trial every unit gets a
// lifetime of its own; a unit that fails is replaced from the pool of its item if
// that holds a piece, and otherwise its place stays dead; failed units may come
// back from repair. An item fails when fewer of its places work than are needed,
// and the winter is won if no item failed before the delivery, whose date is
// drawn as well.
//
// Beside what fails there is what runs use up: each run draws what it takes, and the
// winter is lost as well if that is more than there is.
//
// Everything here is pure: the numbers come from the seed, and the same seed
// gives the same answer on every machine.
package winter

import (
	"context"
	"errors"
	"fmt"
	"math"
)

// Item is units alike with one pool of spares.
type Item struct {
	Name   string
	Units  int // places in service
	Needed int // places that must work
	Stock  int // spares in the pool at the start

	// Rate is the failure rate of each unit in failures per hour. If RateShape is
	// above 0 the rate is itself uncertain: drawn anew for each trial, the same
	// for all units, from a gamma distribution with that shape and Rate as its
	// mean.
	Rate      float64
	RateShape float64
	// WearShape is the shape of Weibull lifetimes with mean 1/Rate; 0 and 1 are a
	// constant rate. AgeHours is how old the units in service are; spares are new.
	WearShape float64
	AgeHours  float64
	// Ages, if there are any, are in place of AgeHours: of each unit.
	Ages []float64
	// WearKnown, if above 0, makes the scale of Weibull lifetimes uncertain: its power
	// -WearShape is drawn anew for each trial, the same for all units, from a gamma
	// distribution with that shape and, as its mean, what Rate stands for.
	WearKnown float64
	// WearPoints, if there are any, are the shapes that are possible, each with the Rate
	// for it: one is drawn for each trial, in place of WearShape and Rate.
	WearPoints []WearPoint

	// Repairable is the probability that a failed unit can be repaired on site;
	// it then comes back after a time with the mean TurnaroundHours, exponentially
	// distributed or, if TurnaroundFixed, always the same.
	Repairable      float64
	TurnaroundHours float64
	TurnaroundFixed bool
}

// Consumable is a stock that runs take from.
type Consumable struct {
	Name  string
	Stock float64
	Runs  []Runs
}

// Runs are so many runs, of which each takes what is drawn from a gamma distribution.
type Runs struct {
	Count        int64
	Shape, Scale float64
}

// WearPoint is a shape of lifetimes, with the mean 1/Rate, and how probable it is.
type WearPoint struct{ Probability, Shape, Rate float64 }

// Delivery is a date at which new pieces may come.
type Delivery struct {
	Hours       float64 // from the start
	Probability float64
}

// Winter is what is played.
type Winter struct {
	Items       []Item
	Deliveries  []Delivery // their probabilities sum up to 1
	Consumables []Consumable
}

// Outcome is what the trials showed.
type Outcome struct {
	Trials        int
	Won           int     // trials in which no item failed, and no consumable ran out
	Odds          float64 // Won over Trials
	StandardError float64 // of Odds
	Items         []ItemOutcome
	RanOut        []int // trials in which each consumable did
}

// ItemOutcome is one item's share.
type ItemOutcome struct {
	Failed       int     // trials in which it failed
	FailedAlone  int     // trials in which nothing else failed or ran out
	MeanFailures float64 // failures of units in a trial, up to the delivery or the item's own failure
}

var errInput = errors.New("winter: wrong input")

// MaxEvents bounds the failures and repairs of one item in one trial.
const MaxEvents = 1_000_000

func (w Winter) check() error {
	sum := 0.0
	for _, d := range w.Deliveries {
		if !(d.Hours >= 0) || math.IsInf(d.Hours, 1) || !(d.Probability >= 0) {
			return fmt.Errorf("%w: delivery after %g h with probability %g", errInput, d.Hours, d.Probability)
		}
		sum += d.Probability
	}
	if !(math.Abs(sum-1) <= 1e-9) {
		return fmt.Errorf("%w: the probabilities of the deliveries sum up to %g", errInput, sum)
	}
	for i, item := range w.Items {
		ok := item.Units >= 0 && item.Needed >= 0 && item.Needed <= item.Units && item.Stock >= 0 && item.Units <= 1e6
		ok = ok && (len(item.Ages) == 0 || len(item.Ages) == item.Units) && (item.WearKnown == 0 || item.WearShape > 0 || len(item.WearPoints) > 0)
		for _, x := range append([]float64{item.Rate, item.RateShape, item.WearShape, item.WearKnown, item.AgeHours, item.Repairable, item.TurnaroundHours}, item.Ages...) {
			ok = ok && x >= 0 && !math.IsInf(x, 1)
		}
		for _, point := range item.WearPoints {
			ok = ok && point.Probability >= 0 && point.Shape > 0 && point.Rate >= 0 && !math.IsInf(point.Shape+point.Rate, 1)
		}
		if !ok || item.Repairable > 1 {
			return fmt.Errorf("%w: item %d (%s): %+v", errInput, i+1, item.Name, item)
		}
	}
	for i, c := range w.Consumables {
		ok, all := c.Stock >= 0, int64(0)
		for _, r := range c.Runs {
			ok = ok && r.Count >= 0 && r.Shape > 0 && r.Scale > 0 && !math.IsInf(r.Shape*r.Scale, 1)
			all = min(MaxEvents+1, all+r.Count)
		}
		if !ok || all > MaxEvents {
			return fmt.Errorf("%w: consumable %d (%s): %+v", errInput, i+1, c.Name, c)
		}
	}
	return nil
}

// Play plays trials winters. If the context ends it returns what was played so
// far; an error if that is nothing.
func Play(ctx context.Context, w Winter, seed uint64, trials int) (Outcome, error) {
	if err := w.check(); err != nil {
		return Outcome{}, err
	}
	if trials < 1 {
		return Outcome{}, fmt.Errorf("%w: %d trials", errInput, trials)
	}
	out := Outcome{Items: make([]ItemOutcome, len(w.Items)), RanOut: make([]int, len(w.Consumables))}
	var p player
	for trial := range trials {
		if trial%64 == 0 && ctx.Err() != nil {
			break
		}
		// Each trial has its own numbers, whatever the trials before it used.
		p.chance = chance{state: seed ^ mix(uint64(trial)+0x9e3779b97f4a7c15)}
		hours := p.delivery(w.Deliveries)
		lost, last := 0, -1
		for i, item := range w.Items {
			held, failures, err := p.item(item, hours)
			if err != nil {
				return Outcome{}, fmt.Errorf("%s: %w", item.Name, err)
			}
			out.Items[i].MeanFailures += float64(failures)
			if !held {
				out.Items[i].Failed++
				lost, last = lost+1, i
			}
		}
		ranOut := 0
		for i, c := range w.Consumables {
			if p.used(c) > c.Stock {
				out.RanOut[i]++
				ranOut++
			}
		}
		switch {
		case lost+ranOut == 0:
			out.Won++
		case lost == 1 && ranOut == 0:
			out.Items[last].FailedAlone++
		}
		out.Trials++
	}
	if out.Trials == 0 {
		return Outcome{}, ctx.Err()
	}
	n := float64(out.Trials)
	out.Odds = float64(out.Won) / n
	out.StandardError = math.Sqrt(out.Odds * (1 - out.Odds) / n)
	for i := range out.Items {
		out.Items[i].MeanFailures /= n
	}
	return out, nil
}

// player holds the state of one item in one trial.
type player struct {
	chance
	fails   []float64 // when each working place fails
	returns []float64 // when units come back from repair
}

func (p *player) delivery(list []Delivery) float64 {
	u := p.uniform()
	for _, d := range list {
		if u -= d.Probability; u < 0 {
			return d.Hours
		}
	}
	return list[len(list)-1].Hours
}

// item plays one item until the delivery, and reports whether enough places
// worked all the time.
func (p *player) item(item Item, hours float64) (held bool, failures int, err error) {
	if len(item.WearPoints) > 0 {
		point := p.wearPoint(item.WearPoints)
		item.WearShape, item.Rate = point.Shape, point.Rate
	}
	rate := item.Rate
	if item.RateShape > 0 {
		rate *= p.gamma(item.RateShape) / item.RateShape
	}
	if item.WearKnown > 0 {
		rate *= math.Pow(p.gamma(item.WearKnown)/item.WearKnown, 1/item.WearShape)
	}
	if rate == 0 || item.Units == 0 {
		return true, 0, nil
	}
	p.fails, p.returns = p.fails[:0], p.returns[:0]
	for i := range item.Units {
		age := item.AgeHours
		if len(item.Ages) > 0 {
			age = item.Ages[i]
		}
		p.fails = append(p.fails, p.life(item, rate, age))
	}
	pool, working := item.Stock, item.Units
	for range MaxEvents {
		place, failure := least(p.fails)
		back, comes := least(p.returns)
		now := min(failure, comes)
		if now >= hours {
			return true, failures, nil
		}
		if comes < failure {
			p.returns[back] = p.returns[len(p.returns)-1]
			p.returns = p.returns[:len(p.returns)-1]
			if working < item.Units { // it goes to a dead place
				p.fails = append(p.fails, now+p.life(item, rate, 0))
				working++
			} else {
				pool++
			}
			continue
		}
		failures++
		if pool > 0 {
			pool--
			p.fails[place] = now + p.life(item, rate, 0)
		} else {
			p.fails[place] = p.fails[len(p.fails)-1]
			p.fails = p.fails[:len(p.fails)-1]
			if working--; working < item.Needed {
				return false, failures, nil
			}
		}
		if p.uniform() < item.Repairable {
			takes := item.TurnaroundHours
			if !item.TurnaroundFixed {
				takes *= p.exponential()
			}
			p.returns = append(p.returns, now+takes)
		}
	}
	return false, failures, fmt.Errorf("%w: more than %d failures and repairs before the delivery", errInput, MaxEvents)
}

// used draws what all runs take of a consumable.
func (p *player) used(c Consumable) float64 {
	sum := 0.0
	for _, r := range c.Runs {
		for range r.Count {
			sum += r.Scale * p.gamma(r.Shape)
		}
	}
	return sum
}

func (p *player) wearPoint(list []WearPoint) WearPoint {
	u := p.uniform()
	for _, point := range list {
		if u -= point.Probability; u < 0 {
			return point
		}
	}
	return list[len(list)-1]
}

func least(times []float64) (at int, when float64) {
	when = math.Inf(1)
	for i, t := range times {
		if t < when {
			at, when = i, t
		}
	}
	return at, when
}

// life draws how long a unit of some age still works.
func (p *player) life(item Item, rate, age float64) float64 {
	shape := item.WearShape
	if shape == 0 || shape == 1 {
		return p.exponential() / rate
	}
	scale := 1 / (rate * math.Gamma(1+1/shape))
	return scale*math.Pow(math.Pow(age/scale, shape)+p.exponential(), 1/shape) - age
}

// chance is a row of numbers from a seed (splitmix64: Steele, Lea and Flood
// 2014).
type chance struct{ state uint64 }

func mix(z uint64) uint64 {
	z = (z ^ z>>30) * 0xbf58476d1ce4e5b9
	z = (z ^ z>>27) * 0x94d049bb133111eb
	return z ^ z>>31
}

func (c *chance) uniform() float64 {
	c.state += 0x9e3779b97f4a7c15
	return float64(mix(c.state)>>11) / (1 << 53)
}

func (c *chance) exponential() float64 { return -math.Log1p(-c.uniform()) }

func (c *chance) normal() float64 {
	return math.Sqrt(2*c.exponential()) * math.Cos(2*math.Pi*c.uniform())
}

// gamma draws from the gamma distribution with scale 1 (Marsaglia and Tsang
// 2000).
func (c *chance) gamma(shape float64) float64 {
	if shape < 1 {
		u := 1 - c.uniform()
		return c.gamma(shape+1) * math.Pow(u, 1/shape)
	}
	d := shape - 1.0/3
	k := 1 / math.Sqrt(9*d)
	for {
		x := c.normal()
		v := 1 + k*x
		if v <= 0 {
			continue
		}
		v *= v * v
		if math.Log(1-c.uniform()) < 0.5*x*x+d-d*v+d*math.Log(v) {
			return d * v
		}
	}
}
