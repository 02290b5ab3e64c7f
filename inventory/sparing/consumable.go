package sparing

import "math/big"

// Use is a planned use of a consumable: so many runs of one procedure, each
// taking so much. Quantities are whole numbers of the item's smallest unit.
type Use struct {
	Runs   int64
	PerRun int64
}

// Experience compares what a consumable's past runs took with what their
// procedures planned, in the item's smallest unit. If either is zero nothing is
// taken as known: use that nobody recorded must not empty the kit.
type Experience struct {
	Planned int64
	Used    int64
}

// ConsumableLine is one item of a kit list that is used up by the work itself.
type ConsumableLine struct {
	Uses       []Use
	Experience Experience
	GoodStock  int64 // smallest units in place that will still be fit for use
	Piece      Piece // of one smallest unit
}

// ConsumableAnswer is what a [ConsumableLine] needs, in the item's smallest
// unit.
type ConsumableAnswer struct {
	Planned       int64   // runs times quantity per run, summed
	UseRatio      float64 // real use over planned use; 1 when not known
	UseRatioKnown bool
	Needed        int64 // Planned times UseRatio, rounded up
	ToSend        int64 // Needed less GoodStock, never below 0
	Load          Load  // of what is to be sent
}

// NeedConsumable returns what the planned runs will use up, corrected by how
// past use compared with past plans. It plans for the mean and holds no margin
// for chance: a reserve is a decision of the planner. Negative counts, use
// without any plan, and quantities beyond 64 bits give an [*InputError].
func NeedConsumable(in ConsumableLine) (ConsumableAnswer, error) {
	err := firstError(
		checkCount("past planned use", in.Experience.Planned),
		checkCount("past real use", in.Experience.Used),
		checkCount("good stock", in.GoodStock),
		in.Piece.check(),
	)
	if err != nil {
		return ConsumableAnswer{}, err
	}
	if in.Experience.Planned == 0 && in.Experience.Used > 0 {
		return ConsumableAnswer{}, &InputError{"past planned use", 0, "above zero when there was past real use"}
	}
	planned, err := plannedUse(in.Uses)
	if err != nil {
		return ConsumableAnswer{}, err
	}
	out := ConsumableAnswer{Planned: planned, Needed: planned, UseRatio: 1}
	if in.Experience.Used > 0 {
		out.UseRatioKnown = true
		out.UseRatio = float64(in.Experience.Used) / float64(in.Experience.Planned)
		if out.Needed, err = scaleUp(planned, in.Experience); err != nil {
			return ConsumableAnswer{}, err
		}
	}
	out.ToSend = max(0, out.Needed-in.GoodStock)
	out.Load = in.Piece.times(out.ToSend)
	return out, nil
}

func plannedUse(uses []Use) (int64, error) {
	sum := new(big.Int)
	for _, use := range uses {
		err := firstError(checkCount("planned runs", use.Runs), checkCount("quantity per run", use.PerRun))
		if err != nil {
			return 0, err
		}
		sum.Add(sum, new(big.Int).Mul(big.NewInt(use.Runs), big.NewInt(use.PerRun)))
	}
	return quantityFrom(sum)
}

// scaleUp returns planned × Used / Planned rounded up, in whole numbers
// throughout: 100 × 1.1 in floats rounds up to 111.
func scaleUp(planned int64, past Experience) (int64, error) {
	product := new(big.Int).Mul(big.NewInt(planned), big.NewInt(past.Used))
	product.Add(product, big.NewInt(past.Planned-1))
	return quantityFrom(product.Quo(product, big.NewInt(past.Planned)))
}

func quantityFrom(n *big.Int) (int64, error) {
	if !n.IsInt64() {
		approximate, _ := new(big.Float).SetInt(n).Float64()
		return 0, &InputError{"quantity needed", approximate, "below 2^63; check runs and quantity per run"}
	}
	return n.Int64(), nil
}
