package main

import (
	"errors"
	"fmt"
	"os"
	"slices"
	"strings"

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
	var known []card
	switch join := c.String("join"); {
	case (join == "") == (start.CampaignName == ""):
		return fault.Misuse("see: pulk init --help", "pulk init: give either --campaign, for a new one, or --join")
	case join != "":
		var err error
		if known, err = readCards(join); err != nil {
			return err
		}
		start.Campaign, start.CampaignName = known[0].Campaign, known[0].CampaignName
	}
	path := c.storePath()
	store, err := schema.Create(path, schema.Durable)
	if err != nil {
		return err
	}
	defer store.Close()
	log, err := changelog.Init(c.Context.Context, store, start, projections()...)
	if err == nil {
		err = log.Store().Update(c.Context.Context, func(raw *schema.Tx) error {
			return log.Local(raw, func(tx *changelog.Tx) error { return addCards(tx, known) })
		})
	}
	if err != nil {
		store.Close()
		return errors.Join(err, os.Remove(path))
	}
	id := log.Self()
	c.printf("%s is now the store of site %s (%s) in campaign %s.\nfingerprint: %s\n", path, id.Code, id.Name, id.CampaignName, changelog.SiteFingerprint(id.Campaign, id.Public()))
	if len(known) > 0 {
		c.printf("next: let %s read its fingerprint to you: pulk site trust %s FINGERPRINT\n", known[0].Code, known[0].Code)
	}
	c.printf("next: pulk site card > %s.card, for the other sites; pulk person add, for who works here\n", id.Code)
	return nil
}

func (e *env) siteCommand() *cli.Command {
	return group("site", "who is in the campaign, and whom this store trusts", append([]*cli.Command{
		verb{path: "pulk site card", usage: "print this site's card, for other sites", examples: []string{"pulk site card > stn.card"},
			action: (*call).siteCard}.command(e),
		verb{path: "pulk site add", args: "CARD", minArgs: 1, maxArgs: 1, usage: "make another site known here",
			about: "This does not trust it yet: see pulk site trust.", examples: []string{"pulk site add stn.card"}, action: (*call).siteAdd}.command(e),
		verb{path: "pulk site list", usage: "the sites known here, and how far we and they are", reads: true, action: (*call).siteList}.command(e),
		verb{path: "pulk site trust", args: "SITE FINGERPRINT", minArgs: 2, maxArgs: -1, usage: "trust a site whose fingerprint was compared by voice",
			about:    "Have the other site read its fingerprint to you (pulk site card shows it there), and type what you hear. Blanks between the digits do not matter. From then on the site that founded the campaign is believed here too, and whom it introduces.",
			examples: []string{"pulk site trust stn 04711 22931 90210 55417 00852"},
			action:   (*call).siteTrust}.command(e),
		verb{path: "pulk site distrust", args: "SITE", minArgs: 1, maxArgs: 1, usage: "take nothing more from a site, whoever introduced it", action: (*call).siteDistrust}.command(e),
		verb{path: "pulk site renew", usage: "number this site's changes anew: the store was copied or restored",
			about: "Needed on a store that was restored from a backup, or copied to another machine, before it is used. pulk notices most such cases by itself.", action: (*call).siteRenew}.command(e),
		e.siteBackupCommand(),
		e.siteRestoreCommand(),
		e.siteConfideCommand(),
		e.siteSeedCommand(),
		e.siteMailCommand(),
		sealVerb().command(e),
	}, e.founderCommands()...)...)
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
	cards, err := readCards(c.Args().First())
	if err != nil {
		return err
	}
	var sites []changelog.Site
	err = c.local(func(tx *changelog.Tx) error {
		if err := addCards(tx, cards); err != nil {
			return err
		}
		for _, other := range cards {
			s, _, err := tx.SiteByID(changelog.SiteIDOf(other.Key))
			if err != nil {
				return err
			}
			sites = append(sites, s)
		}
		return nil
	})
	if err != nil {
		return err
	}
	for i, s := range sites {
		if s.Trusted {
			c.printf("site %s (%s) is known here, and trusted: %s.\n", s.Code, cards[i].Name, trustText(s.By))
			continue
		}
		c.printf("site %s (%s) is known here, and not trusted yet.\nnext: compare its fingerprint by voice, then: pulk site trust %s FINGERPRINT\n", s.Code, cards[i].Name, s.Code)
	}
	return nil
}

// addCards makes the sites of cards known to a store.
func addCards(tx *changelog.Tx, cards []card) error {
	for _, other := range cards {
		if self := tx.Self(); other.Campaign != self.Campaign {
			return fault.Hint("it belongs with another store", "the card of %s is of campaign %s (%s), this store is of %s", other.Code, other.CampaignName, other.Campaign, self.CampaignName)
		}
		if _, err := tx.AddSite(other.Key, other.Code); err != nil {
			return err
		}
	}
	return nil
}

