package choice

import (
	"context"
	"fmt"
	"math"
)

// Case is one way the world may turn out, such as one date of the delivery:
// with it each option has another value.
type Case struct {
	Probability float64
	Values      [][]float64 // by item and option: ln of the probability that it suffices
}

// OddsResult is the plan of [BestOdds].
type OddsResult struct {
	Result            // of the last problem with one value an option; see Odds for what counts
	Odds    float64   // sum over cases of probability times exp(sum of values)
	ByCase  []float64 // exp(sum of values), case by case
	Ceiling float64   // no plan has better odds than this
	Rounds  int
}

// BestOdds looks for the plan of the best odds under all caps when the odds are a
// mixture over cases. The values in p.Items are not used.
//
// Given the case the items are independent and their logarithms add up; over the
// cases they are not, because a late delivery is hard on all items at once. So
// the product of each item's average is wrong, and the odds of a plan
//
//	odds = sum over cases c of P(c) exp(S(c)),   S(c) = sum over items of value(c)
//
// are no sum over items. They are maximised by turns: for weights q over the
// cases, ln odds >= sum of q(c) S(c) - sum of q(c) ln(q(c)/P(c)), with equality
// at q(c) in proportion to P(c) exp(S(c)). The bound on the right is a plain
// problem, solved as [Best] does, and no turn makes the odds worse (Neal and
// Hinton 1998). Where that ends need not be the best of all plans: Ceiling is
// what a planner could reach who knew the case beforehand, the sum of P(c) times
// the best of that case, and bounds how much better another plan could be.
func BestOdds(ctx context.Context, p Problem, cases []Case, s Settings) (OddsResult, error) {
	if err := checkCases(p, cases); err != nil {
		return OddsResult{}, err
	}
	var out OddsResult
	share := make([]float64, len(cases))
	for c := range cases {
		r, err := Best(ctx, p.mixed(cases, c, nil), s)
		if err != nil {
			return OddsResult{}, err
		}
		out.Ceiling += cases[c].Probability * math.Exp(min(0, max(r.Bound, r.Value)))
		// Each case's own plan is a start; the best of them goes on.
		if odds, byCase := p.odds(cases, r.Chosen); out.Chosen == nil || odds > out.Odds {
			out.Result, out.Odds, out.ByCase = r, odds, byCase
		}
	}
	for out.Rounds < 50 && ctx.Err() == nil {
		for c := range cases {
			share[c] = cases[c].Probability
			if out.Odds > 0 {
				share[c] *= out.ByCase[c] / out.Odds
			}
		}
		s.Start = out.Chosen
		r, err := Best(ctx, p.mixed(cases, -1, share), s)
		if err != nil {
			return out, err
		}
		out.Rounds++
		odds, byCase := p.odds(cases, r.Chosen)
		if odds <= out.Odds*(1+1e-12) {
			break
		}
		out.Result, out.Odds, out.ByCase = r, odds, byCase
	}
	out.Ceiling = max(out.Ceiling, out.Odds)
	return out, nil
}

func checkCases(p Problem, cases []Case) error {
	if len(cases) == 0 {
		return fmt.Errorf("%w: no cases", errShape)
	}
	sum := 0.0
	for c, one := range cases {
		if !(one.Probability > 0) || len(one.Values) != len(p.Items) {
			return fmt.Errorf("%w: case %d: probability %g, values for %d of %d items", errShape, c+1, one.Probability, len(one.Values), len(p.Items))
		}
		sum += one.Probability
		for i := range p.Items {
			if len(one.Values[i]) != len(p.Items[i].Options) {
				return fmt.Errorf("%w: case %d, item %d (%s): %d values for %d options", errShape, c+1, i+1, p.Items[i].Name, len(one.Values[i]), len(p.Items[i].Options))
			}
		}
	}
	if math.Abs(sum-1) > 1e-9 {
		return fmt.Errorf("%w: the probabilities of the cases sum up to %g", errShape, sum)
	}
	return nil
}

// mixed returns the problem with the values of case only, or with those of all
// cases in the given shares if only is -1.
func (p Problem) mixed(cases []Case, only int, share []float64) Problem {
	out := Problem{Caps: p.Caps, Items: make([]Item, len(p.Items))}
	for i, item := range p.Items {
		out.Items[i] = Item{Name: item.Name, Options: make([]Option, len(item.Options))}
		for j, option := range item.Options {
			value := 0.0
			for c := range cases {
				switch {
				case only == c:
					value = cases[c].Values[i][j]
				case only < 0 && share[c] > 0:
					value += share[c] * cases[c].Values[i][j]
				}
			}
			out.Items[i].Options[j] = Option{value, option.Use}
		}
	}
	return out
}

func (p Problem) odds(cases []Case, chosen []int) (odds float64, byCase []float64) {
	for _, one := range cases {
		var sum total
		for i, j := range chosen {
			sum.add(one.Values[i][j])
		}
		byCase = append(byCase, math.Exp(sum.value()))
		odds += one.Probability * byCase[len(byCase)-1]
	}
	return odds, byCase
}
