package exposure

import (
	"fmt"
	"strconv"

	"pulk/checklist/weather"
)

// Air is the weather that somebody read.
type Air struct {
	Celsius         float64
	MetresPerSecond float64 // at a height of 10 m
}

// kmPerHour turns a wind in m/s into km/h, exactly as far as people write it.
func (a Air) kmPerHour() float64 { return a.MetresPerSecond * 3.6 }

// Outdoors is what a weather allows outdoors.
type Outdoors struct {
	// Index is the wind chill index, where there is one.
	Index    float64
	HasIndex bool
	Band     Band
	// Period is the work/warm-up schedule's, where the air is cold enough for it.
	Period   Period
	Schedule bool
	Stops    []Stop // why nobody is to work outdoors now; none: they may
	Advice   []Advice
}

// Warmer than the work/warm-up schedule begins, nobody is sent out where skin freezes in
// less than ten minutes: at an index of so many or less.
//
// Source: common practice; Environment Canada calls it a high risk.
const coldestIndex = -40

const (
	warmestChill  = 10 // °C, up to which there is an index
	strongestWind = 20 // m/s: nobody is sent out in a storm (common practice)
	stormSource   = "common practice: no work outdoors in a wind over 20 m/s, whatever the air"
)

// JudgeOutdoors says what a weather allows to somebody who works outdoors, heavily or
// not.
func JudgeOutdoors(a Air, heavy bool) Outdoors {
	o := Outdoors{}
	o.index(a)
	if a.MetresPerSecond > strongestWind {
		o.stop(stormSource, "a wind of %s m/s", short(a.MetresPerSecond))
	}
	o.Period, o.Schedule = WarmUp(a.Celsius, a.kmPerHour(), heavy)
	switch {
	case o.Schedule && o.Period.Cease:
		o.stop(warmupSource, "at %s °C and a wind of %s m/s %s", short(a.Celsius), short(a.MetresPerSecond), o.Period)
	case o.Schedule:
		o.Advice = append(o.Advice, Advice{o.Period.String(), warmupSource, warmupRange})
	case a.Celsius < rowsFrom[0]+1:
		o.stop(warmupSource, "%s °C and a wind of %s m/s lie outside the schedule (%s): it has no figure; stop and ask", short(a.Celsius), short(a.MetresPerSecond), warmupRange)
	case o.HasIndex && o.Band.Freezes() && o.Band.From < 10:
		o.stop(frostbiteSource, "at a wind chill index of %s %s; nobody is sent out below %d (common practice)", whole(o.Index), o.Band, coldestIndex+1)
	}
	return o
}

// index fills in the wind chill index and the time to frostbite.
func (o *Outdoors) index(a Air) {
	if a.Celsius > warmestChill {
		return
	}
	var err error
	switch wind := a.kmPerHour(); {
	case wind >= 5:
		o.Index, err = weather.WindChill(a.Celsius, wind)
	case a.Celsius > 0:
		return // the formula for light wind begins at 0 °C
	default:
		o.Index, err = weather.LightWindChill(a.Celsius, wind)
	}
	if err != nil {
		o.stop("the wind chill index of 2001", "%v: there is no figure; stop and ask", err)
		return
	}
	o.HasIndex, o.Band = true, Frostbite(o.Index)
	if o.Band.Freezes() {
		text := o.Band.String() + ": cover all of it, watch each other's faces"
		if a.kmPerHour() > 50 {
			text += "; in this wind sooner than that"
		}
		o.Advice = append(o.Advice, Advice{text, frostbiteSource, frostbiteRange})
	}
}

func (o *Outdoors) stop(source, format string, args ...any) {
	o.Stops = append(o.Stops, Stop{fmt.Sprintf(format, args...), source})
}

// short writes a number with the digits that it has, four after the point at most.
func short(x float64) string { return strconv.FormatFloat(roundTo(x, 1e4), 'f', -1, 64) }

func whole(x float64) string { return strconv.FormatFloat(roundTo(x, 1), 'f', -1, 64) }
