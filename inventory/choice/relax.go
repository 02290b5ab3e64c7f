package choice

import "math"

// node is a part of the search: a choice among the options that are left.
// Items with one option left are folded into fixed and room.
type node struct {
	bound float64   // nothing below this node gains more
	fixed float64   // gain of what is settled
	room  []float64 // what is left of each row for what is not
	taken []int32   // per item of the table: the settled column, or -1
	items []span
	cols  []int32 // columns left, item by item
	dead  []bool  // per entry of cols: struck out, but still in the basis
	basis []place // one a row
}

// span is an item that is not settled: cols[from:to], and its key (see relax).
type span struct{ item, from, to, key int32 }

// place is a basic variable: column cols[at] of items[span], or, if span is -1,
// the slack of row at.
type place struct{ span, at int32 }

// Tolerances of the simplex. Rows are scaled to 1, so they are relative to caps.
const (
	tolerance  = 1e-9
	pivotLeast = 1e-10
)

// relaxed is a worker's room for solving relaxations.
type relaxed struct {
	t       *table
	matrix  []float64 // rows × 2 rows
	inverse []float64 // rows × rows
	lambda  []float64
	level   []float64 // of the basics
	keyLeft []float64 // per span: what is left for its key
	basics  []int32   // per span: how many basics it has
	worth   []float64 // per entry of cols: gain less the price of what it uses
	alpha   []float64 // per entry of cols: how it moves the basic that leaves
	steps   []step    // per span
}

func newRelaxed(t *table) *relaxed {
	m := t.rows
	return &relaxed{
		t: t, matrix: make([]float64, 2*m*m), inverse: make([]float64, m*m), lambda: make([]float64, m), level: make([]float64, m),
		keyLeft: make([]float64, t.items), basics: make([]int32, t.items), worth: make([]float64, len(t.option)),
		alpha: make([]float64, len(t.option)), steps: make([]step, t.items),
	}
}

type ending int

const (
	hopeless ending = iota // nothing here beats the threshold
	optimal
	unsolved // the simplex gave up; the bound holds all the same
)

// relax solves the linear relaxation of a node by the dual simplex, from the
// node's basis. Each item has one key column whose level is 1 less those of the
// item's basic columns; the basis holds one more column or slack a row. It
// lowers the node's bound to what it proves, and ends early once that is no more
// than threshold. lambda, worth, level and keyLeft are left for the caller.
func (w *relaxed) relax(n *node, threshold float64) ending {
	m := w.t.rows
	for range 200 + 20*m + 2*len(n.cols) {
		w.factorAnyhow(n)
		w.price(n)
		if n.bound <= threshold {
			return hopeless
		}
		w.levels(n)
		leave, up := w.leaving(n)
		if leave < 0 {
			if w.swapKey(n) {
				continue
			}
			return optimal
		}
		enter, ok := w.entering(n, leave, up)
		if !ok {
			n.bound = math.Inf(-1)
			return hopeless
		}
		n.basis[leave] = enter
	}
	w.factorAnyhow(n)
	return unsolved
}

// factorAnyhow starts over from the slacks if the basis has become singular.
func (w *relaxed) factorAnyhow(n *node) {
	if w.factor(n) {
		return
	}
	for r := range n.basis {
		n.basis[r] = place{-1, int32(r)}
	}
	w.factor(n)
}

// factor inverts the basis and works out the multipliers. It reports whether
// the basis is regular.
func (w *relaxed) factor(n *node) bool {
	w.fill(n)
	if !w.invert() {
		return false
	}
	w.weigh(n)
	return true
}

