package freight

import (
	"cmp"
	"fmt"
	"slices"
)

// Route is legs one after the other.
type Route []Leg

// Check says what cannot be right about a route.
func (r Route) Check() error {
	if len(r) == 0 {
		return fmt.Errorf("a route has a leg at least")
	}
	for i, l := range r {
		if err := l.Check(); err != nil {
			return fmt.Errorf("leg %s: %w", l.Code, err)
		}
		if i > 0 && l.From != r[i-1].To {
			return fmt.Errorf("leg %s starts at %s, and the one before it ends at %s", l.Code, l.From, r[i-1].To)
		}
	}
	first, last := r.span()
	if last-first > 2*MaxDays {
		return fmt.Errorf("its dates are more than %d days apart", 2*MaxDays)
	}
	for _, l := range r {
		if len(l.Departures)*int(last-first)*l.Trips*l.WindowDays > maxWork {
			return fmt.Errorf("leg %s: so many departures, trips and days on end are more than can be worked out: fewer trips, or a shorter season", l.Code)
		}
	}
	return nil
}

// maxWork bounds departures times days times states of a leg: some seconds.
const maxWork = 1_000_000_000

// span is the days from the first departure to the last arrival that can be.
func (r Route) span() (first, last Day) {
	first, last = r[0].Departures[0], 0
	for _, l := range r {
		first = min(first, l.Departures[0])
		last = max(last, l.Departures[len(l.Departures)-1]+Day(l.RetryDays+l.WindowDays+l.Transit.Most))
	}
	return first, last
}

// Dist is when something happens: the probability of each day from From on, and Never,
// that it does not at all.
type Dist struct {
	From   Day
	Chance []float64
	Never  float64
}

// By is the probability that it happens on a day or before.
func (d Dist) By(day Day) float64 {
	sum := 0.0
	for i, p := range d.Chance {
		if d.From+Day(i) <= day {
			sum += p
		}
	}
	return min(sum, 1)
}

// Quantile is the first day on which it has happened with a probability; false where it
// never comes to that.
func (d Dist) Quantile(probability float64) (Day, bool) {
	const rounding = 1e-12
	sum := 0.0
	for i, p := range d.Chance {
		if sum += p; sum >= probability-rounding {
			return d.From + Day(i), true
		}
	}
	return 0, false
}

// calendar is the days that are looked at, and what of a leg does not depend on when
// cargo comes.
type calendar struct {
	first Day
	days  int
	rows  []map[int][]float64 // of each leg: by the departure that is caught, the chance of arriving on each day
	route Route
}

func (r Route) calendar(first, last Day) *calendar {
	c := &calendar{first: first, days: int(last-first) + 1, route: r, rows: make([]map[int][]float64, len(r))}
	for i := range c.rows {
		c.rows[i] = map[int][]float64{}
	}
	return c
}

// arrivals is the chance of arriving on each day by a leg, for cargo that is there on a
// day.
func (c *calendar) arrivals(leg int, ready Day) []float64 {
	l := c.route[leg]
	caught := l.catch(ready)
	if caught == len(l.Departures) {
		return nil
	}
	row, known := c.rows[leg][caught]
	if !known {
		row = c.carried(l, caught)
		c.rows[leg][caught] = row
	}
	return row
}

// state is where the trips of a leg stand at the end of a day: how many are done, how
// many good days on end lead to the next, and the weather.
type chances [2][]float64

// carried goes through the days from a departure on. Exact: every day that can matter is
// in the calendar.
func (c *calendar) carried(l Leg, caught int) []float64 {
	allowed := l.allowed(caught)
	transit := l.Transit.Chances()
	row := make([]float64, c.days)
	width := l.WindowDays
	at := func(done, run int) int { return done*width + run }
	now := chances{make([]float64, l.Trips*width), make([]float64, l.Trips*width)}
	next := chances{make([]float64, l.Trips*width), make([]float64, l.Trips*width)}
	const bad, good = 0, 1
	start := l.Departures[caught]
	for day := start; len(allowed) > 0 && day <= allowed[len(allowed)-1].last; day++ {
		may := slices.ContainsFunc(allowed, func(w window) bool { return w.first <= day && day <= w.last })
		clear(next[bad])
		clear(next[good])
		done := 0.0
		step := func(from int, chance float64, toGood float64) {
			if chance == 0 {
				return
			}
			trips := from / width
			next[bad][at(trips, 0)] += chance * (1 - toGood)
			switch run := from%width + 1; {
			case !may:
				next[good][at(trips, 0)] += chance * toGood
			case run < width:
				next[good][at(trips, run)] += chance * toGood
			case trips+1 < l.Trips:
				next[good][at(trips+1, 0)] += chance * toGood
			default:
				done += chance * toGood
			}
		}
		if day == start {
			step(0, 1, l.Weather.Good())
		} else {
			for from := range now[bad] {
				step(from, now[bad][from], 1-l.Weather.BadAfterBad)
				step(from, now[good][from], l.Weather.GoodAfterGood)
			}
		}
		now, next = next, now
		for i, p := range transit {
			if j := int(day-c.first) + l.Transit.Least + i; done > 0 && j < c.days {
				row[j] += done * p
			}
		}
	}
	return row
}

