package exposure

import (
	"fmt"
	"math"
	"time"
)

// Stay is a height at which somebody began to sleep.
type Stay struct {
	Metres int64
	From   time.Time
}

// Rest is how long somebody rests after the last of some arrivals, before heavy work.
type Rest struct {
	Days  int       // 0: none is asked for
	Until time.Time // zero where Days is 0
	Stops []Stop    // there is no figure
	// Advice is what to heed of the way up.
	Advice []Advice
}

// Over reports whether heavy work may begin at a time.
func (r Rest) Over(now time.Time) bool { return len(r.Stops) == 0 && !now.Before(r.Until) }

// RestSource is where the days of rest come from.
const RestSource = "common practice: no heavy work in the first days at height; the day for each 1,000 m after the Wilderness Medical Society's guidelines (2010)"

const (
	restFromMetres = 2500 // at which heights bodies begin to need time
	restDays       = 3    // after an arrival there, plus one for each whole 1,000 m above 3,000 m
	restToMetres   = 5500 // above which nobody gets used to it for good
	stepMetres     = 500  // a higher place by so much asks for no new rest once the rest below is over
	ruleFromMetres = 3000

	restRange = "2,500 to 5,500 m by the map; where the barometer reads lower than the map's height, count the height that it tells"

	ascentSource = "Wilderness Medical Society, clinical practice guidelines for acute altitude illness (2019, 2024)"
	ascentRange  = "sleeping heights above 3,000 m; of a step from below only what lies above counts (our reading: the guideline does not say)"
)

// RestAfter says how long somebody rests after the last of some stays, which are in
// the order of their times.
func RestAfter(stays []Stay) Rest {
	rest := Rest{}
	used := math.Inf(-1) // the height that the body has had its rest for
	for i, stay := range stays {
		if i > 0 && rest.Over(stay.From) {
			used = float64(stays[i-1].Metres)
		}
		switch {
		case stay.Metres < restFromMetres:
			rest = Rest{} // down again: what comes next begins anew
		case stay.Metres > restToMetres:
			rest = Rest{Stops: []Stop{{fmt.Sprintf("%d m lies above %d m: there is no figure for rest; stop and ask", stay.Metres, restToMetres), RestSource}}}
		case used >= restFromMetres && float64(stay.Metres)-used <= stepMetres:
			rest.Days, rest.Until = 0, time.Time{}
		default:
			days := restDays + int(max(0, stay.Metres-ruleFromMetres)/1000)
			until := stay.From.Add(time.Duration(days) * 24 * time.Hour)
			if until.Before(rest.Until) {
				until = rest.Until // a rest that was begun is not made shorter by going on
			}
			rest = Rest{Days: days, Until: until}
		}
	}
	rest.Advice = ascentAdvice(stays)
	if rest.Days > 0 {
		rest.Advice = append(rest.Advice, Advice{fmt.Sprintf("rest for %d days before heavy work; whoever feels ill at height goes no higher, and tells somebody", rest.Days), RestSource, restRange})
	}
	return rest
}

// ascentAdvice tells where the last step up was larger than the rule allows for the
// nights in between.
func ascentAdvice(stays []Stay) []Advice {
	n := len(stays) - 1
	if n < 1 {
		return nil
	}
	nights := max(1, int(stays[n].From.Sub(stays[n-1].From)/(24*time.Hour)))
	gain := gainAbove(float64(stays[n-1].Metres), float64(stays[n].Metres))
	if gain <= float64(nights*stepMetres) {
		return nil
	}
	return []Advice{{fmt.Sprintf("%.0f m higher than the last sleeping place, after %s: more than %d m a night", gain, nightsText(nights), stepMetres), ascentSource, ascentRange}}
}

func nightsText(n int) string {
	if n == 1 {
		return "1 night"
	}
	return fmt.Sprintf("%d nights", n)
}

// FastNights returns which nights of an ascent, counted from 1, lie more than 500 m
// higher than the night before, of what is above 3,000 m. The first height is where
// the ascent begins.
//
// Source: Wilderness Medical Society, as above.
func FastNights(sleepingMetres []float64) []int {
	var nights []int
	for i := 1; i < len(sleepingMetres); i++ {
		if gainAbove(sleepingMetres[i-1], sleepingMetres[i]) > stepMetres {
			nights = append(nights, i)
		}
	}
	return nights
}

// gainAbove is how much of a step up lies above 3,000 m.
func gainAbove(from, to float64) float64 { return to - max(from, ruleFromMetres) }

func roundTo(x, parts float64) float64 { return math.Round(x*parts) / parts }