// fill sets the matrix to the basis of a node, with the unit matrix beside it.
func (w *relaxed) fill(n *node) {
	m, t := w.t.rows, w.t
	width := 2 * m
	a := w.matrix
	for i := range w.basics[:len(n.items)] {
		w.basics[i] = 0
	}
	for p, b := range n.basis {
		var column, key []float64
		if b.span >= 0 {
			w.basics[b.span]++
			k, q := int(n.cols[b.at]), int(n.cols[n.items[b.span].key])
			column, key = t.use[k*m:k*m+m], t.use[q*m:q*m+m]
		}
		for r := range m {
			switch {
			case column != nil:
				a[r*width+p] = column[r] - key[r]
			case int(b.at) == r:
				a[r*width+p] = 1
			default:
				a[r*width+p] = 0
			}
			a[r*width+m+p] = 0
		}
		a[p*width+m+p] = 1
	}
}

// invert turns the matrix until the inverse stands beside it, and keeps that; false
// where the basis has none.
func (w *relaxed) invert() bool {
	m, a := w.t.rows, w.matrix
	width := 2 * m
	for c := range m {
		best, at := 1e-11, -1
		for r := c; r < m; r++ {
			if v := math.Abs(a[r*width+c]); v > best {
				best, at = v, r
			}
		}
		if at < 0 {
			return false
		}
		if at != c {
			for k := range width {
				a[at*width+k], a[c*width+k] = a[c*width+k], a[at*width+k]
			}
		}
		pivotRow := a[c*width : c*width+width]
		scale := 1 / pivotRow[c]
		for k := c; k < width; k++ {
			pivotRow[k] *= scale
		}
		for r := range m {
			if f := a[r*width+c]; r != c && f != 0 {
				other := a[r*width : r*width+width]
				for k := c; k < width; k++ {
					other[k] -= f * pivotRow[k]
				}
			}
		}
	}
	for r := range m {
		copy(w.inverse[r*m:r*m+m], a[r*width+m:r*width+width])
	}
	return true
}

// weigh works out the price of each row.
func (w *relaxed) weigh(n *node) {
	m, t := w.t.rows, w.t
	for r := range m {
		w.lambda[r] = 0
	}
	for p, b := range n.basis {
		if b.span < 0 {
			continue
		}
		gain := t.gain[n.cols[b.at]] - t.gain[n.cols[n.items[b.span].key]]
		for r := range m {
			w.lambda[r] += gain * w.inverse[p*m+r]
		}
	}
	for r := range m {
		w.lambda[r] = max(w.lambda[r], 0)
	}
}

// price works out the worth of all columns and the Lagrangian bound, and gives
// items without basics the key of most worth.
func (w *relaxed) price(n *node) {
	m, t := w.t.rows, w.t
	bound := n.fixed
	for r, l := range w.lambda {
		bound += l * n.room[r]
	}
	lambda := w.lambda
	for s := range n.items {
		span := &n.items[s]
		best, at := math.Inf(-1), int32(-1)
		for e := span.from; e < span.to; e++ {
			k := int(n.cols[e])
			worth := t.gain[k]
			for r, u := range t.use[k*m : k*m+m] {
				worth -= lambda[r] * u
			}
			w.worth[e] = worth
			if worth > best && !n.dead[e] {
				best, at = worth, e
			}
		}
		bound += best
		if w.basics[s] == 0 && (n.dead[span.key] || w.worth[span.key] < best-t.epsilon) { // a change at a tie could go on for ever
			span.key = at
		}
	}
	n.bound = min(n.bound, bound+t.epsilon)
}

// levels works out the levels of basics and keys.
func (w *relaxed) levels(n *node) {
	m, t := w.t.rows, w.t
	room := w.matrix[:m]
	copy(room, n.room)
	for s := range n.items {
		w.keyLeft[s] = 1
		k := int(n.cols[n.items[s].key])
		for r, u := range t.use[k*m : k*m+m] {
			room[r] -= u
		}
	}
	for p, b := range n.basis {
		level := 0.0
		for r, x := range room {
			level += w.inverse[p*m+r] * x
		}
		w.level[p] = level
		if b.span >= 0 {
			w.keyLeft[b.span] -= level
		}
	}
}

