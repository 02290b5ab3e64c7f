package sparing

import "math"

// Group is a number of units alike, of which only some must work, with one pool
// of spares: a failed unit is replaced at once while the pool lasts, and left
// dead after that. The group fails when fewer than Needed are left.
//
// Failures is the demand of all units together as long as all run ([Poisson],
// or [GammaPoisson] where the rate is uncertain). When some are dead the others
// go on failing at their own rate, so that failures come more slowly.
type Group struct {
	Units    int64
	Needed   int64
	Failures Demand
}

// maxGroup bounds the work of Group.
const maxGroup = 1000

func (g Group) check() error {
	switch {
	case g.Failures == nil:
		return &InputError{"failures of the group", 0, "given"}
	case g.Units < 1 || g.Units > maxGroup:
		return &InputError{"units in the group", float64(g.Units), "from 1 to 1000"}
	case g.Needed < 0 || g.Needed > g.Units:
		return &InputError{"units needed", float64(g.Needed), "from 0 to the units there are"}
	case g.Failures.Mean() > 1e5:
		return &InputError{"expected failures of the group", g.Failures.Mean(), "at most 100000"}
	}
	return nil
}

// Odds returns, for each stock from 0 to most, the probability that the group
// works to the end, and its complement, which keeps small risks.
//
// Seen as a chain that steps when any of Units places would fail (a dead place
// does nothing), the number of steps has the distribution Failures, and the path
// does not depend on the rate. So with q(j) the probability that the group still
// works j steps after the pool is empty, and the first s steps empty it,
//
//	odds(s) = P(X < s) + sum over j >= s of P(X = j) q(j-s)
//
// for a known rate and for an uncertain one alike. With Needed = Units this is
// P(X <= s).
func (g Group) Odds(most int64) (odds, shortfall []float64, err error) {
	if err := firstError(g.check(), checkCount("stock", most)); err != nil {
		return nil, nil, err
	}
	if most > maxSplit {
		return nil, nil, &InputError{"stock", float64(most), "at most 10000"}
	}
	var points []float64 // P(X = j), until nothing is left
	for j := int64(0); ; j++ {
		points = append(points, g.Failures.PointProbability(j))
		if j > most && float64(j) > g.Failures.Mean() && g.Failures.Survival(j) < 1e-18 || j > 1e6 {
			break
		}
	}
	lost := g.lost(len(points))
	for s := int64(0); s <= most; s++ {
		short := 0.0
		for j := len(points) - 1; j > int(s); j-- {
			short += points[j] * lost[j-int(s)]
		}
		short += g.Failures.Survival(int64(len(points) - 1))
		if g.Needed == 0 {
			short = 0
		}
		short = min(1, short)
		shortfall = append(shortfall, short)
		odds = append(odds, 1-short)
	}
	if g.Needed == g.Units { // more digits for long odds against
		for s := range odds {
			odds[s] = g.Failures.CDF(int64(s))
		}
	}
	return odds, shortfall, nil
}

// lost returns the probability that the group has failed j steps after the pool
// is empty, for j below steps.
func (g Group) lost(steps int) []float64 {
	spare := int(g.Units - g.Needed) // that may die
	alive := make([]float64, spare+1)
	alive[0] = 1
	out := make([]float64, steps)
	failed := 0.0
	for j := 1; j < steps; j++ {
		for dead := spare; dead >= 0; dead-- {
			p := float64(g.Units-int64(dead)) / float64(g.Units)
			move := alive[dead] * p
			alive[dead] -= move
			if dead == spare {
				failed += move
			} else {
				alive[dead+1] += move
			}
		}
		out[j] = min(1, failed)
	}
	return out
}

// Repaired is a pool of spares to which failed units come back: each is
// repairable with a probability, and then takes a time that is exponentially
// distributed. Units fail at a constant rate together and are replaced at once.
type Repaired struct {
	FailuresPerHour float64 // of all units together
	Hours           float64
	Repairable      float64 // probability that a failed unit can be repaired
	TurnaroundHours float64 // mean; 0: no time at all
	// Units and Needed make it a [Group]: so many of the units must work, and those
	// that are dead do not fail. A unit that comes back goes to a dead place first.
	// Both 0 stands for a failure that finds no spare being one too many.
	Units, Needed int64
}

// mayDie is how many units may be dead at once.
func (r Repaired) mayDie() int64 { return r.Units - r.Needed }

