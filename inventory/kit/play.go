package kit

import (
	"context"

	"pulk/inventory/sparing"
	"pulk/inventory/winter"
)

// Winters is what played winters say of a plan.
type Winters struct {
	Played int
	Odds   float64 // share of winters in which nothing of the plan ran out
	Error  float64 // its standard error, by the binomial distribution; at least one winter
}

// Simulate plays winters without the formulas of the plan, as package winter does:
// each draws when the delivery comes and how fast each kind of unit really fails, lets
// every unit fail, replaces it from the stock or leaves it dead, and brings back what
// was repaired; and each planned run draws what it uses up. Desirable items, also those of
// the wish, are not looked at. It checks the odds of a plan: they must agree within a few
// of the simulation's own errors. An interrupted ctx gives what was played until then.
func (p *Plan) Simulate(ctx context.Context, winters int, seed uint64, wish Wish) (Winters, error) {
	play := winter.Winter{}
	for _, d := range p.Dates {
		play.Deliveries = append(play.Deliveries, winter.Delivery{Hours: d.Hours, Probability: d.Probability})
	}
	for i := range p.Lines {
		l := &p.Lines[i]
		if !l.Counts() || wish.Minor[l.PartNumber] {
			continue
		}
		if l.Basis == Consumable {
			play.Consumables = append(play.Consumables, l.played())
			continue
		}
		item := winter.Item{Name: l.PartNumber, Units: int(l.Installed), Needed: int(l.Terms.Needed), Stock: int(l.Good + l.Send),
			Rate: l.RatePerHour * l.stress(), RateShape: l.rate.Shape(), Repairable: float64(l.Terms.RepairPercent) / 100, TurnaroundHours: float64(l.Terms.RepairHours)}
		if item.Needed == 0 {
			item.Needed = item.Units
		}
		if l.Wear != nil {
			item.RateShape, item.WearKnown, item.Ages = 0, float64(l.Wear.Failures), l.AgesHours
			for _, s := range l.Wear.Shapes {
				mean := sparing.Weibull{Shape: s.Shape, ScaleHours: s.ScaleHours}.MeanHours()
				item.WearPoints = append(item.WearPoints, winter.WearPoint{Probability: s.Weight, Shape: s.Shape, Rate: 1 / mean})
			}
		}
		play.Items = append(play.Items, item)
	}
	out, err := winter.Play(ctx, play, seed, winters)
	if err != nil {
		return Winters{}, err
	}
	return Winters{out.Trials, out.Odds, max(out.StandardError, 1/float64(out.Trials))}, nil
}

// played is a consumable, run by run.
func (l *Line) played() winter.Consumable {
	out := winter.Consumable{Name: l.PartNumber, Stock: float64(l.Good + l.Send)}
	for _, d := range l.demand.Draws {
		out.Runs = append(out.Runs, winter.Runs{Count: d.Runs, Shape: d.Shape, Scale: d.Scale})
	}
	return out
}
