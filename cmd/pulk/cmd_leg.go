package main

import (
	"fmt"
	"math"
	"math/rand/v2"
	"strings"

	"github.com/urfave/cli/v2"

	"pulk/inventory/crate"
	"pulk/inventory/freight"
	"pulk/schema/fault"
)

const legsDocument = "docs/legs-csv.md"

func (e *env) legCommand() *cli.Command {
	legs := &cli.StringFlag{Name: "legs", Usage: "CSV `FILE` of the legs, in their order; columns: " + legsDocument}
	pieces := &cli.StringFlag{Name: "pieces", Usage: "CSV `FILE` of boxes that go: says how many trips a leg takes where the legs do not"}
	return group("leg", "the way to the site: will it be there in time, does it go aboard",
		verb{path: "pulk leg odds", usage: "when a load that is ready on a day is on site, and with what odds", storeless: true, reads: true,
			about: "Worked out exactly, day by day: departures and their cut-offs, cancellations by the weather, trips one after the other, and days of transit. " +
				"--simulate plays the same as an independent check. Cancellations are what you say they are: ask who flies there.",
			examples: []string{"pulk leg odds --legs legs.csv --ready 2026-10-26 --needed 2027-01-20 --simulate 20000"},
			flags: []cli.Flag{legs, &cli.StringFlag{Name: "ready", Usage: "`DATE` on which the load is at the start of the first leg"}, &cli.StringFlag{Name: "needed", Usage: "`DATE` by which it is needed on site"}, pieces,
				&cli.IntFlag{Name: "simulate", Usage: "also play it so many `TIMES`"}, &cli.Uint64Flag{Name: "seed", Value: 1, Usage: "`NUMBER` that what is played follows from"}}, action: (*call).legOdds}.command(e),
		verb{path: "pulk leg shipby", usage: "by when a load must be at the start of each leg", storeless: true, reads: true,
			about:    "Worked back from the day on which it is needed: the last day at the start of each leg from which it is on site in time with these odds, and the departure that it then catches.",
			examples: []string{"pulk leg shipby --legs legs.csv --needed 2027-01-20", "pulk leg shipby --legs legs.csv --needed 2027-01-20 --odds 0.8 --odds 0.95"},
			flags: []cli.Flag{legs, &cli.StringFlag{Name: "needed", Usage: "`DATE` by which it is needed on site"}, pieces,
				&cli.Float64SliceFlag{Name: "odds", Usage: "wanted `PROBABILITY` of being in time; may be repeated (else 0.9, 0.95 and 0.99)"}}, action: (*call).legShipBy}.command(e),
		verb{path: "pulk leg fit", usage: "hold a load against what each leg carries", storeless: true, reads: true,
			about: "Mass, volume and number of each trip, the mass of a piece, and the door that each piece must go through, standing as it may. Pieces that a leg refuses are named, and the command ends with 3. " +
				"Whether the pieces of a trip fit beside each other is for pulk crate pack.",
			examples: []string{"pulk leg fit --legs legs.csv --pieces crates.csv"}, flags: []cli.Flag{legs, pieces}, action: (*call).legFit}.command(e),
	)
}

// parseLegs reads the table of legs, and of each leg whether it tells how many trips the
// load takes.
func (c *call) parseLegs() (freight.Route, []bool, error) {
	path := c.String("legs")
	if path == "" {
		return nil, nil, fault.Misuse("its columns: "+legsDocument, "give --legs FILE")
	}
	source, err := readAtMost(path, freight.MaxBytes)
	if err != nil {
		return nil, nil, err
	}
	route, counted, faults, err := freight.ParseLegs(source)
	for _, f := range faults {
		fmt.Fprintf(c.env.stderr, "%s:%s\n", path, f)
	}
	switch {
	case len(faults) > 0:
		return nil, nil, fault.Hint("mend the cells named above; the columns: "+legsDocument, "%s has %s", path, plural(len(faults), "bad cell", "bad cells"))
	case err != nil:
		return nil, nil, fault.Hint("the columns: "+legsDocument, "%s: %s", path, err)
	}
	return route, counted, nil
}

