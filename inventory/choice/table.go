package choice

import (
	"encoding/binary"
	"math"
)

// table is a model without what cannot be taken, with rows scaled so that what
// is left of each cap after the smallest options is 1.
type table struct {
	items   int
	rows    int
	first   []int32 // columns of item i are first[i] to first[i+1]
	option  []int32 // the option that a column stands for
	gain    []float64
	use     []float64 // of column k in row r: use[k*rows+r]
	exact   []row     // the model's rows, uses by column of the table
	grain   float64   // objectives of any two choices differ by a multiple of it; 0 if not known
	kind    []int32   // items alike, column for column, have the same number
	epsilon float64   // gains closer than this are equal but for rounding
}

// measure finds grain and epsilon.
func (t *table) measure() {
	size := 0.0
	for i := range t.items {
		most := 0.0
		for k := t.first[i]; k < t.first[i+1]; k++ {
			most = max(most, math.Abs(t.gain[k]))
		}
		size += most
	}
	t.epsilon = 1e-14 * size
	for scale := 1.0; scale <= 1e6; scale *= 10 {
		if g := t.commonDivisor(scale); g > 0 {
			if g/scale > 1e3*t.epsilon {
				t.grain = g / scale
			}
			return
		}
	}
}

// sort finds the items that are alike.
func (t *table) sort() {
	known := map[string]int32{}
	for i := range int32(t.items) {
		var key []byte
		for k := int(t.first[i]); k < int(t.first[i+1]); k++ {
			key = binary.LittleEndian.AppendUint64(key, math.Float64bits(t.gain[k]))
			for _, row := range t.exact {
				key = binary.LittleEndian.AppendUint64(key, math.Float64bits(row.use[k]))
			}
		}
		if _, ok := known[string(key)]; !ok {
			known[string(key)] = i
		}
		t.kind = append(t.kind, known[string(key)])
	}
}

// commonDivisor returns the greatest common divisor of all differences of
// gains within an item, times scale, or 0 if they are no whole numbers.
func (t *table) commonDivisor(scale float64) float64 {
	divisor := int64(0)
	for i := range t.items {
		for k := t.first[i] + 1; k < t.first[i+1]; k++ {
			difference := (t.gain[k] - t.gain[t.first[i]]) * scale
			whole := math.Round(difference)
			rounding := 1e-15 * scale * (math.Abs(t.gain[k]) + math.Abs(t.gain[t.first[i]]))
			if math.Abs(difference-whole) > rounding || math.Abs(whole) > 1<<52 {
				return 0
			}
			for a := int64(math.Abs(whole)); a != 0; {
				divisor, a = a, divisor%a
			}
		}
	}
	return float64(divisor)
}

// step is how much better than another one an answer is at least.
func (t *table) step() float64 {
	if t.grain > 0 {
		return t.grain * (1 - 1e-6)
	}
	return 4 * t.epsilon
}

// value returns the gain of a choice of columns.
func (t *table) value(columns []int32) float64 {
	var sum total
	for _, k := range columns {
		sum.add(t.gain[k])
	}
	return sum.value()
}

// fits reports whether a choice of columns keeps to every row, by the figures
// that were given.
func (t *table) fits(columns []int32) bool {
	for _, r := range t.exact {
		var sum total
		for _, k := range columns {
			sum.add(r.use[k])
		}
		limit := r.limit
		if !r.exact {
			limit += rowSlack * max(math.Abs(limit), math.Abs(sum.value()))
		}
		if sum.value() > limit {
			return false
		}
	}
	return true
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
