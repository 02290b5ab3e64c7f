package main

import (
	"fmt"
	"math"
	"slices"
	"time"

	"pulk/inventory/kit"
	"pulk/inventory/sparing"
	"pulk/schema/fault"
)

// whyJSON is pulk kit why --json: a line of the plan, and what each further piece
// would bring.
type whyJSON struct {
	Line   kitLine   `json:"line"`
	Hours  float64   `json:"hours_without_delivery"`
	Stocks []whyStep `json:"stocks"`
}

// whyStep is a number of pieces and what it is worth.
type whyStep struct {
	Sent int64   `json:"sent"`
	Odds float64 `json:"odds"`      // that there and sent together suffice
	Risk float64 `json:"shortfall"` // that they do not
}

func (c *call) kitWhy() error {
	plan, err := c.madePlan()
	if err != nil {
		return err
	}
	number := c.Args().First()
	known := false
	for _, l := range plan.Lines {
		known = known || l.PartNumber == number
	}
	if !known {
		return fault.Hint("see all lines: pulk kit plan --all", "%s is not in this plan: it is not in service, and no planned run uses it", number)
	}
	if c.capsUsed() {
		capped, _, err := c.kitFit(plan)
		if err != nil {
			return err
		}
		plan = capped.Plan
	}
	var out []whyJSON
	for i := range plan.Lines {
		if l := &plan.Lines[i]; l.PartNumber == number {
			steps := whySteps(l)
			out = append(out, whyJSON{kitLineOf(l), plan.Hours, steps})
			if !c.asJSON() {
				c.printWhy(plan, l, steps)
			}
		}
	}
	if c.asJSON() {
		return c.printJSON(out)
	}
	return nil
}

// whySteps are the numbers to send around the one that is chosen, in whole packs.
func whySteps(l *kit.Line) []whyStep {
	steps := []whyStep{}
	if !l.OddsKnown {
		return steps
	}
	pack := l.Step()
	for n := max(l.Send%pack, l.Send-3*pack); n <= l.Send+2*pack; n += pack {
		odds, short := l.Suffices(l.Good + n)
		steps = append(steps, whyStep{n, odds, short})
	}
	return steps
}

func (c *call) printWhy(p *kit.Plan, l *kit.Line, steps []whyStep) {
	c.printf("%s %s, %s: send %d %s\n\n", l.PartNumber, l.Name, l.Basis, l.Send, l.UnitOfIssue)
	say := func(format string, args ...any) { c.printBlock("  ", fmt.Sprintf(format, args...)) }
	say("The time without delivery: %s to %s, %.0f h.", p.From.Format(time.DateOnly), p.Until.Format(time.DateOnly), p.Hours)
	switch l.Basis {
	case kit.NoRate:
		say("%d are in service, and neither a datasheet nor a record says how often it fails: no number can be worked out. A person decides.", l.Installed)
	case kit.Consumable:
		if l.UseRatioKnown {
			say("Planned runs use %.0f; past runs took %.2f times what their procedures list: %.0f × %.2f = %.1f, rounded up to %d.", l.Expected/l.UseRatio, l.UseRatio, l.Expected/l.UseRatio, l.UseRatio, l.Expected, int64(math.Ceil(l.Expected-1e-9)))
		} else {
			say("Planned runs use %.0f; what past runs really took is not known, so nothing is added.", l.Expected)
		}
		known := "assumed, as no run is on record"
		if l.UseRuns > 0 {
			known = fmt.Sprintf("by %s, and an assumed %g %% that some ten runs outweigh", plural(l.UseRuns, "run", "runs"), 100*sparing.AssumedSpread)
		}
		if l.OddsKnown {
			say("What a run takes scatters by %.0f %% of it (%s). With the %d that are there planned runs have enough with probability %.4f, with what is sent %.4f.", 100*l.UseSpread, known, l.Good, l.OddsNow, l.OddsSent)
		} else {
			say("Too few runs are on record to say how they scatter, so that it is in no odds. --reserve 0.95 assumes %g %%.", 100*sparing.AssumedSpread)
		}
		if p.UseTarget > 0 {
			say("%d in all is the smallest number that reaches %g.", l.Sufficient, p.UseTarget)
		}
		for _, text := range termsText(p, l) {
			say("%s", text)
		}
		say("There and good until then: %d. To send: %d - %d = %d%s.", l.Good, l.Sufficient, min(l.Good, l.Sufficient), max(0, l.Sufficient-l.Good), c.roundedText(l))
		if l.OddsKnown {
			c.printf("\n")
			c.printSteps(l, steps)
		}
		if l.Counts() && c.capsUsed() {
			c.printf("\n")
			say("%s", chosenTogether)
		}
	default:
		if l.Wear == nil {
			sayRate(p, l, say)
		}
		if text := trendText(l); text != "" {
			c.printBlock("! ", text)
		}
		how := "As the rate itself is uncertain the count of failures is gamma-Poisson distributed"
		if text := wearText(p, l); text != "" {
			say("%s The %d in service have run %s; replaced by new ones as they fail, %.2f failures are to be expected.", text, l.Installed, agesText(l.AgesHours), l.Expected)
			how = "The counts of failures follow from the ages step by step, and are summed over how uncertain shape and scale are"
		} else {
			say("%d in service × %.0f h = %.0f unit-hours to come; × the rate%s = %.2f failures to be expected.", l.Installed, p.MeanHours(), float64(l.Installed)*p.MeanHours(), stressFactor(l), l.Expected)
		}
		for _, text := range termsText(p, l) {
			say("%s", text)
		}
		say("There and good until then: %d. They suffice with probability %.4f. %s:", l.Good, l.OddsNow, how)
		c.printf("\n")
		c.printSteps(l, steps)
		c.printf("\n")
		if c.capsUsed() {
			say("%s", chosenTogether)
		} else {
			say("%d in all is the smallest number that reaches %g%s.", l.Sufficient, p.Target, c.roundedText(l))
		}
	}
	c.printf("\n")
}

