package main

import (
	"bytes"
	"fmt"
	"strings"
	"time"

	"github.com/urfave/cli/v2"

	"pulk/inventory/kit"
	"pulk/inventory/sparing"
	"pulk/schema/fault"
	"pulk/sync/carrier"
	"pulk/sync/changelog"
)

func (e *env) kitCommand() *cli.Command {
	return group("kit", "next season's kit list",
		verb{path: "pulk kit plan", usage: "spares and consumables for the time until the next delivery", reads: true, writes: true,
			about: "For each item in service: the failure rate from the datasheet and the record, and the smallest number of spares that reaches the confidence. " +
				"For each part of the planned runs: what they will use up, as past runs did. Everything that is assumed stands below the table. " +
				"With --mass, --volume or --money (or --odds) all is chosen together instead, so that the odds that nothing runs out are the best that fit; consumables go as planned at least. " +
				"Interrupted, it prints the best found so far.",
			examples: []string{"pulk kit plan --until 2027-11-01 --confidence 0.95 --at stn --runs borehole-lowering=3 --runs module-acceptance=30",
				"pulk kit plan --until 2027-11-01 --planned planned_runs.csv --unreachable hole-1 --csv kit.csv",
				"pulk kit plan --until 2027-11-01 --mass 1800kg --volume 9m3 --least WIN-003=1 --simulate 100000",
				"pulk kit plan --until 2027-11-01 --odds 0.95 --volume 9m3",
				"pulk kit plan --until 2027-11-01 --late 14=0.25 --late 30=0.05 --terms terms.csv --mass 1800kg --vital-odds 0.99",
				"pulk kit plan --until 2027-11-01 --mass 1800kg --save flight-1800 --as mirre"},
			flags: append(append(append(planFlags(), capFlags()...), simulateFlags()...), oddsFlag(),
				&cli.StringFlag{Name: "save", Usage: "also keep the plan under a `NAME`, for pulk kit compare and other sites; needs --as"},
				&cli.StringFlag{Name: "note", Usage: "with --save: a `TEXT` to keep beside it"},
				&cli.StringFlag{Name: "csv", Usage: "also write all lines to `FILE`; columns: docs/kit-csv.md"},
				&cli.BoolFlag{Name: "all", Usage: "also show lines with nothing to send"}),
			action: (*call).kitPlan}.command(e),
		verb{path: "pulk kit why", args: "PART", minArgs: 1, maxArgs: 1, usage: "the arithmetic behind one line of the plan, in words and numbers", reads: true,
			about:    "Give it the flags that the plan had.",
			examples: []string{"pulk kit why WIN-003 --until 2027-11-01 --at stn", "pulk kit why WIN-003 --until 2027-11-01 --mass 1800kg"},
			flags:    append(append(planFlags(), capFlags()...), oddsFlag()),
			action:   (*call).kitWhy}.command(e),
		verb{path: "pulk kit list", usage: "the plans that are kept", reads: true, action: (*call).kitList}.command(e),
		verb{path: "pulk kit show", args: "PLAN", minArgs: 1, maxArgs: 1, usage: "a kept plan, as it was made", reads: true,
			about: "PLAN is its name, or its id.", action: (*call).kitShow}.command(e),
		verb{path: "pulk kit compare", args: "PLAN PLAN", minArgs: 2, maxArgs: 2, usage: "two kept plans side by side, and what risk moves", reads: true,
			about:    "Lines whose risk moves most come first; what is the same in both is only counted, unless --all.",
			examples: []string{"pulk kit compare flight-1800 flight-2200"},
			flags:    []cli.Flag{&cli.BoolFlag{Name: "all", Usage: "also show lines that are the same"}},
			action:   (*call).kitCompare}.command(e),
		e.kitBoxesCommand(),
		e.kitReview(),
		verb{path: "pulk kit void", args: "PLAN", minArgs: 1, maxArgs: 1, usage: "say that a kept plan is not to be relied on", writes: true,
			about:    "It stays in the list, and its name is free again.",
			examples: []string{`pulk kit void flight-1800 --why "the aircraft takes 2,200 kg" --as mirre`},
			flags:    []cli.Flag{&cli.StringFlag{Name: "why", Usage: "the `REASON`"}}, action: (*call).kitVoid}.command(e),
		verb{path: "pulk kit curve", usage: "the odds that nothing runs out, against the mass that is sent", reads: true,
			about:    "Each point is the best choice under its cap. Other caps hold as given; --mass ends the curve, else it goes to odds of 0.999.",
			examples: []string{"pulk kit curve --until 2027-11-01 --at stn", "pulk kit curve --until 2027-11-01 --volume 9m3 --points 30 --svg curve.svg"},
			flags:    append(append(planFlags(), capFlags()...), curveFlags()...),
			action:   (*call).kitCurve}.command(e),
	)
}

