package kit

import (
	"fmt"

	"pulk/inventory/sparing"
)

func (p *Plan) spare(part Part) (Line, error) {
	line := Line{Part: part, Basis: Spare, UseRatio: 1}
	prior, ok, err := part.prior(p.PriorFailures)
	if err != nil {
		return line, err
	}
	if !ok || part.saysNothing(p.Dates[len(p.Dates)-1].Hours) {
		line.Basis = NoRate
		return line, nil
	}
	answer, err := sparing.Need(sparing.Line{Installed: part.Installed, HoursToDelivery: p.Hours * part.stress(), Prior: prior, Failures: part.Failures,
		UnitHoursSeen: part.UnitHoursSeen, GoodStock: part.Good, Target: p.Target, IntervalProbability: p.IntervalProbability, Piece: part.piece()})
	if err != nil {
		return line, err
	}
	line.RatePerHour, line.RateLowPerHour, line.RateHighPerHour = answer.MeanRatePerHour, answer.RatePerHour.Low, answer.RatePerHour.High
	line.rate = answer.Posterior
	line.Expected = answer.ExpectedDemand * p.MeanHours() / p.Hours
	if part.Wears {
		if line.Wear, err = p.wear(&part); err != nil {
			return line, err
		}
	}
	if line.supply, err = newSupply(&line, p.Dates); err != nil {
		return line, err
	}
	if part.Wears {
		line.Expected = line.supply.mean()
	}
	if line.Sufficient = answer.SufficientStock; !p.plain(&part) {
		if line.Sufficient, err = line.supply.smallest(p.Target); err != nil {
			return line, err
		}
	}
	line.OddsKnown = true
	line.OddsNow, _ = line.supply.over(part.Good)
	terms := part.Terms
	if terms.Class == Desirable {
		line.send(terms.whole(terms.Least))
	} else {
		line.send(min(terms.whole(max(terms.Least, line.Sufficient-part.Good)), terms.mostWhole()))
	}
	if len(part.FailureHours) >= sparing.TrendFailuresMin {
		if trend, err := sparing.TrendOf(part.FailureHours, part.UnitHoursSeen, sparing.TimeTerminated); err == nil {
			line.Trend = &trend
		}
	}
	return line, nil
}

// prior is what is known of a part's rate before its record; false where there is not
// even a record.
func (p *Part) prior(priorFailures float64) (rate sparing.Rate, ok bool, err error) {
	switch {
	case p.Prior != nil:
		rate, err = sparing.RateFromMTBF(p.Prior.MTBFHours, p.Prior.Failures)
	case p.PriorMTBFHours > 0:
		rate, err = sparing.RateFromMTBF(float64(p.PriorMTBFHours), priorFailures)
	case p.UnitHoursSeen > 0:
		rate, err = sparing.NewRate(0.5, 0) // Jeffreys: nothing but the record speaks
	default:
		return rate, false, nil
	}
	return rate, true, err
}

// shortRecord is which part of the time to come a record without a failure, and without
// anything known before it, must have to say anything of a rate. Below it the answer
// would be made by the shape that stands for ignorance: dozens of spares for a unit
// that was installed yesterday.
const shortRecord = 0.01

// saysNothing reports that a record is too short for so many hours to come.
func (p *Part) saysNothing(hours float64) bool {
	return p.Prior == nil && p.PriorMTBFHours == 0 && p.Failures == 0 && p.UnitHoursSeen < shortRecord*float64(p.Installed)*p.stress()*hours
}

// Prior is a rate taken over from a part that is alike.
type Prior struct {
	Like      string  // its part number
	MTBFHours float64 // by its datasheet and record
	Failures  float64 // what that weighs, as if so many had been seen
}

// LikenessTo returns the prior that a part has as one like another, as if so many
// failures of it had been seen. It weighs no more than what is known of the other, which
// must have failed or have a datasheet: else the error is a *[TermsError].
func (p *Part) LikenessTo(failures, priorFailures float64) (*Prior, error) {
	prior, ok, err := p.prior(priorFailures)
	if err != nil {
		return nil, err
	}
	if !ok || p.Prior == nil && p.PriorMTBFHours == 0 && p.Failures == 0 {
		return nil, &TermsError{fmt.Sprintf("of %s neither a datasheet nor a failure says how often it fails", p.PartNumber)}
	}
	rate, err := prior.After(p.Failures, p.UnitHoursSeen)
	if err != nil {
		return nil, err
	}
	mean, err := rate.MeanPerHour()
	if err != nil {
		return nil, err
	}
	return &Prior{p.PartNumber, 1 / mean, min(failures, rate.Shape())}, nil
}

// plain reports that an item is one whose smallest stock [sparing.Need] knows.
func (p *Plan) plain(part *Part) bool {
	return len(p.Dates) == 1 && part.Terms.Needed == 0 && part.Terms.RepairPercent == 0 && !part.Wears
}

func (p *Part) stress() float64 {
	if p.Stress == 0 {
		return 1
	}
	return p.Stress
}

// wear fits the lives of a part that is said to wear out.
func (p *Plan) wear(part *Part) (*sparing.Weibull, error) {
	failed := 0
	for _, l := range part.Lives {
		if l.Failed {
			failed++
		}
	}
	switch t := part.Terms; {
	case failed < sparing.WearFailuresMin:
		return nil, &TermsError{fmt.Sprintf("%d of its lives ended with a failure, and a wear-out is fitted to %d at least", failed, sparing.WearFailuresMin)}
	case t.RepairPercent > 0 || t.Needed > 0 && t.Needed < part.Installed:
		return nil, &TermsError{"a part that wears out is worked out without repair, and with all units needed"}
	case part.stress() != 1:
		return nil, &TermsError{"a part that wears out is worked out without stress of places"}
	case int64(len(part.AgesHours)) != part.Installed:
		return nil, fmt.Errorf("the ages of %d units are known, and %d are in service", len(part.AgesHours), part.Installed)
	}
	fit, err := sparing.FitWeibull(part.Lives, p.IntervalProbability)
	if err != nil {
		return nil, err
	}
	return &fit, nil
}

// TrendLevel is the p-value below which a trend is warned of.
const TrendLevel = 0.1

// Worsens and Improves report whether the failures seen speak against a constant rate.
func (l *Line) Worsens() bool {
	return l.Trend != nil && l.Trend.PValue < TrendLevel && l.Trend.Laplace > 0
}

// Improves is the same, the other way.
func (l *Line) Improves() bool {
	return l.Trend != nil && l.Trend.PValue < TrendLevel && l.Trend.Laplace < 0
}
