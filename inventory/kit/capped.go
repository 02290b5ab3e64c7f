package kit

import (
	"cmp"
	"context"
	"errors"
	"fmt"
	"math"
	"slices"
	"strings"

	"pulk/inventory/choice"
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

// Wish says what a planner asks of single items, beside the caps and the [Terms] of
// each. Least and Most go before those of the terms: by part number, in pieces to send.
type Wish struct {
	Least map[string]int64
	Most  map[string]int64
	// Minor names items that are desirable at most: they may run out.
	Minor map[string]bool
	// VitalOdds is what the odds that nothing vital runs out must reach; 0 asks for
	// nothing.
	VitalOdds float64
}

// terms are those of a line, with what is wished. Of a consumable what the plan sends is
// the least, which only Most takes away: who asks for at least so many does not plan away
// runs that are planned.
func (w Wish) terms(l *Line) (Terms, error) {
	t := l.Terms
	if l.Basis == Consumable {
		if t.Least = l.Send; l.Installed > 0 { // the wish is about its spares
			return t, nil
		}
		if n, ok := w.Most[l.PartNumber]; ok {
			t.Least = min(t.Least, n/t.pack()*t.pack())
		}
	}
	if n, ok := w.Least[l.PartNumber]; ok && (l.Basis != Consumable || n > t.Least) {
		t.Least = n
	}
	if n, ok := w.Most[l.PartNumber]; ok {
		t.Most = n
	}
	if w.Minor[l.PartNumber] {
		t.Class = Desirable
	}
	most := t.mostWhole()
	if t.Most == 0 && l.Basis == Consumable {
		most = mostUnits
	}
	if n, ok := w.Most[l.PartNumber]; ok && n == 0 {
		most = 0
	}
	if t.whole(t.Least) > most {
		return t, fmt.Errorf("%s: %w", l.PartNumber, t.clash())
	}
	if t.Most = most; most == 0 {
		t.Most = none
	}
	return t, nil
}

// none stands for at most no piece where 0 is no limit.
const none = -1

// Capped is the best kit under caps. Consumables are sent as planned in any case; what is
// left is shared by all that counts, so that the probability that nothing of it runs
// out before the delivery is the highest.
type Capped struct {
	Plan   *Plan // with Send, OddsSent, masses and volumes as chosen
	Caps   Caps
	Use    Caps      // of all that is sent
	Used   Caps      // of the consumables among it
	Floor  Caps      // of what is sent in any case
	Odds   float64   // that nothing that counts runs out
	ByDate []float64 // the same, by date of the delivery
	Vital  float64   // that nothing vital does
	Before float64   // the same, with nothing sent
	// Bound is what no other choice under these caps can exceed.
	Bound float64
	// BoundGrams is what no other choice that reaches the odds can go below, where
	// the least mass was asked for.
	BoundGrams float64
	Proven     bool
	Nodes      int64
	Minor      int // items that are left out of the odds, as desirable at most
	// Unscattered is how many consumables are left out of the odds, as nothing says how
	// their use scatters.
	Unscattered int
	// Unpriced holds part numbers of which no more is sent than must be, as it is not known
	// what they use of a capped resource.
	Unpriced []string
}

// Risks are the lines that count and may still run out, the likeliest first.
func (p *Plan) Risks() []*Line {
	var list []*Line
	for i := range p.Lines {
		if l := &p.Lines[i]; l.Counts() && l.Risk() > 0 {
			list = append(list, l)
		}
	}
	slices.SortStableFunc(list, func(a, b *Line) int { return cmp.Compare(b.Risk(), a.Risk()) })
	return list
}

// Risk is the probability that what is there and sent does not suffice.
func (l *Line) Risk() float64 {
	_, short := l.supply.over(l.Good + l.Send)
	return short
}

// mostPieces is the most spares of one item that are considered, and mostUnits the most
// of a consumable, in its smallest unit.
const (
	mostPieces = 10_000
	mostUnits  = 1 << 40
)

// mostSteps is in how many steps what a consumable may need is considered, where that is
// more than so many packs or pieces.
const mostSteps = 200

// OverError says that what must be sent exceeds a cap.
type OverError struct {
	Resource  Resource
	Use, Most float64
	Largest   []Share // what uses most of it, the largest first
}

// Share is what one part of a plan uses of a resource.
type Share struct {
	PartNumber string
	Use        float64
}

func (e *OverError) Error() string {
	var largest []string
	for _, s := range e.Largest {
		largest = append(largest, s.PartNumber+" "+e.Resource.In(s.Use))
	}
	return fmt.Sprintf("consumables as planned and the least of each item exceed the cap of %s: %s, and at most %s; most of it %s",
		e.Resource, e.Resource.In(e.Use), e.Resource.In(e.Most), strings.Join(largest, ", "))
}

// In is an amount of a resource with its unit, as people say it.
func (r Resource) In(amount float64) string {
	switch r {
	case Mass:
		return fmt.Sprintf("%.1f kg", amount/1000)
	case Volume:
		return fmt.Sprintf("%.0f L", amount)
	}
	return fmt.Sprintf("%.2f", amount/100)
}

// ReachError says that no choice under the caps has the odds that are asked for.
type ReachError struct {
	Odds float64 // asked for
	Most float64 // more than this cannot be had
	// Vital says that the odds are those of the vital spares alone.
	Vital bool
}

func (e *ReachError) Error() string {
	if e.Vital {
		return fmt.Sprintf("no choice under these caps was found with which nothing vital runs out with odds of %g", e.Odds)
	}
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

// Fit chooses anew what a plan sends, under caps. The plan itself stays as it is.
// An interrupted ctx gives the best choice found so far. Consumables as planned that
// exceed a cap, and wishes that do, give an *[OverError].
func (p *Plan) Fit(ctx context.Context, caps Caps, wish Wish, settings Settings) (*Capped, error) {
	m, err := p.model(caps, wish)
	if err != nil {
		return nil, err
	}
	if len(m.problem.Items) == 0 {
		return m.capped(nil), nil
	}
	result, err := m.best(ctx, settings)
	if err != nil {
		return nil, m.explain(err)
	}
	chosen := result.Chosen
	if len(m.cases) > 1 && ctx.Err() == nil {
		chosen = m.lighterOverDates(ctx, result, settings)
	}
	out := m.capped(chosen)
	out.Proven, out.Nodes, out.Bound = result.Proven, result.Nodes, min(1, result.Ceiling)
	return out, nil
}

// lighterOverDates looks for the lightest choice with odds that are equal to those of a
// result. With each date weighed by what it has in these odds, the sum of logarithms
// that a choice has misses theirs by no less than the logarithm of its own odds does
// ([choice.BestOdds]): who keeps the one within EqualOdds keeps the other.
func (m *model) lighterOverDates(ctx context.Context, result choice.OddsResult, settings choice.Settings) []int {
	if !(result.Odds > 0) {
		return result.Chosen
	}
	weighed := choice.Problem{Caps: m.problem.Caps}
	value := 0.0
	for i, item := range m.problem.Items {
		next := choice.Item{Name: item.Name}
		for j, option := range item.Options {
			option.Value = 0
			for c, one := range m.cases {
				option.Value += one.Probability * result.ByCase[c] / result.Odds * one.Values[i][j]
			}
			next.Options = append(next.Options, option)
		}
		weighed.Items = append(weighed.Items, next)
		value += next.Options[result.Chosen[i]].Value
	}
	settings.MaxNodes = tieNodes
	found := result.Result
	found.Value = value
	return choice.Lighter(ctx, weighed, found, int(Mass), EqualOdds, settings).Chosen
}

// EqualOdds is by what part odds may differ and count as equal: far less than anything
// about them is known. Of choices with equal odds the lightest is taken.
const EqualOdds = 1e-6

// tieNodes bounds the search for it.
const tieNodes = 20_000

// best looks for the best odds: one problem where the date of the delivery is known, a
// row of them where it is not.
func (m *model) best(ctx context.Context, settings Settings) (choice.OddsResult, error) {
	if len(m.cases) > 1 {
		result, err := choice.BestOdds(ctx, m.problem, m.cases, settings)
		result.Proven = err == nil && result.Proven && result.Ceiling-result.Odds < 1e-9*result.Ceiling
		return result, err
	}
	result, err := choice.Best(ctx, m.problem, settings)
	if err == nil && result.Proven {
		settings.MaxNodes = tieNodes
		result = choice.Lighter(ctx, m.problem, result, int(Mass), EqualOdds, settings)
	}
	return choice.OddsResult{Result: result, Odds: math.Exp(result.Value), Ceiling: math.Exp(result.Bound)}, err
}

// Lightest chooses anew: the least mass with which the probability that nothing that
// counts runs out reaches odds, under the other caps. Where that cannot be had
// the error is a *[ReachError]; else errors are those of [Plan.Fit]. BoundGrams of
// the answer is what no other choice can go below.
func (p *Plan) Lightest(ctx context.Context, caps Caps, wish Wish, odds float64, settings Settings) (*Capped, error) {
	m, err := p.model(caps, wish)
	if err != nil {
		return nil, err
	}
	if len(m.problem.Items) == 0 {
		return m.capped(nil), nil
	}
	if len(m.cases) > 1 {
		return m.lightestOverDates(ctx, odds, settings)
	}
	result, err := choice.Least(ctx, m.problem, int(Mass), math.Log(odds), settings)
	var none *choice.NoneError
	if errors.As(err, &none) && none.Resource < 0 && !none.Unproven {
		most, err := p.Fit(ctx, caps, wish, settings)
		if err != nil {
			return nil, err
		}
		return nil, &ReachError{Odds: odds, Most: most.Bound}
	}
	if err != nil {
		return nil, m.explain(err)
	}
	out := m.capped(result.Chosen)
	out.Proven, out.Nodes = result.Proven, result.Nodes
	out.BoundGrams = m.fixed[Mass] + result.Bound
	return out, nil
}

// lightestOverDates halves the mass in which the lightest choice lies: what has the
// odds is an answer, and below what a planner who knew the date could not do with
// there is none.
func (m *model) lightestOverDates(ctx context.Context, odds float64, settings Settings) (*Capped, error) {
	most := m.problem.Caps[Mass]
	whole, err := m.best(ctx, settings)
	if err != nil {
		return nil, m.explain(err)
	}
	if whole.Odds < odds {
		return nil, &ReachError{Odds: odds, Most: min(1, whole.Ceiling)}
	}
	found, bound := whole, 0.0
	for low, high := 0.0, found.Use[Mass]; high-low > 1 && ctx.Err() == nil; {
		m.problem.Caps[Mass] = math.Floor((low + high) / 2)
		next, err := m.best(ctx, settings)
		var none *choice.NoneError
		switch {
		case errors.As(err, &none):
			low = m.problem.Caps[Mass]
			bound = max(bound, low)
		case err != nil:
			return nil, m.explain(err)
		case next.Odds >= odds:
			found, high = next, min(next.Use[Mass], m.problem.Caps[Mass])
		default:
			low = m.problem.Caps[Mass]
			if next.Ceiling < odds {
				bound = max(bound, low)
			}
		}
	}
	m.problem.Caps[Mass] = most
	out := m.capped(found.Chosen)
	out.Nodes, out.Bound = found.Nodes, min(1, whole.Ceiling)
	out.BoundGrams = m.fixed[Mass] + min(bound+1, found.Use[Mass])
	out.Proven = found.Use[Mass] <= bound+1
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
