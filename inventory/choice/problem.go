package choice

import (
	"context"
	"errors"
	"fmt"
	"math"
)

// Option is one way to deal with an item.
type Option struct {
	Value float64   // adds up over the items; math.Inf(-1) marks what must never be taken
	Use   []float64 // of each resource, in the order of [Problem.Caps]; not negative
}

// Item is one line of the kit: exactly one of its options is taken. Options
// that belong to growing amounts are best given in that order.
type Item struct {
	Name    string // for error messages only
	Options []Option
}

// Problem is what can be chosen, and what it may use.
type Problem struct {
	Items []Item
	// Caps holds the most that may be used of each resource; math.Inf(1) means
	// no cap. Resources whose figures are whole numbers are compared exactly
	// up to 2^53.
	Caps []float64
}

// Settings are how long and how well to search. The zero value searches until
// the answer is proven.
type Settings struct {
	// Gap ends the search when value and bound are this close: as a share of the
	// value. 0 asks for proof.
	Gap float64
	// MaxNodes ends the search after about so many nodes; 0 sets no limit. Unlike
	// a deadline it gives the same answer on every machine.
	MaxNodes int64
	// Start may hold a choice to begin from: an option for each item. What does
	// not fit is passed over.
	Start []int
	// Progress, if set, is told from time to time, always from the calling
	// goroutine.
	Progress func(Progress)
}

// Progress is how far a search has come.
type Progress struct {
	Found bool    // whether there is an answer yet
	Value float64 // objective of the best so far
	Bound float64 // what no answer can better
	Nodes int64
}

// Result is an answer and what is known about it. Objective, Bound and Gap speak
// of the value for [Best], and of the use of the resource for [Least].
type Result struct {
	Chosen    []int     // the option taken, for each item
	Value     float64   // sum of the values taken
	Use       []float64 // sum of each resource
	Objective float64   // what was maximised or minimised
	Bound     float64   // no choice does better than this
	Gap       float64   // |Bound - Objective| / |Objective|; 0 when proven
	Proven    bool      // no choice is better, but for rounding of about 1e-12
	Nodes     int64     // of branch and bound
}

// NoneError says that no choice keeps to all caps (and reaches the target).
type NoneError struct {
	// Resource is the cap that even the smallest options exceed, with what they
	// use together; -1 when no single cap is to blame.
	Resource int
	Least    float64
	// Item is the name of an item that has no option that may be taken at all.
	Item     string
	TooHigh  bool    // the target is above Reach
	Reach    float64 // the most value that options which keep to each cap by themselves have
	Unproven bool    // the search was interrupted before it found any choice

	noOptionAt int // item number from 1
}

func (e *NoneError) Error() string {
	switch {
	case e.Unproven:
		return "no choice that keeps to all caps was found before the search was stopped"
	case e.Item != "":
		return fmt.Sprintf("%s: none of its options can be taken", e.Item)
	case e.TooHigh:
		return fmt.Sprintf("the target is out of reach: the most value that single caps leave is %g", e.Reach)
	case e.Resource >= 0:
		return fmt.Sprintf("cap %d is too low: even the smallest options use %g of it", e.Resource+1, e.Least)
	}
	return "no choice keeps to all caps at once"
}

// reachSlack is by how much a value may miss a target, for rounding alone: of the
// larger of 1 and the target.
const reachSlack = 1e-12

var errShape = errors.New("choice: wrong input")

func (p Problem) check() error {
	for r, limit := range p.Caps {
		if math.IsNaN(limit) {
			return fmt.Errorf("%w: cap %d is not a number", errShape, r+1)
		}
	}
	for i, item := range p.Items {
		if len(item.Options) == 0 {
			return fmt.Errorf("%w: item %d (%s) has no options", errShape, i+1, item.Name)
		}
		for j, option := range item.Options {
			if len(option.Use) != len(p.Caps) {
				return fmt.Errorf("%w: item %d (%s), option %d: %d uses for %d caps", errShape, i+1, item.Name, j+1, len(option.Use), len(p.Caps))
			}
			if math.IsNaN(option.Value) || math.IsInf(option.Value, 1) {
				return fmt.Errorf("%w: item %d (%s), option %d: value %g", errShape, i+1, item.Name, j+1, option.Value)
			}
			for r, use := range option.Use {
				if !(use >= 0) || math.IsInf(use, 1) {
					return fmt.Errorf("%w: item %d (%s), option %d: use %g of resource %d", errShape, i+1, item.Name, j+1, use, r+1)
				}
			}
		}
	}
	return nil
}

