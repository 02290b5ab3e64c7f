package main

import (
	"fmt"
	"strings"

	"github.com/urfave/cli/v2"

	"pulk/checklist/crew"
	"pulk/inventory/manifest"
	"pulk/inventory/stock"
	"pulk/inventory/unit"
	"pulk/schema/fault"
	"pulk/sync/changelog"
)

// crateStoreVerbs are the commands about crates that are on record.
func (e *env) crateStoreVerbs() []*cli.Command {
	outline := []cli.Flag{
		&cli.StringFlag{Name: "outside", Usage: "length, width and height outside in mm, `LxWxH`"},
		&cli.StringFlag{Name: "tare", Usage: "what it weighs empty, a `MASS` as 28kg"},
		&cli.StringFlag{Name: "max", Usage: "the most `MASS` that it may have packed"},
		&cli.StringFlag{Name: "kept", Usage: "between which temperatures it is kept in °C, `LOW..HIGH` as -20..5; none takes it back"},
		&cli.StringFlag{Name: "name", Usage: "what it is, a `TEXT`"}}
	return []*cli.Command{
		verb{path: "pulk crate add", args: "CODE", minArgs: 1, maxArgs: 1, usage: "add a crate: a place that travels", writes: true,
			about:    "What is in it lies at it: pulk stock move PART N --to CODE, pulk unit move SERIAL --to CODE.",
			examples: []string{"pulk crate add CR-07 --outside 1200x800x600 --tare 28kg --max 400kg --kept -20..5 --at home-store --as piet"},
			flags:    append(outline, &cli.StringFlag{Name: "at", Usage: "the `LOCATION` where it stands"}), action: (*call).crateAdd}.command(e),
		verb{path: "pulk crate change", args: "CODE", minArgs: 1, maxArgs: 1, usage: "change what is told of a crate, or make a place one", writes: true,
			examples: []string{`pulk crate change CR-07 --tare 31kg --why "a new lid" --as piet`},
			flags:    append(outline[:4:4], &cli.StringFlag{Name: "why", Usage: "the `REASON`"}), action: (*call).crateChange}.command(e),
		verb{path: "pulk crate move", args: "CODE", minArgs: 1, maxArgs: 1, usage: "say that a crate, with all in it, stands elsewhere", writes: true,
			about:    "For ways within a place. What goes by a carrier goes with a list: pulk manifest make.",
			examples: []string{"pulk crate move CR-07 --to drill-hut --as tomas"},
			flags:    []cli.Flag{&cli.StringFlag{Name: "to", Usage: "the `LOCATION`"}, &cli.StringFlag{Name: "why", Usage: "the `REASON`"}}, action: (*call).crateMove}.command(e),
		verb{path: "pulk crate weigh", args: "CODE MASS", minArgs: 2, maxArgs: 2, usage: "say what a packed crate weighs on a scale, and its seal", writes: true,
			about:    "Packed otherwise later on, its mass is reckoned from its record again, and the seal counts no more.",
			examples: []string{"pulk crate weigh CR-07 143.5kg --seal 00417 --as piet"},
			flags:    []cli.Flag{&cli.StringFlag{Name: "seal", Usage: "the `NUMBER` of the seal put on it"}, &cli.StringFlag{Name: "note", Usage: "a `TEXT` to go with it"}}, action: (*call).crateWeigh}.command(e),
		verb{path: "pulk crate list", usage: "the crates, where they stand and what they weigh", reads: true,
			flags: []cli.Flag{&cli.StringFlag{Name: "at", Usage: "only those at a `LOCATION`, or within it"}}, action: (*call).crateList}.command(e),
		verb{path: "pulk crate show", args: "CODE", minArgs: 1, maxArgs: 1, usage: "one crate, with what is in it", reads: true, action: (*call).crateShow}.command(e),
	}
}

var massUnits = map[string]float64{"g": 1, "kg": 1000, "t": 1_000_000}