func (c *call) siteTrust() error {
	code := c.Args().First()
	var founder string
	err := c.local(func(tx *changelog.Tx) error {
		self := tx.Self()
		site, err := tx.SiteByCode(code)
		if err != nil {
			return fault.Hint("see: pulk site list", "%w", err)
		}
		if differs := changelog.CompareFingerprint(changelog.SiteFingerprint(self.Campaign, site.Key), strings.Join(c.Args().Tail(), " ")); differs != "" {
			return fault.Refuse("listen again; if it still differs, the card may have been exchanged on its way: do not trust it",
				"that is not the fingerprint of the card that came as %s: %s", code, differs)
		}
		if err := tx.Trust(site.ID, true); err != nil {
			return err
		}
		if s, found, err := tx.SiteByID(self.Founder()); err != nil {
			return err
		} else if found && s.By == changelog.TrustFounder {
			founder = s.Code
		}
		return nil
	})
	if err != nil {
		return err
	}
	c.printf("site %s is trusted: bundles it made, and changes of it that others relay, are taken.\n", code)
	if founder != "" {
		c.printf("site %s, which founded the campaign, is trusted with it, and so is whom it introduces.\n", founder)
	}
	return nil
}

// trustText says why a site is trusted, or that it is not.
func trustText(by changelog.Trust) string {
	return [...]string{"NO: not compared yet", "NO: distrusted here", "this site", "compared by voice", "founded the campaign", "introduced"}[by]
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
	CutOff      bool    `json:"cut_off"`    // the founder cut it off: what it writes counts no more
	By          string  `json:"trusted_by"` // self, voice, founder, introduced; distrusted, or none
	Fingerprint string  `json:"fingerprint"`
	HeardAt     *string `json:"heard_at"`     // when its latest bundle was taken here
	WroteAt     *string `json:"wrote_at"`     // when a bundle was last made for it
	Waiting     uint64  `json:"waiting_here"` // change-sets it has not acknowledged
	Lacking     uint64  `json:"missing_here"` // change-sets it has and we do not
	SkewSeconds int64   `json:"skew_seconds"` // its clock minus ours, as far as its last bundle proves; 0 where it proves nothing
	Confined    bool    `json:"confined"`     // it is named for what is confined
}

func trustWord(by changelog.Trust) string {
	return [...]string{"none", "distrusted", "self", "voice", "founder", "introduced"}[by]
}

func (c *call) siteList() error {
	return c.view(func(tx *changelog.Tx) error {
		self := tx.Self()
		rows := []siteRow{{Code: self.Code, ID: fmt.Sprintf("%08x", uint32(self.Site)), Self: true, Trusted: true, By: "self",
			Fingerprint: changelog.SiteFingerprint(self.Campaign, self.Public())}}
		peers, err := tx.Peers()
		if err != nil {
			return err
		}
		for _, p := range peers {
			rows = append(rows, siteRow{Code: p.Code, ID: fmt.Sprintf("%08x", uint32(p.ID)), Trusted: p.Trusted, CutOff: p.CutOff, By: trustWord(p.By), Fingerprint: changelog.SiteFingerprint(self.Campaign, p.Key),
				HeardAt: jsonTime(p.HeardAt), WroteAt: jsonTime(p.WroteAt), Waiting: p.Waiting, Lacking: p.Lacking, SkewSeconds: int64(p.Skew.Seconds())})
		}
		codes, err := confidantCodes(tx)
		if err != nil {
			return err
		}
		for i := range rows {
			rows[i].Confined = slices.Contains(codes, rows[i].Code)
		}
		if c.asJSON() {
			return c.printJSON(rows)
		}
		t := newTable("site", "trusted", "last heard", "to send", "not here yet", "fingerprint")
		t.add(self.Code, trustText(changelog.TrustSelf), "", "", "", rows[0].Fingerprint)
		for i, p := range peers {
			fingerprint := rows[i+1].Fingerprint
			if !p.Trusted && !p.CutOff { // it is to be heard, not read off the screen
				fingerprint = "let it be read to you"
			}
			by := trustText(p.By)
			if p.By == changelog.TrustIntroduced {
				by += " by " + tx.SiteCode(self.Founder())
			}
			if p.CutOff {
				by = "CUT OFF"
			}
			t.add(p.Code, by, c.env.showTime(p.HeardAt), p.Waiting, p.Lacking, fingerprint)
		}
		t.print(c.env, "")
		c.printf("to send, not here yet: change-sets\n")
		if err := c.sayConfidants(tx); err != nil {
			return err
		}
		for _, p := range peers {
			if text := clockText(p.Code, p.Skew); text != "" {
				c.printf("%s\n", text)
			}
		}
		return nil
	})
}