// window is days on end on which trips may go.
type window struct{ first, last Day }

// allowed is the days on which trips may go for cargo that caught a departure: that one
// and all later ones, with the days on which each is tried again.
func (l Leg) allowed(caught int) []window {
	var list []window
	for _, d := range l.Departures[caught:] {
		w := window{d, d + Day(l.RetryDays+l.WindowDays-1)}
		if n := len(list); n > 0 && w.first <= list[n-1].last+1 {
			list[n-1].last = max(list[n-1].last, w.last)
			continue
		}
		list = append(list, w)
	}
	return list
}

// Forward is when cargo that is ready on a day is at the end of each leg; the first of
// the list is the day itself.
func (r Route) Forward(ready Day) []Dist {
	_, last := r.span()
	last = max(last, ready)
	c := r.calendar(ready, last)
	now := Dist{From: ready, Chance: make([]float64, c.days)}
	now.Chance[0] = 1
	list := []Dist{now}
	for i := range r {
		next := Dist{From: ready, Chance: make([]float64, c.days)}
		for day, p := range now.Chance {
			if p == 0 {
				continue
			}
			for j, q := range c.arrivals(i, ready+Day(day)) {
				next.Chance[j] += p * q
			}
		}
		sum := 0.0
		for _, p := range next.Chance {
			sum += p
		}
		next.Never = max(0, 1-sum)
		list, now = append(list, next), next
	}
	return list
}

// Deadline is what one leg asks for, so that all is on site in time.
type Deadline struct {
	Leg  Leg
	Days bool // there is a day that suffices
	// By is the last day on which cargo may be at the leg's start, with the departure that it
	// then catches, and the odds from there on.
	By        Day
	Departure Day
	Odds      float64
	Best      float64 // the best odds that any day gives
}

// ShipBy works back from the day on which cargo is needed on site: for each leg the last
// day, from earliest on, on which it may be at the leg's start so that it is on site by
// then with a probability.
func (r Route) ShipBy(earliest, needed Day, odds float64) []Deadline {
	if needed < earliest {
		earliest = needed
	}
	c := r.calendar(earliest, needed)
	// sure[day] is the probability of being in time from the end of a leg.
	sure := make([]float64, c.days)
	for i := range sure {
		sure[i] = 1
	}
	list := make([]Deadline, len(r))
	for i := len(r) - 1; i >= 0; i-- {
		before := make([]float64, c.days)
		for day := range before {
			for j, p := range c.arrivals(i, earliest+Day(day)) {
				before[day] += p * sure[j]
			}
		}
		list[i] = r[i].deadline(earliest, before, odds)
		sure = before
	}
	return list
}

// deadline finds the last day that suffices. The odds never rise from one day to the
// next: who comes earlier catches every departure that who comes later does.
func (l Leg) deadline(earliest Day, chance []float64, odds float64) Deadline {
	const rounding = 1e-12
	d := Deadline{Leg: l, Best: slices.Max(chance)}
	for day, p := range slices.Backward(chance) {
		if p >= odds-rounding {
			d.Days, d.By, d.Odds = true, earliest+Day(day), p
			d.Departure, _ = l.Catches(d.By)
			break
		}
	}
	return d
}

// Risk is what a leg costs: the odds of being on site in time as they are, and if it was
// never cancelled.
type Risk struct {
	Leg  Leg
	Odds float64 // if this leg was never cancelled
	Cost float64 // what it takes from the odds
}

// Risks tells what each leg costs of the odds of being on site by a day, the most first.
func (r Route) Risks(ready, needed Day) []Risk {
	now := r.Forward(ready)[len(r)].By(needed)
	var list []Risk
	for i, l := range r {
		sure := slices.Clone(r)
		sure[i].Weather = Independent(0)
		odds := sure.Forward(ready)[len(r)].By(needed)
		list = append(list, Risk{l, odds, odds - now})
	}
	slices.SortStableFunc(list, func(a, b Risk) int { return cmp.Compare(b.Cost, a.Cost) })
	return list
}