// leaving returns the basic variable farthest out of its bounds and whether it
// has to rise; -1 if none is.
func (w *relaxed) leaving(n *node) (leave int, up bool) {
	leave = -1
	worst := tolerance
	for p, b := range n.basis {
		level := w.level[p]
		if -level > worst {
			worst, leave, up = -level, p, true
		}
		if b.span >= 0 && level > worst && n.dead[b.at] {
			worst, leave, up = level, p, false
		}
	}
	return leave, up
}

// swapKey gives an item whose key is out of bounds another key. It reports
// whether it did; levels and multipliers are then to be worked out anew.
func (w *relaxed) swapKey(n *node) bool {
	for p, b := range n.basis {
		if b.span < 0 {
			continue
		}
		span := &n.items[b.span]
		left := w.keyLeft[b.span]
		if left < -tolerance || n.dead[span.key] && left > tolerance {
			// The largest basic of the item takes its place.
			for q := p + 1; q < len(n.basis); q++ {
				if n.basis[q].span == b.span && w.level[q] > w.level[p] {
					p = q
				}
			}
			n.basis[p].at, span.key = span.key, n.basis[p].at
			return true
		}
	}
	return false
}

// step is how far along the multipliers' way an item's key gives way, and to
// which column.
type step struct {
	ratio, alpha float64
	entry        int32
}

// entering returns the variable that takes the place of the basic at leave as
// that goes to its bound; false if there is none, as the node then has no
// solution. On the way items without basics change their keys, as long as the
// basic stays out of bounds: the long step of the dual simplex.
func (w *relaxed) entering(n *node, leave int, up bool) (place, bool) {
	m, t := w.t.rows, w.t
	row := w.inverse[leave*m : leave*m+m]
	sign, excess := 1.0, w.level[leave]
	if up {
		sign, excess = -1, -excess
	}
	for s := range n.items {
		span := n.items[s]
		for e := span.from; e < span.to; e++ {
			k := int(n.cols[e])
			alpha := 0.0
			for r, u := range t.use[k*m : k*m+m] {
				alpha += row[r] * u
			}
			w.alpha[e] = sign * alpha
		}
		w.steps[s] = w.nextStep(n, int32(s))
	}
	slack := step{ratio: math.Inf(1)}
	for r := range m {
		if alpha := sign * row[r]; alpha > pivotLeast && !n.basic(-1, int32(r)) {
			if ratio := w.lambda[r] / alpha; ratio < slack.ratio {
				slack = step{ratio, alpha, int32(r)}
			}
		}
	}
	for {
		best, at := slack, int32(-1)
		for s := range n.items {
			if c := &w.steps[s]; c.ratio < best.ratio || c.ratio == best.ratio && c.alpha > best.alpha {
				best, at = *c, int32(s)
			}
		}
		switch {
		case math.IsInf(best.ratio, 1):
			return place{}, false
		case at < 0:
			return place{-1, best.entry}, true
		case w.basics[at] > 0 || excess-best.alpha <= tolerance:
			return place{at, best.entry}, true
		}
		excess -= best.alpha
		n.items[at].key = best.entry
		w.steps[at] = w.nextStep(n, at)
	}
}

func (w *relaxed) nextStep(n *node, s int32) step {
	span := n.items[s]
	keyAlpha, keyWorth := w.alpha[span.key], w.worth[span.key]
	best := step{ratio: math.Inf(1)}
	for e := span.from; e < span.to; e++ {
		alpha := w.alpha[e] - keyAlpha
		if alpha <= pivotLeast || n.dead[e] {
			continue
		}
		ratio := max(0, keyWorth-w.worth[e]) / alpha
		if (ratio < best.ratio || ratio == best.ratio && alpha > best.alpha) && !(w.basics[s] > 0 && n.basic(s, e)) {
			best = step{ratio, alpha, e}
		}
	}
	return best
}

func (n *node) basic(span, at int32) bool {
	for _, b := range n.basis {
		if b.span == span && b.at == at {
			return true
		}
	}
	return false
}