// planFlags say what a plan is for.
func planFlags() []cli.Flag {
	return append([]cli.Flag{
		&cli.StringFlag{Name: "until", Usage: "`DATE` of the next delivery, YYYY-MM-DD"},
		&cli.StringFlag{Name: "from", Usage: "`DATE` that the time without delivery begins (else today)"},
		&cli.Float64Flag{Name: "confidence", Value: 0.95, Usage: "`PROBABILITY`, for each item, that its stock suffices"},
		&cli.StringFlag{Name: "at", Usage: "only what is at or in this `LOCATION` is in service or in stock (else everywhere)"},
		&cli.StringSliceFlag{Name: "unreachable", Usage: "units at or in this `LOCATION` cannot be replaced and need no spares; may be repeated"},
		&cli.StringFlag{Name: "planned", Usage: "CSV `FILE` with columns procedure, runs: a number, or a round as every 7d"},
		&cli.StringSliceFlag{Name: "runs", Usage: "`PROCEDURE=N` planned runs, or a round as PROCEDURE=every7d; may be repeated"},
		&cli.Float64Flag{Name: "reserve", Usage: "`PROBABILITY`, for each consumable, that what is there and sent suffices (else what runs use in the mean is sent)"},
		&cli.Float64Flag{Name: "prior-weight", Value: 1, Usage: "weight of a datasheet rate, as if so many `FAILURES` had been seen"},
		&cli.Float64Flag{Name: "interval", Value: 0.9, Usage: "`PROBABILITY` of the interval shown for a rate"},
	}, termsFlags()...)
}

func (c *call) kitRequest() (kit.Request, error) {
	request := kit.Request{Target: c.Float64("confidence"), PriorFailures: c.Float64("prior-weight"), IntervalProbability: c.Float64("interval")}
	if c.String("until") == "" {
		return request, fault.Misuse("like --until 2027-11-01", "when is the next delivery?")
	}
	for _, p := range []float64{request.Target, request.IntervalProbability} {
		if !(p > 0 && p < 1) {
			return request, fault.Misuse("like 0.95", "%v is no probability between 0 and 1", p)
		}
	}
	if request.UseTarget = c.Float64("reserve"); c.IsSet("reserve") && !(request.UseTarget > 0 && request.UseTarget < 1) {
		return request, fault.Misuse("like 0.95", "--reserve %v is no probability between 0 and 1", request.UseTarget)
	}
	if !(request.PriorFailures > 0) {
		return request, fault.Misuse("like 1", "a prior weight is above 0")
	}
	var err error
	if request.Until, err = dateOf("until", c.String("until")); err != nil {
		return request, err
	}
	request.From = c.env.now().UTC().Truncate(24 * time.Hour)
	if from := c.String("from"); from != "" {
		if request.From, err = dateOf("from", from); err != nil {
			return request, err
		}
	}
	if request.Kept, err = c.kitKept(); err != nil {
		return request, err
	}
	if request.Delays, err = c.kitDelays(); err != nil {
		return request, err
	}
	if _, err := request.Dates(); len(request.Delays) > 0 && err != nil && request.Until.After(request.From) {
		return request, fault.Misuse("like --late 14=0.25 --late 30=0.05", "%s", err)
	}
	if !request.Until.After(request.From) {
		return request, fault.Misuse("see --from and --until", "the next delivery, %s, is not after %s", request.Until.Format(time.DateOnly), request.From.Format(time.DateOnly))
	}
	return request, nil
}

func dateOf(flag, text string) (time.Time, error) {
	t, err := time.Parse(time.DateOnly, text)
	if err != nil {
		return t, fault.Misuse("like 2027-11-01", "--%s %q is no date", flag, text)
	}
	return t, nil
}

// madePlan works out the plan that the flags ask for.
func (c *call) madePlan() (*kit.Plan, error) {
	request, err := c.kitRequest()
	if err != nil {
		return nil, err
	}
	planned, err := c.plannedRuns(request)
	if err != nil {
		return nil, err
	}
	stress, err := c.kitStress()
	if err != nil {
		return nil, err
	}
	var plan *kit.Plan
	err = c.view(func(tx *changelog.Tx) error {
		parts, due, err := gatherParts(tx, request, kitScope{At: c.String("at"), Unreachable: c.StringSlice("unreachable"), Planned: planned, Stress: stress, Now: c.env.now()})
		if err != nil {
			return err
		}
		if err := c.withTerms(parts); err != nil {
			return err
		}
		if plan, err = kit.Make(request, parts); err != nil {
			return termsFault(err)
		}
		plan.Due = due
		return nil
	})
	return plan, err
}

