package main

import (
	"strings"

	"github.com/urfave/cli/v2"

	"pulk/checklist/crew"
	"pulk/schema/fault"
	"pulk/sync/changelog"
)

func (e *env) siteConfideCommand() *cli.Command {
	return verb{path: "pulk site confide", args: "SITE", minArgs: 1, maxArgs: 1, usage: "name a site for what is confined (founding site alone)",
		about: "Arrivals, trainings and medical clearances of persons go to named sites alone, and only over named sites; no other ever has a byte of them. " +
			"A named site must have a pulk that knows of this. With --end it gets nothing new from all sites that have heard so; what it has stays there. " +
			"On its way it is always sealed. Who is named: pulk site list.",
		examples: []string{"pulk site confide stn --as lena", `pulk site confide ship --end --why "the doctor left the ship" --as lena`},
		flags: []cli.Flag{&cli.BoolFlag{Name: "end", Usage: "take the site off the list"},
			&cli.StringFlag{Name: "why", Usage: "`REASON`, for the record, which goes to all sites"}},
		writes: true, action: (*call).siteConfide}.command(e)
}

func (c *call) siteConfide() error {
	code, end := c.Args().First(), c.Bool("end")
	return c.write(func(tx *changelog.Tx, _ *crew.Person) error {
		site, err := c.siteToName(tx, code)
		if err != nil {
			return err
		}
		named, err := tx.Confidants()
		switch {
		case err != nil:
			return err
		case end == (named[site.ID] == nil):
			return fault.Hint("nothing to do; see: pulk site list", "site %s is %s", code, map[bool]string{true: "not named", false: "named already"}[end])
		case !end && !site.Trusted:
			return fault.Refuse("let "+code+" read its fingerprint to you, then: pulk site trust", "site %s is not trusted here, so nothing is confided to it", code)
		}
		_, err = tx.NameSite(site, !end, c.String("why"))
		return err
	}, func() {
		if end {
			c.printf("site %s is taken off: it gets nothing new that is confined, from any site that has heard of this. What it has stays there.\n", code)
		} else {
			c.printf("site %s is named: what is confined goes to it, over named sites alone, from any site that has heard of this.\n", code)
		}
		c.printf("next: send bundles to all sites; the word travels first\n")
	})
}

// siteToName returns a site that the founder is to name, itself too.
func (c *call) siteToName(tx *changelog.Tx, code string) (changelog.Site, error) {
	self := tx.Self()
	site, err := tx.SiteByCode(code)
	switch {
	case !self.IsFounder():
		return site, fault.Refuse("ask there", "only the site that founded the campaign, %s, says what goes where", tx.SiteCode(self.Founder()))
	case err != nil:
		return site, fault.Hint("see: pulk site list", "%w", err)
	}
	return site, nil
}

// confidantCodes returns the codes of the sites that are named for what is confined.
func confidantCodes(tx *changelog.Tx) ([]string, error) {
	sites, err := tx.Sites()
	if err != nil {
		return nil, err
	}
	var codes []string
	for _, s := range sites {
		named, err := tx.Named(s.ID)
		if err != nil {
			return nil, err
		}
		if named {
			codes = append(codes, s.Code)
		}
	}
	return codes, nil
}

// sayConfidants says where what is confined goes, if it goes anywhere.
func (c *call) sayConfidants(tx *changelog.Tx) error {
	codes, err := confidantCodes(tx)
	if err == nil && len(codes) > 0 {
		c.printf("what is confined (arrivals, trainings, clearances) goes to %s alone\n", strings.Join(codes, ", "))
	}
	return err
}
