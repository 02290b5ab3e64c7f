package main

import (
	"cmp"
	"fmt"
	"strconv"
	"strings"

	"github.com/urfave/cli/v2"

	"pulk/checklist/crew"
	"pulk/inventory/stock"
	"pulk/schema/fault"
	"pulk/sync/change"
	"pulk/sync/changelog"
	"pulk/sync/clock"
)

func (e *env) itemCommand() *cli.Command {
	return group("item", "the catalogue: part numbers, masses, sizes, shelf lives",
		verb{path: "pulk item import", args: "FILE.csv", minArgs: 1, maxArgs: 1, usage: "take in a catalogue, all of it or nothing", writes: true,
			about: "The columns are those of testdata/README.md. Every bad cell is named with its line and column. Known part numbers get only the cells that differ; " +
				"the same file a second time changes nothing.",
			examples: []string{"pulk item import catalogue.csv --as piet"}, action: (*call).itemImport}.command(e),
		verb{path: "pulk item list", usage: "the items", reads: true,
			flags:  []cli.Flag{&cli.StringFlag{Name: "group", Usage: "only those of a `GROUP`"}, &cli.StringFlag{Name: "find", Usage: "only those with a `TEXT` in part number or name"}},
			action: (*call).itemList}.command(e),
		verb{path: "pulk item show", args: "PART", minArgs: 1, maxArgs: 1, usage: "one item, and where it lies", reads: true, action: (*call).itemShow}.command(e),
		verb{path: "pulk item minimum", args: "PART QUANTITY", minArgs: 2, maxArgs: 2, usage: "say how many are to be there at least", writes: true,
			examples: []string{"pulk item minimum CON-011 40 --at stn-store --as ida"},
			flags:    []cli.Flag{&cli.StringFlag{Name: "at", Usage: "`LOCATION` (else all places together)"}}, action: (*call).itemMinimum}.command(e),
		verb{path: "pulk item pack", args: "PART NAME QUANTITY", minArgs: 3, maxArgs: 3, usage: "say how many units of issue are in a box, a roll, …", writes: true,
			about: "Quantities can then be typed in it: 2box, 2.5roll, 2box+30. They must come to a whole number, and\n" +
				"what is on record is in units of issue and stays as it is. A quantity of 0 takes it back.",
			examples: []string{`pulk item pack CON-011 box 100 --why "on the label" --as mirre`},
			flags:    []cli.Flag{&cli.StringFlag{Name: "why", Usage: "the `REASON`"}}, action: (*call).itemPack}.command(e),
		verb{path: "pulk item substitute", args: "PART SUBSTITUTE", minArgs: 2, maxArgs: 2, usage: "say that one item may stand for another, one way", writes: true,
			about:    "One piece then stands for one piece: pulk stock issue SUBSTITUTE N --instead-of PART. Whether it is fit to\nis for people who know both to decide: it takes the role " + stock.DecidingRole + ". Anybody may withdraw it.",
			examples: []string{`pulk item substitute CON-011 CON-012 --role deployment-lead --why "same size, harder; note 3 of the drawing" --as oskar`},
			flags: []cli.Flag{&cli.StringFlag{Name: "role", Usage: "only people with this `ROLE` may take it"},
				&cli.BoolFlag{Name: "withdraw", Usage: "take that back"}, &cli.StringFlag{Name: "why", Usage: "the `REASON`"}}, action: (*call).itemSubstitute}.command(e),
		e.itemHazardVerb(), e.itemHazardsVerb(),
	)
}