func (c *call) kitPlan() error {
	plan, err := c.madePlan()
	if err != nil {
		return err
	}
	var capped *kit.Capped
	var played *kit.Winters
	if c.capsUsed() {
		var wish kit.Wish
		if capped, wish, err = c.kitFit(plan); err != nil {
			return err
		}
		if played, err = c.play(capped, wish); err != nil {
			return err
		}
		plan = capped.Plan
	}
	if err := c.keepPlan(plan, capped); err != nil {
		return err
	}
	if path := c.String("csv"); path != "" {
		var buf bytes.Buffer
		if err := plan.WriteCSV(&buf); err != nil {
			return err
		}
		if err := carrier.WriteFile(path, buf.Bytes()); err != nil {
			return err
		}
		fmt.Fprintf(c.env.stderr, "pulk: wrote %s, %d lines\n", path, len(plan.Lines))
	}
	if c.asJSON() {
		out := kitJSONOf(plan)
		if capped != nil {
			out.Chosen = chosenOf(capped, played)
		}
		return c.printJSON(out)
	}
	c.printPlan(plan, capped, played)
	return nil
}

func (c *call) printPlan(p *kit.Plan, capped *kit.Capped, played *kit.Winters) {
	c.printf("Kit for %s to %s (%.0f h without delivery)\n\n", p.From.Format(time.DateOnly), p.Until.Format(time.DateOnly), p.Hours)
	if text := deliveryText(p); text != "" {
		c.printBlock("", text)
		c.printf("\n")
	}
	c.printSpares(p)
	c.printConsumables(p)
	c.printTimes(p)
	unknown := 0
	for _, l := range p.Lines {
		if l.Basis == kit.NoRate {
			unknown++
			if c.Bool("all") {
				c.printf("no rate known: %s %s, %d in service\n", l.PartNumber, l.Name, l.Installed)
			}
		}
	}
	c.printf("To send in all: %.1f kg, %.0f L", float64(p.MassGrams)/1000, p.VolumeLitres)
	if p.UnknownMass+p.UnknownSize > 0 {
		c.printf(", and %d lines of unknown mass, %d of unknown size", p.UnknownMass, p.UnknownSize)
	}
	c.printf("\n\n")
	reaches := fmt.Sprintf("Each item by itself reaches %g; all together do less.", p.Target)
	if capped != nil {
		c.printChosen(capped, played)
		reaches = "What different items need is independent."
	}
	c.printBlock("", fmt.Sprintf("Assumed: failures come at a constant rate%s, all the time that a unit is in service, and %s; %s, no common cause. "+
		"A datasheet's rate weighs as much as %s seen. %s Rates are means with their %g %% interval. "+
		"%s %d items in service have neither a datasheet rate nor a record. "+
		"Dangerous goods go by the rules in force, as a trained shipper decides.", stressText(p), repairText(p), wearAssumed(p), failuresText(p.PriorFailures), reaches, 100*p.IntervalProbability, consumablesText(p, capped != nil), unknown))
}

func (c *call) printSpares(p *kit.Plan) {
	t := newTable("spare", "name", "in use", "failed", "rate /1000 h (interval)", "expect", "there", "send", "odds now", "then", "kg", "L")
	for _, l := range p.Lines {
		if l.Basis != kit.Spare || l.Send == 0 && !c.Bool("all") {
			continue
		}
		t.add(l.PartNumber, l.Name, installedText(&l), l.Failures, fmt.Sprintf("%.2g (%.2g to %.2g)", 1000*l.RatePerHour, 1000*l.RateLowPerHour, 1000*l.RateHighPerHour),
			fmt.Sprintf("%.2f", l.Expected), l.Good, sendText(&l), fmt.Sprintf("%.3f", l.OddsNow), fmt.Sprintf("%.3f", l.OddsSent), kilograms(l), litres(l))
	}
	t.print(c.env, "No spares are to be sent.")
	c.printf("\n")
	if text := classText(p); text != "" {
		c.printBlock("", text)
		c.printf("\n")
	}
	for i := range p.Lines {
		if text := trendText(&p.Lines[i]); text != "" {
			c.printBlock("! ", text)
			c.printf("\n")
		}
		if text := wearText(p, &p.Lines[i]); text != "" {
			c.printBlock("", text)
			c.printf("\n")
		}
	}
}

