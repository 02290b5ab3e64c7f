package kit

import (
	"context"
	"errors"
	"fmt"
	"math"

	"pulk/inventory/choice"
	"pulk/inventory/sparing"
)

// Resource is what a cap is about.
type Resource int

// The resources, in the order of [Caps].
const (
	Mass   Resource = iota // grams
	Volume                 // litres
	Money                  // cents
)

func (r Resource) String() string { return [...]string{"mass", "volume", "money"}[r] }

// Caps holds the most that all that is sent may use of each [Resource];
// math.Inf(1) is no cap.
type Caps [3]float64

// NoCaps limits nothing.
func NoCaps() Caps { return Caps{math.Inf(1), math.Inf(1), math.Inf(1)} }

// Any reports whether there is a cap.
func (c Caps) Any() bool { return c != NoCaps() }

// Wish says what a planner asks of the spares, beside the caps. Both are by part
// number, in pieces to send.
type Wish struct {
	Least map[string]int64
	Most  map[string]int64
	// Minor names spares that may run out: they are left at what is there, and out
	// of the odds.
	Minor map[string]bool
}

// Capped is the best kit under caps. Consumables are sent as planned, whatever they
// take; the spares share the rest, so that the probability that none of them runs
// out before the delivery is the highest.
type Capped struct {
	Plan   *Plan // with Send, OddsSent, masses and volumes as chosen
	Caps   Caps
	Use    Caps    // of all that is sent
	Fixed  Caps    // of the consumables among it
	Odds   float64 // that no spare in the product runs out
	Before float64 // the same, with nothing sent
	// Bound is what no other choice under these caps can exceed.
	Bound float64
	// BoundGrams is what no other choice that reaches the odds can go below, where
	// the least mass was asked for.
	BoundGrams float64
	Proven     bool
	Nodes      int64
	Minor      int // spares that are left out of the odds
	// Unpriced holds part numbers that are not sent, as it is not known what they
	// use of a capped resource.
	Unpriced []string
}

// enough is the probability of running out below which one more spare is not
// considered.
const enough = 1e-9

// mostPieces is the most spares of one item that are considered.
const mostPieces = 10_000

// OverError says that what must be sent exceeds a cap.
type OverError struct {
	What      string // that must be sent
	Resource  Resource
	Use, Most float64
}

func (e *OverError) Error() string {
	unit := [...]string{"g", "L", "cents"}[e.Resource]
	return fmt.Sprintf("%s exceed the cap of %s: %g %s, and at most %g %s", e.What, e.Resource, e.Use, unit, e.Most, unit)
}

// ReachError says that no choice under the caps has the odds that are asked for.
type ReachError struct {
	Odds float64 // asked for
	Most float64 // more than this cannot be had
}

func (e *ReachError) Error() string {
	return fmt.Sprintf("odds of %g cannot be reached: at most %.4f under these caps", e.Odds, e.Most)
}

// Settings are how long and how well to search.
type Settings = choice.Settings

// IsOver reports whether an error of [Plan.Fit] or [Plan.Lightest] says that what is
// asked for does not go under the caps.
func IsOver(err error) bool {
	var over *OverError
	var reach *ReachError
	return errors.As(err, &over) || errors.As(err, &reach)
}

// Fit chooses the spares of a plan anew, under caps. The plan itself stays as it is.
// An interrupted ctx gives the best choice found so far. Consumables that exceed a
// cap, and wishes that do, give an *[OverError].
func (p *Plan) Fit(ctx context.Context, caps Caps, wish Wish, settings Settings) (*Capped, error) {
	m, err := p.model(caps, wish)
	if err != nil {
		return nil, err
	}
	if len(m.problem.Items) == 0 {
		return m.capped(nothing), nil
	}
	result, err := choice.Best(ctx, m.problem, settings)
	if err != nil {
		return nil, m.explain(err)
	}
	out := m.capped(result)
	out.Bound = min(1, math.Exp(result.Bound))
	return out, nil
}

// Lightest chooses the spares anew: the least mass with which the probability that
// none of them runs out reaches odds, under the other caps. Where that cannot be had
// the error is a *[ReachError]; else errors are those of [Plan.Fit]. BoundGrams of
// the answer is what no other choice can go below.
func (p *Plan) Lightest(ctx context.Context, caps Caps, wish Wish, odds float64, settings Settings) (*Capped, error) {
	m, err := p.model(caps, wish)
	if err != nil {
		return nil, err
	}
	if len(m.problem.Items) == 0 {
		return m.capped(nothing), nil
	}
	result, err := choice.Least(ctx, m.problem, int(Mass), math.Log(odds), settings)
	var none *choice.NoneError
	if errors.As(err, &none) && none.Resource < 0 && !none.Unproven {
		most, err := p.Fit(ctx, caps, wish, settings)
		if err != nil {
			return nil, err
		}
		return nil, &ReachError{odds, most.Bound}
	}
	if err != nil {
		return nil, m.explain(err)
	}
	out := m.capped(result)
	out.BoundGrams = m.fixed[Mass] + result.Bound
	return out, nil
}

// Curve gives the odds under a row of caps of one resource, all other caps as they
// are: each with what is chosen under it.
func (p *Plan) Curve(ctx context.Context, caps Caps, wish Wish, resource Resource, row []float64, settings Settings) ([]*Capped, error) {
	var out []*Capped
	for _, most := range row {
		caps[resource] = most
		capped, err := p.Fit(ctx, caps, wish, settings)
		switch {
		case IsOver(err):
			continue // not even what must be sent
		case err != nil:
			return nil, err
		}
		out = append(out, capped)
		if ctx.Err() != nil {
			break
		}
	}
	return out, nil
}

