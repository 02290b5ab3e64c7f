package main

import (
	"cmp"
	"fmt"
	"maps"
	"slices"
	"strings"
	"time"

	"github.com/urfave/cli/v2"

	"pulk/checklist/crew"
	"pulk/schema/fault"
	"pulk/sync/changelog"
	"pulk/sync/clock"
)

// founderCommands are what the site that founded the campaign says of others, and
// what follows from it.
func (e *env) founderCommands() []*cli.Command {
	why := &cli.StringFlag{Name: "why", Usage: "`REASON`, for the record"}
	return []*cli.Command{
		verb{path: "pulk site introduce", args: "SITE", minArgs: 1, maxArgs: 1, usage: "vouch for a site to all others (founding site alone)",
			about:    "The other sites take it as if they had compared its fingerprint themselves, as soon as a bundle brings the word. Only a site whose fingerprint was compared here can be introduced. To take it back: pulk site retract.",
			examples: []string{`pulk site introduce stn2 --why "second laptop of the station" --as lena`},
			flags:    []cli.Flag{why},
			writes:   true, action: (*call).siteIntroduce}.command(e),
		verb{path: "pulk site retract", args: "SITE", minArgs: 1, maxArgs: 1, usage: "take an introduction back (founding site alone)",
			about:    "For a mistake. What the site wrote and others took stays. For a laptop that was lost see pulk site cut-off.",
			examples: []string{`pulk site retract stn2 --why "typed the wrong site" --as lena`},
			flags:    []cli.Flag{why},
			writes:   true, action: (*call).siteRetract}.command(e),
		verb{path: "pulk site cut-off", args: "SITE", minArgs: 1, maxArgs: 1, usage: "count no more what a lost laptop writes (founding site alone)",
			about: "Without --why nothing is changed: it shows what would stay and what would count no more. What stays is all that this store has, or what --after names; a lane can be cut where a bundle of the site ended. " +
				"What lies behind the cut is taken out of every store that hears of it, as if it had never come, and kept aside to be read: pulk site quarantine. To take it back: pulk site reinstate.",
			examples: []string{"pulk site cut-off stn", `pulk site cut-off stn --why "left on the aircraft" --as lena`, `pulk site cut-off stn --after stn-95 --after stn-x12 --why "stolen on 5 January" --as lena`},
			flags: []cli.Flag{why,
				&cli.StringSliceFlag{Name: "after", Usage: "`ID` of the last change-set of a lane that stays; may be given for each lane"}},
			writes: true, action: (*call).siteCutOff}.command(e),
		verb{path: "pulk site reinstate", args: "SITE", minArgs: 1, maxArgs: 1, usage: "take a cut-off back (founding site alone)",
			about:    "For a mistake, or a laptop that was found and that nobody else can have used. What was kept aside counts again, at every site that hears of it.",
			examples: []string{`pulk site reinstate stn --why "it was in the other crate, sealed" --as lena`},
			flags:    []cli.Flag{why}, writes: true, action: (*call).siteReinstate}.command(e),
		verb{path: "pulk site quarantine", args: "[ID]", maxArgs: 1, usage: "what sites wrote after they were cut off, kept aside", reads: true,
			about:    "It counts for nothing and is passed on to nobody. With an ID it is shown in full, so that what is true of it can be entered anew by someone who knows.",
			examples: []string{"pulk site quarantine", "pulk site quarantine stn-101"}, action: (*call).siteQuarantine}.command(e),
	}
}

func (c *call) siteIntroduce() error {
	code := c.Args().First()
	return c.judge(func(tx *changelog.Tx, site changelog.Site) error {
		list, err := introductionsOf(tx, site)
		if err != nil {
			return err
		}
		if len(list) > 0 {
			return fault.Misuse("see: pulk site list", "site %s is introduced already", code)
		}
		if site.By != changelog.TrustVoice {
			return fault.Refuse(fmt.Sprintf("let %s read its fingerprint to you, then: pulk site trust %s FINGERPRINT", code, code),
				"site %s was not compared by voice here, so there is nothing to vouch for", code)
		}
		_, err = tx.Introduce(site, code, c.String("why"))
		return err
	}, func() {
		c.printf("site %s is introduced: others trust it once a bundle of this site brings them the word.\n", code)
	})
}