func (e *env) locationCommand() *cli.Command {
	return group("location", "the places where stock and units lie",
		verb{path: "pulk location add", args: "CODE", minArgs: 1, maxArgs: 1, usage: "add a place", writes: true,
			examples: []string{`pulk location add stn-store --name "Station store" --as ida`},
			flags:    []cli.Flag{&cli.StringFlag{Name: "name", Usage: "full `NAME`"}, &cli.StringFlag{Name: "in", Usage: "code of the `LOCATION` it is in"}},
			action:   (*call).locationAdd}.command(e),
		verb{path: "pulk location transport", args: "CODE DATE|none", minArgs: 2, maxArgs: 2, usage: "say when the last transport leaves a place", writes: true,
			about:    "It holds for the places within it too. A readiness review looks at it. Weather moves transports: tell every new date here.",
			examples: []string{`pulk location transport stn 2027-02-12 --why "moved by the weather" --as ida`},
			flags:    []cli.Flag{&cli.StringFlag{Name: "why", Usage: "the `REASON`"}}, action: (*call).locationTransport}.command(e),
		verb{path: "pulk location position", args: "CODE", minArgs: 1, maxArgs: 1, usage: "say where a place is", writes: true,
			about:    "It holds for the places within it too, where nothing else is told of them. Limits that are worked out\nfrom it are worked out again at every site.",
			examples: []string{`pulk location position stn --latitude -72.50 --elevation 3233 --as ida`},
			flags: []cli.Flag{&cli.StringFlag{Name: "latitude", Usage: "`DEGREES`, negative south"},
				&cli.StringFlag{Name: "elevation", Usage: "`METRES` above sea level, of a sea floor negative"}, &cli.StringFlag{Name: "why", Usage: "the `REASON`"}},
			action: (*call).locationPosition}.command(e),
		verb{path: "pulk location list", usage: "the places, those within others below them", reads: true, action: (*call).locationList}.command(e),
	)
}

func (c *call) itemImport() error {
	path := c.Args().First()
	source, err := readInput(path)
	if err != nil {
		return err
	}
	items, faults := stock.ParseCatalogue(source)
	for _, f := range faults {
		fmt.Fprintf(c.env.stderr, "%s:%s\n", path, f)
	}
	if len(faults) > 0 {
		return fault.Hint("mend the cells named above; nothing was imported", "%s has %s", path, plural(len(faults), "bad cell", "bad cells"))
	}
	if len(items) > change.MaxChanges {
		return fault.Hint("cut the file into parts", "%s has %d items, at most %d can be imported at once", path, len(items), change.MaxChanges)
	}
	var done stock.Imported
	return c.write(func(tx *changelog.Tx, _ *crew.Person) error {
		done, err = stock.Import(tx, items)
		return err
	}, func() { c.printf("%d items added, %d changed, %d as they were\n", done.Added, done.Changed, done.Same) })
}

// itemRow is an item of --json. Numbers are 0, and texts empty, where unknown.
type itemRow struct {
	ID             string            `json:"id"`
	PartNumber     string            `json:"part_number"`
	Name           string            `json:"name"`
	Group          string            `json:"group"`
	UnitOfIssue    string            `json:"unit_of_issue"`
	Serialised     bool              `json:"serialised"`
	MassGrams      int64             `json:"mass_grams"`
	LengthMM       int64             `json:"length_mm"`
	WidthMM        int64             `json:"width_mm"`
	HeightMM       int64             `json:"height_mm"`
	ShelfLifeDays  int64             `json:"shelf_life_days"`
	UNNumber       string            `json:"un_number"`
	PriceCents     int64             `json:"price_cents"`
	PriorMTBFHours int64             `json:"prior_mtbf_hours"`
	Minimums       map[string]int64  `json:"minimums"` // by location code; "" for all places together
	LotExpiry      map[string]string `json:"lot_expiry"`
	Contested      []string          `json:"contested"` // fields with values in conflict
	Packs          []packRow         `json:"packs"`     // what it comes in
}

// standRow is what may stand for an item.
type standRow struct {
	PartNumber string   `json:"part_number"`
	Roles      []string `json:"roles"` // all of which who takes it must hold; empty: everybody
	Why        string   `json:"why"`
}

// itemDetail is pulk item show --json.
type itemDetail struct {
	itemRow
	Substitutes []standRow `json:"substitutes"`
	Goods       goodsRow   `json:"dangerous_goods"` // by the rules of transport; un_number is empty where it is none
}