// model is a plan as the optimiser sees it.
type model struct {
	plan    *Plan
	caps    Caps
	fixed   Caps
	problem choice.Problem
	lines   []int // of the plan, by item of the problem
	least   []int64
	minor   int
	unknown []string
	none    float64 // log odds with nothing sent
}

func (p *Plan) model(caps Caps, wish Wish) (*model, error) {
	m := &model{plan: p, caps: caps, problem: choice.Problem{Caps: make([]float64, len(caps))}}
	for i := range p.Lines {
		if l := &p.Lines[i]; l.Basis == Consumable {
			for r, use := range l.use() {
				m.fixed[r] += use * float64(l.Send)
			}
		}
	}
	for r := range caps {
		if m.problem.Caps[r] = caps[r] - m.fixed[r]; m.problem.Caps[r] < 0 {
			return nil, &OverError{"the consumables alone", Resource(r), m.fixed[r], caps[r]}
		}
	}
	for i := range p.Lines {
		l := &p.Lines[i]
		switch {
		case l.Basis != Spare:
		case wish.Minor[l.PartNumber]:
			m.minor++
		default:
			if err := m.item(i, wish); err != nil {
				return nil, err
			}
		}
	}
	return m, nil
}

// item adds the options of one spare: to send so many pieces.
func (m *model) item(index int, wish Wish) error {
	l := &m.plan.Lines[index]
	demand, err := l.Demand(m.plan.Hours)
	if err != nil {
		return err
	}
	least, most := wish.Least[l.PartNumber], int64(mostPieces)
	if n, ok := wish.Most[l.PartNumber]; ok {
		most = n
	}
	if least > most {
		return fmt.Errorf("%s: at least %d and at most %d pieces cannot both be", l.PartNumber, least, most)
	}
	use := l.use()
	for r := range use {
		if use[r] == 0 && !math.IsInf(m.caps[r], 1) && !l.knows(Resource(r)) {
			m.unknown = append(m.unknown, l.PartNumber)
			most = least
			break
		}
	}
	m.none += logOdds(demand, l.Good)
	item := choice.Item{Name: l.PartNumber}
	for n := least; n <= most; n++ {
		option := choice.Option{Value: logOdds(demand, l.Good+n), Use: make([]float64, len(use))}
		for r := range use {
			option.Use[r] = use[r] * float64(n)
		}
		item.Options = append(item.Options, option)
		if demand.Survival(l.Good+n) < enough {
			break
		}
	}
	m.problem.Items = append(m.problem.Items, item)
	m.lines, m.least = append(m.lines, index), append(m.least, least)
	return nil
}

// logOdds is the logarithm of the probability that a stock suffices, without loss
// where it is close to 1.
func logOdds(demand sparing.Demand, stock int64) float64 {
	if short := demand.Survival(stock); short < 0.5 {
		return math.Log1p(-short)
	}
	return math.Log(demand.CDF(stock))
}

// Demand is how many pieces of a spare will be asked for in so many hours.
func (l *Line) Demand(hours float64) (sparing.Demand, error) {
	rate, err := l.prior.After(l.Failures, l.UnitHoursSeen)
	if err != nil {
		return nil, err
	}
	return rate.Demand(float64(l.Installed) * hours)
}

// use is what one piece uses of each resource; 0 where it is not known.
func (l *Line) use() Caps {
	return Caps{float64(l.MassGrams), float64(l.LengthMM) * float64(l.WidthMM) * float64(l.HeightMM) / 1e6, float64(l.PriceCents)}
}

func (l *Line) knows(r Resource) bool { return l.use()[r] > 0 }

// capped makes the plan that a choice stands for.
func (m *model) capped(result choice.Result) *Capped {
	plan := &Plan{Request: m.plan.Request, Hours: m.plan.Hours}
	lines := append([]Line(nil), m.plan.Lines...)
	for i := range lines {
		if l := &lines[i]; l.Basis == Spare {
			l.send(0, l.OddsNow)
		}
	}
	for i, option := range result.Chosen {
		lines[m.lines[i]].send(m.least[i]+int64(option), math.Exp(m.problem.Items[i].Options[option].Value))
	}
	out := &Capped{Plan: plan, Caps: m.caps, Fixed: m.fixed, Use: m.fixed, Odds: math.Exp(result.Value), Before: math.Exp(m.none),
		Bound: 1, Proven: result.Proven, Nodes: result.Nodes, Minor: m.minor, Unpriced: m.unknown}
	for r, use := range result.Use {
		out.Use[r] += use
	}
	for _, l := range lines {
		plan.add(l)
	}
	return out
}

func (l *Line) send(n int64, odds float64) {
	use := l.use()
	l.Send, l.OddsSent, l.Sufficient = n, odds, l.Good+n
	l.SendMassGrams, l.MassKnown = l.MassGrams*n, l.MassGrams > 0
	l.SendLitres, l.VolumeKnown = use[Volume]*float64(n), use[Volume] > 0
}

// nothing is the answer where there is nothing to choose.
var nothing = choice.Result{Proven: true}

// explain says which cap what must be sent exceeds.
func (m *model) explain(err error) error {
	var none *choice.NoneError
	if errors.As(err, &none) && none.Resource >= 0 {
		r := Resource(none.Resource)
		return &OverError{"consumables and the least of each spare", r, none.Least + m.fixed[r], m.caps[r]}
	}
	return err
}