// judge lets the founder say something of the site that the command names.
func (c *call) judge(say func(*changelog.Tx, changelog.Site) error, done func()) error {
	return c.write(func(tx *changelog.Tx, _ *crew.Person) error {
		site, err := c.siteToJudge(tx, c.Args().First())
		if err != nil {
			return err
		}
		return say(tx, site)
	}, done)
}

func introductionsOf(tx *changelog.Tx, site changelog.Site) ([]changelog.Introduction, error) {
	list, err := tx.Introductions()
	return slices.DeleteFunc(list, func(in changelog.Introduction) bool { return !in.Key.Equal(site.Key) }), err
}

// siteToJudge returns a site that the founder is to say something of.
func (c *call) siteToJudge(tx *changelog.Tx, code string) (changelog.Site, error) {
	site, err := tx.SiteByCode(code)
	self := tx.Self()
	switch {
	case !self.IsFounder():
		return site, fault.Refuse("ask there; what this store itself believes: pulk site trust, pulk site distrust",
			"only the site that founded the campaign, %s, speaks for all", tx.SiteCode(self.Founder()))
	case err != nil:
		return site, fault.Hint("see: pulk site list", "%w", err)
	case site.ID == self.Site:
		return site, fault.Misuse("name another site", "the campaign rests upon this site itself")
	}
	return site, nil
}

func (c *call) siteRetract() error {
	code := c.Args().First()
	return c.judge(func(tx *changelog.Tx, site changelog.Site) error {
		list, err := introductionsOf(tx, site)
		if err != nil {
			return err
		}
		for _, in := range list {
			tx.Retract(in.Dot, c.String("why"))
		}
		if len(list) == 0 {
			return fault.Misuse("see: pulk site list", "site %s was not introduced", code)
		}
		return nil
	}, func() {
		c.printf("the introduction of %s is taken back: others trust it no more, unless they compared its fingerprint themselves.\n", code)
	})
}

func (c *call) siteReinstate() error {
	code := c.Args().First()
	return c.judge(func(tx *changelog.Tx, site changelog.Site) error {
		list, err := tx.Cutoffs()
		if err != nil {
			return err
		}
		list = slices.DeleteFunc(list, func(cut changelog.Cutoff) bool { return cut.Site != site.ID })
		for _, cut := range list {
			tx.Retract(cut.Dot, c.String("why"))
		}
		if len(list) == 0 {
			return fault.Misuse("see: pulk site list", "site %s was not cut off", code)
		}
		return nil
	}, func() { c.printf("site %s counts again, and what was kept aside of it.\n", code) })
}

func (c *call) siteCutOff() error {
	code, why := c.Args().First(), c.String("why")
	if why == "" {
		return c.view(func(tx *changelog.Tx) error {
			_, cuts, err := c.planCutOff(tx, code)
			if err != nil {
				return err
			}
			if err := c.sayCuts(tx, code, cuts); err != nil {
				return err
			}
			c.printf("Nothing was changed. To cut %s off so, repeat it with --why REASON.\n", code)
			return nil
		})
	}
	doubt := 0
	return c.write(func(tx *changelog.Tx, _ *crew.Person) error {
		site, cuts, err := c.planCutOff(tx, code)
		if err != nil {
			return err
		}
		for _, cut := range cuts {
			doubt += len(cut.Doubt)
		}
		_, err = tx.CutOff(site, cuts, why)
		return err
	}, func() {
		c.printf("site %s is cut off: %s here no more; what it writes from now on counts at no site that has heard of this.\n", code, plural(doubt, "change-set counts", "change-sets count"))
		c.printf("next: send bundles to all other sites, the word travels first; set up a new laptop as a new site: pulk site seed\n")
	})
}

