package main

import (
	"fmt"

	"pulk/cmd/book"
	"pulk/cmd/paper"
	"pulk/inventory/freight"
	"pulk/schema/fault"
)

// shipWay is how the crates go, where legs are told.
type shipWay struct {
	deadlines []freight.Deadline // none without legs
	needed    freight.Day
	odds      float64
	notes     []string // what a leg does not carry, and what else is amiss
}

// wayOf holds the crates of a manifest against the legs that are told.
func (c *call) wayOf(p *papers) (shipWay, error) {
	if c.String("legs") == "" {
		return shipWay{}, nil
	}
	w := shipWay{odds: c.Float64("odds")}
	if !(w.odds > 0 && w.odds < 1) {
		return w, fault.Misuse("like 0.95", "--odds %v is no probability", w.odds)
	}
	var err error
	if w.needed, err = freight.ParseDay(p.Needed); err != nil {
		return w, fault.Misuse("name it when the manifest is made: pulk manifest make --needed DATE", "manifest %s does not say by when it is needed", p.Code)
	}
	route, counted, err := c.parseLegs()
	if err != nil {
		return w, err
	}
	var pieces []freight.Piece
	for _, k := range p.Crates {
		pieces = append(pieces, freight.Piece{Code: k.Code, Count: 1, SidesMM: k.Outside, Grams: k.GrossGrams})
	}
	for i := range route {
		fit, err := freight.FitOf(route[i].Limits, pieces)
		if err != nil {
			return w, err
		}
		for _, r := range fit.Refused {
			w.notes = append(w.notes, fmt.Sprintf("leg %s does not carry %s: %s", route[i].Code, r.Code, r.Why))
		}
		if !counted[i] {
			route[i].Trips = max(1, fit.Trips)
		}
	}
	w.deadlines = route.ShipBy(route[0].Departures[0]-freight.Day(route[0].CutoffDays), w.needed, w.odds)
	return w, nil
}

// table is the legs for a workbook or CSV.
func (w shipWay) table() book.Table {
	t := book.Table{Name: "legs", Columns: []book.Column{{Head: "leg"}, {Head: "from", Chars: 24}, {Head: "to", Chars: 24}, {Head: "mode"}, {Head: "trips"}, {Head: "be there by", Chars: 12}, {Head: "departure then", Chars: 14}, {Head: "odds from there", Decimals: 3}}}
	for _, d := range w.deadlines {
		row := []any{d.Leg.Code, d.Leg.From, d.Leg.To, d.Leg.Mode, d.Leg.Trips, nil, nil, d.Best}
		if d.Days {
			row[5], row[6], row[7] = d.By.String(), d.Departure.String(), d.Odds
		}
		t.Rows = append(t.Rows, row)
	}
	return t
}

// print lays the way out on pages.
func (w shipWay) print(d *paper.Doc) {
	if len(w.deadlines) == 0 {
		return
	}
	d.Heading(2, "Way")
	t := paper.Table{SizePoints: 8, Columns: []paper.Column{{Head: "leg"}, {Head: "from", Share: 2}, {Head: "to", Share: 2}, {Head: "mode", Share: 0.8}, {Head: "trips", Share: 0.6, Align: paper.Right}, {Head: "be there by", Share: 1.2, Face: paper.Bold}, {Head: "to depart on", Share: 1.2}, {Head: "odds then", Align: paper.Right}}}
	for _, l := range w.deadlines {
		row := []string{l.Leg.Code, l.Leg.From, l.Leg.To, l.Leg.Mode, fmt.Sprint(l.Leg.Trips), "no day suffices", "", "at best " + percentText(l.Best)}
		if l.Days {
			row[5], row[6], row[7] = l.By.String(), l.Departure.String(), percentText(l.Odds)
		}
		t.Rows = append(t.Rows, row)
	}
	d.Table(t)
	d.Text(paper.Style{SizePoints: 8}, fmt.Sprintf("The last day at the start of each leg from which the crates are on site by %s with odds of %g %% at least, cut-offs kept. Chances of cancellation are those of the table of legs.", w.needed, 100*w.odds))
	for _, note := range w.notes {
		d.Item(5, "!", paper.Style{SizePoints: 9, Face: paper.Bold}, note)
	}
}
