// Package kit works out what to carry for the time until the next delivery: spares
// for units that may fail, and consumables for the runs that are planned.
//
// It is arithmetic only; package sparing holds the formulas. It assumes constant
// failure rates, no wear-out, and units in service all the time. What a planner says of
// single items, such as how many units must work or what can be repaired on site, are
// [Terms].
// A plan is an aid: who answers for the season decides.
package kit

import (
	"fmt"
	"math"
	"time"

	"pulk/inventory/sparing"
)

// Request says what the kit is to reach.
type Request struct {
	From  time.Time // when the time without delivery begins
	Until time.Time // the next delivery
	// Delays are how much later than Until the delivery may come, the shortest first.
	Delays []Delay
	// Kept is how cold and how warm it gets where things are kept; nil ends are not known.
	Kept Range
	// Target is the probability, for each item by itself, that its stock suffices.
	Target float64
	// UseTarget is the probability, for each consumable by itself, that what is sent
	// suffices; 0 sends what runs use in the mean.
	UseTarget float64
	// PriorFailures is the weight of a datasheet's mean time between failures: as
	// if that many failures had been seen.
	PriorFailures float64
	// IntervalProbability is that of the credible interval shown for a rate.
	IntervalProbability float64
}

// Part is what is known of one item.
type Part struct {
	PartNumber     string
	Name           string
	UnitOfIssue    string
	Serialised     bool
	MassGrams      int64 // 0: not known
	LengthMM       int64
	WidthMM        int64
	HeightMM       int64
	PriorMTBFHours int64 // 0: none
	PriceCents     int64 // 0: not known
	// Prior, if it is set, goes before PriorMTBFHours.
	Prior *Prior

	Installed     int64   // units in service that can be reached
	Failures      int64   // seen so far
	UnitHoursSeen float64 // hours of service seen so far, summed over units, by the stress of their places
	// Stress is what an hour of the installed units counts in the mean, by the stress of
	// their places; 0 stands for 1. Rates are for a stress of 1.
	Stress float64
	// FailureHours are the hours of service, summed over units, until each failure.
	FailureHours []float64
	// Wears asks for lives that follow a Weibull distribution, fitted to Lives: of all
	// pieces so far. AgesHours is how long each of the installed has run.
	Wears     bool
	Lives     []sparing.Life
	AgesHours []float64
	Good      int64 // in place and fit for use until the next delivery
	// ShelfLifeDays is how long a piece lasts from when it is made; 0: not known, or for
	// ever.
	ShelfLifeDays int64
	Uses          []sparing.Use
	Experience    sparing.Experience
	PastRuns      []sparing.RunUse // of which Experience is the sum

	Terms Terms // what the planner says
}

// Basis says where a line's need comes from.
type Basis string

// The bases of a line.
const (
	Spare      Basis = "spare"
	Consumable Basis = "consumable"
	NoRate     Basis = "no rate known" // in service, but neither prior nor record says how often it fails
)

// Line is one item of the plan. For consumables the fields of rates are zero.
type Line struct {
	Part
	Basis           Basis
	RatePerHour     float64 // mean failures per unit-hour
	RateLowPerHour  float64 // ends of the credible interval
	RateHighPerHour float64
	Expected        float64 // pieces needed, in the mean
	Sufficient      int64   // pieces that reach the target
	Send            int64   // Sufficient less what is there
	OddsNow         float64 // probability that what is there suffices
	OddsSent        float64
	UseRatio        float64 // real over planned use so far; 1 where not known
	UseRatioKnown   bool
	UseSpread       float64 // standard deviation of a run's use, as a part of its mean
	UseRuns         int     // past runs that tell it
	// OddsKnown reports whether the odds are worth telling: of a consumable where some
	// runs are on record, or a reserve is asked for, so that the assumed spread counts.
	OddsKnown     bool
	SendMassGrams int64 // of what is to be sent
	SendLitres    float64
	MassKnown     bool
	VolumeKnown   bool

	// Trend is what the failures seen say of a constant rate; nil where they are too few.
	Trend *sparing.Trend

	// Wear is what is fitted to a part that wears out; else nil.
	Wear *sparing.Weibull

	rate   sparing.Rate      // of a spare, after the record
	demand sparing.UseDemand // of a consumable
	supply *supply           // of both
}

// Counts reports whether a line is in the odds that nothing runs out: all but what is
// desirable, what has no rate, and consumables of which nothing says how they scatter.
func (l *Line) Counts() bool {
	return l.Basis != NoRate && l.OddsKnown && l.Terms.Class != Desirable
}

// Plan is a kit list.
type Plan struct {
	Request
	Hours        float64 // until the next delivery, as planned
	Dates        []Dated // when it may come
	Lines        []Line
	MassGrams    int64
	VolumeLitres float64
	UnknownMass  int // lines with something to send whose mass is not known
	UnknownSize  int
	// Due are instruments whose calibration ends before the latest delivery; who gathers
	// the parts knows them.
	Due []Due
}

// Due is an instrument whose calibration ends while nothing can be sent.
type Due struct {
	Serial, PartNumber, Name string
	Day                      string // YYYY-MM-DD, the last day that it holds
}

// SpoilsDays is how many days before the latest delivery a piece expires that was made
// on the first day; 0 where it lasts.
func (p *Plan) SpoilsDays(l *Line) int {
	if l.ShelfLifeDays == 0 || l.Send == 0 {
		return 0
	}
	return max(0, int(p.Latest().Sub(p.From.AddDate(0, 0, int(l.ShelfLifeDays))).Hours()/24))
}