const chosenTogether = "Chosen together with all that is in the odds, so that the odds that nothing of it runs out are the best under the caps."

// printSteps shows what some pieces more or less are worth.
func (c *call) printSteps(l *kit.Line, steps []whyStep) {
	t := newTable("send", "in all", "suffices", "runs out", "kg", "")
	for _, s := range steps {
		mark := ""
		if s.Sent == l.Send {
			mark = "<- sent"
		}
		mass := "?"
		if l.MassKnown {
			mass = fmt.Sprintf("%.2f", l.MassGramsOf(s.Sent)/1000)
		}
		t.add(s.Sent, l.Good+s.Sent, fmt.Sprintf("%.4f", s.Odds), fmt.Sprintf("%.2g", s.Risk), mass, mark)
	}
	t.print(c.env, "")
}

// agesText is how long units have run, from the least to the most.
func agesText(hours []float64) string {
	low, high := slices.Min(hours), slices.Max(hours)
	if high-low < 1 {
		return fmt.Sprintf("%.0f h", high)
	}
	return fmt.Sprintf("%.0f to %.0f h", low, high)
}

// sayRate tells where a constant rate comes from.
func sayRate(p *kit.Plan, l *kit.Line, say func(string, ...any)) {
	if l.Prior != nil {
		say("Like %s: one failure in %.0f h. It weighs as %s in %.0f h.", l.Prior.Like, l.Prior.MTBFHours, failuresText(l.Prior.Failures), l.Prior.Failures*l.Prior.MTBFHours)
	} else if l.PriorMTBFHours > 0 {
		say("Datasheet: one failure in %d h. It weighs as %s in %.0f h.", l.PriorMTBFHours, failuresText(p.PriorFailures), p.PriorFailures*float64(l.PriorMTBFHours))
	} else {
		say("No datasheet figure: the record alone speaks (a prior of half a failure in no time).")
	}
	say("Seen: %d failures in %.0f unit-hours. Both together: %.3g failures per 1000 h, with %.0f %% between %.3g and %.3g.",
		l.Failures, l.UnitHoursSeen, 1000*l.RatePerHour, 100*p.IntervalProbability, 1000*l.RateLowPerHour, 1000*l.RateHighPerHour)
}

// stressFactor is what stress multiplies the rate by, where it does.
func stressFactor(l *kit.Line) string {
	if l.Stress == 0 || l.Stress == 1 {
		return ""
	}
	return fmt.Sprintf(" × a stress of %.3g", l.Stress)
}

// failuresText counts failures, of which there may be a part.
func failuresText(n float64) string {
	if n == 1 {
		return "1 failure"
	}
	return fmt.Sprintf("%.3g failures", n)
}
