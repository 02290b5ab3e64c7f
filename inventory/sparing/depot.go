package sparing

import "math"

// Depot is one repairable part that bases use, and that a depot repairs where a
// base cannot. Each base orders one for one. Times may be in any unit, the same
// for all.
//
// Source: Sherbrooke, Optimal Inventory Modeling of Systems, 2nd ed., chapter 3
// (METRIC). Depot pipeline and base pipelines are taken as Poisson, which is
// METRIC's approximation: the variance of what the depot owes is left out.
type Depot struct {
	Bases       []Base
	DepotRepair float64 // mean time in depot repair, transport to it included
}

// Base is a place where the part fails.
type Base struct {
	Demand       float64 // failures a unit of time
	RepairedHere float64 // share of failures that the base itself repairs
	Repair       float64 // mean time of a repair here
	OrderAndShip float64 // time from order to receipt when the depot has stock
}

// DepotAnswer is what a split of stock gives.
type DepotAnswer struct {
	DepotStock      int64
	BaseStocks      []int64
	DepotPipeline   float64   // mean number in depot repair
	DepotBackorders float64   // mean number that the depot owes
	BasePipelines   []float64 // mean number due in to each base
	BaseBackorders  float64   // mean number missing at all bases together
}

func (d Depot) check() error {
	if len(d.Bases) == 0 {
		return &InputError{"bases", 0, "at least 1"}
	}
	if err := checkNotNegative("depot repair time", d.DepotRepair); err != nil {
		return err
	}
	for _, b := range d.Bases {
		err := firstError(
			checkNotNegative("demand of a base", b.Demand), checkNotNegative("share repaired at a base", b.RepairedHere),
			checkNotNegative("repair time at a base", b.Repair), checkNotNegative("order and ship time", b.OrderAndShip),
		)
		if err != nil {
			return err
		}
		if b.RepairedHere > 1 {
			return &InputError{"share repaired at a base", b.RepairedHere, "from 0 to 1"}
		}
	}
	return nil
}

// pipelines returns the depot's figures and the demand in each base's pipeline.
func (d Depot) pipelines(depotStock int64) (DepotAnswer, []Poisson, error) {
	out := DepotAnswer{DepotStock: depotStock}
	demand := 0.0 // on the depot
	for _, b := range d.Bases {
		demand += b.Demand * (1 - b.RepairedHere)
	}
	out.DepotPipeline = demand * d.DepotRepair
	depot, err := NewPoisson(out.DepotPipeline)
	if err != nil {
		return out, nil, err
	}
	out.DepotBackorders = ExpectedShort(depot, depotStock)
	wait := 0.0 // for the depot, a part sent there
	if demand > 0 {
		wait = out.DepotBackorders / demand
	}
	due := make([]Poisson, len(d.Bases))
	for i, b := range d.Bases {
		mean := b.Demand * (b.RepairedHere*b.Repair + (1-b.RepairedHere)*(b.OrderAndShip+wait))
		if due[i], err = NewPoisson(mean); err != nil {
			return out, nil, err
		}
		out.BasePipelines = append(out.BasePipelines, mean)
	}
	return out, due, nil
}

// Split returns the split of total pieces between depot and bases that leaves
// fewest backorders at the bases; of equals the one with most at the depot. For
// each depot stock the bases are filled piece by piece where it helps most,
// which is best as backorders are convex in stock.
func (d Depot) Split(total int64) (DepotAnswer, error) {
	err := firstError(d.check(), checkCount("stock", total))
	if err != nil {
		return DepotAnswer{}, err
	}
	if total > maxSplit {
		return DepotAnswer{}, &InputError{"stock", float64(total), "at most 10000"}
	}
	best := DepotAnswer{BaseBackorders: math.Inf(1)}
	for depotStock := int64(0); depotStock <= total; depotStock++ {
		out, due, err := d.pipelines(depotStock)
		if err != nil {
			return DepotAnswer{}, err
		}
		out.BaseStocks = make([]int64, len(due))
		for range total - depotStock {
			at := 0
			for i := range due {
				// One more piece at a base saves what exceeds its stock with
				// this probability. Bases alike are filled in turn.
				if due[i].Survival(out.BaseStocks[i]) > due[at].Survival(out.BaseStocks[at]) {
					at = i
				}
			}
			out.BaseStocks[at]++
		}
		for i := range due {
			out.BaseBackorders += ExpectedShort(due[i], out.BaseStocks[i])
		}
		if out.BaseBackorders <= best.BaseBackorders {
			best = out
		}
	}
	return best, nil
}

const maxSplit = 10000
