package main

import (
	"fmt"
	"math"
	"slices"
	"time"

	"github.com/urfave/cli/v2"

	"pulk/inventory/stock"
	"pulk/schema/fault"
	"pulk/sync/changelog"
)

func (e *env) stockLowVerb() *cli.Command {
	return verb{path: "pulk stock low", usage: "what is below the minimum that lasts until the next delivery", reads: true,
		about: "The minimum of an item is worked out from what was issued: the smallest stock that suffices until\n" +
			"the delivery with the confidence. Where somebody has set a higher one for the place, that counts.\n" +
			"What is reserved for runs that have not ended is not free, and does not count as there for others.\n" +
			"Serialised units, and runs that are yet to come, are for pulk kit plan.",
		examples: []string{"pulk stock low --until 2027-11-01 --at stn --confidence 0.95"},
		flags: []cli.Flag{&cli.StringFlag{Name: "until", Usage: "`DATE` of the next delivery, YYYY-MM-DD"},
			&cli.StringFlag{Name: "at", Usage: "`LOCATION`, with all in it (else everywhere)"},
			&cli.IntFlag{Name: "past", Value: 180, Usage: "what was issued in so many `DAYS` tells the demand"},
			&cli.Float64Flag{Name: "confidence", Value: 0.95, Usage: "`PROBABILITY`, for each item, that its minimum suffices"},
			&cli.BoolFlag{Name: "all", Usage: "also tell of what is not below its minimum"}}, action: (*call).stockLow}.command(e)
}

// lowJSON is pulk stock low --json.
type lowJSON struct {
	Until      string   `json:"until"` // YYYY-MM-DD
	Location   string   `json:"location"`
	Confidence float64  `json:"confidence"`
	DaysSeen   float64  `json:"days_seen"` // that tell the demand
	Items      []lowRow `json:"items"`
}

// lowRow is an item with its minimum; quantities are in its unit of issue.
type lowRow struct {
	PartNumber  string  `json:"part_number"`
	Name        string  `json:"name"`
	UnitOfIssue string  `json:"unit_of_issue"`
	There       int64   `json:"there"`    // in no quarantine and in date until the delivery
	Reserved    int64   `json:"reserved"` // of it, for runs that have not ended
	Free        int64   `json:"free"`     // what is there and not reserved; below 0 where more is reserved than is there
	Issues      int     `json:"issues"`   // in days_seen
	Issued      int64   `json:"issued"`   // quantity
	Expected    float64 `json:"expected"` // to be issued until the delivery, in the mean
	Batch       float64 `json:"batch"`    // how much goes at a time; 1 for single pieces
	Minimum     int64   `json:"minimum"`  // worked out
	Set         int64   `json:"set"`      // by somebody, for this place; 0 for none
	Suffices    float64 `json:"suffices"` // probability that what is free suffices
	Short       int64   `json:"short"`    // what is missing; 0 for nothing
}

func (c *call) lowRequest() (stock.LowRequest, error) {
	in := stock.LowRequest{Now: c.env.now(), DaysPast: c.Int("past"), Target: c.Float64("confidence")}
	if c.String("until") == "" {
		return in, fault.Misuse("like --until 2027-11-01", "when is the next delivery?")
	}
	var err error
	if in.Until, err = dateOf("until", c.String("until")); err != nil {
		return in, err
	}
	switch {
	case !in.Until.After(in.Now):
		return in, fault.Misuse("give a day to come", "the next delivery, %s, is past", in.Until.Format(time.DateOnly))
	case !(in.Target > 0 && in.Target < 1):
		return in, fault.Misuse("like 0.95", "%v is no probability between 0 and 1", in.Target)
	case in.DaysPast < 1:
		return in, fault.Misuse("like 180", "--past %d tells no demand", in.DaysPast)
	}
	return in, nil
}

func (c *call) stockLow() error {
	in, err := c.lowRequest()
	if err != nil {
		return err
	}
	return c.view(func(tx *changelog.Tx) (err error) {
		if code := c.String("at"); code != "" {
			if in.At, err = stock.FindLocation(tx, code); err != nil {
				return err
			}
		}
		list, days, err := stock.Lows(tx, in)
		if err != nil {
			return err
		}
		out := lowJSON{in.Until.Format(time.DateOnly), c.String("at"), in.Target, math.Round(days*100) / 100, []lowRow{}}
		for _, l := range list {
			if c.Bool("all") || l.Missing() > 0 {
				out.Items = append(out.Items, lowRow{l.Item.PartNumber, l.Item.Name, l.Item.UnitOfIssue, l.Good, l.Reserved, l.Free(), l.Issues, l.Taken, l.Expected, l.Batch,
					l.Minimum, l.Set, l.Sufficiency, l.Missing()})
			}
		}
		if c.asJSON() {
			return c.printJSON(out)
		}
		c.printLow(out)
		return nil
	})
}

func (c *call) printLow(out lowJSON) {
	kept := slices.ContainsFunc(out.Items, func(l lowRow) bool { return l.Reserved > 0 })
	heads := []string{"part number", "name", "unit", "there"}
	if kept {
		heads = append(heads, "reserved", "free")
	}
	t := newTable(append(heads, "issued", "to come", "minimum", "set", "suffices", "short")...)
	for _, l := range out.Items {
		set, short := "", ""
		if l.Set > 0 {
			set = fmt.Sprint(l.Set)
		}
		if l.Short > 0 {
			short = fmt.Sprint(l.Short)
		}
		cells := []any{l.PartNumber, l.Name, l.UnitOfIssue, l.There}
		if kept {
			cells = append(cells, l.Reserved, l.Free)
		}
		t.add(append(cells, fmt.Sprintf("%d in %d", l.Issued, l.Issues), fmt.Sprintf("%.1f", l.Expected), l.Minimum, set, fmt.Sprintf("%.3f", l.Suffices), short)...)
	}
	t.print(c.env, "Nothing is below its minimum.")
	c.printf("\n")
	for _, line := range wrap(fmt.Sprintf("Minimum: suffices until %s with probability %g, if issues go on as in the last %.0f days, singly and at a constant rate, which is as uncertain as so few issues leave it. "+
		"\"There\" leaves out what is in quarantine or expires before; what is reserved is not free. Who answers for the season decides.",
		out.Until, out.Confidence, out.DaysSeen), c.env.width()) {
		c.printf("%s\n", line)
	}
}
