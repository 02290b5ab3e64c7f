package main

import (
	"errors"
	"fmt"
	"os"
	"strings"

	"github.com/google/uuid"
	"github.com/urfave/cli/v2"

	"pulk/checklist/crew"
	"pulk/schema"
	"pulk/schema/fault"
	"pulk/sync/changelog"
)

func (e *env) initCommand() *cli.Command {
	return verb{
		path: "pulk init", usage: "make this site's store",
		about: "The first site of a campaign names it; every other joins with the card of a site that is in it.",
		examples: []string{
			`pulk init --campaign "Vindur Deep" --code home --name "Tarn Institute"`,
			`pulk init --join home.card --code stn --name "Vindur Plateau Camp"`,
		},
		flags: []cli.Flag{
			&cli.StringFlag{Name: "code", Usage: "short `CODE` of this site, as it stands in ids"},
			&cli.StringFlag{Name: "name", Usage: "`NAME` of this site"},
			&cli.StringFlag{Name: "campaign", Usage: "`NAME` of a new campaign"},
			&cli.StringFlag{Name: "join", Usage: "card `FILE` of a site of the campaign"},
		},
		action: (*call).init,
	}.command(e)
}

func (c *call) init() error {
	if err := crew.CheckCode("site", c.String("code")); err != nil {
		return err
	}
	start := changelog.Start{Code: c.String("code"), Name: c.String("name"), CampaignName: c.String("campaign"), Now: c.env.now(), Rand: c.env.rand}
	if start.Name == "" {
		start.Name = start.Code
	}
	var first *card
	switch join := c.String("join"); {
	case (join == "") == (start.CampaignName == ""):
		return fault.Misuse("see: pulk init --help", "pulk init: give either --campaign, for a new one, or --join")
	case join != "":
		known, err := readCard(join)
		if err != nil {
			return err
		}
		first, start.Campaign, start.CampaignName = &known, known.Campaign, known.CampaignName
	default:
		id, err := uuid.NewRandomFromReader(c.env.rand)
		if err != nil {
			return err
		}
		start.Campaign = id
	}
	path := c.storePath()
	store, err := schema.Create(path, schema.Durable)
	if err != nil {
		return err
	}
	defer store.Close()
	log, err := changelog.Init(c.Context.Context, store, start, projections()...)
	if err == nil && first != nil {
		err = log.Store().Update(c.Context.Context, func(raw *schema.Tx) error {
			return log.Local(raw, func(tx *changelog.Tx) error {
				_, err := tx.AddSite(first.Key, first.Code)
				return err
			})
		})
	}
	if err != nil {
		store.Close()
		return errors.Join(err, os.Remove(path))
	}
	id := log.Self()
	c.printf("%s is now the store of site %s (%s) in campaign %s.\nfingerprint: %s\n", path, id.Code, id.Name, id.CampaignName, changelog.Fingerprint(id.Public()))
	c.printf("next: pulk site card > %s.card, for the other sites; pulk person add, for who works here\n", id.Code)
	return nil
}

func (e *env) siteCommand() *cli.Command {
	return group("site", "who is in the campaign, and whom this store trusts",
		verb{path: "pulk site card", usage: "print this site's card, for other sites", examples: []string{"pulk site card > stn.card"},
			action: (*call).siteCard}.command(e),
		verb{path: "pulk site add", args: "CARD", minArgs: 1, maxArgs: 1, usage: "make another site known here",
			about: "This does not trust it yet: see pulk site trust.", examples: []string{"pulk site add stn.card"}, action: (*call).siteAdd}.command(e),
		verb{path: "pulk site list", usage: "the sites known here, and how far we and they are", reads: true, action: (*call).siteList}.command(e),
		verb{path: "pulk site trust", args: "SITE FINGERPRINT", minArgs: 2, maxArgs: -1, usage: "trust a site whose fingerprint was compared by voice",
			about:    "Have the other site read its fingerprint to you (pulk site card shows it there), and type what you hear.",
			examples: []string{"pulk site trust stn 04711 22931 90210 55417 00852"},
			action:   (*call).siteTrust}.command(e),
		verb{path: "pulk site distrust", args: "SITE", minArgs: 1, maxArgs: 1, usage: "take nothing more from a site", action: (*call).siteDistrust}.command(e),
		e.siteMailCommand(),
		verb{path: "pulk site renew", usage: "number this site's changes anew, after the store was copied or restored",
			about: "Needed on a store that was restored from a backup, or copied to another machine, before it is used. pulk notices most such cases by itself.", action: (*call).siteRenew}.command(e),
	)
}

func (c *call) siteCard() error {
	return c.withLog(func(log *changelog.Log) error {
		c.printf("%s", cardOf(log.Self()))
		return nil
	})
}

// local changes what this store keeps for itself and no bundle carries.
func (c *call) local(fn func(tx *changelog.Tx) error) error {
	return c.withLog(func(log *changelog.Log) error {
		return log.Store().Update(c.Context.Context, func(raw *schema.Tx) error { return log.Local(raw, fn) })
	})
}