func (c *call) planCutOff(tx *changelog.Tx, code string) (changelog.Site, []changelog.LaneCut, error) {
	site, err := c.siteToJudge(tx, code)
	if err != nil {
		return site, nil, err
	}
	var after []clock.Dot
	for _, id := range c.StringSlice("after") {
		dot, err := tx.ParseName(id)
		if err != nil {
			return site, nil, fault.Misuse("give the id of a change-set of that site, like "+code+"-412", "--after: %s", err)
		}
		after = append(after, dot)
	}
	cuts, err := tx.PlanCutoff(site.ID, after)
	return site, cuts, err
}

// sayCuts says of each lane of a site what a cut-off would leave.
func (c *call) sayCuts(tx *changelog.Tx, code string, cuts []changelog.LaneCut) error {
	if len(cuts) == 0 {
		c.printf("Nothing of %s is here, so nothing it ever wrote would count.\n", code)
		return nil
	}
	t := newTable("lane", "stays up to", "written", "counts no more")
	for _, cut := range cuts {
		info, err := tx.Info(cut.Dot)
		if err != nil {
			return err
		}
		t.add(tx.LaneName(cut.Head.Lane), tx.Name(cut.Dot), c.env.stampText(info.At), plural(len(cut.Doubt), "change-set", "change-sets"))
	}
	t.print(c.env, "")
	urgent := false
	for _, cut := range cuts {
		urgent = urgent || cut.Head.Lane.Class == clock.Expedited && len(cut.Doubt) > 0
		if err := c.sayDoubt(tx, cut.Doubt); err != nil {
			return err
		}
	}
	if codes, err := confidantCodes(tx); err != nil {
		return err
	} else if len(codes) > 0 {
		c.printf("CAUTION: what %s wrote that is confined counts no more at all. At %s enter anew what is true, withdrawals of clearances first.\n", code, strings.Join(codes, ", "))
	}
	if urgent {
		c.printf("CAUTION: a failing reading, a stop or a nonconformance among those of the expedited lane shuts no gate any more. Read them first; enter anew what is true.\n")
	}
	return nil
}

// maxDoubt bounds how many change-sets of a lane are named; all can be read as they
// are, or later with pulk site quarantine.
const maxDoubt = 20

func (c *call) sayDoubt(tx *changelog.Tx, doubt []clock.Dot) error {
	for i, dot := range doubt {
		if i == maxDoubt {
			c.printf("  … and %d more\n", len(doubt)-i)
			break
		}
		e, err := tx.Entry(dot)
		if err != nil {
			return err
		}
		person, err := crew.Label(tx, e.Person)
		if err != nil {
			return err
		}
		what := "something that only a newer pulk knows"
		if e.Kind != nil {
			what = e.Kind.Name
		}
		c.printf("  in doubt: %s, %s, written %s by %s\n", tx.Name(dot), what, c.env.stampText(e.At), person)
	}
	return nil
}

// asideRow is a row of pulk site quarantine --json.
type asideRow struct {
	ID        string        `json:"id"`
	Site      string        `json:"site"`
	Lane      string        `json:"lane"`
	Hash      string        `json:"hash"` // hexadecimal; two may bear one id where the lane was forked
	WrittenAt time.Time     `json:"written_at"`
	Person    string        `json:"person"`
	CameAt    time.Time     `json:"came_at"`
	From      string        `json:"from"` // site whose bundle brought it; empty where it had counted here before
	Changes   []asideChange `json:"changes"`
}

// asideChange is one change of a change-set that is kept aside.
type asideChange struct {
	Kind   string            `json:"kind"`
	Values map[string]string `json:"values"` // by column
}