// Unfit says by how many degrees the place goes below and above what a line bears,
// where something of it is there or sent.
func (p *Plan) Unfit(l *Line) (below, above float64) {
	if p.Kept.Low == nil || p.Kept.High == nil || l.Send+l.Good == 0 {
		return 0, 0
	}
	return l.Terms.Storage.Breach(*p.Kept.Low, *p.Kept.High)
}

// Make works out the plan. Items without any need are left out.
func Make(request Request, parts []Part) (*Plan, error) {
	hours := request.Until.Sub(request.From).Hours()
	switch {
	case hours <= 0:
		return nil, fmt.Errorf("the next delivery, %s, is not after %s", request.Until.Format(time.DateOnly), request.From.Format(time.DateOnly))
	case !(request.Target > 0 && request.Target < 1):
		return nil, fmt.Errorf("a confidence of %v is not between 0 and 1", request.Target)
	case !(request.UseTarget >= 0 && request.UseTarget < 1):
		return nil, fmt.Errorf("a probability of %v for consumables is not between 0 and 1", request.UseTarget)
	case !(request.PriorFailures > 0):
		return nil, fmt.Errorf("a prior weight of %v is not above 0", request.PriorFailures)
	}
	dates, err := request.Dates()
	if err != nil {
		return nil, err
	}
	plan := &Plan{Request: request, Hours: hours, Dates: dates}
	for _, part := range parts {
		lines, err := plan.lines(part)
		if err != nil {
			return nil, fmt.Errorf("%s: %w", part.PartNumber, err)
		}
		for _, line := range lines {
			plan.add(line)
		}
	}
	return plan, nil
}

func (p *Plan) add(line Line) {
	p.Lines = append(p.Lines, line)
	p.MassGrams += line.SendMassGrams
	p.VolumeLitres += line.SendLitres
	if line.Send > 0 && !line.MassKnown {
		p.UnknownMass++
	}
	if line.Send > 0 && !line.VolumeKnown {
		p.UnknownSize++
	}
}

func (p *Plan) lines(part Part) ([]Line, error) {
	var lines []Line
	if err := part.Terms.check(part.Installed); err != nil {
		return nil, err
	}
	if part.Installed > 0 {
		line, err := p.spare(part)
		if err != nil {
			return nil, err
		}
		if len(part.Uses) > 0 { // what spares take is not there to be used up, nor the other way
			line.Good = min(part.Good, line.Sufficient)
			line.OddsNow, _ = line.supply.over(line.Good)
			line.send(line.Send)
			part.Good -= line.Good
		}
		lines = append(lines, line)
	}
	if len(part.Uses) > 0 {
		line, err := p.consumable(part)
		if err != nil {
			return nil, err
		}
		lines = append(lines, line)
	}
	return lines, nil
}

// fewRuns is from how many runs on record the odds of a consumable are told: below it
// they are hardly more than the assumed spread.
const fewRuns = 3

func (p *Plan) consumable(part Part) (Line, error) {
	line := Line{Part: part, Basis: Consumable}
	demand, err := sparing.NewUseDemand(part.Uses, part.PastRuns)
	if err != nil {
		return line, err
	}
	line.demand, line.UseSpread, line.UseRuns = demand, demand.Spread, demand.Runs
	line.OddsKnown = demand.Runs >= fewRuns || p.UseTarget > 0
	line.supply = always(demand, p.Dates)
	line.OddsNow, _ = line.supply.over(part.Good)
	answer, err := sparing.NeedConsumable(sparing.ConsumableLine{Uses: part.Uses, Experience: part.Experience, GoodStock: part.Good, Piece: part.piece()})
	if err != nil {
		return line, err
	}
	line.Expected, line.Sufficient = float64(answer.Planned)*answer.UseRatio, answer.Needed
	line.UseRatio, line.UseRatioKnown = answer.UseRatio, answer.UseRatioKnown
	if p.UseTarget > 0 {
		if line.Sufficient, err = sparing.SmallestStock(demand, p.UseTarget); err != nil {
			return line, err
		}
	}
	if part.Installed > 0 { // what is asked of the item is asked of its spares
		line.Terms.Least, line.Terms.Most = 0, 0
	}
	terms := line.Terms
	send := terms.whole(max(terms.Least, line.Sufficient-part.Good))
	if terms.Most > 0 {
		send = min(send, terms.mostWhole())
	}
	line.send(send)
	return line, nil
}

// send says how many pieces go, and what follows from it.
func (l *Line) send(n int64) {
	use := l.use(n)
	l.Send, l.SendMassGrams, l.SendLitres = n, int64(math.Round(use[Mass])), use[Volume]
	l.MassKnown, l.VolumeKnown = l.knows(Mass), l.knows(Volume)
	if l.supply != nil {
		l.OddsSent, _ = l.supply.over(l.Good + n)
	}
}

func (p *Part) piece() sparing.Piece {
	return sparing.Piece{MassGrams: float64(p.MassGrams), LengthMillimetres: float64(p.LengthMM), WidthMillimetres: float64(p.WidthMM), HeightMillimetres: float64(p.HeightMM)}
}

// FailuresKnown is from how many failures the rate of a spare is known, the prior's
// weight among them.
func (l *Line) FailuresKnown() float64 { return l.rate.Shape() }

// Odds are the probabilities that nothing runs out that counts: with nothing sent, and
// with what the plan sends.
func (p *Plan) Odds() (now, sent float64) {
	for date, d := range p.Dates {
		before, after := 0.0, 0.0 // logarithms
		for i := range p.Lines {
			if l := &p.Lines[i]; l.Counts() {
				before += l.supply.logOdds(date, l.Good)
				after += l.supply.logOdds(date, l.Good+l.Send)
			}
		}
		now += d.Probability * math.Exp(before)
		sent += d.Probability * math.Exp(after)
	}
	return now, sent
}
