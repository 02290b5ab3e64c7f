package kit

import (
	"cmp"
	"errors"
	"math"
	"slices"

	"pulk/inventory/choice"
	"pulk/inventory/sparing"
)

// model is a plan as the optimiser sees it.
type model struct {
	plan    *Plan
	caps    Caps
	wish    Wish
	fixed   Caps // of what has no options
	floor   Caps // of the first option of what has some
	problem choice.Problem
	cases   []choice.Case // by date of the delivery
	lines   []int         // of the plan, by item of the problem
	pieces  [][]int64     // to send, by item and option
	vital   []bool        // by item
	unknown []string

	minor, unscattered int
}

// vitalRow is the resource that the vital spares use up: what each falls short of the
// best that it can have.
const vitalRow = len(Caps{})

func (p *Plan) model(caps Caps, wish Wish) (*model, error) {
	m := &model{plan: p, caps: caps, wish: wish, problem: choice.Problem{Caps: make([]float64, len(caps))}}
	for _, d := range p.Dates {
		m.cases = append(m.cases, choice.Case{Probability: d.Probability})
	}
	for i := range p.Lines {
		l := &p.Lines[i]
		if l.Basis == NoRate {
			continue
		}
		terms, err := wish.terms(l)
		if err != nil {
			return nil, err
		}
		switch {
		case terms.Class == Desirable:
			m.minor++
		case !l.Counts():
			m.unscattered++
		default:
			m.item(i, terms)
			continue
		}
		for r, use := range l.use(terms.whole(terms.Least)) {
			m.fixed[r] += use
		}
	}
	for r := range caps {
		if m.problem.Caps[r] = caps[r] - m.fixed[r]; m.problem.Caps[r] < 0 {
			return nil, m.over(Resource(r), m.fixed[r])
		}
	}
	if wish.VitalOdds > 0 {
		m.holdVital()
	}
	return m, nil
}

// item adds the options of one line: to send so many pieces.
func (m *model) item(index int, terms Terms) {
	l := &m.plan.Lines[index]
	least, most := terms.whole(terms.Least), max(0, terms.Most)
	for r := range m.caps {
		if !math.IsInf(m.caps[r], 1) && !l.knows(Resource(r)) {
			m.unknown = append(m.unknown, l.PartNumber)
			most = least
			break
		}
	}
	item := choice.Item{Name: l.PartNumber}
	values := make([][]float64, len(m.cases))
	var pieces []int64
	for n, step := least, l.step(least, terms); n <= most; n += step {
		use := l.use(n)
		item.Options = append(item.Options, choice.Option{Value: l.supply.logOdds(0, l.Good+n), Use: use[:]})
		for c := range m.cases {
			values[c] = append(values[c], l.supply.logOdds(c, l.Good+n))
		}
		pieces = append(pieces, n)
		if _, short := l.supply.over(l.Good + n); short < enough || terms.RepairPercent > 0 && short < enoughRepaired {
			break
		}
	}
	for r, use := range l.use(least) {
		m.floor[r] += use
	}
	m.problem.Items = append(m.problem.Items, item)
	for c := range m.cases {
		m.cases[c].Values = append(m.cases[c].Values, values[c])
	}
	m.lines, m.pieces, m.vital = append(m.lines, index), append(m.pieces, pieces), append(m.vital, terms.Class == Vital)
}

// Step is by how many pieces stocks of a line are told apart.
func (l *Line) Step() int64 { return l.step(0, l.Terms) }

// step is by how many pieces the options of a line differ that begin at least: one pack,
// but of a consumable that is counted by the thousand, as cable by the metre, a part of
// what it may need.
func (l *Line) step(least int64, terms Terms) int64 {
	pack := terms.pack()
	if l.Basis != Consumable {
		return pack
	}
	most, err := sparing.SmallestStock(l.demand, 1-enough)
	if err != nil {
		return pack
	}
	whole := max(0, most-l.Good-least)
	return max(1, (whole+mostSteps*pack-1)/(mostSteps*pack)) * pack
}

// holdVital makes a cap of the odds that the vital spares must have together. Over
// dates it holds the mean of the logarithm, which is never above the logarithm of the
// mean: a choice that keeps to it has the odds, though one that has them may not.
func (m *model) holdVital() {
	best := 0.0
	for i := range m.problem.Items {
		item := &m.problem.Items[i]
		value := func(option int) float64 {
			sum := 0.0
			for c := range m.cases {
				sum += m.cases[c].Probability * m.cases[c].Values[i][option]
			}
			return sum
		}
		top := value(len(item.Options) - 1)
		if m.vital[i] {
			best += top
		}
		for j := range item.Options {
			use := 0.0
			if m.vital[i] {
				use = max(0, top-value(j))
			}
			item.Options[j].Use = append(item.Options[j].Use, use)
		}
	}
	m.problem.Caps = append(m.problem.Caps, best-math.Log(m.wish.VitalOdds))
}

