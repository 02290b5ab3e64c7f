package kit

import (
	"fmt"

	"pulk/inventory/sparing"
)

func (p *Plan) spare(part Part) (Line, error) {
	line := Line{Part: part, Basis: Spare, UseRatio: 1}
	var prior sparing.Rate
	var err error
	switch {
	case part.PriorMTBFHours > 0:
		prior, err = sparing.RateFromMTBF(float64(part.PriorMTBFHours), p.PriorFailures)
	case part.UnitHoursSeen > 0:
		prior, err = sparing.NewRate(0.5, 0) // Jeffreys: nothing but the record speaks
	default:
		line.Basis = NoRate
		return line, nil
	}
	if err != nil {
		return line, err
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
