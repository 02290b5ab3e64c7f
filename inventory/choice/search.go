package choice

import (
	"context"
	"math"
	"sync"
)

// outcome is what a search found.
type outcome struct {
	chosen []int
	value  float64 // sum of gains
	bound  float64
	proven bool
	nodes  int64
}

// The search runs in rounds. In each, every worker goes depth first through its
// own stack for a set number of nodes; between rounds they share what they found
// and their work. So the answer does not depend on the number of processors or
// on which is faster.
const (
	workers   = 4
	roundFrom = 64
	roundTo   = 4096
)

func (m *model) solve(ctx context.Context, s Settings) (outcome, *NoneError) {
	t, none := m.reduce()
	if none != nil {
		return outcome{}, none
	}
	all := make([]*worker, workers)
	for i := range all {
		all[i] = &worker{relaxed: newRelaxed(t), best: math.Inf(-1), trial: make([]int32, t.items), polish: newPolisher(t), seed: uint64(i) << 32, free: nearItems + t.rows}
	}
	q := &search{t: t, all: all, best: math.Inf(-1)}
	if start := t.find(s.Start); start != nil {
		all[0].offer(start)
	}
	all[0].push(t.root())
	var out outcome
	for round := roundFrom; ; round = min(2*round, roundTo) {
		q.round(ctx, round)
		out.bound = q.bound()
		if out.proven = out.bound == q.best; out.proven {
			break
		}
		if s.Progress != nil {
			s.Progress(Progress{Found: q.columns != nil, Value: q.best, Bound: out.bound, Nodes: q.nodes()})
		}
		if ctx.Err() != nil || s.MaxNodes > 0 && q.nodes() >= s.MaxNodes || out.bound-q.best <= s.Gap*math.Abs(q.best) {
			break
		}
		if q.core > 0 || q.nodes() > hardAfter {
			q.cores(ctx)
			q.neighbours(ctx)
		}
		spread(all)
	}
	out.nodes = q.nodes()
	if q.columns == nil {
		return out, &NoneError{Resource: -1, Unproven: !out.proven}
	}
	out.value = q.best
	out.chosen = make([]int, t.items)
	for i, k := range q.columns {
		out.chosen[i] = int(t.option[k])
	}
	return out, nil
}

// search is the workers and what they know together.
type search struct {
	t       *table
	all     []*worker
	best    float64
	columns []int32
	core    int     // columns left free in the last core; -1 when there are no more to try
	spent   int64   // nodes in cores and neighbourhoods
	near    int64   // nodes in neighbourhoods
	open    []int32 // items that may still change
}

// round lets every worker with a stack visit up to budget nodes, and shares the
// best answer.
func (q *search) round(ctx context.Context, budget int) {
	var group sync.WaitGroup
	for _, w := range q.all {
		if len(w.stack) > 0 {
			group.Go(func() { w.run(ctx, int64(budget)) })
		}
	}
	group.Wait()
	q.share()
}

// share tells all workers the best answer that any has found.
func (q *search) share() {
	for _, w := range q.all {
		if w.columns != nil && w.best > q.best {
			q.best, q.columns = w.best, w.columns
		}
	}
	for _, w := range q.all {
		w.best, w.columns = q.best, nil
	}
}

// bound returns what is proven: the highest bound left on the stacks, or the
// best answer if none is above it.
func (q *search) bound() float64 {
	bound := q.best
	for _, w := range q.all {
		for _, n := range w.stack {
			if n.bound > q.best+q.t.step() {
				bound = max(bound, n.bound)
			}
		}
	}
	return bound
}

func (q *search) nodes() int64 {
	sum := int64(0)
	for _, w := range q.all {
		sum += w.nodes
	}
	return sum
}

// spread gives workers without work the older half of the longest stack.
func spread(all []*worker) {
	for _, w := range all {
		if len(w.stack) > 0 {
			continue
		}
		from := w
		for _, other := range all {
			if len(other.stack) > len(from.stack) {
				from = other
			}
		}
		half := len(from.stack) / 2
		w.stack = append(w.stack, from.stack[:half]...)
		from.stack = append(from.stack[:0], from.stack[half:]...)
	}
}
