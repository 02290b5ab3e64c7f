package sparing

// Piece is what one piece of an item weighs and measures, packed. Zero means
// not known.
type Piece struct {
	MassGrams         float64
	LengthMillimetres float64
	WidthMillimetres  float64
	HeightMillimetres float64
}

// Load is what a number of pieces weigh and take up: the sum over the pieces,
// without crates or padding. A figure that is not known counts as 0, and its
// flag says so.
type Load struct {
	MassGrams    float64
	MassKnown    bool
	VolumeLitres float64
	VolumeKnown  bool // false if any of the three dimensions is missing
}

// Line is one item of a kit list that is needed when a unit fails.
type Line struct {
	Installed       int64   // units in service, all sharing the stock
	HoursToDelivery float64 // hours that each will run before more can come
	Prior           Rate    // what was known before the record below
	Failures        int64   // seen in UnitHoursSeen
	UnitHoursSeen   float64 // hours of service summed over all units
	GoodStock       int64   // pieces in place that are fit for use

	Target              float64 // probability that the stock shall suffice
	IntervalProbability float64 // of the credible interval of the rate
	Piece               Piece
}

// Answer is what a [Line] needs.
type Answer struct {
	Posterior       Rate
	MeanRatePerHour float64  // failures per unit-hour
	RatePerHour     Interval // credible interval, failures per unit-hour
	ComingUnitHours float64
	ExpectedDemand  float64 // pieces

	SufficientStock int64 // smallest total that reaches the target
	ToSend          int64 // SufficientStock less GoodStock, never below 0

	SufficiencyNow  float64 // probability that GoodStock suffices
	SufficiencySent float64 // the same once ToSend has arrived
	// Their complements, which keep small risks that the above round to 1.
	ShortfallNow, ShortfallSent float64

	Load Load // of the pieces to send
}

// Need returns the smallest number of spares whose probability of sufficiency
// reaches the line's target, and what is to be sent to have them. The failure
// rate is uncertain as its posterior says, so the demand is [GammaPoisson]. It
// assumes that no failed unit is repaired before the delivery. Inputs that are
// negative or not finite, and probabilities that are not between 0 and 1, give
// an [*InputError].
func Need(in Line) (Answer, error) {
	err := firstError(
		checkCount("units in service", in.Installed),
		checkNotNegative("hours to delivery", in.HoursToDelivery),
		checkCount("good stock", in.GoodStock),
		in.Piece.check(),
	)
	if err != nil {
		return Answer{}, err
	}
	out := Answer{ComingUnitHours: float64(in.Installed) * in.HoursToDelivery}
	if out.Posterior, err = in.Prior.After(in.Failures, in.UnitHoursSeen); err != nil {
		return Answer{}, err
	}
	if out.MeanRatePerHour, err = out.Posterior.MeanPerHour(); err != nil {
		return Answer{}, err
	}
	if out.RatePerHour, err = out.Posterior.IntervalPerHour(in.IntervalProbability); err != nil {
		return Answer{}, err
	}
	demand, err := out.Posterior.Demand(out.ComingUnitHours)
	if err != nil {
		return Answer{}, err
	}
	out.ExpectedDemand = demand.Mean()
	if out.SufficientStock, err = SmallestStock(demand, in.Target); err != nil {
		return Answer{}, err
	}
	out.ToSend = max(0, out.SufficientStock-in.GoodStock)
	stockSent := in.GoodStock + out.ToSend
	out.SufficiencyNow, out.ShortfallNow = demand.CDF(in.GoodStock), demand.Survival(in.GoodStock)
	out.SufficiencySent, out.ShortfallSent = demand.CDF(stockSent), demand.Survival(stockSent)
	out.Load = in.Piece.times(out.ToSend)
	return out, nil
}

func (p Piece) check() error {
	return firstError(
		checkNotNegative("mass (g)", p.MassGrams),
		checkNotNegative("length (mm)", p.LengthMillimetres),
		checkNotNegative("width (mm)", p.WidthMillimetres),
		checkNotNegative("height (mm)", p.HeightMillimetres),
	)
}

// times returns the load of count pieces like p.
func (p Piece) times(count int64) Load {
	const cubicMillimetresPerLitre = 1e6
	cubicMillimetres := p.LengthMillimetres * p.WidthMillimetres * p.HeightMillimetres
	return Load{
		MassGrams:    float64(count) * p.MassGrams,
		MassKnown:    p.MassGrams > 0,
		VolumeLitres: float64(count) * cubicMillimetres / cubicMillimetresPerLitre,
		VolumeKnown:  cubicMillimetres > 0,
	}
}