// packRow is what an item comes in. A name that is there twice is in conflict.
type packRow struct {
	Name     string `json:"name"`
	Quantity int64  `json:"quantity"` // units of issue
	Why      string `json:"why"`
}

func itemRowOf(tx *changelog.Tx, it *stock.Item, packs []stock.Pack) itemRow {
	comes := []packRow{}
	for _, p := range packs {
		if p.Item == it.ID {
			comes = append(comes, packRow{p.Name, p.Quantity, p.Why})
		}
	}
	return itemRow{tx.Name(it.ID), it.PartNumber, it.Name, it.Group, it.UnitOfIssue, it.Serialised, it.MassGrams, it.LengthMM, it.WidthMM, it.HeightMM,
		it.ShelfLifeDays, it.UNNumber, it.PriceCents, it.PriorMTBFHours, it.Minimums, it.LotExpiry, append([]string{}, it.Contested...), comes}
}

func (c *call) itemList() error {
	return c.view(func(tx *changelog.Tx) error {
		items, err := stock.Items(tx)
		if err != nil {
			return err
		}
		packs, err := stock.Packs(tx, clock.Dot{})
		if err != nil {
			return err
		}
		rows := []itemRow{}
		t := newTable("part number", "name", "unit", "mass g", "size mm", "shelf life d", "UN")
		for _, it := range items {
			if !matches(it, c.String("group"), c.String("find")) {
				continue
			}
			rows = append(rows, itemRowOf(tx, it, packs))
			t.add(it.PartNumber, it.Name, it.UnitOfIssue, orDash(it.MassGrams), sizeText(it), orDash(it.ShelfLifeDays), it.UNNumber)
		}
		if c.asJSON() {
			return c.printJSON(rows)
		}
		none := "No items: take in a catalogue with pulk item import."
		if len(items) > 0 {
			none = "No item is like that; pulk item list alone shows all."
		}
		t.print(c.env, none)
		return nil
	})
}

func matches(it *stock.Item, group, find string) bool {
	text := strings.ToLower(it.PartNumber + " " + it.Name)
	return (group == "" || it.Group == group) && strings.Contains(text, strings.ToLower(find))
}

func orDash(n int64) string {
	if n == 0 {
		return "-"
	}
	return strconv.FormatInt(n, 10)
}

func sizeText(it *stock.Item) string {
	if it.LengthMM == 0 || it.WidthMM == 0 || it.HeightMM == 0 {
		return "-"
	}
	return fmt.Sprintf("%d×%d×%d", it.LengthMM, it.WidthMM, it.HeightMM)
}

func (c *call) itemShow() error {
	return c.view(func(tx *changelog.Tx) error {
		it, err := stock.FindItem(tx, c.Args().First())
		if err != nil {
			return err
		}
		packs, err := stock.Packs(tx, it.ID)
		if err != nil {
			return err
		}
		stands, err := standRowsOf(tx, it)
		if err != nil {
			return err
		}
		if c.asJSON() {
			return c.printJSON(itemDetail{itemRowOf(tx, it, packs), stands, goodsRowOf(it.Goods())})
		}
		c.printf("%s  %s (%s)\n  group %s; counted in %s; serialised: %t\n", it.PartNumber, it.Name, tx.Name(it.ID), it.Group, it.UnitOfIssue, it.Serialised)
		c.printf("  mass %s g; size %s mm; shelf life %s days; UN number %s; price %s cents; prior MTBF %s h\n",
			orDash(it.MassGrams), sizeText(it), orDash(it.ShelfLifeDays), it.UNNumber, orDash(it.PriceCents), orDash(it.PriorMTBFHours))
		for _, p := range packs {
			c.printf("  a %s is %d %s (%s)\n", p.Name, p.Quantity, it.UnitOfIssue, p.Why)
		}
		c.printStands(stands)
		if g := it.Goods(); g.UNNumber != "" || len(g.Contested) > 0 {
			c.printBlock("  ", "dangerous goods: "+goodsText(g))
			c.printGoodsNotes("  ", g)
		}
		for _, name := range it.Contested {
			c.printf("  CONFLICT: %s has different values: pulk conflict list\n", name)
		}
		return c.printLevels(tx, func(l stock.Level) bool { return l.Item.ID == it.ID })
	})
}