// readLegs reads the legs; trips that the table does not tell are those that the load of
// --pieces takes.
func (c *call) readLegs() (freight.Route, error) {
	route, counted, err := c.parseLegs()
	if err != nil || c.String("pieces") == "" {
		return route, err
	}
	pieces, err := c.readPieces()
	if err != nil {
		return nil, err
	}
	for i, known := range counted {
		fit, err := freight.FitOf(route[i].Limits, pieces)
		if err != nil {
			return nil, fault.Hint("see docs/crate-csv.md", "%s", err)
		}
		if len(fit.Refused) > 0 {
			return nil, fault.Refuse("see them all: pulk leg fit", "leg %s does not carry %s: %s", route[i].Code, fit.Refused[0].Code, fit.Refused[0].Why)
		}
		if !known {
			route[i].Trips = max(1, fit.Trips)
		}
	}
	if err := route.Check(); err != nil {
		return nil, fault.Hint("the columns: "+legsDocument, "%s", err)
	}
	return route, nil
}

func (c *call) readPieces() ([]freight.Piece, error) {
	boxes, err := readTable(c, "pieces", "docs/crate-csv.md", crate.ParseBoxes)
	var pieces []freight.Piece
	for _, b := range boxes {
		pieces = append(pieces, freight.Piece{Code: b.ID, Count: b.Count, SidesMM: [3]int64{int64(b.Size[0]), int64(b.Size[1]), int64(b.Size[2])}, Grams: b.MassGrams, Upright: b.Upright})
	}
	return pieces, err
}

// day reads a flag that is a date.
func (c *call) day(flag string) (freight.Day, error) {
	text := c.String(flag)
	if text == "" {
		return 0, fault.Misuse("like --"+flag+" 2027-01-20", "give --%s DATE", flag)
	}
	d, err := freight.ParseDay(text)
	if err != nil {
		return 0, fault.Misuse("like --"+flag+" 2027-01-20", "%s", err)
	}
	return d, nil
}

// legOddsRow is a leg of the way of --json.
type legOddsRow struct {
	Leg       string  `json:"leg"`
	From      string  `json:"from"`
	To        string  `json:"to"`
	Mode      string  `json:"mode"`
	Trips     int     `json:"trips"`
	Departure string  `json:"first_departure"` // that a load catches which is where it starts at the median; empty: none
	Median    string  `json:"median"`          // YYYY-MM-DD at its end; empty where it is less than half as likely
	Late      string  `json:"day_95"`          // with a probability of 0.95; empty where it never comes to that
	Never     float64 `json:"never"`           // probability that no departure is left
	Cost      float64 `json:"cost"`            // what its cancellations take from the odds of being in time; 0 without a day needed
}

// legOddsJSON is pulk leg odds --json.
type legOddsJSON struct {
	Ready  string       `json:"ready"`
	Needed string       `json:"needed"` // or empty
	Odds   *float64     `json:"odds"`   // of being on site by then; null without a day needed
	Legs   []legOddsRow `json:"legs"`
	Played *playedJSON  `json:"played"` // null where nothing was played
}

// playedJSON is what trials showed.
type playedJSON struct {
	Trials        int     `json:"trials"`
	Seed          uint64  `json:"seed"`
	Odds          float64 `json:"odds"`
	StandardError float64 `json:"standard_error"`
	Never         float64 `json:"never"`
}

