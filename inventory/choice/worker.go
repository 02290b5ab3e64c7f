package choice

import (
	"context"
	"math"
)

type worker struct {
	*relaxed
	stack   []*node
	spare   []*node
	best    float64 // the best answer this worker knows of
	columns []int32 // that answer, if it found it itself since the last round
	trial   []int32
	nodes   int64
	polish  *polisher
	seed    uint64
	free    int // items left free in a neighbourhood
}

// threshold is what a node must beat to be worth looking into.
func (w *worker) threshold() float64 {
	if math.IsInf(w.best, -1) {
		return w.best
	}
	return w.best + w.t.step()
}

func (w *worker) run(ctx context.Context, budget int64) {
	for end := w.nodes + budget; len(w.stack) > 0 && w.nodes < end; {
		if w.nodes%64 == 0 && ctx.Err() != nil {
			return
		}
		n := w.stack[len(w.stack)-1]
		w.stack = w.stack[:len(w.stack)-1]
		if n.bound > w.threshold() {
			w.nodes++
			w.visit(n)
		}
		w.spare = append(w.spare, n)
	}
}

// visit solves a node's relaxation and puts its two halves on the stack.
func (w *worker) visit(n *node) {
	end := w.relax(n, w.threshold())
	if end == hopeless {
		return
	}
	at, cut, upper := int32(-1), int32(0), false
	if end == optimal {
		w.round(n)
		w.strike(n)
		if n.bound <= w.threshold() {
			return
		}
		at, cut, upper = w.branch(n)
	}
	if at < 0 {
		at, cut = w.anyBranch(n)
		if at < 0 {
			return
		}
	}
	first, second := w.half(n, at, cut, upper), w.half(n, at, cut, !upper)
	w.push(second)
	w.push(first)
}

func (w *worker) push(n *node) {
	if n != nil {
		w.stack = append(w.stack, n)
	}
}

// round makes a choice of the relaxation: fractional items take the option of
// theirs that fits most easily.
func (w *worker) round(n *node) {
	m := w.t.rows
	copy(w.trial, n.taken)
	for s := range n.items {
		w.trial[n.items[s].item] = n.cols[n.items[s].key]
	}
	price := func(k int32) float64 {
		sum := 0.0
		for r, u := range w.t.use[int(k)*m : int(k)*m+m] {
			sum += w.lambda[r] * u
		}
		return sum
	}
	for p, b := range n.basis {
		if b.span < 0 || n.dead[b.at] || w.level[p] < 1e-7 {
			continue
		}
		item, k := n.items[b.span].item, n.cols[b.at]
		if w.level[p] > 1-1e-7 || w.keyLeft[b.span] < 1e-7 && w.trial[item] == n.cols[n.items[b.span].key] || price(k) < price(w.trial[item]) {
			w.trial[item] = k
		}
	}
	w.offer(w.trial)
}

// offer keeps a choice if it is better than what is known, and fits.
func (w *worker) offer(columns []int32) bool {
	value := w.t.value(columns)
	if value <= w.best || !w.t.fits(columns) {
		return false
	}
	w.columns = append(make([]int32, 0, len(columns)), columns...)
	w.best = value
	w.polish.begin(columns)
	w.polish.fill()
	w.polish.exchange()
	w.keep()
	return true
}

// keep takes over what the polisher found, if it is better and fits.
func (w *worker) keep() {
	if value := w.t.value(w.polish.at); value > w.best && w.t.fits(w.polish.at) {
		w.best = value
		w.columns = append(make([]int32, 0, w.t.items), w.polish.at...)
	}
}

// strike takes out what would cost more than the gap to the best answer.
func (w *worker) strike(n *node) {
	threshold := w.threshold()
	for s := range n.items {
		span := n.items[s]
		best := math.Inf(-1)
		for e := span.from; e < span.to; e++ {
			if !n.dead[e] {
				best = max(best, w.worth[e])
			}
		}
		for e := span.from; e < span.to; e++ {
			if n.bound-(best-w.worth[e]) <= threshold {
				n.dead[e] = true
			}
		}
	}
}