// use is what so many pieces of a line use of each resource; 0 where it is not known.
func (l *Line) use(pieces int64) Caps {
	n, packs := float64(pieces), float64(pieces/l.Terms.pack())
	out := Caps{n * float64(l.MassGrams), n * float64(l.LengthMM) * float64(l.WidthMM) * float64(l.HeightMM) / 1e6, n * float64(l.PriceCents)}
	if l.Terms.PackGrams > 0 {
		out[Mass] = packs * float64(l.Terms.PackGrams)
	}
	if l.Terms.PackLitres > 0 {
		out[Volume] = packs * float64(l.Terms.PackLitres)
	}
	return out
}

// MassGramsOf is what so many pieces weigh, with the crates of their packs; 0 where it
// is not known.
func (l *Line) MassGramsOf(pieces int64) float64 { return l.use(pieces)[Mass] }

// knows reports whether it is known what a line uses of a resource.
func (l *Line) knows(r Resource) bool { return l.use(l.Terms.pack())[r] > 0 }

// capped makes the plan that a choice stands for.
func (m *model) capped(chosen []int) *Capped {
	out := &Capped{Plan: &Plan{Request: m.plan.Request, Hours: m.plan.Hours, Dates: m.plan.Dates, Due: m.plan.Due}, Caps: m.caps, Use: m.fixed,
		Bound: 1, Proven: true, Minor: m.minor, Unscattered: m.unscattered, Unpriced: m.unknown}
	lines := append([]Line(nil), m.plan.Lines...)
	for i := range lines {
		if l := &lines[i]; l.Basis != NoRate {
			terms, _ := m.wish.terms(l) // which were good before
			l.Terms.Class = terms.Class
			l.send(terms.whole(terms.Least))
		}
	}
	for i, option := range chosen {
		l := &lines[m.lines[i]]
		l.send(m.pieces[i][option])
		for r, use := range l.use(l.Send) {
			out.Use[r] += use
		}
	}
	for date, d := range m.plan.Dates {
		var before, sent, vital float64 // logarithms
		for i, at := range m.lines {
			l := &lines[at]
			before += l.supply.logOdds(date, l.Good)
			one := l.supply.logOdds(date, l.Good+l.Send)
			if sent += one; m.vital[i] {
				vital += one
			}
		}
		out.Before += d.Probability * math.Exp(before)
		out.Odds += d.Probability * math.Exp(sent)
		out.Vital += d.Probability * math.Exp(vital)
		out.ByDate = append(out.ByDate, math.Exp(sent))
	}
	for i := range lines {
		l := &lines[i]
		if out.Plan.add(*l); l.Basis != Consumable {
			continue
		}
		for r, use := range l.use(l.Send) {
			out.Used[r] += use
		}
	}
	for r := range out.Floor {
		out.Floor[r] = m.fixed[r] + m.floor[r]
	}
	return out
}

// over says that what must be sent uses more of a resource than the cap.
func (m *model) over(r Resource, use float64) error {
	out := &OverError{Resource: r, Use: use, Most: m.caps[r]}
	for i := range m.plan.Lines {
		l := &m.plan.Lines[i]
		if l.Basis == NoRate {
			continue
		}
		terms, _ := m.wish.terms(l) // which were good before
		if use := l.use(terms.whole(terms.Least))[r]; use > 0 {
			out.Largest = append(out.Largest, Share{l.PartNumber, use})
		}
	}
	slices.SortStableFunc(out.Largest, func(a, b Share) int { return cmp.Compare(b.Use, a.Use) })
	out.Largest = out.Largest[:min(3, len(out.Largest))]
	return out
}

// explain says which cap what must be sent exceeds.
func (m *model) explain(err error) error {
	var none *choice.NoneError
	if !errors.As(err, &none) || none.Unproven {
		return err
	}
	if m.wish.VitalOdds > 0 && (none.Resource < 0 || none.Resource == vitalRow) {
		return &ReachError{Odds: m.wish.VitalOdds, Vital: true}
	}
	if none.Resource >= 0 {
		r := Resource(none.Resource)
		return m.over(r, none.Least+m.fixed[r])
	}
	return err
}