func (c *call) legOdds() error {
	route, err := c.readLegs()
	if err != nil {
		return err
	}
	ready, err := c.day("ready")
	if err != nil {
		return err
	}
	needed, hasNeed := freight.Day(math.MaxInt32), c.String("needed") != ""
	if hasNeed {
		if needed, err = c.day("needed"); err != nil {
			return err
		}
	}
	trials := c.Int("simulate")
	if trials < 0 || trials > maxWinters {
		return fault.Misuse(fmt.Sprintf("at most %d", maxWinters), "--simulate %d", trials)
	}
	if first := route[0].Departures[0]; first-ready > freight.MaxDays || ready-first > freight.MaxDays {
		return fault.Misuse("is it the right year?", "%s is more than %d days from the first departure, %s", ready, freight.MaxDays, first)
	}
	dists := route.Forward(ready)
	out := legOddsJSON{Ready: ready.String(), Legs: []legOddsRow{}}
	costs := map[string]float64{}
	if hasNeed {
		odds := dists[len(route)].By(needed)
		out.Needed, out.Odds = needed.String(), &odds
		for _, r := range route.Risks(ready, needed) {
			costs[r.Leg.Code] = max(0, r.Cost)
		}
	}
	for i, l := range route {
		row := legOddsRow{Leg: l.Code, From: l.From, To: l.To, Mode: l.Mode, Trips: l.Trips, Never: dists[i+1].Never, Cost: costs[l.Code]}
		if at, ok := dists[i].Quantile(0.5); ok {
			if d, ok := l.Catches(at); ok {
				row.Departure = d.String()
			}
		}
		if d, ok := dists[i+1].Quantile(0.5); ok {
			row.Median = d.String()
		}
		if d, ok := dists[i+1].Quantile(0.95); ok {
			row.Late = d.String()
		}
		out.Legs = append(out.Legs, row)
	}
	if trials > 0 {
		seed := c.Uint64("seed")
		p := route.Play(ready, needed, trials, rand.New(rand.NewPCG(seed, 0)).Float64)
		out.Played = &playedJSON{trials, seed, p.Odds(), math.Sqrt(p.Odds() * (1 - p.Odds()) / float64(trials)), float64(p.Never) / float64(trials)}
	}
	if c.asJSON() {
		return c.printJSON(out)
	}
	c.printLegOdds(out)
	return nil
}

// percentText is a probability for people: never 0 or 100 unless it is.
func percentText(p float64) string {
	switch {
	case p <= 0 || p >= 1:
		return fmt.Sprintf("%.0f %%", 100*p)
	case p < 0.0005:
		return "under 0.1 %"
	case p > 0.9995:
		return "over 99.9 %"
	}
	return fmt.Sprintf("%.1f %%", 100*p)
}

func (c *call) printLegOdds(out legOddsJSON) {
	c.printf("Ready on %s at %s:\n\n", out.Ready, out.Legs[0].From)
	head := []string{"leg", "to", "mode", "trips", "departs", "median", "95 %", "never"}
	if out.Odds != nil {
		head = append(head, "costs")
	}
	t := newTable(head...)
	for _, l := range out.Legs {
		t.add(l.Leg, l.To, l.Mode, l.Trips, orText(l.Departure, "none left"), orText(l.Median, "-"), orText(l.Late, "-"), percentText(l.Never), percentText(l.Cost))
	}
	t.print(c.env, "")
	if out.Odds != nil {
		c.printf("\nOn site by %s: %s\n", out.Needed, percentText(*out.Odds))
		c.printf("What a leg costs: so much likelier it would be if that leg was never cancelled.\n")
	}
	if p := out.Played; p != nil {
		c.printf("\nPlayed %d times (seed %d): ", p.Trials, p.Seed)
		if out.Odds != nil {
			c.printf("in time %s ± %.1f, ", percentText(p.Odds), 100*p.StandardError)
		}
		c.printf("never %s\n", percentText(p.Never))
	}
}

func orText(text, empty string) string {
	if text == "" {
		return empty
	}
	return text
}

// shipByRow is by when a load must be somewhere, of --json.
type shipByRow struct {
	Odds float64       `json:"odds"` // wanted, of being in time
	Legs []shipByLegJS `json:"legs"`
}

// shipByLegJS is the start of one leg.
type shipByLegJS struct {
	Leg       string  `json:"leg"`
	From      string  `json:"from"`
	By        string  `json:"by"`        // YYYY-MM-DD; empty where no day suffices
	Departure string  `json:"departure"` // that it then catches
	Reached   float64 `json:"reached"`   // odds from there on
	Best      float64 `json:"best"`      // the best odds that any day gives
}