// grams reads a mass with its unit.
func grams(text string) (int64, error) {
	n, ok := amount(text, massUnits)
	if !ok || n > stock.MaxCrateGrams {
		return 0, fault.Misuse("like 43.5kg, 650g or 1.8t", "%q is no mass", text)
	}
	return int64(n + 0.5), nil
}

// crateOutline changes an outline by the flags that are given.
func (c *call) crateOutline(o stock.Outline) (stock.Outline, error) {
	var err error
	if c.IsSet("outside") {
		if o.SidesMM, err = stock.ParseSides(c.String("outside")); err != nil {
			return o, err
		}
	}
	for flag, into := range map[string]*int64{"tare": &o.TareGrams, "max": &o.GrossGramsMax} {
		if c.IsSet(flag) {
			if *into, err = grams(c.String(flag)); err != nil {
				return o, err
			}
		}
	}
	if kept := c.String("kept"); kept == "none" {
		o.Kept = stock.Span{}
	} else if kept != "" {
		o.Kept, err = stock.ParseSpan(kept)
	}
	return o, err
}

func (c *call) crateAdd() error {
	code := c.Args().First()
	o, err := c.crateOutline(stock.Outline{})
	if err != nil {
		return err
	}
	return c.write(func(tx *changelog.Tx, _ *crew.Person) error {
		at := &stock.Location{}
		if c.String("at") != "" {
			if at, err = stock.FindLocation(tx, c.String("at")); err != nil {
				return err
			}
		}
		id, err := stock.AddLocation(tx, code, c.String("name"), at.ID)
		if err != nil {
			return err
		}
		return stock.SetOutline(tx, &stock.Location{ID: id, Code: code}, o, "")
	}, func() {
		c.printf("added crate %[1]s\nnext: pulk stock move PART N --to %[1]s, pulk unit move SERIAL --to %[1]s; its label: pulk label crate %[1]s\n", code)
	})
}

func (c *call) crateChange() error {
	var said string
	return c.write(func(tx *changelog.Tx, _ *crew.Person) error {
		l, err := stock.FindLocation(tx, c.Args().First())
		if err != nil {
			return err
		}
		o, err := c.crateOutline(l.Outline)
		if err != nil {
			return err
		}
		if said = l.Code + " is changed"; o.SidesMM == l.Outline.SidesMM && o.TareGrams == l.Outline.TareGrams && o.GrossGramsMax == l.Outline.GrossGramsMax && o.Kept.String() == l.Outline.Kept.String() {
			return fault.Hint("see: pulk crate change --help", "nothing about %s would change", l.Code)
		}
		return stock.SetOutline(tx, l, o, c.String("why"))
	}, func() { c.say(said) })
}

func (c *call) crateMove() error {
	code, to := c.Args().First(), c.String("to")
	if to == "" {
		return fault.Misuse("like --to stn-store", "say with --to where it stands")
	}
	return c.write(func(tx *changelog.Tx, _ *crew.Person) error {
		l, err := stock.FindLocation(tx, code)
		if err != nil {
			return err
		}
		at, err := stock.FindLocation(tx, to)
		if err != nil {
			return err
		}
		if !l.IsCrate() {
			return fault.Misuse("say what it is like: pulk crate change "+l.Code+" --outside 1200x800x600", "%s is a place and no crate", l.Code)
		}
		return stock.Put(tx, l, at.ID, c.String("why"))
	}, func() { c.printf("%s stands at %s\n", code, to) })
}

func (c *call) crateWeigh() error {
	code := c.Args().First()
	gross, err := grams(c.Args().Get(1))
	if err != nil {
		return err
	}
	var reckoned int64
	return c.write(func(tx *changelog.Tx, _ *crew.Person) error {
		l, err := stock.FindLocation(tx, code)
		if err != nil {
			return err
		}
		reckoned, err = manifest.Weigh(tx, l, gross, c.String("seal"), c.String("note"))
		return err
	}, func() {
		c.printf("%s weighs %s; by the record it comes to %s\n", code, kgText(gross), kgText(reckoned))
		// A tenth is what padding and lids make; more is worth a look. Common practice.
		if gross < reckoned || float64(gross) > 1.1*float64(reckoned) {
			c.printf("look again: pulk crate show %s\n", code)
		}
	})
}