func (c *call) itemSubstitute() error {
	part, stand := c.Args().Get(0), c.Args().Get(1)
	allowed := !c.Bool("withdraw")
	return c.write(func(tx *changelog.Tx, me *crew.Person) error {
		it, err := stock.FindItem(tx, part)
		if err != nil {
			return err
		}
		other, err := stock.FindItem(tx, stand)
		if err != nil {
			return err
		}
		if role := c.String("role"); role != "" {
			if err := crew.CheckCode("role", role); err != nil {
				return err
			}
		}
		return stock.SetSubstitute(tx, it, other, c.String("role"), allowed, c.String("why"), me.Granted())
	}, func() {
		switch role := c.String("role"); {
		case !allowed:
			c.printf("%s stands for %s no more\n", stand, part)
		case role != "":
			c.printf("%s may stand for %s, issued by the role %s; not the other way\n", stand, part, role)
		default:
			c.printf("%s may stand for %s; not the other way\n", stand, part)
		}
	})
}

// printStands tells what may stand for an item.
func (c *call) printStands(rows []standRow) {
	for _, s := range rows {
		by := ""
		if len(s.Roles) > 0 {
			by = ", issued by the role " + strings.Join(s.Roles, " and ")
		}
		c.printf("  %s may stand for it%s (%s)\n", s.PartNumber, by, s.Why)
	}
}

func standRowsOf(tx *changelog.Tx, it *stock.Item) ([]standRow, error) {
	rows := []standRow{}
	list, err := stock.Stands(tx, it.ID)
	if err != nil {
		return nil, err
	}
	for _, s := range list {
		other, err := stock.ItemByID(tx, s.Item)
		if err != nil {
			return nil, err
		}
		row := standRow{tx.Name(s.Item), append([]string{}, s.Roles...), s.Why}
		if other != nil {
			row.PartNumber = other.PartNumber
		}
		rows = append(rows, row)
	}
	return rows, nil
}

func (c *call) itemPack() error {
	name := c.Args().Get(1)
	n, err := stock.Convert(c.Args().Get(2), "", nil)
	if err != nil {
		return err
	}
	var it *stock.Item
	return c.write(func(tx *changelog.Tx, _ *crew.Person) error {
		if it, err = stock.FindItem(tx, c.Args().First()); err != nil {
			return err
		}
		return stock.SetPack(tx, it, name, n, c.String("why"))
	}, func() {
		if n == 0 {
			c.printf("%s comes in a %s no more\n", it.PartNumber, name)
			return
		}
		c.printf("a %s of %s is %d %s\n", name, it.PartNumber, n, it.UnitOfIssue)
	})
}

func (c *call) itemMinimum() error {
	var n int64
	return c.write(func(tx *changelog.Tx, _ *crew.Person) error {
		it, err := stock.FindItem(tx, c.Args().First())
		if err != nil {
			return err
		}
		if code := c.String("at"); code != "" {
			if _, err := stock.FindLocation(tx, code); err != nil {
				return err
			}
		}
		if n, err = stock.Quantity(tx, it, c.Args().Get(1)); err != nil {
			return err
		}
		return stock.SetMinimum(tx, it, c.String("at"), n)
	}, func() {
		place := c.String("at")
		if place == "" {
			place = "all places together"
		}
		c.printf("minimum of %s at %s: %d\n", c.Args().First(), place, n)
	})
}

