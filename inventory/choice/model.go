package choice

import (
	"encoding/binary"
	"math"
)

// model is a problem in the form that the search works on: maximise the sum of
// gains, keep to every row. Columns are options.
type model struct {
	items   int
	columns []column
	rows    []row
}

type column struct {
	item, option int
	gain         float64
}

type row struct {
	resource int // of the problem; -1 for a target
	limit    float64
	exact    bool // all figures are whole numbers
	use      []float64
}

func newModel(items int) *model { return &model{items: items} }

// add adds an option. Options of an item are added in their order.
func (m *model) add(item, option int, gain float64) {
	m.columns = append(m.columns, column{item, option, gain})
}

// limit adds a row, after all options.
func (m *model) limit(resource int, limit float64, use func(item, option int) float64) {
	if math.IsInf(limit, 1) {
		return
	}
	r := row{resource: resource, limit: limit, exact: limit == math.Trunc(limit), use: make([]float64, len(m.columns))}
	for k, c := range m.columns {
		r.use[k] = use(c.item, c.option)
		r.exact = r.exact && r.use[k] == math.Trunc(r.use[k])
	}
	m.rows = append(m.rows, r)
}

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

// reduce returns the table of a model, or says why there is no choice.
func (m *model) reduce() (*table, *NoneError) {
	first := make([]int, m.items+1)
	for _, c := range m.columns {
		first[c.item+1]++
	}
	for i := range m.items {
		if first[i+1] == 0 {
			return nil, &NoneError{Resource: -1, noOptionAt: i + 1}
		}
		first[i+1] += first[i]
	}
	keep := make([]bool, len(m.columns))
	for k := range keep {
		keep[k] = true
	}
	left := make([]float64, len(m.rows))
	least := make([][]float64, len(m.rows))
	base := make([]float64, len(m.rows))
	for r, row := range m.rows {
		least[r] = make([]float64, m.items)
		var sum total
		for i := range m.items {
			least[r][i] = math.Inf(1)
			for k := first[i]; k < first[i+1]; k++ {
				least[r][i] = min(least[r][i], row.use[k])
			}
			sum.add(least[r][i])
		}
		base[r] = sum.value()
		left[r] = row.limit - base[r]
		if row.exact {
			left[r] = m.roundDown(row, first, left[r])
		} else {
			left[r] += rowSlack * max(math.Abs(row.limit), base[r])
		}
		if left[r] < 0 {
			return nil, &NoneError{Resource: row.resource, Least: base[r], TooHigh: row.resource < 0}
		}
		for k, c := range m.columns {
			if row.use[k]-least[r][c.item] > left[r] {
				keep[k] = false
			}
		}
	}
	for i := range m.items {
		m.strike(first[i], first[i+1], keep)
	}
	t := &table{items: m.items, first: make([]int32, 1, m.items+1)}
	var rows []int
	for r := range m.rows {
		if left[r] > 0 { // else only what uses nothing more is left, and the row holds
			rows = append(rows, r)
		}
		kept := m.rows[r]
		kept.use = nil
		t.exact = append(t.exact, kept)
	}
	t.rows = len(rows)
	for k, c := range m.columns {
		for len(t.first) <= c.item {
			t.first = append(t.first, int32(len(t.option)))
		}
		if !keep[k] {
			continue
		}
		t.option = append(t.option, int32(c.option))
		t.gain = append(t.gain, c.gain)
		for _, r := range rows {
			t.use = append(t.use, (m.rows[r].use[k]-least[r][c.item])/left[r])
		}
		for r := range m.rows {
			t.exact[r].use = append(t.exact[r].use, m.rows[r].use[k])
		}
	}
	for len(t.first) <= m.items {
		t.first = append(t.first, int32(len(t.option)))
	}
	for i := range m.items {
		if t.first[i] == t.first[i+1] {
			// Every option of it breaks some cap by itself.
			return nil, &NoneError{Resource: -1, noOptionAt: i + 1}
		}
	}
	t.measure()
	t.sort()
	return t, nil
}

// roundDown returns the most of what is left of a cap that choices can use, when
// all they use is a multiple of some whole number.
func (m *model) roundDown(row row, first []int, left float64) float64 {
	divisor := int64(0)
	for i := range m.items {
		for k := first[i] + 1; k < first[i+1]; k++ {
			difference := math.Abs(row.use[k] - row.use[first[i]])
			if difference > 1<<53 {
				return left
			}
			for a := int64(difference); a != 0; {
				divisor, a = a, divisor%a
			}
		}
	}
	if divisor < 2 || left < 0 {
		return left
	}
	return float64(divisor) * math.Floor(left/float64(divisor))
}

// rowSlack is by how much a sum of uses that are no whole numbers may exceed a
// cap, as a share of it: what rounding alone can do.
const rowSlack = 1e-12

// strike takes out options of one item that another one dominates: no less
// gain, no more use. Of equals the first stays.
func (m *model) strike(from, to int, keep []bool) {
	for k := from; k < to; k++ {
		for other := from; other < to && keep[k]; other++ {
			if other == k || !keep[other] || m.columns[other].gain < m.columns[k].gain {
				continue
			}
			better := m.columns[other].gain > m.columns[k].gain || other < k
			dominates := true
			for _, row := range m.rows {
				dominates = dominates && row.use[other] <= row.use[k]
				better = better || row.use[other] < row.use[k]
			}
			if dominates && better {
				keep[k] = false
			}
		}
	}
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
