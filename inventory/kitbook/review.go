package kitbook

import (
	"time"

	"pulk/inventory/kit"
	"pulk/sync/clock"
)

// Season is what the time of a plan took, as far as the record tells.
type Season struct {
	From, End time.Time // the delivery, or what is known up to now
	Over      bool      // whether the delivery came
	Failed    map[clock.Dot]int64
	Issued    map[clock.Dot]int64
	// Held says of items whether their stock sufficed, where a person knows better than
	// the counts do.
	Held map[clock.Dot]bool
}

// Outcome is what became of one line of a plan.
type Outcome struct {
	Line
	Taken  int64 // failures of a spare; of a consumable what was issued
	InVain int64 // sent, and not asked for
	Short  int64 // asked for, and neither there nor sent
	// Known reports whether it is decided if the stock sufficed, and Held whether it did.
	Known, Held bool
	ByHand      bool // a person said so
}

// Reviewed is a plan held against its season.
type Reviewed struct {
	Plan     *Plan
	Season   Season
	Outcomes []Outcome
	// Known reports whether it is decided if anything that is in the odds of the plan ran
	// out, and Held whether nothing did.
	Known, Held bool
	Counted     int // items in the odds
	RanOut      int // of these
	InVain      Totals
}

// Review holds a plan against what its season took.
func Review(p *Plan, s Season) *Reviewed {
	out := &Reviewed{Plan: p, Season: s, Known: true, Held: true}
	for _, l := range p.Lines {
		o := outcome(l, s)
		out.Outcomes = append(out.Outcomes, o)
		if l.Send > 0 {
			share := float64(o.InVain) / float64(l.Send)
			out.InVain.Pieces += o.InVain
			out.InVain.MassGrams += int64(share * float64(l.MassGrams))
			out.InVain.Litres += share * l.Litres
			out.InVain.Cents += int64(share * float64(l.Cents))
		}
		if !l.Counts() {
			continue
		}
		out.Counted++
		switch {
		case !o.Known:
			out.Known = false
		case !o.Held:
			out.RanOut++
			out.Held = false
		}
	}
	if !out.Held { // one that ran out decides it
		out.Known = true
	}
	return out
}

// outcome judges one line. A redundant group holds as long as no more places are dead
// than may be. Before the delivery only what ran out is decided.
func outcome(l Line, s Season) Outcome {
	o := Outcome{Line: l, Taken: s.Issued[l.Item]}
	mayDie := int64(0)
	if l.Basis != kit.Consumable {
		o.Taken, mayDie = s.Failed[l.Item], max(0, l.Installed-l.Needed)
	}
	if l.Basis == kit.NoRate {
		mayDie = 0
	}
	o.Short = max(0, o.Taken-l.There-l.Send)
	o.InVain = min(l.Send, max(0, l.There+l.Send-o.Taken))
	if held, ok := s.Held[l.Item]; ok {
		o.Known, o.Held, o.ByHand = true, held, true
		return o
	}
	o.Held = o.Short <= mayDie
	o.Known = s.Over || !o.Held
	return o
}

// Forecasts are the odds that the plan gave its lines, with what came of them. They are
// empty before the delivery: who counts only what is decided early counts what ran
// out.
func (r *Reviewed) Forecasts() []Forecast {
	var list []Forecast
	for _, o := range r.Outcomes {
		if r.Season.Over && o.Odds >= 0 && o.Known {
			list = append(list, Forecast{o.Odds, o.Held})
		}
	}
	return list
}
