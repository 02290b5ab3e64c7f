package choice

import (
	"context"
	"errors"
	"fmt"
	"math"
	"slices"
)

// CurvePoint is the best choice under one cap of a [Curve].
type CurvePoint struct {
	Cap float64
	Result
	None *NoneError // set when no choice keeps to this cap; Result is then empty
}

// Curve answers [Best] for a row of caps of one resource, smallest first, all
// other caps as they are. When the context ends it returns the points answered
// so far, the last of which may be unproven, without an error.
func Curve(ctx context.Context, p Problem, resource int, caps []float64, s Settings) ([]CurvePoint, error) {
	if err := p.check(); err != nil {
		return nil, err
	}
	if resource < 0 || resource >= len(p.Caps) {
		return nil, fmt.Errorf("%w: resource %d of %d", errShape, resource+1, len(p.Caps))
	}
	caps = slices.Sorted(slices.Values(caps))
	p.Caps = slices.Clone(p.Caps)
	points := make([]CurvePoint, 0, len(caps))
	for _, limit := range caps {
		if len(points) > 0 && ctx.Err() != nil {
			break
		}
		p.Caps[resource] = limit
		// What fits a smaller cap fits this one.
		r, err := Best(ctx, p, s)
		point := CurvePoint{Cap: limit, Result: r}
		if err != nil && !errors.As(err, &point.None) {
			return points, err
		}
		if err == nil {
			s.Start = r.Chosen
		}
		points = append(points, point)
	}
	return points, nil
}

// Point is an undominated choice: no other has as much value for less use, or
// more value for the same use.
type Point struct {
	Use    float64
	Value  float64
	Chosen []int
}

// valueTie is how close two values are, as a share of the larger of 1 and the
// value, to count as the same but for rounding.
const valueTie = 1e-13

// Frontier returns every undominated choice by use of one resource and total
// value, in rising order of both, up to the cap of the resource. Of choices
// alike one is returned. All other caps must be infinite. More than most points
// at any stage give an error, as the number can grow with the product of the
// options.
//
// Source of the method: Kettelle (1962), Operations Research 10, 249; merging
// one item at a time and dropping what is dominated.
func Frontier(p Problem, resource, most int) ([]Point, error) {
	if err := p.check(); err != nil {
		return nil, err
	}
	if resource < 0 || resource >= len(p.Caps) {
		return nil, fmt.Errorf("%w: resource %d of %d", errShape, resource+1, len(p.Caps))
	}
	for r, limit := range p.Caps {
		if r != resource && !math.IsInf(limit, 1) {
			return nil, fmt.Errorf("%w: a frontier knows one cap, and resource %d has one too", errShape, r+1)
		}
	}
	steps := make([]mergeStep, 0, len(p.Items))
	front := []state{{}}
	for i, item := range p.Items {
		next := make([]state, 0, len(front)*len(item.Options))
		for parent, s := range front {
			for j, option := range item.Options {
				if math.IsInf(option.Value, -1) {
					continue
				}
				use := s.use + option.Use[resource]
				if use <= p.Caps[resource]*(1+rowSlack) {
					next = append(next, state{use, s.value + option.Value, int32(parent), int32(j)})
				}
			}
		}
		front = undominated(next)
		if len(front) > most {
			return nil, fmt.Errorf("more than %d undominated choices after %d of %d items: give a cap, or fewer items", most, i+1, len(p.Items))
		}
		if len(front) == 0 {
			return nil, &NoneError{Resource: resource, Least: leastUse(p, resource)}
		}
		steps = append(steps, front)
	}
	points := make([]Point, len(front))
	for k := range front {
		chosen := make([]int, len(p.Items))
		at := int32(k)
		for i := len(steps) - 1; i >= 0; i-- {
			chosen[i] = int(steps[i][at].option)
			at = steps[i][at].parent
		}
		points[k] = Point{Use: p.use(chosen, resource), Value: p.value(chosen), Chosen: chosen}
	}
	return points, nil
}

// state is a choice for the first items: its last option, and where in the step
// before it the rest of it is.
type state struct {
	use, value     float64
	parent, option int32
}

type mergeStep []state

func undominated(states []state) []state {
	slices.SortStableFunc(states, func(a, b state) int {
		switch {
		case a.use != b.use:
			if a.use < b.use {
				return -1
			}
			return 1
		case a.value != b.value:
			if a.value > b.value {
				return -1
			}
			return 1
		}
		return 0
	})
	kept := states[:0]
	best := math.Inf(-1)
	for _, s := range states {
		if len(kept) == 0 || s.value > best+valueTie*max(1, math.Abs(best)) {
			best = s.value
			kept = append(kept, s)
		}
	}
	return slices.Clip(kept)
}

func leastUse(p Problem, resource int) float64 {
	var sum total
	for _, item := range p.Items {
		least := math.Inf(1)
		for _, option := range item.Options {
			least = min(least, option.Use[resource])
		}
		sum.add(least)
	}
	return sum.value()
}
