package choice

import (
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

// reduce returns the table of a model, or says why there is no choice.
func (m *model) reduce() (*table, *NoneError) {
	first, none := m.starts()
	if none != nil {
		return nil, none
	}
	keep := make([]bool, len(m.columns))
	for k := range keep {
		keep[k] = true
	}
	slacks := make([]slack, len(m.rows))
	for r, row := range m.rows {
		if slacks[r], none = m.slack(row, first); none != nil {
			return nil, none
		}
		for k, c := range m.columns {
			if row.use[k]-slacks[r].least[c.item] > slacks[r].left {
				keep[k] = false
			}
		}
	}
	for i := range m.items {
		m.strike(first[i], first[i+1], keep)
	}
	return m.kept(keep, slacks)
}

// starts returns where the columns of each item begin, and where the last end.
func (m *model) starts() ([]int, *NoneError) {
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
	return first, nil
}

// slack is what a row has to spare.
type slack struct {
	least []float64 // that each item uses in any case
	left  float64   // of the limit, after all of that
}

func (m *model) slack(row row, first []int) (slack, *NoneError) {
	s := slack{least: make([]float64, m.items)}
	var sum total
	for i := range m.items {
		s.least[i] = math.Inf(1)
		for k := first[i]; k < first[i+1]; k++ {
			s.least[i] = min(s.least[i], row.use[k])
		}
		sum.add(s.least[i])
	}
	base := sum.value()
	s.left = row.limit - base
	if row.exact {
		s.left = m.roundDown(row, first, s.left)
	} else {
		s.left += rowSlack * max(math.Abs(row.limit), base)
	}
	if s.left < 0 {
		return s, &NoneError{Resource: row.resource, Least: base, TooHigh: row.resource < 0}
	}
	return s, nil
}

// kept returns the table of the columns that are kept.
func (m *model) kept(keep []bool, slacks []slack) (*table, *NoneError) {
	t := &table{items: m.items, first: make([]int32, 1, m.items+1)}
	var rows []int
	for r := range m.rows {
		if slacks[r].left > 0 { // else only what uses nothing more is left, and the row holds
			rows = append(rows, r)
		}
		exact := m.rows[r]
		exact.use = nil
		t.exact = append(t.exact, exact)
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
			t.use = append(t.use, (m.rows[r].use[k]-slacks[r].least[c.item])/slacks[r].left)
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
