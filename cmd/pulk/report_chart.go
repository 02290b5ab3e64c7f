package main

import (
	"fmt"
	"math"
	"strconv"
	"time"

	"pulk/schema/kind"
)

// Charts are worked out here, in the units of their viewBox, and drawn by the page's
// template.

// dayTimeline is the 24 hours of a day, a row for each run: bars for what was done
// in each hour, and a mark of its own shape for each failure and sign-off.
type dayTimeline struct {
	Width, Height float64
	Rows          []timelineRow
	Ticks         []timelineTick
	Most          int // what the highest bar stands for
}

type timelineRow struct {
	Label string
	Y     float64 // of the label's base line
	Base  float64 // of the bars
	Bars  []timelineBar
	Marks []timelineMark
	Says  string // for screen readers
}

type timelineBar struct{ X, Y, W, H float64 }

// timelineMark is a triangle for what failed, a diamond for a go, a square for a stop.
type timelineMark struct {
	Shape string // fail, go, stop
	D     string // SVG path
}

type timelineTick struct {
	X          float64
	UTC, Local string
	Anchor     string
}

const (
	timelineWidth = 360.0
	timelineLeft  = 6.0
	timelineRight = 6.0
	timelineTop   = 6.0
	rowHeight     = 46.0
	barHeight     = 22.0
	axisHeight    = 32.0
)

func timelineX(sinceMidnight time.Duration) float64 {
	return timelineLeft + (timelineWidth-timelineLeft-timelineRight)*sinceMidnight.Hours()/24
}

// timeline draws the day; nil where nothing was done.
func (r *dayReport) timeline() *dayTimeline {
	if len(r.Runs) == 0 {
		return nil
	}
	day, _ := time.Parse(time.DateOnly, r.Date)
	t := &dayTimeline{Width: timelineWidth, Height: timelineTop + rowHeight*float64(len(r.Runs)) + axisHeight}
	hours := make([][24]int, len(r.Runs))
	for i := range r.Runs {
		for _, e := range r.Runs[i].Events {
			hour := min(max(int(e.At.Sub(day).Hours()), 0), 23)
			hours[i][hour]++
			t.Most = max(t.Most, hours[i][hour])
		}
	}
	for i := range r.Runs {
		t.Rows = append(t.Rows, r.Runs[i].timelineRow(hours[i], t.Most, timelineTop+rowHeight*float64(i), day))
	}
	for hour := 0; hour <= 24; hour += 6 {
		tick := timelineTick{X: round1(timelineX(time.Duration(hour) * time.Hour)), UTC: fmt.Sprintf("%02d", hour), Anchor: "middle"}
		if r.showsLocal() {
			tick.Local = day.Add(time.Duration(hour) * time.Hour).In(r.zone).Format("15:04")
		}
		switch hour {
		case 0:
			tick.Anchor = "start"
		case 24:
			tick.Anchor = "end"
		}
		t.Ticks = append(t.Ticks, tick)
	}
	return t
}

func (r *dayRun) timelineRow(hours [24]int, most int, top float64, day time.Time) timelineRow {
	row := timelineRow{Label: r.ID + " " + r.Title, Y: top + 12, Base: top + rowHeight - 6}
	width := timelineX(time.Hour) - timelineX(0)
	entries, failed, signed := 0, 0, 0
	for hour, n := range hours {
		if entries += n; n == 0 {
			continue
		}
		height := max(2, barHeight*float64(n)/float64(most))
		row.Bars = append(row.Bars, timelineBar{round1(timelineX(time.Duration(hour)*time.Hour) + 0.75), round1(row.Base - height), round1(width - 1.5), round1(height)})
	}
	for _, e := range r.Events {
		x := timelineX(e.At.Sub(day))
		switch {
		case e.Bad && (e.Kind == kind.StepReading.Name || e.Kind == kind.StepCheck.Name):
			failed++
			row.Marks = append(row.Marks, timelineMark{"fail", triangle(x, row.Base-4, 5)})
		case e.Kind == kind.StepSign.Name && e.Bad:
			signed++
			row.Marks = append(row.Marks, timelineMark{"stop", square(x, row.Base-4, 4)})
		case e.Kind == kind.StepSign.Name:
			signed++
			row.Marks = append(row.Marks, timelineMark{"go", diamond(x, row.Base-4, 5)})
		}
	}
	row.Says = fmt.Sprintf("run %s: %d entries, %d failed, %d sign-offs", r.ID, entries, failed, signed)
	return row
}

func triangle(x, y, r float64) string {
	return fmt.Sprintf("M%s %sL%s %sL%s %sZ", px(x), px(y-r), px(x+r), px(y+r), px(x-r), px(y+r))
}

func diamond(x, y, r float64) string {
	return fmt.Sprintf("M%s %sL%s %sL%s %sL%s %sZ", px(x), px(y-r), px(x+r), px(y), px(x), px(y+r), px(x-r), px(y))
}

