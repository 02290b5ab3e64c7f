package exposure

import "fmt"

// Period is how long people may work outdoors at a stretch, of four hours. Between
// stretches lie warm-up breaks of ten minutes in a warm place, after four hours a long one.
type Period struct {
	Minutes int // at most; 0: no more than the usual breaks are asked for
	Breaks  int // in four hours
	Cease   bool
}

func (p Period) String() string {
	switch {
	case p.Cease:
		return "all work that is no emergency ceases"
	case p.Minutes == 0:
		return "the usual breaks, in a warm place"
	}
	return fmt.Sprintf("at most %d minutes outdoors at a stretch, then 10 minutes in a warm place, %d times in 4 hours", p.Minutes, p.Breaks)
}

const (
	warmupSource = "work/warm-up schedule for a four-hour shift (Saskatchewan Labour, adopted by ACGIH as a threshold limit value)"
	warmupRange  = "dry clothing, moderate to heavy work, -26 °C and colder, wind up to 32 km/h (9 m/s)"
)

// steps are those of the schedule from mild to severe: each row of colder air begins one
// further on, and each column of stronger wind goes one further.
//
// Source: the schedule as published by Saskatchewan Labour (Cold Conditions Guidelines
// for Outside Workers) and adopted by ACGIH; seen in stored copies, which
// testdata/warmup.csv names.
var steps = []Period{{0, 1, false}, {0, 1, false}, {75, 2, false}, {55, 3, false}, {40, 4, false}, {30, 5, false}, {0, 0, true}}

// rowsFrom are the warmest temperatures of the rows, in °C.
var rowsFrom = []float64{-26, -29, -32, -35, -38, -40, -43}

// columnsTo are the strongest winds of the columns, in km/h. The first is "no
// noticeable wind".
var columnsTo = []float64{0, 8, 16, 24, 32}

// WarmUp returns the period for an air temperature in °C and a wind in km/h. Work that
// moves the body little counts as one row colder. It is ok only within the schedule:
// what lies between two of its columns counts as the stronger wind.
func WarmUp(celsius, kmPerHour float64, heavy bool) (p Period, ok bool) {
	row := -1
	for i, from := range rowsFrom {
		if celsius < from+1 { // -28.5, between two rows, lies in the colder one
			row = i
		}
	}
	if row < 0 || kmPerHour < 0 || kmPerHour > columnsTo[len(columnsTo)-1] {
		return Period{}, false
	}
	if !heavy {
		row = min(row+1, len(rowsFrom)-1)
	}
	column := 0
	for i, to := range columnsTo {
		if kmPerHour > to {
			column = i + 1
		}
	}
	return steps[min(row+column, len(steps)-1)], true
}