// Best returns the choice of the greatest total value that keeps to all caps.
// If there is none the error is a [*NoneError]; an interrupted search that found
// one returns it without an error, with [Result.Proven] false.
func Best(ctx context.Context, p Problem, s Settings) (Result, error) {
	if err := p.check(); err != nil {
		return Result{}, err
	}
	m := newModel(len(p.Items))
	for i, item := range p.Items {
		for j, option := range item.Options {
			if !math.IsInf(option.Value, -1) {
				m.add(i, j, option.Value)
			}
		}
	}
	for r, limit := range p.Caps {
		m.limit(r, limit, func(i, j int) float64 { return p.Items[i].Options[j].Use[r] })
	}
	found, none := m.solve(ctx, s)
	if none != nil {
		return Result{}, p.explain(none)
	}
	return p.answer(found, 1, -1), nil
}

// Least returns the choice that uses least of a resource (an index into Caps)
// among those whose total value is at least reach and that keep to all caps.
// Values may miss reach by 1e-12, for rounding alone. If there is none the error
// is a [*NoneError].
func Least(ctx context.Context, p Problem, resource int, reach float64, s Settings) (Result, error) {
	if err := p.check(); err != nil {
		return Result{}, err
	}
	if resource < 0 || resource >= len(p.Caps) || math.IsNaN(reach) {
		return Result{}, fmt.Errorf("%w: resource %d of %d, target %g", errShape, resource+1, len(p.Caps), reach)
	}
	m := newModel(len(p.Items))
	most := 0.0
	// If an item has no option that may be taken, solve says so.
	top := make([]float64, len(p.Items))
	for i, item := range p.Items {
		top[i] = math.Inf(-1)
		for j, option := range item.Options {
			if !math.IsInf(option.Value, -1) {
				m.add(i, j, -option.Use[resource])
				top[i] = max(top[i], option.Value)
			}
		}
		most += top[i]
	}
	if most < reach-reachSlack*max(1, math.Abs(reach)) && !math.IsInf(most, -1) {
		return Result{}, &NoneError{Resource: -1, TooHigh: true, Reach: most}
	}
	for r, limit := range p.Caps {
		m.limit(r, limit, func(i, j int) float64 { return p.Items[i].Options[j].Use[r] })
	}
	// What each item falls short of its best value is a use of the shortfall
	// that the target leaves.
	if !math.IsInf(reach, -1) {
		m.limit(-1, most-reach+reachSlack*max(1, math.Abs(reach)), func(i, j int) float64 { return top[i] - p.Items[i].Options[j].Value })
	}
	found, none := m.solve(ctx, s)
	if none != nil {
		return Result{}, p.explain(none)
	}
	return p.answer(found, -1, resource), nil
}

// answer turns what the search found into a result, summed anew from the
// problem.
func (p Problem) answer(found outcome, sign float64, resource int) Result {
	out := Result{Chosen: found.chosen, Use: make([]float64, len(p.Caps)), Nodes: found.nodes, Proven: found.proven}
	out.Value = p.value(found.chosen)
	for r := range out.Use {
		out.Use[r] = p.use(found.chosen, r)
	}
	out.Objective = out.Value
	if resource >= 0 {
		out.Objective = out.Use[resource]
	}
	out.Bound = out.Objective
	if !found.proven {
		out.Bound = sign * max(found.bound, sign*out.Objective)
		if out.Gap = math.Abs(out.Bound - out.Objective); out.Gap > 0 {
			out.Gap /= math.Abs(out.Objective)
		}
	}
	return out
}

func (p Problem) explain(none *NoneError) error {
	if none.noOptionAt > 0 {
		if none.Item = p.Items[none.noOptionAt-1].Name; none.Item == "" {
			none.Item = fmt.Sprintf("item %d", none.noOptionAt)
		}
	}
	return none
}

func (p Problem) value(chosen []int) float64 {
	var sum total
	for i, j := range chosen {
		sum.add(p.Items[i].Options[j].Value)
	}
	return sum.value()
}

func (p Problem) use(chosen []int, r int) float64 {
	var sum total
	for i, j := range chosen {
		sum.add(p.Items[i].Options[j].Use[r])
	}
	return sum.value()
}

// total is a compensated sum (Neumaier 1974): it depends on the order of its
// terms only in the last digit.
type total struct{ sum, lost float64 }

func (t *total) add(x float64) {
	sum := t.sum + x
	if math.Abs(t.sum) >= math.Abs(x) {
		t.lost += (t.sum - sum) + x
	} else {
		t.lost += (x - sum) + t.sum
	}
	t.sum = sum
}

func (t *total) value() float64 {
	if math.IsInf(t.sum, 0) {
		return t.sum // lost is not a number then
	}
	return t.sum + t.lost
}
