package freight

import (
	"fmt"
	"math"
	"slices"
	"strconv"
	"strings"
	"time"
)

// Day is a date as whole days since 1970-01-01.
type Day int

// ParseDay reads a date as YYYY-MM-DD.
func ParseDay(text string) (Day, error) {
	t, err := time.Parse(time.DateOnly, text)
	if err != nil {
		return 0, fmt.Errorf("%q is no date: like 2027-01-20", text)
	}
	return Day(t.Unix() / (24 * 3600)), nil
}

func (d Day) String() string { return time.Unix(int64(d)*24*3600, 0).UTC().Format(time.DateOnly) }

// Weekday is the day of the week.
func (d Day) Weekday() time.Weekday { return time.Unix(int64(d)*24*3600, 0).UTC().Weekday() }

// Weather is whether a day is good enough for an attempt: a chain of days, each good or
// bad, that depends on the day before it and on nothing else. Days that do not depend
// on each other are the case in which the two sum up to 1.
type Weather struct {
	GoodAfterGood float64 // probability
	BadAfterBad   float64
}

// Independent is days each of which is bad with a probability.
func Independent(cancel float64) Weather { return Weather{1 - cancel, cancel} }

// Good is the share of good days in the long run, 1 where every day is good. It is the
// probability that the first day is good.
func (w Weather) Good() float64 {
	if w.GoodAfterGood == 1 {
		return 1
	}
	return (1 - w.BadAfterBad) / (2 - w.GoodAfterGood - w.BadAfterBad)
}

// Triangle is a number of days between two others with a most likely one.
type Triangle struct{ Least, Likely, Most int }

// Chances are the probabilities of the whole days from Least to Most: the triangular
// distribution from half a day below Least to half a day above Most, each day taking
// what lies within half a day of it.
func (t Triangle) Chances() []float64 {
	low, high, mode := float64(t.Least)-0.5, float64(t.Most)+0.5, float64(t.Likely)
	below := func(x float64) float64 {
		switch {
		case x <= low:
			return 0
		case x >= high:
			return 1
		case x < mode:
			return (x - low) * (x - low) / ((high - low) * (mode - low))
		}
		return 1 - (high-x)*(high-x)/((high-low)*(high-mode))
	}
	list := make([]float64, t.Most-t.Least+1)
	for i := range list {
		day := float64(t.Least + i)
		list[i] = below(day+0.5) - below(day-0.5)
	}
	return list
}

// Leg is one part of a way, carried by one means.
type Leg struct {
	Code     string
	From, To string
	Mode     string // road, rail, sea, air, traverse, …

	Departures []Day // in order
	CutoffDays int   // cargo is at From so many days before a departure, at the latest
	Transit    Triangle
	Weather    Weather
	// A departure that is cancelled is tried again on each of so many days after it. Then
	// the next departure takes its turn.
	RetryDays int
	// A trip takes so many good days on end, and the load so many trips, one after the
	// other. Both are 1 at least.
	WindowDays int
	Trips      int

	Limits Limits
}

// Limits are what a leg carries; 0 is no limit.
type Limits struct {
	Grams      int64 // of one trip, all pieces together
	Litres     int64
	Pieces     int
	PieceGrams int64    // of one piece
	Door       [2]int64 // clear width and height in mm
	Divisor    int64    // cm³ that count as a kilogram, where charges go by volume
	StepGrams  int64
}

// MaxDays is how far dates may lie apart.
const MaxDays = 1500

// maxTrips and maxWindow keep the work bounded.
const (
	maxTrips  = 200
	maxWindow = 30
)

