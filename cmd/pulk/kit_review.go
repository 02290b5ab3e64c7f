package main

import (
	"fmt"
	"math"
	"strings"
	"time"

	"github.com/urfave/cli/v2"

	"pulk/inventory/kit"
	"pulk/inventory/kitbook"
	"pulk/inventory/stock"
	"pulk/schema/fault"
	"pulk/sync/changelog"
)

func (e *env) kitReview() *cli.Command {
	return verb{path: "pulk kit review", args: "[PLAN…]", maxArgs: -1, usage: "what was planned against what the season took; were the odds right", reads: true,
		about: "For each kept plan: what failed and was used up to the delivery, what was carried in vain, what ran out, and what the plan's odds had said. " +
			"Without a PLAN: of the plans for one place and time the one that was kept last, and how good the odds were over all seasons that are over (Brier score). " +
			"Counts come from the record, at the place of the plan; what a repair on site brought back is not in them: say --held PART where the stock sufficed all the same.",
		examples: []string{"pulk kit review", "pulk kit review flight-1800 --delivered 2027-11-09 --held WIN-003"},
		flags: []cli.Flag{
			&cli.StringSliceFlag{Name: "delivered", Usage: "`PLAN=DATE` that the delivery really came, else as planned; may be repeated, and with one PLAN is a DATE"},
			&cli.StringSliceFlag{Name: "held", Usage: "`PART` did suffice, whatever the counts say; with one PLAN, may be repeated"},
			&cli.StringSliceFlag{Name: "ran-out", Usage: "`PART` did not suffice, whatever the counts say; likewise"},
		}, action: (*call).reviewKits}.command(e)
}

// kitReviewJSON is pulk kit review --json.
type kitReviewJSON struct {
	Plans       []reviewedJSON  `json:"plans"`
	Calibration calibrationJSON `json:"calibration"` // of the odds of single items, in seasons that are over
}

// reviewedJSON is a plan held against its season.
type reviewedJSON struct {
	Plan        keptRow       `json:"plan"`
	End         string        `json:"end"`  // RFC 3339: the delivery, or now
	Over        bool          `json:"over"` // whether the delivery came
	Counted     int           `json:"items_in_the_odds"`
	RanOut      int           `json:"items_that_ran_out"`
	Held        *bool         `json:"held"` // whether nothing that is in the odds ran out; null while it is open
	VainPieces  int64         `json:"in_vain_pieces"`
	VainGrams   int64         `json:"in_vain_mass_grams"`
	VainLitres  float64       `json:"in_vain_volume_litres"`
	VainCents   int64         `json:"in_vain_money_cents"`
	Lines       []outcomeJSON `json:"lines"`
	BrierOfPlan *float64      `json:"brier_score"` // of its items; null before the delivery
}

// outcomeJSON is what became of one line.
type outcomeJSON struct {
	keptLine
	Taken  int64 `json:"taken"` // failures of a spare; of a consumable what was issued
	InVain int64 `json:"in_vain"`
	Short  int64 `json:"short"`   // asked for, and by the plan neither there nor sent
	Held   *bool `json:"held"`    // whether the stock sufficed; null while it is open
	ByHand bool  `json:"by_hand"` // a person said so
}

// calibrationJSON is how good a row of forecasts was.
type calibrationJSON struct {
	Forecasts    int       `json:"forecasts"`
	Brier        float64   `json:"brier_score"`    // 0 is the best, 0.25 what even odds for everything give
	Expected     float64   `json:"brier_expected"` // if the odds were right
	Always       float64   `json:"brier_of_base_rate"`
	Z            float64   `json:"spiegelhalter_z"` // beyond 2 either way the odds are doubtful
	RanOut       int       `json:"ran_out"`
	RanOutMean   float64   `json:"ran_out_expected"`
	Reliability  []binJSON `json:"reliability"`
	SeasonsOver  int       `json:"seasons_over"`
	SeasonsHeld  int       `json:"seasons_held"`          // in which nothing that is in the odds ran out
	SeasonsSaid  float64   `json:"seasons_held_expected"` // the sum of what the plans' odds said
	SeasonsBrier *float64  `json:"seasons_brier_score"`   // null where none is over
}

// binJSON is the forecasts of one range of odds.
type binJSON struct {
	From      float64 `json:"from"`
	To        float64 `json:"to"`
	Forecasts int     `json:"forecasts"`
	Said      float64 `json:"odds_mean"` // 0 where there are none
	Held      int     `json:"held"`
}