func (c *call) legShipBy() error {
	route, err := c.readLegs()
	if err != nil {
		return err
	}
	needed, err := c.day("needed")
	if err != nil {
		return err
	}
	wanted := c.Float64Slice("odds")
	if len(wanted) == 0 {
		wanted = []float64{0.9, 0.95, 0.99}
	}
	first := route[0].Departures[0] - freight.Day(route[0].CutoffDays)
	if needed-first > 2*freight.MaxDays {
		return fault.Misuse("is it the right year?", "%s is more than %d days after the first departure", needed, 2*freight.MaxDays)
	}
	rows := []shipByRow{}
	for _, odds := range wanted {
		if !(odds > 0 && odds <= 1) {
			return fault.Misuse("like 0.95", "--odds %v is no probability", odds)
		}
		row := shipByRow{Odds: odds, Legs: []shipByLegJS{}}
		for _, d := range route.ShipBy(first, needed, odds) {
			leg := shipByLegJS{Leg: d.Leg.Code, From: d.Leg.From, Reached: d.Odds, Best: d.Best}
			if d.Days {
				leg.By, leg.Departure = d.By.String(), d.Departure.String()
			}
			row.Legs = append(row.Legs, leg)
		}
		rows = append(rows, row)
	}
	if c.asJSON() {
		return c.printJSON(rows)
	}
	c.printf("To be on site by %s, be at the start of each leg by (and go on):\n\n", needed)
	head := []string{"leg", "from"}
	for _, odds := range wanted {
		head = append(head, fmt.Sprintf("%g %%", 100*odds))
	}
	t := newTable(head...)
	for i, l := range route {
		cells := []any{l.Code, l.From}
		for _, row := range rows {
			leg := row.Legs[i]
			if leg.By == "" {
				cells = append(cells, "no day: at best "+percentText(leg.Best))
				continue
			}
			cells = append(cells, leg.By+" ("+leg.Departure+")")
		}
		t.add(cells...)
	}
	t.print(c.env, "")
	return nil
}

// legFitRow is a leg with a load, of --json.
type legFitRow struct {
	Leg          string       `json:"leg"`
	Mode         string       `json:"mode"`
	Pieces       int          `json:"pieces"`
	MassGrams    int64        `json:"mass_grams"`
	Litres       float64      `json:"volume_litres"`
	Trips        int          `json:"trips"`       // enough by mass, volume and number
	TripsLeast   int          `json:"trips_least"` // fewer cannot be
	ChargedGrams int64        `json:"charged_grams"`
	Refused      []refusedRow `json:"refused"`
}

// refusedRow is a piece that a leg does not carry.
type refusedRow struct {
	Piece string `json:"piece"`
	Why   string `json:"why"`
}

func (c *call) legFit() error {
	pieces, err := c.readPieces()
	if err != nil {
		return err
	}
	route, _, err := c.parseLegs()
	if err != nil {
		return err
	}
	rows, refused := []legFitRow{}, []string{}
	for _, l := range route {
		fit, err := freight.FitOf(l.Limits, pieces)
		if err != nil {
			return fault.Hint("see docs/crate-csv.md", "%s", err)
		}
		row := legFitRow{l.Code, l.Mode, fit.Pieces, fit.Grams, fit.Litres, fit.Trips, fit.TripsLeast, fit.ChargedGrams, []refusedRow{}}
		for _, r := range fit.Refused {
			row.Refused = append(row.Refused, refusedRow{r.Code, r.Why})
			refused = append(refused, fmt.Sprintf("leg %s does not carry %s: %s", l.Code, r.Code, r.Why))
		}
		rows = append(rows, row)
	}
	if c.asJSON() {
		if err := c.printJSON(rows); err != nil {
			return err
		}
	} else {
		t := newTable("leg", "mode", "pieces", "kg", "m³", "trips", "charged kg", "refused")
		for _, r := range rows {
			charged, trips := "", fmt.Sprint(r.Trips)
			if r.ChargedGrams > 0 {
				charged = fmt.Sprintf("%.1f", kg(r.ChargedGrams))
			}
			if r.TripsLeast < r.Trips {
				trips = fmt.Sprintf("%d, at least %d", r.Trips, r.TripsLeast)
			}
			var codes []string
			for _, f := range r.Refused {
				codes = append(codes, f.Piece)
			}
			t.add(r.Leg, r.Mode, r.Pieces, fmt.Sprintf("%.1f", kg(r.MassGrams)), fmt.Sprintf("%.2f", r.Litres/1000), trips, charged, strings.Join(codes, ", "))
		}
		t.print(c.env, "")
	}
	if len(refused) > 0 {
		return fault.RefuseBecause(refused, "send those by another way, or in smaller pieces", "%s", plural(len(refused), "piece does not go", "pieces do not go"))
	}
	return nil
}