func (c *call) locationAdd() error {
	code := c.Args().First()
	return c.write(func(tx *changelog.Tx, _ *crew.Person) error {
		var parent clock.Dot
		if in := c.String("in"); in != "" {
			l, err := stock.FindLocation(tx, in)
			if err != nil {
				return err
			}
			parent = l.ID
		}
		_, err := stock.AddLocation(tx, code, c.String("name"), parent)
		return err
	}, func() { c.printf("added location %s\n", code) })
}

// locationRow is a location of --json.
type locationRow struct {
	ID   string `json:"id"`
	Code string `json:"code"`
	Name string `json:"name"`
	In   string `json:"in"`             // code of the location it is in
	Last string `json:"last_transport"` // YYYY-MM-DD, or empty

	LatitudeDegrees string `json:"latitude_deg"` // decimal, negative south, as told of the place itself, or empty
	ElevationMetres string `json:"elevation_m"`  // decimal, as told of the place itself, or empty
}

func (c *call) locationPosition() error {
	code := c.Args().First()
	position := stock.Position{LatitudeDegrees: c.String("latitude"), ElevationMetres: c.String("elevation")}
	return c.write(func(tx *changelog.Tx, _ *crew.Person) error {
		l, err := stock.FindLocation(tx, code)
		if err != nil {
			return err
		}
		return stock.SetPosition(tx, l, position, c.String("why"))
	}, func() { c.printf("position of %s: %s\n", code, positionText(position)) })
}

// positionText is a position in words, empty where nothing is told.
func positionText(p stock.Position) string {
	var parts []string
	if p.LatitudeDegrees != "" {
		parts = append(parts, "latitude "+p.LatitudeDegrees+" deg")
	}
	if p.ElevationMetres != "" {
		parts = append(parts, "elevation "+p.ElevationMetres+" m")
	}
	return strings.Join(parts, ", ")
}

func (c *call) locationTransport() error {
	code, day := c.Args().Get(0), c.Args().Get(1)
	if day == "none" {
		day = ""
	}
	return c.write(func(tx *changelog.Tx, _ *crew.Person) error {
		l, err := stock.FindLocation(tx, code)
		if err != nil {
			return err
		}
		return stock.SetLastTransport(tx, l, day, c.String("why"))
	}, func() { c.printf("last transport from %s: %s\n", code, cmp.Or(day, "none told")) })
}

func (c *call) locationList() error {
	return c.view(func(tx *changelog.Tx) error {
		list, err := stock.Locations(tx)
		if err != nil {
			return err
		}
		byID := map[clock.Dot]*stock.Location{}
		for _, l := range list {
			byID[l.ID] = l
		}
		rows := []locationRow{}
		for _, l := range list {
			row := locationRow{ID: tx.Name(l.ID), Code: l.Code, Name: l.Name, Last: l.LastTransport,
				LatitudeDegrees: l.Position.LatitudeDegrees, ElevationMetres: l.Position.ElevationMetres}
			if parent := byID[l.Parent]; parent != nil {
				row.In = parent.Code
			}
			rows = append(rows, row)
		}
		if c.asJSON() {
			return c.printJSON(rows)
		}
		t := newTable("location", "name", "id")
		shown := map[string]bool{}
		var show func(in string, depth int)
		show = func(in string, depth int) {
			for _, row := range rows {
				if row.In == in && !shown[row.ID] {
					shown[row.ID] = true
					name := row.Name
					if row.Last != "" {
						name += ", last transport " + row.Last
					}
					if at := positionText(stock.Position{LatitudeDegrees: row.LatitudeDegrees, ElevationMetres: row.ElevationMetres}); at != "" {
						name += ", " + at
					}
					t.add(strings.Repeat("  ", depth)+row.Code, name, row.ID)
					show(row.Code, depth+1)
				}
			}
		}
		show("", 0)
		for _, row := range rows { // those within each other in a ring
			if !shown[row.ID] {
				t.add(row.Code, row.Name+" (in "+row.In+")", row.ID)
			}
		}
		t.print(c.env, "No locations: add them with pulk location add.")
		return nil
	})
}