func (c *call) reviewKits() error {
	out := kitReviewJSON{Plans: []reviewedJSON{}}
	var items, seasons []kitbook.Forecast
	err := c.view(func(tx *changelog.Tx) error {
		plans, err := c.plansToReview(tx)
		if err != nil {
			return err
		}
		delivered, err := c.deliveries(plans)
		if err != nil {
			return err
		}
		for i, p := range plans {
			season, err := kitbook.SeasonOf(tx, p, delivered[i], c.env.now())
			if err != nil {
				return fmt.Errorf("plan %s: %w", p.Name, err)
			}
			if err := c.sayHeld(tx, p, &season); err != nil {
				return err
			}
			r := kitbook.Review(p, season)
			items = append(items, r.Forecasts()...)
			if r.Season.Over && r.Known {
				seasons = append(seasons, kitbook.Forecast{Probability: p.Odds, Came: r.Held})
			}
			row, err := reviewedOf(tx, r)
			if err != nil {
				return err
			}
			out.Plans = append(out.Plans, row)
		}
		return nil
	})
	if err != nil {
		return err
	}
	out.Calibration = calibrationOf(items, seasons)
	if c.asJSON() {
		return c.printJSON(out)
	}
	c.printReviewed(out)
	return nil
}

func (c *call) plansToReview(tx *changelog.Tx) ([]*kitbook.Plan, error) {
	if c.NArg() == 0 {
		list, err := kitbook.List(tx)
		return kitbook.Carried(list), err
	}
	var plans []*kitbook.Plan
	for _, name := range c.Args().Slice() {
		p, err := kitbook.Find(tx, name)
		if err != nil {
			return nil, err
		}
		plans = append(plans, p)
	}
	return plans, nil
}

// deliveries returns when each plan's delivery came.
func (c *call) deliveries(plans []*kitbook.Plan) ([]time.Time, error) {
	var days []time.Time
	for _, p := range plans {
		day, err := time.Parse(time.DateOnly, p.Until)
		if err != nil {
			return nil, fmt.Errorf("plan %s: %q is no day of a delivery", p.Name, p.Until)
		}
		days = append(days, day)
	}
	for _, text := range c.StringSlice("delivered") {
		name, day, ok := strings.Cut(text, "=")
		if !ok && len(plans) == 1 {
			name, day = plans[0].Name, text
		}
		at, err := time.Parse(time.DateOnly, day)
		found := false
		for i, p := range plans {
			if p.Name == name && err == nil {
				found = true
				if days[i] = at; days[i].Format(time.DateOnly) <= p.From {
					return nil, fault.Misuse("look at the day again", "--delivered %s: the plan begins on %s", text, p.From)
				}
			}
		}
		if !found {
			return nil, fault.Misuse("like flight-1800=2027-11-09, of a plan that is reviewed", "--delivered %q", text)
		}
	}
	return days, nil
}

// sayHeld takes in what a person knows better than the counts.
func (c *call) sayHeld(tx *changelog.Tx, p *kitbook.Plan, season *kitbook.Season) error {
	for flag, held := range map[string]bool{"held": true, "ran-out": false} {
		for _, part := range c.StringSlice(flag) {
			if c.NArg() != 1 {
				return fault.Misuse("name it: pulk kit review PLAN", "--%s is about one plan", flag)
			}
			it, err := stock.FindItem(tx, part)
			if err != nil {
				return err
			}
			if _, said := season.Held[it.ID]; said && season.Held[it.ID] != held {
				return fault.Misuse("say one of both", "%s cannot have held and run out", part)
			}
			known := false
			for _, l := range p.Lines {
				known = known || l.Item == it.ID
			}
			if !known {
				return fault.Misuse("see: pulk kit show "+p.Name, "--%s: %s is not in the plan", flag, part)
			}
			season.Held[it.ID] = held
		}
	}
	return nil
}

func reviewedOf(tx *changelog.Tx, r *kitbook.Reviewed) (reviewedJSON, error) {
	row, err := keptRowOf(tx, r.Plan)
	if err != nil {
		return reviewedJSON{}, err
	}
	out := reviewedJSON{Plan: row, End: r.Season.End.UTC().Format(time.RFC3339), Over: r.Season.Over, Counted: r.Counted, RanOut: r.RanOut,
		VainPieces: r.InVain.Pieces, VainGrams: r.InVain.MassGrams, VainLitres: r.InVain.Litres, VainCents: r.InVain.Cents, Lines: []outcomeJSON{}}
	if r.Known {
		out.Held = &r.Held
	}
	if list := r.Forecasts(); len(list) > 0 {
		brier := kitbook.Calibrate(list).Brier
		out.BrierOfPlan = &brier
	}
	for i := range r.Outcomes {
		o := &r.Outcomes[i]
		line, err := keptLineOf(tx, &o.Line)
		if err != nil {
			return out, err
		}
		row := outcomeJSON{keptLine: line, Taken: o.Taken, InVain: o.InVain, Short: o.Short, ByHand: o.ByHand}
		if o.Known {
			row.Held = &o.Held
		}
		out.Lines = append(out.Lines, row)
	}
	return out, nil
}

func calibrationOf(items, seasons []kitbook.Forecast) calibrationJSON {
	k, all := kitbook.Calibrate(items), kitbook.Calibrate(seasons)
	out := calibrationJSON{Forecasts: k.Forecasts, Brier: k.Brier, Expected: k.Expected, Always: k.Always, Z: k.Z, RanOut: k.Failed, RanOutMean: k.FailExpected,
		Reliability: []binJSON{}, SeasonsOver: len(seasons), SeasonsHeld: len(seasons) - all.Failed, SeasonsSaid: float64(len(seasons)) - all.FailExpected}
	for _, b := range k.Bins {
		out.Reliability = append(out.Reliability, binJSON{b.From, b.To, b.Forecasts, b.Mean, b.Came})
	}
	if len(seasons) > 0 {
		out.SeasonsBrier = &all.Brier
	}
	return out
}