// kgText is a mass for people.
func kgText(grams int64) string { return fmt.Sprintf("%.1f kg", float64(grams)/1000) }

// crateRow is a crate of --json.
type crateRow struct {
	Code          string   `json:"code"`
	Name          string   `json:"name"`
	In            []string `json:"in"`         // the places that it is in, the nearest first
	Outside       [3]int64 `json:"outside_mm"` // length, width, height
	TareGrams     int64    `json:"tare_grams"`
	MaxGrams      int64    `json:"gross_max_grams"` // 0: nothing is told
	GrossGrams    int64    `json:"gross_grams"`
	Weighed       bool     `json:"weighed"` // on a scale, and not packed otherwise since; else reckoned
	Seal          string   `json:"seal"`
	Kept          string   `json:"kept_degc"` // as -20..5, or empty
	Lines         int      `json:"lines"`
	NoMass        []string `json:"mass_unknown"` // part numbers whose mass is not in the reckoning
	stale, filled bool
}

// crateLine is what is in a crate.
type crateLine struct {
	PartNumber  string `json:"part_number"`
	Name        string `json:"name"`
	Lot         string `json:"lot"`
	Serial      string `json:"serial"` // of a unit, else empty
	Quantity    int64  `json:"quantity"`
	UnitOfIssue string `json:"unit_of_issue"`
	Grams       int64  `json:"mass_grams"` // of all of the line; 0 where unknown
	UNNumber    string `json:"un_number"`
}

// crateDetail is pulk crate show --json.
type crateDetail struct {
	crateRow
	Contents []crateLine `json:"contents"`
}

func crateRowOf(h *manifest.Holds, l *stock.Location, held manifest.Contents) crateRow {
	row := crateRow{Code: l.Code, Name: l.Name, In: []string{}, Outside: l.Outline.SidesMM, TareGrams: l.Outline.TareGrams, MaxGrams: l.Outline.GrossGramsMax,
		Seal: held.Seal(), Kept: l.Outline.Kept.String(), Lines: len(held.Lines), NoMass: append([]string{}, held.Unknown...), stale: held.Stale(), filled: len(held.Lines) > 0}
	row.GrossGrams, row.Weighed = held.GrossGrams()
	for _, p := range h.Within(l) {
		row.In = append(row.In, p.Code)
	}
	return row
}

// crateLineOf tells of a line for people and programs.
func crateLineOf(tx *changelog.Tx, h *manifest.Holds, l manifest.Line) (crateLine, error) {
	row := crateLine{PartNumber: tx.Name(l.Item), Name: "not here yet", Lot: l.Lot, Quantity: l.Quantity, Grams: l.Grams}
	if it := h.Item(l.Item); it != nil {
		row.PartNumber, row.Name, row.UnitOfIssue, row.UNNumber = it.PartNumber, it.Name, it.UnitOfIssue, it.UNNumber
	}
	if l.Unit.IsZero() {
		return row, nil
	}
	row.Serial = tx.Name(l.Unit)
	u, err := unit.ByID(tx, l.Unit)
	if u != nil {
		row.Serial = u.Serial
	}
	return row, err
}

func (r crateRow) massText() string {
	text := kgText(r.GrossGrams)
	switch {
	case len(r.NoMass) > 0 && !r.Weighed:
		text = "over " + text
	case !r.Weighed:
		text = "about " + text
	}
	return text
}

