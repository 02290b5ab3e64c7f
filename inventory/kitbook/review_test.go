package kitbook

import (
	"testing"

	"pulk/inventory/kit"
	"pulk/sync/clock"
)

func TestReview(t *testing.T) {
	item := itemDot(1)
	line := Line{Item: item, Basis: kit.Spare, Installed: 3, Needed: 3, There: 1, Send: 2, Odds: 0.9, MassGrams: 500}
	with := func(change func(*Line)) Line {
		l := line
		change(&l)
		return l
	}
	for _, c := range []struct {
		name          string
		line          Line
		failed        int64
		issued        int64
		over          bool
		held          map[clock.Dot]bool
		known, holds  bool
		inVain, short int64
	}{
		{name: "nothing failed", line: line, over: true, known: true, holds: true, inVain: 2},
		{name: "what was there sufficed", line: line, failed: 1, over: true, known: true, holds: true, inVain: 2},
		{name: "one of two used", line: line, failed: 2, over: true, known: true, holds: true, inVain: 1},
		{name: "just enough", line: line, failed: 3, over: true, known: true, holds: true},
		{name: "one short", line: line, failed: 4, over: true, known: true, short: 1},
		{name: "not over, nothing decided", line: line, failed: 3, known: false, holds: true},
		{name: "not over, and ran out", line: line, failed: 5, known: true, short: 2},
		{name: "a group holds with one dead", line: with(func(l *Line) { l.Needed = 2 }), failed: 4, over: true, known: true, holds: true, short: 1},
		{name: "and not with two", line: with(func(l *Line) { l.Needed = 2 }), failed: 5, over: true, known: true, short: 2},
		{name: "a person says it was repaired", line: line, failed: 5, over: true, held: map[clock.Dot]bool{item: true}, known: true, holds: true, short: 2},
		{name: "a person says it ran out", line: line, over: true, held: map[clock.Dot]bool{item: false}, known: true, inVain: 2},
		{name: "consumable", line: with(func(l *Line) { l.Basis = kit.Consumable; l.Odds = -1 }), failed: 9, issued: 2, over: true, known: true, holds: true, inVain: 1},
		{name: "consumable that ran out", line: with(func(l *Line) { l.Basis = kit.Consumable; l.Odds = -1 }), issued: 7, over: true, known: true, short: 4},
	} {
		season := Season{Over: c.over, Failed: map[clock.Dot]int64{item: c.failed}, Issued: map[clock.Dot]int64{item: c.issued}, Held: c.held}
		r := Review(&Plan{Lines: []Line{c.line}}, season)
		o := r.Outcomes[0]
		if o.Known != c.known || o.Held != c.holds || o.InVain != c.inVain || o.Short != c.short {
			t.Errorf("%s: %+v", c.name, o)
		}
		if c.line.Basis == kit.Spare && (r.Known != c.known || r.Held != c.holds || r.Counted != 1) {
			t.Errorf("%s: the plan is known %v, held %v", c.name, r.Known, r.Held)
		}
		forecasts := r.Forecasts()
		if want := c.over && c.line.Odds >= 0; (len(forecasts) == 1) != want || want && forecasts[0] != (Forecast{0.9, c.holds}) {
			t.Errorf("%s: forecasts %v", c.name, forecasts)
		}
	}
}

// TestReviewDesirable: what may run out decides nothing, and still has odds.
func TestReviewDesirable(t *testing.T) {
	plan := &Plan{Lines: []Line{{Item: itemDot(1), Basis: kit.Spare, Installed: 1, Needed: 1, Odds: 0.4, Class: kit.Desirable}}}
	r := Review(plan, Season{Over: true, Failed: map[clock.Dot]int64{itemDot(1): 1}})
	if !r.Known || !r.Held || r.Counted != 0 || len(r.Forecasts()) != 1 {
		t.Errorf("%+v", r)
	}
}

// TestReviewConsumables: one with odds decides as a spare does, one without does not.
func TestReviewConsumables(t *testing.T) {
	plan := &Plan{Lines: []Line{{Item: itemDot(1), Basis: kit.Consumable, Send: 10, Odds: 0.8}, {Item: itemDot(2), Basis: kit.Consumable, Send: 10, Odds: -1}}}
	for issued, held := range map[int64]bool{10: true, 11: false} {
		r := Review(plan, Season{Over: true, Issued: map[clock.Dot]int64{itemDot(1): issued, itemDot(2): 99}})
		if !r.Known || r.Held != held || r.Counted != 1 || len(r.Forecasts()) != 1 {
			t.Errorf("%d issued: %+v", issued, r)
		}
	}
}

func TestCarried(t *testing.T) {
	plan := func(name, until string, void bool) *Plan {
		p := &Plan{Name: name, From: "2027-02-15", Until: until}
		if void {
			p.Voided = &Void{}
		}
		return p
	}
	a, b, c, d := plan("a", "2027-11-01", false), plan("b", "2028-11-01", false), plan("c", "2027-11-01", false), plan("d", "2028-11-01", true)
	got := Carried([]*Plan{a, b, c, d})
	if len(got) != 2 || got[0] != b || got[1] != c {
		t.Errorf("carried %v, want b and c", got)
	}
}