func (c *call) printReviewed(out kitReviewJSON) {
	if len(out.Plans) == 0 {
		c.printf("No plans are kept: keep one with pulk kit plan --save NAME, and review it after the season.\n")
		return
	}
	for _, r := range out.Plans {
		c.printSeason(r)
	}
	c.printCalibration(out.Calibration)
}

func (c *call) printSeason(r reviewedJSON) {
	state := "delivered " + r.End[:len(time.DateOnly)]
	if !r.Over {
		state = "not over: counted up to " + r.End
	}
	c.printBlock("", fmt.Sprintf("Plan %s (%s) for %s to %s%s, %s", r.Plan.Name, r.Plan.ID, r.Plan.From, r.Plan.Until, lateText(r.Plan.Late), state))
	c.printf("\n")
	t := newTable("part", "name", "expected", "failed or used", "there", "sent", "in vain", "short", "odds said", "held")
	for _, l := range r.Lines {
		t.add(l.PartNumber, l.Name+basisText(l.Basis), fmt.Sprintf("%.2f", l.Expected), l.Taken, l.There, l.Send, l.InVain, l.Short, probability(l.Odds), heldText(l))
	}
	t.print(c.env, "The plan has no lines.")
	c.printf("\n")
	text := fmt.Sprintf("Carried in vain: %s, %.1f kg, %.0f L, worth %.2f.", plural(int(r.VainPieces), "piece", "pieces"), float64(r.VainGrams)/1000, r.VainLitres, float64(r.VainCents)/100)
	if ran := ranOut(r); len(ran) > 0 {
		text += " More was asked for than was planned: " + strings.Join(ran, ", ") + "."
	} else {
		text += " Nothing was asked for beyond the plan."
	}
	text += fmt.Sprintf(" The plan said %.4f that nothing runs out; of %s in these odds %d did.", r.Plan.Odds, plural(r.Counted, "item", "items"), r.RanOut)
	c.printBlock("", text)
	c.printf("\n")
}

func heldText(l outcomeJSON) string {
	text := "open"
	if l.Held != nil {
		text = map[bool]string{true: "yes", false: "NO"}[*l.Held]
	}
	if l.ByHand {
		text += ", as said"
	}
	return text
}

// ranOut names the parts for which the planned stock did not suffice.
func ranOut(r reviewedJSON) []string {
	var list []string
	for _, l := range r.Lines {
		if l.Held != nil && !*l.Held && l.Basis != string(kit.NoRate) {
			list = append(list, l.PartNumber)
		}
	}
	return list
}

// fewForecasts is below how many a score says next to nothing (common practice).
const fewForecasts = 20

func (c *call) printCalibration(k calibrationJSON) {
	if k.Forecasts == 0 {
		c.printBlock("", "No season is over: the odds are scored after the delivery.")
		return
	}
	c.printf("Were the odds right? %s of single items in %s that %s over\n\n", plural(k.Forecasts, "forecast", "forecasts"), plural(k.SeasonsOver, "season", "seasons"), map[bool]string{true: "is", false: "are"}[k.SeasonsOver == 1])
	t := newTable("odds said", "items", "mean of them", "held")
	for _, b := range k.Reliability {
		if b.Forecasts > 0 {
			t.add(fmt.Sprintf("%.2f to %.2f", b.From, b.To), b.Forecasts, fmt.Sprintf("%.3f", b.Said), fmt.Sprintf("%d (%.3f)", b.Held, float64(b.Held)/float64(b.Forecasts)))
		}
	}
	t.print(c.env, "")
	c.printf("\n")
	text := fmt.Sprintf("Brier score %.4f (0 is the best, 0.25 even odds for everything); %.4f is to be expected if the odds are right. %d ran out, %.1f were to be expected.", k.Brier, k.Expected, k.RanOut, k.RanOutMean)
	switch {
	case k.Forecasts < fewForecasts:
		text += " So few forecasts say next to nothing."
	case math.Abs(k.Z) > 2 && float64(k.RanOut) > k.RanOutMean:
		text += fmt.Sprintf(" That is %.1f standard errors off: the odds were too good. Look at the items that ran out.", math.Abs(k.Z))
	case math.Abs(k.Z) > 2:
		text += fmt.Sprintf(" That is %.1f standard errors off: the odds were too careful, and mass was carried for it.", math.Abs(k.Z))
	default:
		text += fmt.Sprintf(" That is %.1f standard errors off: nothing speaks against the odds.", math.Abs(k.Z))
	}
	if k.SeasonsBrier != nil {
		text += fmt.Sprintf(" Nothing ran out in %d of %s; the plans said %.2f (Brier score %.4f).", k.SeasonsHeld, plural(k.SeasonsOver, "season", "seasons"), k.SeasonsSaid, *k.SeasonsBrier)
	}
	c.printBlock("", text)
}