func square(x, y, r float64) string {
	return fmt.Sprintf("M%s %sh%sv%sh%sZ", px(x-r), px(y-r), px(2*r), px(2*r), px(-2*r))
}

func round1(x float64) float64 { return math.Round(x*10) / 10 }
func px(x float64) string      { return strconv.FormatFloat(round1(x), 'f', -1, 64) }

// rangePlot shows the readings of one step on the range that passes.
type rangePlot struct {
	Step, Quantity, Unit, Limits string
	Values                       string // as written down
	Failed                       int
	X, W                         float64 // the range that passes
	OpenLow, OpenHigh            bool    // no limit on that side
	Low, High                    string  // the limits as written, empty where there is none
	Good                         []float64
	Bad                          []string // paths
	Says                         string
}

const (
	plotWidth  = 150.0
	plotMargin = 8.0
	plotY      = 9.0
)

// plots draws the readings of a run that have limits, a plot for each step, and one for
// each limits where those of a step were worked out differently.
func (r *dayRun) plots() []rangePlot {
	type group struct{ step, limits string }
	var order []group
	byStep := map[group][]*dayEvent{}
	for i := range r.Events {
		e := &r.Events[i]
		if e.Reading == nil || e.Voided || e.Reading.Min == nil && e.Reading.Max == nil {
			continue
		}
		key := group{e.Step, e.Reading.Limits}
		if byStep[key] == nil {
			order = append(order, key)
		}
		byStep[key] = append(byStep[key], e)
	}
	var plots []rangePlot
	for _, key := range order {
		plots = append(plots, plotOf(key.step, byStep[key]))
	}
	return plots
}

func plotOf(step string, events []*dayEvent) rangePlot {
	first := events[0].Reading
	p := rangePlot{Step: step, Quantity: first.Quantity, Unit: first.Unit, Limits: first.Limits, OpenLow: first.Min == nil, OpenHigh: first.Max == nil}
	low, high := math.Inf(1), math.Inf(-1)
	widen := func(text string) float64 {
		x, _ := strconv.ParseFloat(text, 64)
		low, high = min(low, x), max(high, x)
		return x
	}
	var least, most float64
	if !p.OpenLow {
		least, p.Low = widen(*first.Min), *first.Min
	}
	if !p.OpenHigh {
		most, p.High = widen(*first.Max), *first.Max
	}
	for _, e := range events {
		widen(e.Reading.Value)
	}
	if high == low {
		margin := max(math.Abs(low)/10, 1)
		low, high = low-margin, high+margin
	}
	beyond := 0.2 * (high - low) // where no limit ends the range, it goes on past the values
	if p.OpenLow {
		low -= beyond
	}
	if p.OpenHigh {
		high += beyond
	}
	at := func(x float64) float64 {
		return plotMargin + (plotWidth-2*plotMargin)*(x-low)/(high-low)
	}
	from, to := 0.0, plotWidth
	if !p.OpenLow {
		from = at(least)
	}
	if !p.OpenHigh {
		to = at(most)
	}
	p.X, p.W = round1(from), round1(max(1, to-from))
	p.mark(events, at)
	return p
}

func (p *rangePlot) mark(events []*dayEvent, at func(float64) float64) {
	for i, e := range events {
		if i > 0 {
			p.Values += ", "
		}
		p.Values += e.Reading.Value
		x, _ := strconv.ParseFloat(e.Reading.Value, 64)
		if e.Bad {
			p.Failed++
			p.Values += " ▲"
			p.Bad = append(p.Bad, triangle(at(x), plotY, 5))
		} else {
			p.Good = append(p.Good, round1(at(x)))
		}
	}
	p.Says = fmt.Sprintf("%s %s %s, limits %s, %d of %d outside", p.Quantity, p.Values, p.Unit, p.Limits, p.Failed, len(events))
}

// ageBar shows how old the newest news of a site is.
type ageBar struct {
	Code, Age string
	W         float64 // of ageWidth
	None      bool    // nothing of it is here
	Day       float64 // where one day stands; 0 where it lies outside
	Says      string
}

const ageWidth = 150.0

// ageBars draws the sites' ages on one scale, of a day or the greatest age.
func (r *dayReport) ageBars() []ageBar {
	const day = 24 * 60 * 60
	longest := int64(day)
	for _, s := range r.Sites {
		longest = max(longest, s.AgeSeconds)
	}
	var bars []ageBar
	for _, s := range r.Sites {
		bar := ageBar{Code: s.Code, None: s.NewestAt == nil, Day: round1(ageWidth * day / float64(longest))}
		if bar.None {
			bar.Says = "nothing of " + s.Code + " is here"
		} else {
			bar.Age = s.age()
			bar.W = round1(min(ageWidth, max(2, ageWidth*float64(s.AgeSeconds)/float64(longest))))
			bar.Says = "newest of " + s.Code + " is " + bar.Age + " old"
		}
		bars = append(bars, bar)
	}
	return bars
}
