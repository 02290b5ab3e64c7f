package main

import (
	"errors"
	"fmt"
	"time"

	"github.com/urfave/cli/v2"

	"pulk/schema/fault"
	"pulk/sync/bundle"
	"pulk/sync/carrier"
	"pulk/sync/changelog"
	"pulk/sync/clock"
	"pulk/sync/transfer"
)

// clockTolerance is how far a sender's clock may stand ahead before it is told.
const clockTolerance = 5 * time.Minute

func (e *env) bundleCommand() *cli.Command {
	return group("bundle", "make and take the files that carry changes between sites",
		verb{path: "pulk bundle make", usage: "pack for a site what it has not said that it has",
			about: "Expedited changes go first. What does not fit --max-bytes stays queued. Nothing counts as delivered until the other site's next bundle says so. " +
				"With --fragment, files of that size are written: any of them may be lost, doubled or late. With --resend, fragments that the other site asks for are written again.",
			examples: []string{"pulk bundle make --to home -o today.bundle", "pulk bundle make --to home --max-bytes 50000 -o today.bundle", "pulk bundle make --to home --expedited -o now.bundle",
				"pulk bundle make --to home --seal -o today.sealed", "pulk bundle make --to home --fragment 340 --parity 30% -o burst/", "pulk bundle make --resend 2A7B-XCM4-R000-K1G8-5D -o burst/"},
			flags: append([]cli.Flag{&cli.StringFlag{Name: "to", Usage: "code of the `SITE` it is for"}, &cli.IntFlag{Name: "max-bytes", Usage: "size of all that is written, not exceeded, in `BYTES`"},
				&cli.StringFlag{Name: "output", Aliases: []string{"o"}, Usage: "`FILE` to write; for fragments the start of their names, or a folder"},
				&cli.BoolFlag{Name: "expedited", Usage: "only what goes first: stops, failures, nonconformances, sign-offs, urgent questions"},
				&cli.BoolFlag{Name: "continue", Usage: "start behind what earlier bundles carried, though it is not acknowledged yet"},
				&cli.StringFlag{Name: "resend", Usage: "write the fragments again that this `CODE|FILE` asks for"}}, wrappingFlags()...),
			more:   passFlags(),
			action: (*call).bundleMake}.command(e),
		verb{path: "pulk bundle take", args: "FILE…", minArgs: 1, maxArgs: -1, usage: "take in bundles of other sites",
			about: "Each bundle is taken whole or refused whole. Taking one twice, or in another order, does no harm. Sealed ones are opened. " +
				"Fragments are kept until enough of them are here; then the bundle is taken.",
			examples: []string{"pulk bundle take stn-0412.bundle", "pulk bundle take burst/*.fragment"}, action: (*call).bundleTake}.command(e),
		verb{path: "pulk bundle missing", args: "[NAME]", maxArgs: 1, usage: "which fragments are missing, and the code to ask for them", reads: true,
			about:    "The code goes to the sender by any means: typed, spoken, or as a file. There: pulk bundle make --resend CODE. Where not all fits --max-bytes, the first that fit are asked for.",
			examples: []string{"pulk bundle missing", "pulk bundle missing -o ask.request"},
			flags: []cli.Flag{&cli.StringFlag{Name: "output", Aliases: []string{"o"}, Usage: "`FILE` to write the request to"},
				&cli.IntFlag{Name: "max-bytes", Value: requestBytes, Usage: "size of a request that is not exceeded, in `BYTES`"}},
			action: (*call).bundleMissing}.command(e),
		verb{path: "pulk bundle show", args: "FILE", minArgs: 1, maxArgs: 1, usage: "a bundle as text, field by field, with offsets", storeless: true, reads: true,
			about: "Needs no store. A damaged bundle is shown up to the fault. Of a sealed parcel, a fragment or a request it says what can be said. The formats: docs/bundle-format.md, docs/fragment-format.md, docs/seal-format.md.", action: (*call).bundleShow}.command(e),
	)
}

