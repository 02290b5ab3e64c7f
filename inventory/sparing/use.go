package sparing

import (
	"math"

	"gonum.org/v1/gonum/mathext"
)

// RunUse is what one past run planned to take of a consumable, and what it took, in the
// item's smallest unit.
type RunUse struct{ Planned, Used int64 }

// The spread of use from run to run, where next to nothing is known: a part of the use,
// which counts as that of so many runs. It is an assumption without a source; some ten
// runs on record outweigh it.
const (
	AssumedSpread     = 0.3
	assumedSpreadRuns = 4
)

// UseDemand is how much planned runs will use up, of which neither the mean nor the
// spread is known for sure: a gamma distribution. CDF(k) is the probability that k of
// the smallest unit suffice; PointProbability(k) that more than k-1 and at most k are
// used. The zero value uses nothing. Get one from [NewUseDemand].
type UseDemand struct {
	Ratio  float64 // real over planned use; 1 when not known
	Known  bool    // whether past runs tell Ratio
	Spread float64 // standard deviation of a run's use, as a part of its mean
	Runs   int     // past runs that tell it
	// Draws are what the planned runs take, one by one: their sum has this distribution.
	// A run that plans more has the larger share of the shape.
	Draws []UseDraw

	shape, scale float64
}

// UseDraw is what each of so many runs takes: a gamma distribution of that shape and
// scale, in the item's smallest unit.
type UseDraw struct {
	Runs         int64
	Shape, Scale float64
}

// NewUseDemand returns what runs that are planned will use, by what past runs did. The
// ratio is that of [NeedConsumable], so that the mean is the same. The variance has two
// parts: each coming run scatters about the ratio, and the ratio itself is known from so
// many runs; both are wider by what a t distribution is wider than a normal one. Runs
// are taken as independent. Negative counts give an [*InputError].
func NewUseDemand(uses []Use, past []RunUse) (UseDemand, error) {
	d := UseDemand{Ratio: 1, Spread: AssumedSpread}
	planned, err := plannedUse(uses)
	if err != nil {
		return d, err
	}
	was, used := 0.0, 0.0
	for _, r := range past {
		if err := firstError(checkCount("past planned use", r.Planned), checkCount("past real use", r.Used)); err != nil {
			return d, err
		}
		if r.Planned > 0 {
			was, used, d.Runs = was+float64(r.Planned), used+float64(r.Used), d.Runs+1
		}
	}
	if d.Known = used > 0; d.Known {
		d.Ratio = used / was
	} else {
		d.Runs = 0 // use that nobody recorded says nothing
	}
	freedom := float64(assumedSpreadRuns)
	squares := freedom * AssumedSpread * AssumedSpread
	if d.Known {
		for _, r := range past {
			if r.Planned > 0 {
				off := float64(r.Used)/float64(r.Planned)/d.Ratio - 1
				squares += off * off
			}
		}
		freedom += float64(d.Runs - 1)
	}
	d.Spread = math.Sqrt(squares / freedom)
	runs := 0.0 // sum of the squares of what each run plans
	for _, u := range uses {
		runs += float64(u.Runs) * float64(u.PerRun) * float64(u.PerRun)
	}
	mean, total := float64(planned)*d.Ratio, float64(planned)
	if mean == 0 {
		return d, nil
	}
	variance := d.Spread * d.Spread * d.Ratio * d.Ratio * (runs + total*total/float64(max(1, d.Runs))) * freedom / (freedom - 2)
	d.scale = variance / mean
	d.shape = mean / d.scale
	for _, u := range uses {
		if u.Runs > 0 && u.PerRun > 0 {
			d.Draws = append(d.Draws, UseDraw{u.Runs, d.shape * float64(u.PerRun) / total, d.scale})
		}
	}
	return d, nil
}

// Mean implements [Demand].
func (d UseDemand) Mean() float64 { return d.shape * d.scale }

// PointProbability implements [Demand].
func (d UseDemand) PointProbability(k int64) float64 {
	if k <= 0 {
		return d.CDF(k)
	}
	return max(0, d.CDF(k)-d.CDF(k-1))
}

// CDF implements [Demand].
func (d UseDemand) CDF(k int64) float64 {
	switch {
	case k < 0:
		return 0
	case d.shape == 0:
		return 1
	}
	return mathext.GammaIncReg(d.shape, float64(k)/d.scale)
}

// Survival implements [Demand].
func (d UseDemand) Survival(k int64) float64 {
	switch {
	case k < 0:
		return 1
	case d.shape == 0:
		return 0
	}
	return mathext.GammaIncRegComp(d.shape, float64(k)/d.scale)
}
