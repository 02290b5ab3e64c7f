package freight

import "slices"

// Played is what trials of a route showed.
type Played struct {
	Trials  int
	InTime  int         // on site by the day needed
	Never   int         // not at all, by these departures
	Arrived map[Day]int // trials by the day on site
}

// Odds is the share of trials that were in time.
func (p Played) Odds() float64 { return float64(p.InTime) / float64(max(p.Trials, 1)) }

// Play plays a route day by day, so many times: the independent check on Forward and
// ShipBy, with which it shares no formula. Each day of each leg has its weather drawn;
// next gives numbers from 0 up to 1.
func (r Route) Play(ready, needed Day, trials int, next func() float64) Played {
	out := Played{Trials: trials, Arrived: map[Day]int{}}
	for range trials {
		day, on := ready, true
		for _, l := range r {
			if day, on = l.play(day, next); !on {
				break
			}
		}
		switch {
		case !on:
			out.Never++
			continue
		case day <= needed:
			out.InTime++
		}
		out.Arrived[day]++
	}
	return out
}

// play carries cargo by one leg, and says when it is at its end.
func (l Leg) play(ready Day, next func() float64) (Day, bool) {
	i := slices.IndexFunc(l.Departures, func(d Day) bool { return d-Day(l.CutoffDays) >= ready })
	if i < 0 {
		return 0, false
	}
	leaves := l.Departures[i:]
	trips, goodDays := 0, 0
	good := next() < l.Weather.Good()
	for day := leaves[0]; day <= leaves[len(leaves)-1]+Day(l.RetryDays+l.WindowDays-1); day++ {
		if day > leaves[0] {
			if good {
				good = next() < l.Weather.GoodAfterGood
			} else {
				good = next() >= l.Weather.BadAfterBad
			}
		}
		// The last departure on or before this day is tried up to so many days after it.
		goes := false
		for _, d := range leaves {
			if d <= day && day-d <= Day(l.RetryDays+l.WindowDays-1) {
				goes = true
			}
		}
		if !goes || !good {
			goodDays = 0
			continue
		}
		if goodDays++; goodDays < l.WindowDays {
			continue
		}
		goodDays = 0
		if trips++; trips == l.Trips {
			return day + l.Transit.draw(next()), true
		}
	}
	return 0, false
}

// draw picks a number of days.
func (t Triangle) draw(u float64) Day {
	for i, p := range t.Chances() {
		if u -= p; u < 0 {
			return Day(t.Least + i)
		}
	}
	return Day(t.Most)
}