func (c *call) bundleMake() error {
	if c.String("resend") != "" {
		return c.bundleResend()
	}
	if c.String("to") == "" || c.String("output") == "" {
		return fault.Misuse("see: pulk bundle make --help", "pulk bundle make: --to SITE and -o FILE are needed")
	}
	wrapping, err := c.wrapping()
	if err != nil {
		return err
	}
	return c.withLog(func(log *changelog.Log) error {
		to, err := trustedSite(c, log, c.String("to"))
		if err != nil {
			return err
		}
		most, err := c.maxBytes(log, to)
		if err != nil {
			return err
		}
		request := changelog.Request{To: to.ID, MaxBytes: most, Continue: c.Bool("continue")}
		if c.Bool("expedited") {
			request.Classes = []clock.Class{clock.Expedited}
		}
		made, err := c.desk(log).Make(c.Context.Context, transfer.Request{Request: request, Wrapping: wrapping})
		if err != nil {
			return err
		}
		name, err := writeParcels(c.String("output"), made.Parcels)
		if err != nil {
			return err
		}
		c.sayMade(name, to.Code, made)
		return nil
	})
}

// sayMade says what is in what was made, and under which name it goes.
func (c *call) sayMade(name, to string, made *transfer.Made) {
	c.printf("%s: %d bytes for %s, %s", name, made.Bytes(), to, cargo("", made.Changes, made.Sets))
	if made.Left > 0 {
		c.printf("; %s queued", plural(made.Left, "change-set stays", "change-sets stay"))
	}
	c.printf("\n")
	c.sayCut(made.Cut)
}

// cargo says what a bundle brings. One without changes still tells what has arrived
// at its sender.
func cargo(fresh string, changes, sets int) string {
	if sets == 0 {
		return "nothing " + fresh + "but word of what has arrived"
	}
	return plural(changes, fresh+"change", fresh+"changes") + " in " + plural(sets, "change-set", "change-sets")
}

func trustedSite(c *call, log *changelog.Log, code string) (changelog.Site, error) {
	var site changelog.Site
	err := log.View(c.Context.Context, func(tx *changelog.Tx) (err error) {
		if site, err = tx.SiteByCode(code); err != nil {
			return fault.Hint("see: pulk site list", "%w", err)
		}
		return nil
	})
	return site, err
}

func (c *call) bundleTake() error {
	paths, err := c.takeCards(c.Args().Slice())
	if err != nil {
		return err
	}
	return c.withLog(func(log *changelog.Log) error {
		read := func(i int) ([]byte, error) { return carrier.ReadFile(paths[i]) }
		heap := newHeap(c, log)
		err := c.desk(log).Take(c.Context.Context, len(paths), read, func(i int, o transfer.Outcome) error {
			switch {
			case i < 0:
				return heap.add("", o)
			case o.Err != nil && o.Kind == transfer.Fragment:
				return heap.damaged(paths[i], o.Err)
			case o.Err != nil:
				return fmt.Errorf("%s: %w", paths[i], o.Err)
			}
			return heap.add(paths[i], o)
		})
		if err := errors.Join(err, heap.say()); err != nil {
			return err
		}
		return c.sayConflicts(log)
	})
}

// desk returns where parcels are opened and wrapped for a log.
func (c *call) desk(log *changelog.Log) *transfer.Desk {
	stayFrugal()
	return &transfer.Desk{Log: log, Now: c.env.now(), Attachment: c.takeAttachment(log)}
}

// sayOutcome says what came of a parcel that was not refused and is no fragment.
func (c *call) sayOutcome(log *changelog.Log, name string, o transfer.Outcome) error {
	if o.Sealed {
		name += " (sealed)"
	}
	switch {
	case o.Taken != nil:
		return c.sayTaken(log, name, o.Taken)
	case o.Attachment != "":
		c.printf("%s: %s\n", name, o.Attachment)
	case o.Asked != nil:
		c.printf("%s: asks for %s of parcel %s again\n", name, plural(len(o.Asked.Missing), "fragment", "fragments"), o.Asked.Name)
	}
	return nil
}

