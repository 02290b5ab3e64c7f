package main

import (
	"fmt"
	"strings"

	"github.com/urfave/cli/v2"

	"pulk/checklist/crew"
	"pulk/inventory/manifest"
	"pulk/inventory/stock"
	"pulk/schema/fault"
	"pulk/sync/changelog"
)

func (e *env) manifestCommand() *cli.Command {
	why := &cli.StringFlag{Name: "why", Usage: "the `REASON`"}
	at := &cli.StringFlag{Name: "at", Usage: "the `LOCATION` where they are (else the one that they are sent to)"}
	note := &cli.StringFlag{Name: "note", Usage: "a `TEXT` to go with it"}
	return group("manifest", "send crates, and take them in at the far end", append([]*cli.Command{
		verb{path: "pulk manifest make", args: "CODE", minArgs: 1, maxArgs: 1, usage: "list crates that go together, as they are now", writes: true,
			about:    "Nothing moves before pulk manifest send. What is in a crate, its mass and its seal must not change in between.",
			examples: []string{"pulk manifest make M-27-1 --from home-store --to stn-store --crate CR-07 --crate CR-08 --needed 2027-01-20 --as piet"},
			flags: []cli.Flag{&cli.StringFlag{Name: "from", Usage: "the `LOCATION` where they are"}, &cli.StringFlag{Name: "to", Usage: "the `LOCATION` where they go"},
				&cli.StringSliceFlag{Name: "crate", Usage: "`CODE` of a crate; may be repeated. Without it: all that are there and packed"},
				&cli.StringFlag{Name: "needed", Usage: "on site by this `DATE`"}, &cli.StringFlag{Name: "route", Usage: "the way, a `TEXT`"},
				&cli.StringFlag{Name: "consignor", Usage: "who sends, `NAME and address`"}, &cli.StringFlag{Name: "consignee", Usage: "who receives, `NAME and address`"}, note},
			action: (*call).manifestMake}.command(e),
		verb{path: "pulk manifest list", usage: "the manifests that are not done", reads: true,
			flags: []cli.Flag{&cli.BoolFlag{Name: "all", Usage: "those that arrived or were voided too"}}, action: (*call).manifestList}.command(e),
		verb{path: "pulk manifest show", args: "MANIFEST", minArgs: 1, maxArgs: 1, usage: "one manifest: how far its crates are, and what differed", reads: true,
			flags: []cli.Flag{&cli.BoolFlag{Name: "contents", Usage: "what is in each crate too"}}, action: (*call).manifestShow}.command(e),
		verb{path: "pulk manifest send", args: "MANIFEST", minArgs: 1, maxArgs: 1, usage: "say that its crates left", writes: true,
			about:    "From here on they are under way: nothing in them counts as there, at either end.",
			examples: []string{`pulk manifest send M-27-1 --day 2026-11-20 --carrier "MV Fulmar, voyage 3" --as piet`},
			flags:    []cli.Flag{&cli.StringFlag{Name: "day", Usage: "`DATE` (else today)"}, &cli.StringFlag{Name: "carrier", Usage: "with whom, a `TEXT`"}, note}, action: (*call).manifestSend}.command(e),
		verb{path: "pulk manifest scan", args: "MANIFEST CODE", minArgs: 2, maxArgs: 2, usage: "record one thing that arrived: a crate, a unit, an item", writes: true,
			about: "A unit or an item is in a crate of the list. Nothing is booked before pulk manifest book.",
			examples: []string{"pulk manifest scan M-27-1 CR-07 --sealed 00417 --logger -18..2 --as tomas",
				`pulk manifest scan M-27-1 CON-011 --crate CR-08 --quantity 4 --damaged "pins bent" --as tomas`},
			flags: []cli.Flag{&cli.StringFlag{Name: "crate", Usage: "the `CRATE` that it is in"}, &cli.StringFlag{Name: "quantity", Usage: "`N`, in units of issue or boxes"},
				&cli.StringFlag{Name: "lot", Usage: "`LOT`, as on the piece"}, &cli.StringFlag{Name: "sealed", Usage: "the crate's seal is unbroken, its `NUMBER`: it stays shut and holds what is listed"},
				&cli.StringFlag{Name: "logger", Usage: "the lowest and highest temperature of its logger in °C, `LOW..HIGH`"},
				&cli.StringFlag{Name: "damaged", Usage: "it is damaged, in `WORDS`"}, &cli.StringFlag{Name: "temperature", Usage: "it was too warm or too cold, in `WORDS`"}},
			action: (*call).manifestScan}.command(e),
		verb{path: "pulk manifest receive", args: "MANIFEST", minArgs: 1, maxArgs: 1, usage: "scan crates and pieces one after the other", writes: true,
			about:    "A scanner acts as a keyboard: each line is on record at once. Lines, on a terminal or from a file:\n" + arrivalHelp,
			examples: []string{"pulk manifest receive M-27-1 --as tomas", "pulk manifest receive M-27-1 --as tomas < scans.txt"}, flags: []cli.Flag{at, note}, action: (*call).manifestReceive}.command(e),
		verb{path: "pulk manifest missing", args: "MANIFEST", minArgs: 1, maxArgs: 1, usage: "what was not scanned yet", action: func(c *call) error { return c.printMissing(c.Args().First()) }}.command(e),
		verb{path: "pulk manifest book", args: "MANIFEST [CRATE…]", minArgs: 1, maxArgs: -1, usage: "take crates in, by what was scanned", writes: true,
			about: "Without crates: all of which something was scanned. What is short stays under way, as a movement, until it is found (pulk stock move, pulk unit move) or written off; " +
				"what is over is counted in. What is damaged, or was at a wrong temperature, becomes a nonconformance, and is kept in quarantine until somebody decides.",
			examples: []string{"pulk manifest book M-27-1 --as tomas", "pulk manifest book M-27-1 CR-07 --at drill-hut --as tomas"}, flags: []cli.Flag{at, note}, action: (*call).manifestBook}.command(e),
		verb{path: "pulk manifest void", args: "MANIFEST|SCAN|WEIGHING|BOOKING", minArgs: 1, maxArgs: 1, usage: "take back a list whose crates have not left, or one entry", writes: true,
			about:    "With a booking, what it moved is moved back; its nonconformances stay until somebody decides about them. Nothing is erased.",
			examples: []string{`pulk manifest void M-27-1 --why "one crate more goes along" --as piet`}, flags: []cli.Flag{why}, action: (*call).manifestVoid}.command(e)},
		e.manifestPapersVerbs()...)...)
}