func (c *call) crateList() error {
	return c.view(func(tx *changelog.Tx) error {
		h, err := manifest.ReadHolds(tx)
		if err != nil {
			return err
		}
		within := map[string]bool{}
		if code := c.String("at"); code != "" {
			at, err := stock.FindLocation(tx, code)
			if err != nil {
				return err
			}
			for id := range stock.Within(h.Places(), at.ID) {
				within[tx.Name(id)] = true
			}
		}
		rows := []crateRow{}
		t := newTable("crate", "name", "at", "outside mm", "gross", "seal", "kept °C", "lines")
		for _, l := range h.Places() {
			if !l.IsCrate() || c.String("at") != "" && !within[tx.Name(l.ID)] {
				continue
			}
			held, err := h.In(tx, l)
			if err != nil {
				return err
			}
			row := crateRowOf(h, l, held)
			rows = append(rows, row)
			at := "-"
			if len(row.In) > 0 {
				at = row.In[0]
			}
			t.add(row.Code, row.Name, at, stock.SidesText(row.Outside), row.massText(), row.Seal, row.Kept, row.Lines)
		}
		if c.asJSON() {
			return c.printJSON(rows)
		}
		t.print(c.env, "No crates: add them with pulk crate add.")
		return nil
	})
}

func (c *call) crateShow() error {
	return c.view(func(tx *changelog.Tx) error {
		l, err := stock.FindLocation(tx, c.Args().First())
		if err != nil {
			return err
		}
		if !l.IsCrate() {
			return fault.Misuse("see: pulk crate list", "%s is a place and no crate", l.Code)
		}
		h, err := manifest.ReadHolds(tx)
		if err != nil {
			return err
		}
		held, err := h.In(tx, l)
		if err != nil {
			return err
		}
		detail := crateDetail{crateRowOf(h, l, held), []crateLine{}}
		for _, line := range held.Lines {
			row, err := crateLineOf(tx, h, line)
			if err != nil {
				return err
			}
			detail.Contents = append(detail.Contents, row)
		}
		if c.asJSON() {
			return c.printJSON(detail)
		}
		c.printCrate(detail, held.Inner)
		return nil
	})
}

func (c *call) printCrate(d crateDetail, inner []string) {
	at := "nowhere by the record"
	if len(d.In) > 0 {
		at = strings.Join(d.In, ", in ")
	}
	c.printf("crate %s (%s), at %s\n", d.Code, d.Name, at)
	c.printf("  outside %s mm, empty %s", stock.SidesText(d.Outside), kgText(d.TareGrams))
	if d.MaxGrams > 0 {
		c.printf(", packed at most %s", kgText(d.MaxGrams))
	}
	if d.Kept != "" {
		c.printf(", kept %s °C", d.Kept)
	}
	c.printf("\n  packed %s", d.massText())
	if d.Weighed {
		c.printf(" on a scale")
	}
	if d.Seal != "" {
		c.printf(", seal %s", d.Seal)
	}
	c.printf("\n")
	if d.stale {
		c.printf("  it was packed otherwise after it was weighed: weigh it again, pulk crate weigh %s MASS\n", d.Code)
	}
	if len(d.NoMass) > 0 {
		c.printf("  mass not known: %s\n", strings.Join(d.NoMass, ", "))
	}
	if len(inner) > 0 {
		c.printf("  places in it hold something, and are not in this list: %s\n", strings.Join(inner, ", "))
	}
	c.printf("\n")
	contentsTable(d.Contents).print(c.env, "It is empty.")
}

// contentsTable lists what is in a crate.
func contentsTable(lines []crateLine) *table {
	t := newTable("part number", "name", "lot", "serial", "quantity", "kg", "UN")
	for _, l := range lines {
		kg := ""
		if l.Grams > 0 {
			kg = fmt.Sprintf("%.2f", float64(l.Grams)/1000)
		}
		t.add(l.PartNumber, l.Name, l.Lot, l.Serial, fmt.Sprintf("%d %s", l.Quantity, l.UnitOfIssue), kg, l.UNNumber)
	}
	return t
}