// sayTaken says what a bundle brought.
func (c *call) sayTaken(log *changelog.Log, name string, taken *changelog.Taken) error {
	return log.View(c.Context.Context, func(tx *changelog.Tx) error {
		from, _, err := tx.SiteByID(taken.From)
		if err != nil {
			return err
		}
		if taken.Already {
			c.printf("%s: from %s, taken before; nothing changed\n", name, from.Code)
			return nil
		}
		sets, changes := taken.Fresh()
		brought := cargo("new ", changes, sets)
		if sets == 0 && len(taken.Waiting) > 0 {
			brought = "nothing that can be read yet; it is kept"
		}
		if sets == 0 && len(taken.Aside) > 0 {
			brought = "nothing new that counts"
		}
		c.printf("%s: from %s, %s\n", name, from.Code, brought)
		for _, gap := range taken.Waiting {
			c.printf("  waits for %s numbers %d to %d, which are missing; a bundle of yours to %s tells it\n", tx.LaneName(gap.Lane), gap.From, gap.To, from.Code)
		}
		for _, lane := range taken.Forked {
			c.printf("  CONFLICT: %s holds two histories, as its store was restored or copied; both are kept: pulk conflict list\n", tx.LaneName(lane))
		}
		for _, aside := range taken.Aside {
			c.printf("  kept aside: %s numbers %d to %d, as %s was cut off before them: pulk site quarantine\n", tx.LaneName(aside.Lane), aside.From, aside.To, tx.SiteCode(aside.Lane.Site))
		}
		if taken.Dropped > 0 {
			c.printf("  %s of it dropped: too much is kept aside already\n", plural(taken.Dropped, "change-set was", "change-sets were"))
		}
		if taken.Withheld > 0 {
			c.printf("  left out: %s confined to named sites, which this one is not: pulk site list\n", plural(taken.Withheld, "change-set", "change-sets"))
		}
		if taken.Renewed {
			c.printf("  this store was older than what others have of it: it has caught up and numbers its changes anew\n")
		}
		if text := clockText(from.Code, taken.Skew); text != "" {
			c.printf("  %s\n", text)
		}
		return nil
	})
}

// clockText says that the clock of a site and ours are proven to differ, and by how
// much at least; "" where they are not, or by little.
func clockText(code string, skew time.Duration) string {
	switch {
	case skew > clockTolerance:
		return fmt.Sprintf("the clock of %s stands %s ahead of ours: one of the two is wrong", code, durationText(skew))
	case skew < -clockTolerance:
		return fmt.Sprintf("the clock of %s stands at least %s behind ours: one of the two is wrong", code, durationText(-skew))
	}
	return ""
}

func (c *call) sayConflicts(log *changelog.Log) error {
	stayFrugal()
	return log.View(c.Context.Context, func(tx *changelog.Tx) error {
		all, urgent := 0, 0
		err := tx.EachConflict(func(conflict changelog.Conflict) error {
			all++
			if conflict.Urgent {
				urgent++
			}
			return nil
		})
		if err != nil || all == 0 {
			return err
		}
		c.printf("%s open", plural(all, "conflict is", "conflicts are"))
		if urgent > 0 {
			c.printf(", %d of them URGENT", urgent)
		}
		c.printf(": pulk conflict list\n")
		return nil
	})
}

func (c *call) bundleShow() error {
	stayFrugal()
	data, err := carrier.ReadFile(c.Args().First())
	if err != nil {
		return err
	}
	if c.asJSON() {
		b, err := bundle.Decode(data, bundle.DefaultLimits)
		if err != nil {
			return fault.Hint("pulk bundle show without --json tells how far it can be read, and what else it may be", "%s: %w", c.Args().First(), err)
		}
		return printBundleJSON(c.env.raw, b)
	}
	if show, ok := shows[transfer.KindOf(data)]; ok {
		if err := show(c, data); err != nil {
			return fmt.Errorf("%s: %w", c.Args().First(), err)
		}
		return nil
	}
	return bundle.Dump(c.env.stdout, data)
}