// printTimes warns of what expires, and of calibrations that end, before the delivery.
func (c *call) printTimes(p *kit.Plan) {
	shown := false
	warn := func(format string, args ...any) {
		c.printBlock("! ", fmt.Sprintf(format, args...))
		shown = true
	}
	for i := range p.Lines {
		l := &p.Lines[i]
		if days := p.SpoilsDays(l); days > 0 {
			warn("%s %s lasts %d d: even if it is made on the first day it expires %s before the latest delivery.", l.PartNumber, l.Name, l.ShelfLifeDays, plural(days, "day", "days"))
		}
	}
	for i := range p.Lines {
		l := &p.Lines[i]
		below, above := p.Unfit(l)
		if below > 0 {
			warn("%s %s must be kept above %g °C, and it gets as cold as %g °C: keep it warm, on the way too, or do not count on it.", l.PartNumber, l.Name, *l.Terms.Storage.Low, *p.Kept.Low)
		}
		if above > 0 {
			warn("%s %s must be kept below %g °C, and it gets as warm as %g °C: keep it cold, on the way too, or do not count on it.", l.PartNumber, l.Name, *l.Terms.Storage.High, *p.Kept.High)
		}
	}
	for _, d := range p.Due {
		warn("%s (%s %s): its calibration ends on %s, before the latest delivery. Send a calibrated one, or have it calibrated before.", d.Serial, d.PartNumber, d.Name, d.Day)
	}
	if shown {
		c.printf("\n")
	}
}

func (c *call) printConsumables(p *kit.Plan) {
	t := newTable("consumable", "name", "planned use", "as used so far", "there", "send", "suffices", "kg", "L")
	for _, l := range p.Lines {
		if l.Basis != kit.Consumable || l.Send == 0 && !c.Bool("all") {
			continue
		}
		ratio := "not known"
		if l.UseRatioKnown {
			ratio = fmt.Sprintf("× %.2f", l.UseRatio)
			if l.OddsKnown {
				ratio += fmt.Sprintf(" ± %.2f", l.UseRatio*l.UseSpread)
			}
		}
		suffices := "?"
		if l.OddsKnown {
			suffices = fmt.Sprintf("%.3f", l.OddsSent)
		}
		t.add(l.PartNumber, l.Name, fmt.Sprintf("%.0f %s", l.Expected/l.UseRatio, l.UnitOfIssue), ratio, l.Good, sendText(&l), suffices, kilograms(l), litres(l))
	}
	t.print(c.env, "No consumables are to be sent.")
	c.printf("\n")
}

// consumablesText says what is assumed of what runs use up.
func consumablesText(p *kit.Plan, chosen bool) string {
	text := "Consumables are what planned runs use in the mean, without a reserve."
	if p.UseTarget > 0 {
		text = fmt.Sprintf("Of each consumable what is there and sent suffices with probability %g, by how runs have scattered; a spread of %g %% is assumed until some ten runs are on record.", p.UseTarget, 100*sparing.AssumedSpread)
	}
	if !chosen {
		return text
	}
	return strings.TrimSuffix(text, ".") + "; more is sent where that makes the odds better."
}

func kilograms(l kit.Line) string {
	if !l.MassKnown {
		return "?"
	}
	return fmt.Sprintf("%.2f", float64(l.SendMassGrams)/1000)
}

func litres(l kit.Line) string {
	if !l.VolumeKnown {
		return "?"
	}
	return fmt.Sprintf("%.1f", l.SendLitres)
}

// trendText warns where the failures seen speak against a constant rate.
func trendText(l *kit.Line) string {
	if l.Wear != nil || !l.Worsens() && !l.Improves() {
		return ""
	}
	how, then := "more and more often", "the numbers here are too low if that goes on; if single units wear out, see --wear"
	if l.Improves() {
		how, then = "less and less often", "the numbers here are too high if that goes on"
	}
	return fmt.Sprintf("%s %s: %d failures come %s (Laplace %.2f, p %.3f; power law exponent %.2f, %.3g failures per 1000 h now): a constant rate is wrong, and %s.",
		l.PartNumber, l.Name, l.Trend.Failures, how, l.Trend.Laplace, l.Trend.PValue, l.Trend.Beta, 1000*l.Trend.RatePerHour, then)
}