// Odds returns, for each stock from 0 to most, the probability that no failure
// meets an empty pool, and its complement. It follows the chain of units
// scrapped and in repair by uniformisation, whose terms are all positive.
//
// The end of the time alone would be too kind: P(scrapped + in repair at the end
// <= s) forgets that the pool may have been empty before.
func (r Repaired) Odds(most int64) (odds, shortfall []float64, err error) {
	if err := r.check(most); err != nil {
		return nil, nil, err
	}
	if r.mayDie() > 0 && r.neverBack() {
		failures, err := NewPoisson(r.FailuresPerHour * r.Hours)
		if err != nil {
			return nil, nil, err
		}
		return Group{r.Units, r.Needed, failures}.Odds(most)
	}
	if r.TurnaroundHours == 0 || r.neverBack() {
		scrapped := r.FailuresPerHour * r.Hours
		if r.TurnaroundHours == 0 {
			scrapped *= 1 - r.Repairable
		}
		demand, err := NewPoisson(scrapped)
		if err != nil {
			return nil, nil, err
		}
		for s := int64(0); s <= most; s++ {
			// With repair in no time a failure still needs a spare in hand.
			if s == 0 && r.TurnaroundHours == 0 {
				if demand, err = NewPoisson(r.FailuresPerHour * r.Hours); err != nil {
					return nil, nil, err
				}
				odds, shortfall = append(odds, demand.CDF(0)), append(shortfall, demand.Survival(0))
				if demand, err = NewPoisson(scrapped); err != nil {
					return nil, nil, err
				}
				continue
			}
			odds, shortfall = append(odds, demand.CDF(s)), append(shortfall, demand.Survival(s))
		}
		return odds, shortfall, nil
	}
	for s := int64(0); s <= most; s++ {
		short, err := r.short(int(s))
		if err != nil {
			return nil, nil, err
		}
		odds, shortfall = append(odds, 1-short), append(shortfall, short)
	}
	return odds, shortfall, nil
}

func (r Repaired) check(most int64) error {
	err := firstError(
		checkNotNegative("failure rate (1/h)", r.FailuresPerHour), checkNotNegative("hours", r.Hours),
		checkNotNegative("turn-around (h)", r.TurnaroundHours), checkNotNegative("share repairable", r.Repairable), checkCount("stock", most),
	)
	switch {
	case err != nil:
		return err
	case r.Repairable > 1:
		return &InputError{"share repairable", r.Repairable, "from 0 to 1"}
	case r.Needed < 0 || r.Needed > r.Units || r.Units > maxGroup:
		return &InputError{"units needed", float64(r.Needed), "from 0 to the units there are, at most 1000"}
	case most+r.mayDie() > maxRepaired:
		return &InputError{"stock and spare places of a repaired item", float64(most + r.mayDie()), "at most 200"}
	case r.mayDie() > 0 && r.Repairable > 0 && r.TurnaroundHours == 0:
		return &InputError{"turn-around (h)", 0, "above zero for a group"}
	}
	return nil
}

// neverBack reports that no unit comes back in the time.
func (r Repaired) neverBack() bool {
	return r.Repairable == 0 || r.TurnaroundHours > 1e6*r.Hours
}

// maxRepaired bounds how many units the chain of short follows.
const maxRepaired = 200

func (r Repaired) short(stock int) (float64, error) {
	away := stock + int(r.mayDie()) // scrapped and in repair, that can be borne
	rate := r.FailuresPerHour + float64(away)/r.TurnaroundHours
	steps, err := NewPoisson(rate * r.Hours)
	if err != nil {
		return 0, err
	}
	if steps.Mean()*float64(away+1)*float64(away+1) > 1e9 {
		return 0, &InputError{"hours over turn-around", r.Hours / r.TurnaroundHours, "smaller, or the stock smaller: the chain is too long to follow"}
	}
	width := away + 1
	now, next := make([]float64, width*width), make([]float64, width*width) // scrapped × in repair
	now[0] = 1
	fail, back := r.FailuresPerHour/rate, 1/(r.TurnaroundHours*rate)
	lost, sum := 0.0, 0.0
	for j := int64(0); ; j++ {
		sum += steps.PointProbability(j) * lost
		if left := steps.Survival(j); float64(j) > steps.Mean() && left < 1e-17 {
			return min(1, sum+left), nil
		}
		for k := range next {
			next[k] = 0
		}
		for scrapped := range width {
			for repair := range width - scrapped {
				p := now[scrapped*width+repair]
				if p == 0 {
					continue
				}
				fails := fail
				if dead := scrapped + repair - stock; dead > 0 {
					fails *= float64(r.Units-int64(dead)) / float64(r.Units)
				}
				returned := float64(repair) * back
				if repair > 0 {
					next[scrapped*width+repair-1] += p * returned
				}
				if scrapped+repair == away {
					lost += p * fails
				} else {
					next[scrapped*width+repair+1] += p * fails * r.Repairable
					next[(scrapped+1)*width+repair] += p * fails * (1 - r.Repairable)
				}
				next[scrapped*width+repair] += p * math.Max(0, 1-fails-returned)
			}
		}
		now, next = next, now
	}
}
