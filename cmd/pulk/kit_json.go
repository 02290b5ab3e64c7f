package main

import (
	"cmp"
	"time"

	"pulk/inventory/kit"
)

// kitJSON is pulk kit plan --json.
type kitJSON struct {
	From           string         `json:"from"`
	Until          string         `json:"until"`
	Hours          float64        `json:"hours_without_delivery"`
	Confidence     float64        `json:"confidence"`
	PriorFailures  float64        `json:"prior_weight_failures"`
	Interval       float64        `json:"interval_probability"`
	MassGrams      int64          `json:"mass_grams"`
	VolumeLitres   float64        `json:"volume_litres"`
	UnknownMass    int            `json:"lines_with_unknown_mass"`
	UnknownSize    int            `json:"lines_with_unknown_size"`
	Deliveries     []deliveryJSON `json:"deliveries"`      // days on which the delivery may come
	CalibrationDue []dueJSON      `json:"calibration_due"` // instruments whose calibration ends before the latest delivery
	Lines          []kitLine      `json:"lines"`
	Chosen         *chosenJSON    `json:"chosen"` // null where there is no cap
}

// kitLine is a line of the plan; of rates only spares have any.
type kitLine struct {
	PartNumber   string   `json:"part_number"`
	Name         string   `json:"name"`
	Basis        string   `json:"basis"` // spare, consumable, no rate known
	UnitOfIssue  string   `json:"unit_of_issue"`
	Installed    int64    `json:"installed"`
	Failures     int64    `json:"failures_seen"`
	UnitHours    float64  `json:"unit_hours_seen"`
	Rate         *float64 `json:"rate_per_hour"`
	RateLow      *float64 `json:"rate_low_per_hour"`
	RateHigh     *float64 `json:"rate_high_per_hour"`
	UseRatio     *float64 `json:"use_ratio"`  // real over planned use so far; null where not known
	UseSpread    *float64 `json:"use_spread"` // standard deviation of a run's use, as a part of its mean; null for spares
	UseRuns      int      `json:"use_runs"`   // past runs that tell it
	Expected     float64  `json:"expected"`
	Sufficient   int64    `json:"sufficient"`
	There        int64    `json:"there"`
	Send         int64    `json:"send"`
	OddsNow      *float64 `json:"odds_now"` // null where not known
	OddsSent     *float64 `json:"odds_sent"`
	MassGrams    *int64   `json:"mass_grams"` // null where not known
	VolumeLitres *float64 `json:"volume_litres"`
	Class        string   `json:"class"`                  // vital, essential or desirable
	Needed       int64    `json:"units_needed"`           // of those installed; 0 for consumables
	Pack         int64    `json:"pack"`                   // pieces that go together
	Spoils       int      `json:"expires_days_too_early"` // so many days before the latest delivery, if made on the first day; 0: it lasts
	TooCold      float64  `json:"kept_too_cold_degc"`     // by so many degrees --kept-at goes below what it bears
	TooWarm      float64  `json:"kept_too_warm_degc"`     // the same, above
	Repair       int64    `json:"repair_percent"`         // of a hundred failed units, repaired on site
	RepairHours  int64    `json:"repair_hours"`           // in the mean
	PriorLike    string   `json:"prior_like"`             // the part whose rate this one has before its own record; empty where none is told
	Stress       *float64 `json:"stress"`                 // what an hour of those in service counts in the mean, by their places; null for consumables
	WearShape    *float64 `json:"wear_shape"`             // of Weibull lives; null where no wear-out is asked for
	WearLow      *float64 `json:"wear_shape_low"`
	WearHigh     *float64 `json:"wear_shape_high"`
	WearScale    *float64 `json:"wear_scale_hours"`
	TrendP       *float64 `json:"trend_p_value"`  // of a constant rate, by Laplace's test; null where failures are too few
	TrendBeta    *float64 `json:"trend_exponent"` // of the power law; above 1: failures come more and more often
}

func kitJSONOf(p *kit.Plan) kitJSON {
	out := kitJSON{p.From.Format(time.DateOnly), p.Until.Format(time.DateOnly), p.Hours, p.Target, p.PriorFailures, p.IntervalProbability, p.MassGrams, p.VolumeLitres,
		p.UnknownMass, p.UnknownSize, deliveriesOf(p), calibrationsDue(p), []kitLine{}, nil}
	for i := range p.Lines {
		line := kitLineOf(&p.Lines[i])
		line.Spoils = p.SpoilsDays(&p.Lines[i])
		line.TooCold, line.TooWarm = p.Unfit(&p.Lines[i])
		out.Lines = append(out.Lines, line)
	}
	return out
}

func kitLineOf(l *kit.Line) kitLine {
	line := kitLine{PartNumber: l.PartNumber, Name: l.Name, Basis: string(l.Basis), UnitOfIssue: l.UnitOfIssue, Installed: l.Installed, Failures: l.Failures,
		UnitHours: l.UnitHoursSeen, Expected: l.Expected, Sufficient: l.Sufficient, There: l.Good, Send: l.Send}
	line.Class, line.Pack, line.Repair, line.RepairHours = l.Terms.Class.String(), max(1, l.Terms.Pack), l.Terms.RepairPercent, l.Terms.RepairHours
	if l.Basis == kit.Spare {
		line.Stress = &l.Stress
		if l.Prior != nil {
			line.PriorLike = l.Prior.Like
		}
		line.Needed = cmp.Or(l.Terms.Needed, l.Installed)
		line.Rate, line.RateLow, line.RateHigh = &l.RatePerHour, &l.RateLowPerHour, &l.RateHighPerHour
	}
	if w := l.Wear; w != nil {
		line.WearShape, line.WearLow, line.WearHigh, line.WearScale = &w.Shape, &w.ShapeLow, &w.ShapeHigh, &w.ScaleHours
	}
	if l.OddsKnown {
		line.OddsNow, line.OddsSent = &l.OddsNow, &l.OddsSent
	}
	if l.Basis == kit.Consumable {
		line.UseSpread, line.UseRuns = &l.UseSpread, l.UseRuns
	}
	if l.Trend != nil {
		line.TrendP, line.TrendBeta = &l.Trend.PValue, &l.Trend.Beta
	}
	if l.UseRatioKnown {
		line.UseRatio = &l.UseRatio
	}
	if l.MassKnown {
		line.MassGrams = &l.SendMassGrams
	}
	if l.VolumeKnown {
		line.VolumeLitres = &l.SendLitres
	}
	return line
}

// dueJSON is an instrument whose calibration ends before the latest delivery.
type dueJSON struct {
	Serial     string `json:"serial"`
	PartNumber string `json:"part_number"`
	Name       string `json:"name"`
	Due        string `json:"due"` // YYYY-MM-DD, the last day that it holds
}

func calibrationsDue(p *kit.Plan) []dueJSON {
	list := []dueJSON{}
	for _, d := range p.Due {
		list = append(list, dueJSON{d.Serial, d.PartNumber, d.Name, d.Day})
	}
	return list
}
