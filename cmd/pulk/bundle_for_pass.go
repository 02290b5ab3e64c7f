package main

import (
	"fmt"

	"github.com/urfave/cli/v2"

	"pulk/schema/fault"
	"pulk/sync/changelog"
	"pulk/sync/link"
)

// passDays is how far ahead --for-pass looks.
const passDays = 14

// passFlags are the flags by which a bundle is cut to a pass.
func passFlags() []cli.Flag {
	return []cli.Flag{
		&cli.StringFlag{Name: "for-pass", Usage: "cut to what fits a pass of the link: `NEXT|N|TIME`, as pulk link passes tells"},
		&cli.StringFlag{Name: "link", Usage: "code of the `LINK` of --for-pass, where there are several"},
		&cli.BoolFlag{Name: "force", Usage: "with --for-pass: go by elements that are too old, all the same"},
	}
}

// maxBytes returns the size that a bundle for a site must not exceed, 0 for none, as
// --max-bytes and --for-pass say.
func (c *call) maxBytes(log *changelog.Log, to changelog.Site) (int, error) {
	most, text := c.Int("max-bytes"), c.String("for-pass")
	switch {
	case most < 0:
		return 0, fault.Misuse("give a number of bytes", "--max-bytes is below zero")
	case text == "":
		return most, nil
	}
	fits := 0
	err := log.View(c.Context.Context, func(tx *changelog.Tx) error {
		plan, err := c.planTo(tx, to, c.String("link"), passDays)
		if err != nil {
			return err
		}
		c.warn(plan)
		if plan.Description.Open == link.ByAlways { // its pass never ends: take the next bundle's share
			plan.Contacts = link.Stretches(plan.Contacts, plan.Description.BundleEvery)
		}
		contact, number, err := choosePass(plan, text, c.env.now())
		if err != nil {
			return err
		}
		budget := plan.Description.Budget
		fits = budget.PayloadIn(contact.Length())
		if fits == 0 {
			return fault.Hint("choose another: pulk link passes "+plan.Link.Code, "pass %d, from %s, is too short to carry anything", number, c.env.showSeconds(contact.Start))
		}
		if c.Int("fragment") > 0 { // headers and parity count as well, and are written
			cost := budget.Cost(fits)
			fits = cost.LinkBytes - cost.Messages*budget.OverheadBytes
		}
		fmt.Fprintf(c.env.stderr, "pulk: pass %d of %s, %s, %s: carries %s bytes\n", number, plan.Link.Code, c.env.showSeconds(contact.Start), lengthText(contact.Length()), grouped(fits))
		return nil
	})
	if most > 0 {
		fits = min(fits, most)
	}
	return fits, err
}
