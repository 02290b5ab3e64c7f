package main

import (
	"fmt"
	"time"

	"github.com/urfave/cli/v2"

	"pulk/schema/fault"
	"pulk/sync/carrier"
	"pulk/sync/changelog"
)

func (e *env) reportCommand() *cli.Command {
	return group("report", "what happened, for people to read",
		verb{path: "pulk report day", usage: "one day: what was done, what is shut, and what needs someone", reads: true,
			about: "The day is a UTC day. What needs someone, holds and sync state are as they stand when the report is made. " +
				"The text goes to stdout; the page holds everything in one file, works without a network, and prints on A4.",
			examples: []string{"pulk report day", "pulk report day --date yesterday --html day.html", "pulk report day --date 2027-01-05 --json"},
			flags: []cli.Flag{&cli.StringFlag{Name: "date", Value: "today", Usage: "the `DAY`: YYYY-MM-DD, today or yesterday"},
				&cli.StringFlag{Name: "html", Usage: "write the report as a page to `FILE` as well"}},
			action: (*call).reportDay}.command(e),
	)
}

// parseDay reads a day as people type it.
func parseDay(text string, now time.Time) (time.Time, error) {
	today := now.UTC().Truncate(24 * time.Hour)
	switch text {
	case "today":
		return today, nil
	case "yesterday":
		return today.AddDate(0, 0, -1), nil
	}
	day, err := time.Parse(time.DateOnly, text)
	if err != nil || day.Year() < 1970 {
		return day, fault.Misuse("give it as 2027-01-05, or say today or yesterday", "--date %q is no day", text)
	}
	return day, nil
}

func (c *call) reportDay() error {
	stayFrugal()
	now := c.env.now()
	day, err := parseDay(c.String("date"), now)
	if err != nil {
		return err
	}
	var report *dayReport
	err = c.view(func(tx *changelog.Tx) (err error) {
		report, err = buildDayReport(tx, day, now, c.env.local)
		return err
	})
	if err != nil {
		return err
	}
	if path := c.String("html"); path != "" {
		page, err := dayPage(report)
		if err != nil {
			return err
		}
		if err := carrier.WriteFile(path, page); err != nil {
			return err
		}
		fmt.Fprintf(c.env.stderr, "pulk: wrote %s, %d bytes\n", path, len(page))
	}
	if c.asJSON() {
		return c.printJSON(report)
	}
	writeDayText(c.env.stdout, report)
	return nil
}