func (c *call) siteQuarantine() error {
	return c.view(func(tx *changelog.Tx) error {
		switch {
		case c.NArg() > 0:
			return c.showAside(tx, c.Args().First())
		case c.asJSON():
			return c.printJSONEach(func(add func(any) error) error {
				return tx.EachAside(func(a changelog.Aside) error {
					row, err := asideRowOf(tx, a)
					if err != nil {
						return err
					}
					return add(row)
				})
			})
		}
		return c.listAside(tx)
	})
}

// asideRowOf tells all of a change-set that is kept aside.
func asideRowOf(tx *changelog.Tx, a changelog.Aside) (asideRow, error) {
	row, err := asideHeadOf(tx, a)
	for i := range a.Set.Changes {
		name, values := tx.Spell(&a.Set.Changes[i])
		change := asideChange{name, map[string]string{}}
		for _, v := range values {
			change.Values[v.Column] = v.Text
		}
		row.Changes = append(row.Changes, change)
	}
	return row, err
}

// asideHeadOf is asideRowOf without the changes.
func asideHeadOf(tx *changelog.Tx, a changelog.Aside) (asideRow, error) {
	person, err := crew.Label(tx, a.Set.Person)
	row := asideRow{ID: tx.Name(clock.Dot{Lane: a.Lane, Seq: a.Seq}), Site: tx.SiteCode(a.Lane.Site), Lane: tx.LaneName(a.Lane), Hash: fmt.Sprintf("%x", a.Hash[:]),
		WrittenAt: a.Set.At.Time(), Person: person, CameAt: time.UnixMilli(a.TookMS).UTC()}
	if a.From != 0 {
		row.From = tx.SiteCode(a.From)
	}
	return row, err
}

func (c *call) listAside(tx *changelog.Tx) error {
	t := newTable("id", "written", "by", "what", "came here", "from")
	err := t.printEach(c.env, "Nothing is kept aside.", func(print func([]string)) error {
		return tx.EachAside(func(a changelog.Aside) error {
			row, err := asideHeadOf(tx, a)
			if err != nil {
				return err
			}
			var kinds []string
			for i := range a.Set.Changes {
				if kind := changelog.SpellKind(&a.Set.Changes[i]); !slices.Contains(kinds, kind) {
					kinds = append(kinds, kind)
				}
			}
			const minutes = "2006-01-02 15:04Z"
			print([]string{row.ID, row.WrittenAt.Format(minutes), row.Person, strings.Join(kinds, ", "), row.CameAt.Format(minutes), cmp.Or(row.From, "counted before")})
			return nil
		})
	})
	if err != nil {
		return err
	}
	sites, err := tx.Sites()
	for _, s := range sites {
		dropped, err := tx.Dropped(s.ID)
		if err != nil {
			return err
		}
		if dropped > 0 {
			c.printf("%s of %s came when %d were kept aside, and were dropped\n", plural(dropped, "change-set", "change-sets"), s.Code, changelog.MaxAsideSets)
		}
	}
	return err
}

// showAside tells all of what is kept aside under one id: two change-sets where the lane
// was forked.
func (c *call) showAside(tx *changelog.Tx, id string) error {
	rows := []asideRow{}
	err := tx.EachAside(func(a changelog.Aside) error {
		if tx.Name(clock.Dot{Lane: a.Lane, Seq: a.Seq}) != id {
			return nil
		}
		row, err := asideRowOf(tx, a)
		rows = append(rows, row)
		return err
	})
	switch {
	case err != nil:
		return err
	case len(rows) == 0:
		return fault.Hint("see: pulk site quarantine", "nothing is kept aside as %s", id)
	case c.asJSON():
		return c.printJSON(rows)
	}
	for _, row := range rows {
		c.printf("%s of %s, written %s by %s: counts for nothing, as %s was cut off before it\n", row.ID, row.Lane, c.env.showTime(row.WrittenAt), row.Person, row.Site)
		for _, change := range row.Changes {
			c.printf("%s\n", change.Kind)
			for _, name := range slices.Sorted(maps.Keys(change.Values)) {
				c.printf("  %s: %s\n", name, change.Values[name])
			}
		}
	}
	return nil
}
