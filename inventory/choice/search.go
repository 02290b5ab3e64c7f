package choice

import (
	"context"
	"math"
	"slices"
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

// Work beside the plain search, in nodes. Settled by trial on the published 10 x
// 100 knapsacks, stopped after 40,000 nodes.
const (
	hardAfter = 1000  // nodes of the whole search before anything else is tried
	coreFirst = 4000  // nodes that cores get in any case
	coreShare = 0.25  // of all nodes
	coreFrom  = 20    // columns of the first core
	coreNodes = 20000 // of one core
	nearShare = 0.4   // of all nodes
	nearNodes = 3000  // of one neighbourhood
	nearItems = 20    // free at first, beside one for each row
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

// step is how much better than another one an answer is at least.
func (t *table) step() float64 {
	if t.grain > 0 {
		return t.grain * (1 - 1e-6)
	}
	return 4 * t.epsilon
}

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

// cores looks for better answers where they mostly are: among the options that
// the relaxation nearly takes (Balas and Zemel 1980; Puchinger, Raidl and
// Pferschy 2010). Each core is larger than the one before; cores get a share of
// all nodes.
func (q *search) cores(ctx context.Context) {
	for q.core >= 0 && float64(q.spent-q.near) < coreShare*float64(q.nodes())+coreFirst && ctx.Err() == nil {
		kept := make([][]*node, len(q.all))
		for i, w := range q.all {
			kept[i], w.stack = w.stack, nil
		}
		before := q.nodes()
		if q.core = q.core*5/4 + 1; q.core < coreFrom {
			q.core = coreFrom
		}
		if n := q.all[0].coreNode(q.t.root(), q.core); n != nil {
			q.all[0].push(n)
		} else {
			q.core = -1
		}
		for round := roundFrom; ctx.Err() == nil && q.nodes()-before < coreNodes && q.bound() > q.best; round = min(2*round, roundTo/4) {
			q.round(ctx, round)
			spread(q.all)
		}
		q.spent += q.nodes() - before
		for i, w := range q.all {
			w.spare = append(w.spare, w.stack...)
			w.stack = kept[i]
		}
	}
}

// neighbours looks for better answers near the best one: a few items are free,
// drawn from those that may still change, and the rest stays (Danna, Rothberg and
// Le Pape 2005, without their choice of items: measured, it found less here).
func (q *search) neighbours(ctx context.Context) {
	if q.columns == nil || q.core < 0 {
		return
	}
	if q.open == nil {
		q.open = q.all[0].changeable(q.t.root())
	}
	for float64(q.near) < nearShare*float64(q.nodes()) && len(q.open) > 2 && ctx.Err() == nil {
		before := q.nodes()
		var group sync.WaitGroup
		for _, w := range q.all {
			group.Go(func() {
				kept := w.stack
				w.stack = nil
				w.push(w.neighbour(q.columns, q.open))
				w.run(ctx, nearNodes)
				if len(w.stack) == 0 {
					w.free++
				} else if w.free > 4 {
					w.free--
				}
				w.spare = append(w.spare, w.stack...)
				w.stack = kept
			})
		}
		group.Wait()
		q.share()
		q.near += max(1, q.nodes()-before)
		q.spent += q.nodes() - before
	}
}

// changeable returns the items that have other options left.
func (w *worker) changeable(root *node) []int32 {
	if w.relax(root, w.threshold()) != optimal {
		return nil
	}
	w.strike(root)
	var order []int32
	for _, s := range root.items {
		alive := 0
		for e := s.from; e < s.to; e++ {
			if !root.dead[e] {
				alive++
			}
		}
		if alive > 1 {
			order = append(order, s.item)
		}
	}
	return order
}

// neighbour returns a node in which a few items are free and all others settled
// as in columns.
func (w *worker) neighbour(columns, order []int32) *node {
	free := make([]bool, w.t.items)
	for count := min(w.free, len(order)); count > 0; {
		if i := order[int(w.uniform()*float64(len(order)))]; !free[i] {
			free[i] = true
			count--
		}
	}
	n := w.t.root()
	for s, span := range n.items {
		w.basics[s] = 0
		if free[span.item] {
			continue
		}
		for e := span.from; e < span.to; e++ {
			n.dead[e] = n.cols[e] != columns[span.item]
		}
	}
	return w.half(n, -1, 0, false)
}

// uniform returns the next of a worker's numbers from 0 to below 1 (splitmix64).
// They come from a seed of its own, so that a search goes the same way each time.
func (w *worker) uniform() float64 {
	w.seed += 0x9e3779b97f4a7c15
	z := w.seed
	z = (z ^ z>>30) * 0xbf58476d1ce4e5b9
	z = (z ^ z>>27) * 0x94d049bb133111eb
	return float64((z^z>>31)>>11) / (1 << 53)
}

// coreNode returns the root with only so many columns left beside the best of
// each item: those of the least reduced cost. It returns nil when no column that
// could better the best answer is left out.
func (w *worker) coreNode(root *node, columns int) *node {
	if w.relax(root, w.threshold()) != optimal {
		return nil
	}
	w.strike(root)
	var costs []float64
	cost := func(s span, e int32) float64 { return w.worth[s.key] - w.worth[e] }
	for _, s := range root.items {
		for e := s.from; e < s.to; e++ {
			if e != s.key && !root.dead[e] {
				costs = append(costs, cost(s, e))
			}
		}
	}
	if len(costs) <= columns {
		return nil
	}
	slices.Sort(costs)
	for _, s := range root.items {
		for e := s.from; e < s.to; e++ {
			if e != s.key && cost(s, e) > costs[columns] {
				root.dead[e] = true
			}
		}
	}
	return w.half(root, -1, 0, false)
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

// find returns the columns of a choice of options, or nil if it is none or does
// not fit.
func (t *table) find(options []int) []int32 {
	if len(options) != t.items {
		return nil
	}
	columns := make([]int32, t.items)
	for i, want := range options {
		columns[i] = -1
		for k := t.first[i]; k < t.first[i+1]; k++ {
			if int(t.option[k]) == want {
				columns[i] = k
			}
		}
		if columns[i] < 0 {
			return nil
		}
	}
	if !t.fits(columns) {
		return nil
	}
	return columns
}

func (t *table) root() *node {
	n := &node{bound: math.Inf(1), room: make([]float64, t.rows), taken: make([]int32, t.items), basis: make([]place, t.rows)}
	for r := range n.room {
		n.room[r] = 1
		n.basis[r] = place{-1, int32(r)}
	}
	for i := range t.items {
		n.taken[i] = -1
		from := int32(len(n.cols))
		for k := t.first[i]; k < t.first[i+1]; k++ {
			n.cols = append(n.cols, k)
			n.dead = append(n.dead, false)
		}
		n.items = append(n.items, span{int32(i), from, int32(len(n.cols)), from})
	}
	return n
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

// branch picks an item that the relaxation takes in parts, and where to cut its
// options in two.
func (w *worker) branch(n *node) (at, cut int32, upper bool) {
	at = -1
	best := -1.0
	for p, b := range n.basis {
		if b.span < 0 || w.level[p] < 1e-7 {
			continue
		}
		span := n.items[b.span]
		mean, low := 0.0, int32(math.MaxInt32)
		share := func(e int32, level float64) {
			if level > 1e-7 {
				mean += level * float64(e)
				low = min(low, e)
			}
		}
		share(span.key, w.keyLeft[b.span])
		for q, c := range n.basis {
			if c.span == b.span {
				share(c.at, w.level[q])
			}
		}
		edge := max(low, int32(math.Floor(mean+1e-7))) + 1
		below := 0.0
		count := func(e int32, level float64) {
			if e < edge {
				below += level
			}
		}
		count(span.key, w.keyLeft[b.span])
		for q, c := range n.basis {
			if c.span == b.span {
				count(c.at, w.level[q])
			}
		}
		// What rounding may cost: the part to be given up, times how much the
		// options differ. Whole crates come before single pieces.
		spread := 0.0
		for q, c := range n.basis {
			if c.span == b.span && w.level[q] > 1e-7 {
				spread = max(spread, math.Abs(w.t.gain[n.cols[c.at]]-w.t.gain[n.cols[span.key]]))
			}
		}
		if score := min(below, 1-below) * spread; min(below, 1-below) > 1e-7 && score > best && w.splits(n, span, edge) {
			best, at, cut, upper = score, b.span, edge, below < 0.5
		}
	}
	return at, cut, upper
}

// splits reports whether columns are left on both sides of a cut.
func (w *worker) splits(n *node, s span, cut int32) bool {
	below, above := false, false
	for e := s.from; e < s.to; e++ {
		below = below || e < cut && !n.dead[e]
		above = above || e >= cut && !n.dead[e]
	}
	return below && above
}

// anyBranch halves the first item that has two options left; -1 if none has.
func (w *worker) anyBranch(n *node) (at, cut int32) {
	for s := range n.items {
		alive := int32(-1)
		for e := n.items[s].from; e < n.items[s].to; e++ {
			if n.dead[e] {
				continue
			}
			if alive >= 0 {
				return int32(s), e
			}
			alive = e
		}
	}
	// Everything is settled: this is a choice to judge, unless it was the
	// relaxation's own.
	copy(w.trial, n.taken)
	for _, s := range n.items {
		for e := s.from; e < s.to; e++ {
			if !n.dead[e] {
				w.trial[s.item] = n.cols[e]
			}
		}
	}
	w.offer(w.trial)
	return -1, 0
}

// half copies a node with one side of an item's columns struck out, and settles
// items with one option left. It returns nil if an item has none. Of items alike
// an earlier one never takes an earlier column, as a change of places makes no
// other choice: what holds for one so holds for those before or after it.
func (w *worker) half(n *node, at, cut int32, upper bool) *node {
	m := w.t.rows
	var h *node
	if last := len(w.spare) - 1; last >= 0 {
		h = w.spare[last]
		w.spare = w.spare[:last]
	} else {
		h = &node{}
	}
	h.bound, h.fixed = n.bound, n.fixed
	h.room = append(h.room[:0], n.room...)
	h.taken = append(h.taken[:0], n.taken...)
	h.basis = append(h.basis[:0], n.basis...)
	h.items, h.cols, h.dead = h.items[:0], h.cols[:0], h.dead[:0]
	kind, edge := int32(-1), int32(0)
	if at >= 0 {
		item := n.items[at].item
		kind, edge = w.t.kind[item], n.cols[cut]-w.t.first[item]
	}
	for s, old := range n.items {
		cuts := w.t.kind[old.item] == kind && (int32(s) == at || (int32(s) < at) == upper)
		gone := func(e int32) bool {
			return n.dead[e] || cuts && (n.cols[e]-w.t.first[old.item] >= edge) != upper
		}
		alive, one := 0, int32(-1)
		for e := old.from; e < old.to; e++ {
			if !gone(e) {
				alive, one = alive+1, e
			}
		}
		if alive == 0 {
			w.spare = append(w.spare, h)
			return nil
		}
		if alive == 1 && w.basics[s] == 0 {
			k := int(n.cols[one])
			h.taken[old.item] = int32(k)
			h.fixed += w.t.gain[k]
			for r, u := range w.t.use[k*m : k*m+m] {
				h.room[r] -= u
			}
			continue
		}
		fresh := span{old.item, int32(len(h.cols)), 0, -1}
		for e := old.from; e < old.to; e++ {
			inBasis := w.basics[s] > 0 && (e == old.key || n.basic(int32(s), e))
			if gone(e) && !inBasis {
				continue
			}
			if e == old.key {
				fresh.key = int32(len(h.cols))
			}
			if inBasis {
				for p, b := range n.basis {
					if b.span == int32(s) && b.at == e {
						h.basis[p] = place{int32(len(h.items)), int32(len(h.cols))}
					}
				}
			}
			h.cols = append(h.cols, n.cols[e])
			h.dead = append(h.dead, gone(e))
		}
		if fresh.to = int32(len(h.cols)); fresh.key < 0 {
			fresh.key = fresh.from
		}
		h.items = append(h.items, fresh)
	}
	return h
}