func (c *call) manifestMake() error {
	p := manifest.Plan{Code: c.Args().First(), Needed: c.String("needed"), Route: c.String("route"), Consignor: c.String("consignor"),
		Consignee: c.String("consignee"), Note: c.String("note")}
	for _, flag := range []string{"from", "to"} {
		if c.String(flag) == "" {
			return fault.Misuse("give both --from and --to", "say with --%s where the crates are, and where they go", flag)
		}
	}
	var said string
	return c.write(func(tx *changelog.Tx, _ *crew.Person) (err error) {
		if p.From, err = stock.FindLocation(tx, c.String("from")); err != nil {
			return err
		}
		if p.To, err = stock.FindLocation(tx, c.String("to")); err != nil {
			return err
		}
		if p.Crates, err = c.cratesToGo(tx, p.From); err != nil {
			return err
		}
		m, err := manifest.Make(tx, p)
		if err != nil {
			return err
		}
		said = fmt.Sprintf("manifest %s: %s, %s gross, %.2f m³\n", m.Code, plural(len(m.Crates), "crate", "crates"), kgText(m.GrossGrams()), m.Litres()/1000)
		for i, crate := range m.Crates {
			if !crate.Weighed {
				said += fmt.Sprintf("note: %s was not put on a scale as it is packed now; its mass is reckoned\n", p.Crates[i].Code)
			}
		}
		said += fmt.Sprintf("next: pulk manifest show %[1]s --contents; when they left: pulk manifest send %[1]s", m.Code)
		return nil
	}, func() { c.say(said) })
}

// cratesToGo is the crates that are named, else all that stand at a place, or within it,
// and hold something.
func (c *call) cratesToGo(tx *changelog.Tx, from *stock.Location) ([]*stock.Location, error) {
	var list []*stock.Location
	for _, code := range c.StringSlice("crate") {
		l, err := stock.FindLocation(tx, code)
		if err != nil {
			return nil, err
		}
		list = append(list, l)
	}
	if len(list) > 0 {
		return list, nil
	}
	h, err := manifest.ReadHolds(tx)
	if err != nil {
		return nil, err
	}
	within := stock.Within(h.Places(), from.ID)
	for _, l := range h.Places() {
		held, err := h.In(tx, l)
		if err != nil {
			return nil, err
		}
		if l.IsCrate() && within[l.ID] && len(held.Lines) > 0 {
			list = append(list, l)
		}
	}
	if len(list) == 0 {
		return nil, fault.Hint("see: pulk crate list --at "+from.Code, "no packed crate is at %s", from.Code)
	}
	return list, nil
}