func (c *call) siteAdd() error {
	other, err := readCard(c.Args().First())
	if err != nil {
		return err
	}
	err = c.local(func(tx *changelog.Tx) error {
		if self := tx.Self(); other.Campaign != self.Campaign {
			return fault.Hint("it belongs with another store", "the card is of campaign %s (%s), this store is of %s", other.CampaignName, other.Campaign, self.CampaignName)
		}
		_, err := tx.AddSite(other.Key, other.Code)
		return err
	})
	if err != nil {
		return err
	}
	c.printf("site %s (%s) is known here, and not trusted yet.\nnext: compare its fingerprint by voice, then: pulk site trust %s FINGERPRINT\n", other.Code, other.Name, other.Code)
	return nil
}

func (c *call) siteTrust() error {
	code := c.Args().First()
	typed := digitsOf(strings.Join(c.Args().Tail(), ""))
	err := c.local(func(tx *changelog.Tx) error {
		site, err := tx.SiteByCode(code)
		if err != nil {
			return fault.Hint("see: pulk site list", "%w", err)
		}
		if digitsOf(changelog.Fingerprint(site.Key)) != typed {
			return fault.Refuse("listen again; if it still differs, the card may have been exchanged on its way: do not trust it",
				"that is not the fingerprint of the key that came as %s", code)
		}
		return tx.Trust(site.ID, true)
	})
	if err != nil {
		return err
	}
	c.printf("site %s is trusted: bundles it made, and changes of it that others relay, are taken.\n", code)
	return nil
}

func digitsOf(text string) string {
	return strings.Map(func(r rune) rune {
		if r >= '0' && r <= '9' {
			return r
		}
		return -1
	}, text)
}

func (c *call) siteDistrust() error {
	code := c.Args().First()
	err := c.local(func(tx *changelog.Tx) error {
		site, err := tx.SiteByCode(code)
		if err != nil {
			return fault.Hint("see: pulk site list", "%w", err)
		}
		if site.ID == tx.Self().Site {
			return fault.Misuse("name another site", "a store trusts itself")
		}
		return tx.Trust(site.ID, false)
	})
	if err == nil {
		c.printf("site %s is no longer trusted: its bundles are refused; what it wrote before stays.\n", code)
	}
	return err
}

func (c *call) siteRenew() error {
	return c.withLog(func(log *changelog.Log) error {
		epoch, err := log.Renew(c.Context.Context)
		if err == nil {
			c.printf("from here on this site's changes are numbered %s/%d-1, %s/%d-2, …\n", log.Self().Code, epoch, log.Self().Code, epoch)
		}
		return err
	})
}

// siteRow is a row of pulk site list --json.
type siteRow struct {
	Code        string  `json:"code"`
	ID          string  `json:"id"`
	Self        bool    `json:"self"`
	Trusted     bool    `json:"trusted"`
	Fingerprint string  `json:"fingerprint"`
	HeardAt     *string `json:"heard_at"`     // when its latest bundle was taken here
	WroteAt     *string `json:"wrote_at"`     // when a bundle was last made for it
	Waiting     uint64  `json:"waiting_here"` // change-sets it has not acknowledged
	Lacking     uint64  `json:"missing_here"` // change-sets it has and we do not
	SkewSeconds int64   `json:"skew_seconds"` // its clock minus ours when heard
}

func (c *call) siteList() error {
	return c.view(func(tx *changelog.Tx) error {
		self := tx.Self()
		rows := []siteRow{{Code: self.Code, ID: fmt.Sprintf("%08x", uint32(self.Site)), Self: true, Trusted: true, Fingerprint: changelog.Fingerprint(self.Public())}}
		peers, err := tx.Peers()
		if err != nil {
			return err
		}
		for _, p := range peers {
			rows = append(rows, siteRow{Code: p.Code, ID: fmt.Sprintf("%08x", uint32(p.ID)), Trusted: p.Trusted, Fingerprint: changelog.Fingerprint(p.Key),
				HeardAt: jsonTime(p.HeardAt), WroteAt: jsonTime(p.WroteAt), Waiting: p.Waiting, Lacking: p.Lacking, SkewSeconds: int64(p.Skew.Seconds())})
		}
		if c.asJSON() {
			return c.printJSON(rows)
		}
		t := newTable("site", "trusted", "last heard", "to send", "not here yet", "fingerprint")
		t.add(self.Code, "this site", "", "", "", rows[0].Fingerprint)
		for i, p := range peers {
			trusted := "NO"
			if p.Trusted {
				trusted = "yes"
			}
			t.add(p.Code, trusted, c.env.showTime(p.HeardAt), p.Waiting, p.Lacking, rows[i+1].Fingerprint)
		}
		t.print(c.env, "")
		c.printf("to send, not here yet: change-sets\n")
		return nil
	})
}
