package kit

import (
	"fmt"
	"math"
	"time"

	"pulk/inventory/sparing"
)

// Delay is how much later than planned the delivery may come.
type Delay struct {
	Days        float64
	Probability float64
}

// Dated is a date of the delivery.
type Dated struct {
	Hours       float64 // from the start of the time without delivery
	Probability float64
}

// Dates are when the delivery may come, the earliest first. What the delays do not
// say falls on the planned day.
func (r Request) Dates() ([]Dated, error) {
	hours, sure := r.Until.Sub(r.From).Hours(), 1.0
	list := []Dated{{hours, 0}}
	for _, d := range r.Delays {
		switch {
		case !(d.Days > 0) || math.IsInf(d.Days, 1):
			return nil, fmt.Errorf("a delay of %v days is not above 0", d.Days)
		case !(d.Probability > 0 && d.Probability <= 1):
			return nil, fmt.Errorf("a delay of %v days with probability %v: it is above 0, and at most 1", d.Days, d.Probability)
		case hours+24*d.Days <= list[len(list)-1].Hours:
			return nil, fmt.Errorf("a delay of %v days stands after one that is as long: give the short ones first, each once", d.Days)
		}
		list = append(list, Dated{hours + 24*d.Days, d.Probability})
		sure -= d.Probability
	}
	if list[0].Probability = sure; sure < -1e-9 {
		return nil, fmt.Errorf("the probabilities of the delays sum up to %.4g", 1-sure)
	}
	if sure < 1e-9 { // never on the day
		list = list[1:]
		list[0].Probability += sure
	}
	return list, nil
}

// Rounds is how many rounds, one every so many days with the first on the first day, are
// due until the latest delivery that may be; 0 where days is not above 0.
func (r Request) Rounds(days float64) int64 {
	dates, err := r.Dates()
	if err != nil || !(days > 0) {
		return 0
	}
	const rounding = 1e-9
	return int64(math.Ceil(dates[len(dates)-1].Hours/(24*days) - rounding))
}

// MeanHours is how long the time without delivery is in the mean.
func (p *Plan) MeanHours() float64 {
	sum := 0.0
	for _, d := range p.Dates {
		sum += d.Probability * d.Hours
	}
	return sum
}

// Latest is the latest day on which the delivery may come.
func (r Request) Latest() time.Time {
	latest := r.Until
	for _, d := range r.Delays {
		if day := r.Until.Add(time.Duration(d.Days * 24 * float64(time.Hour))); day.After(latest) {
			latest = day
		}
	}
	return latest
}

// stocked says how probable it is that a stock suffices until one date, and that it
// does not.
type stocked func(stock int64) (odds, shortfall float64)

// supply is that for all dates of the delivery.
type supply struct {
	dates []Dated
	by    []stocked
	means []float64 // pieces asked for, by date; of spares
}

// over is what a stock does over all dates.
func (s *supply) over(stock int64) (odds, shortfall float64) {
	for i, d := range s.dates {
		one, short := s.by[i](stock)
		odds += d.Probability * one
		shortfall += d.Probability * short
	}
	return odds, shortfall
}

// logOdds is the logarithm of the odds until one date, without loss where they are
// close to 1; never below what a sum of many can hold.
func (s *supply) logOdds(date int, stock int64) float64 {
	odds, short := s.by[date](stock)
	if short < 0.5 {
		return math.Log1p(-short)
	}
	return max(-700, math.Log(odds))
}

// enough is the probability of running out below which one more spare is not
// considered, and enoughRepaired the same where units come back, which costs more to
// work out.
const (
	enough         = 1e-9
	enoughRepaired = 1e-7
)

// mostGroup bounds the tables of redundant groups.
const mostGroup = 10_000

// newSupply works out what a stock of one spare does, for all dates.
func newSupply(l *Line, dates []Dated) (*supply, error) {
	out := &supply{dates: dates}
	for _, d := range dates {
		one, mean, err := l.stocked(d.Hours)
		if err != nil {
			return nil, err
		}
		out.by, out.means = append(out.by, one), append(out.means, mean)
	}
	return out, nil
}

// mean is how many pieces are asked for in the mean.
func (s *supply) mean() float64 {
	sum := 0.0
	for i, d := range s.dates {
		sum += d.Probability * s.means[i]
	}
	return sum
}

// stocked works out what a stock does until one date, and how many pieces are asked
// for in the mean.
func (l *Line) stocked(hours float64) (stocked, float64, error) {
	if l.Wear != nil {
		demand, err := l.Wear.Demand(l.AgesHours, hours)
		return func(stock int64) (float64, float64) { return demand.CDF(stock), demand.Survival(stock) }, demand.Mean(), err
	}
	rate, err := l.rate.Stressed(l.stress())
	if err != nil {
		return nil, 0, err
	}
	demand, err := rate.Demand(float64(l.Installed) * hours)
	if err != nil {
		return nil, 0, err
	}
	one, err := l.atRate(rate, demand, hours)
	return one, demand.Mean(), err
}

// atRate is stocked for units that fail at a constant rate.
func (l *Line) atRate(rate sparing.Rate, demand sparing.Demand, hours float64) (stocked, error) {
	t := l.Terms
	needed := t.Needed
	if needed == 0 {
		needed = l.Installed
	}
	switch {
	case t.RepairPercent > 0:
		repaired := sparing.Repaired{Hours: hours, Repairable: float64(t.RepairPercent) / 100, TurnaroundHours: float64(t.RepairHours), Units: l.Installed, Needed: needed}
		odds, short, err := repaired.OddsOver(rate, l.Installed, mostGroup, enoughRepaired)
		return tabled(odds, short, demand), err
	case needed < l.Installed:
		most, err := sparing.SmallestStock(demand, 1-enough)
		if err != nil {
			return nil, err
		}
		odds, short, err := sparing.Group{Units: l.Installed, Needed: needed, Failures: demand}.Odds(min(most, mostGroup))
		return tabled(odds, short, demand), err
	}
	return func(stock int64) (float64, float64) { return demand.CDF(stock), demand.Survival(stock) }, nil
}

// always is the supply of an item whose demand does not ask when the delivery comes.
func always(demand sparing.Demand, dates []Dated) *supply {
	out := &supply{dates: dates}
	for range dates {
		out.by = append(out.by, func(stock int64) (float64, float64) { return demand.CDF(stock), demand.Survival(stock) })
	}
	return out
}

// tabled reads rows by stock. Beyond their end the shortfall is that of units which must
// all work and never come back: a bound, which is never less than the truth.
func tabled(odds, short []float64, demand sparing.Demand) stocked {
	return func(stock int64) (float64, float64) {
		if stock < int64(len(odds)) {
			return odds[stock], short[stock]
		}
		bound := min(short[len(short)-1], demand.Survival(stock))
		return 1 - bound, bound
	}
}

// smallest is the smallest stock whose odds over all dates reach a target.
func (s *supply) smallest(target float64) (int64, error) {
	for stock := int64(0); stock <= mostPieces; stock++ {
		if _, short := s.over(stock); short <= (1-target)*(1+1e-12) {
			return stock, nil
		}
	}
	return 0, fmt.Errorf("even %d pieces do not reach %g", mostPieces, target)
}

// Suffices is how probable it is that a stock of so many pieces of a spare suffices
// until the delivery, and that it does not.
func (l *Line) Suffices(stock int64) (odds, shortfall float64) { return l.supply.over(stock) }