func (c *call) manifestSend() error {
	code := c.Args().First()
	return c.write(func(tx *changelog.Tx, _ *crew.Person) error {
		m, err := manifest.Find(tx, code)
		if err != nil {
			return err
		}
		return manifest.Send(tx, m, c.String("day"), c.String("carrier"), c.String("note"))
	}, func() { c.printf("%[1]s is under way\nat the far end: pulk manifest receive %[1]s\n", code) })
}

func (c *call) manifestVoid() error {
	var what string
	return c.write(func(tx *changelog.Tx, _ *crew.Person) (err error) {
		what, err = manifest.Void(tx, c.Args().First(), c.String("why"))
		return err
	}, func() { c.printf("%s (%s) is voided; it stays on record\n", c.Args().First(), what) })
}

func (c *call) manifestList() error {
	return c.view(func(tx *changelog.Tx) error {
		list, err := manifest.List(tx)
		if err != nil {
			return err
		}
		rows := []manifestRow{}
		t := newTable("manifest", "state", "from", "to", "needed", "sent", "crates", "taken in", "gross", "m³")
		for _, m := range list {
			row, err := manifestRowOf(tx, m)
			if err != nil {
				return err
			}
			if done := m.Voided || m.State() == manifest.Arrives; done && !c.Bool("all") {
				continue
			}
			rows = append(rows, row)
			t.add(row.Code, row.State, row.From, row.To, row.Needed, row.Sent, row.Crates, row.Booked, kgText(row.GrossGrams), fmt.Sprintf("%.2f", row.Litres/1000))
		}
		if c.asJSON() {
			return c.printJSON(rows)
		}
		t.print(c.env, "No manifest is under way.")
		return nil
	})
}

func (c *call) manifestShow() error {
	return c.view(func(tx *changelog.Tx) error {
		_, d, err := manifestOf(tx, c.Args().First())
		if err != nil {
			return err
		}
		if c.asJSON() {
			return c.printJSON(d)
		}
		c.printManifest(d)
		return nil
	})
}

func (c *call) printManifest(d manifestDetail) {
	c.printf("manifest %s, %s\n  from %s to %s", d.Code, d.State, d.From, d.To)
	if d.Needed != "" {
		c.printf(", needed on site by %s", d.Needed)
	}
	c.printf("\n  %s, %s gross, %.2f m³\n", plural(len(d.Crates), "crate", "crates"), kgText(d.GrossGrams), d.Litres/1000)
	for _, told := range [][2]string{{"left", strings.TrimSuffix(d.Sent+" with "+d.Carrier, " with ")}, {"route", d.Route}, {"consignor", d.Consignor}, {"consignee", d.Consignee}, {"note", d.Note}, {"voided", d.VoidWhy}} {
		if told[1] != "" {
			c.printBlock("  ", told[0]+": "+told[1])
		}
	}
	t := newTable("piece", "crate", "outside mm", "gross", "seal", "kept °C", "lines", "state")
	for _, crate := range d.Crates {
		mass := kgText(crate.GrossGrams)
		if !crate.Weighed {
			mass = "about " + mass
		}
		state := crate.State
		if crate.At != "" {
			state += " at " + crate.At
		}
		t.add(crate.Piece, crate.Code, stock.SidesText(crate.Outside), mass, crate.Seal, crate.Kept, len(crate.Contents), state)
	}
	c.printf("\n")
	t.print(c.env, "Its crates are not here yet.")
	for _, crate := range d.Crates {
		if c.Bool("contents") {
			c.printf("\n%s (%s)\n", crate.Code, crate.Name)
			contentsTable(crate.Contents).print(c.env, "It is empty.")
		}
	}
	if len(d.Findings) > 0 {
		c.printf("\nWhat differs from the list:\n")
	}
	for _, f := range d.Findings {
		text := f.Crate + ", " + f.text()
		if !f.Booked {
			text += " (not booked yet)"
		}
		c.printBlock("  ", text)
	}
	if len(d.Missing) > 0 {
		c.printf("\nStill under way by the record, in no crate:\n")
		contentsTable(d.Missing).print(c.env, "")
	}
}