// Check says what cannot be right about a leg.
func (l Leg) Check() error {
	share := func(p float64) bool { return p >= 0 && p <= 1 }
	switch {
	case len(l.Departures) == 0:
		return fmt.Errorf("it never departs")
	case l.Departures[len(l.Departures)-1]-l.Departures[0] > MaxDays:
		return fmt.Errorf("its departures are more than %d days apart", MaxDays)
	case !slices.IsSorted(l.Departures):
		return fmt.Errorf("its departures are not in order")
	case l.CutoffDays < 0 || l.CutoffDays > MaxDays || l.RetryDays < 0 || l.RetryDays > MaxDays:
		return fmt.Errorf("days from 0 to %d", MaxDays)
	case l.Transit.Least < 0 || l.Transit.Likely < l.Transit.Least || l.Transit.Most < l.Transit.Likely || l.Transit.Most > MaxDays:
		return fmt.Errorf("a transit takes so many days at least, likely and at most, in this order")
	case !share(l.Weather.GoodAfterGood) || !share(l.Weather.BadAfterBad):
		return fmt.Errorf("a probability is from 0 to 1")
	case l.Weather.GoodAfterGood == 1 && l.Weather.BadAfterBad == 1:
		return fmt.Errorf("weather that never changes has no share of good days")
	case l.WindowDays < 1 || l.WindowDays > maxWindow || l.Trips < 1 || l.Trips > maxTrips:
		return fmt.Errorf("from 1 to %d good days on end, and from 1 to %d trips", maxWindow, maxTrips)
	}
	return nil
}

// catch is the index of the first departure that cargo catches which is at From on a day;
// the number of departures where there is none.
func (l Leg) catch(ready Day) int {
	at, _ := slices.BinarySearch(l.Departures, ready+Day(l.CutoffDays))
	return at
}

// Catches is the first departure that cargo catches which is at From on a day.
func (l Leg) Catches(ready Day) (Day, bool) {
	at := l.catch(ready)
	if at == len(l.Departures) {
		return 0, false
	}
	return l.Departures[at], true
}

// ParseDepartures reads when a leg departs: dates with spaces between, daily, or
// weekdays such as "mon thu"; the latter two between two dates, both inclusive.
func ParseDepartures(text string, from, until Day) ([]Day, error) {
	words := strings.Fields(strings.ToLower(text))
	if len(words) == 0 {
		return nil, fmt.Errorf("dates, weekdays or daily")
	}
	if words[0][0] >= '0' && words[0][0] <= '9' {
		return dates(words)
	}
	if until < from || until-from > MaxDays {
		return nil, fmt.Errorf("a season begins before it ends, at most %d days before", MaxDays)
	}
	var on [7]bool
	for _, word := range words {
		if word == "daily" && len(words) == 1 {
			on = [7]bool{true, true, true, true, true, true, true}
			break
		}
		at := slices.Index([]string{"sun", "mon", "tue", "wed", "thu", "fri", "sat"}, word)
		if at < 0 {
			return nil, fmt.Errorf("%q is no weekday: sun mon tue wed thu fri sat, or daily, or dates", word)
		}
		on[at] = true
	}
	var list []Day
	for d := from; d <= until; d++ {
		if on[d.Weekday()] {
			list = append(list, d)
		}
	}
	if len(list) == 0 {
		return nil, fmt.Errorf("no such day lies in the season")
	}
	return list, nil
}

func dates(words []string) ([]Day, error) {
	var list []Day
	for _, word := range words {
		d, err := ParseDay(word)
		if err != nil {
			return nil, err
		}
		list = append(list, d)
	}
	slices.Sort(list)
	return slices.Compact(list), nil
}

// ParseTransit reads a number of days as 3, or as 2-3-6: least, most likely, most.
func ParseTransit(text string) (Triangle, error) {
	parts := strings.Split(text, "-")
	if len(parts) == 1 {
		parts = []string{text, text, text}
	}
	bad := fmt.Errorf("days, as 3, or least, likely and most as 2-3-6")
	if len(parts) != 3 {
		return Triangle{}, bad
	}
	var n [3]int
	for i, part := range parts {
		var err error
		if n[i], err = strconv.Atoi(part); err != nil || n[i] < 0 || n[i] > MaxDays {
			return Triangle{}, bad
		}
	}
	if n[0] > n[1] || n[1] > n[2] {
		return Triangle{}, bad
	}
	return Triangle{n[0], n[1], n[2]}, nil
}

// nearly reports whether probabilities sum up to 1, but for rounding.
func nearly(sum float64) bool { return math.Abs(sum-1) < 1e-9 }
