package main

import (
	"fmt"
	"slices"
	"strconv"
	"strings"

	"github.com/urfave/cli/v2"

	"pulk/checklist/crew"
	"pulk/inventory/dangerous"
	"pulk/inventory/stock"
	"pulk/schema/fault"
	"pulk/sync/changelog"
)

func (e *env) itemHazardVerb() *cli.Command {
	return verb{path: "pulk item hazard", args: "PART", minArgs: 1, maxArgs: 1, usage: "say what an item is by the rules of transport", writes: true,
		about: "What is not given stays as it was told; an empty text takes it back. Another UN number begins anew.\n" +
			"Copy it from section 14 of the safety data sheet. " + dangerous.Caution,
		examples: []string{"pulk item hazard FUE-003 --un 1203 --suggest --state liquid --net 5L --as piet",
			`pulk item hazard BAT-002 --un 3480 --name "LITHIUM ION BATTERIES" --class 9 --state solid --net 620g --volts 14.4 --amp-hours 9 --as piet`,
			`pulk item hazard CON-011 --none --why "taken for another part" --as piet`},
		flags: []cli.Flag{&cli.StringFlag{Name: "un", Usage: "the UN `NUMBER`, four digits"}, &cli.StringFlag{Name: "name", Usage: "the proper shipping `NAME`"},
			&cli.StringFlag{Name: "class", Usage: "`CLASS` or division, of class 1 with its compatibility group, as 1.4S"},
			&cli.StringFlag{Name: "subsidiary", Usage: "subsidiary hazards, `CLASSES` as 5.1,8"}, &cli.StringFlag{Name: "packing-group", Usage: "`GROUP` I, II or III"},
			&cli.StringFlag{Name: "state", Usage: "solid, liquid or gas, a `STATE`"}, &cli.StringFlag{Name: "zone", Usage: "hazard `ZONE` A to D of what is toxic by inhalation"},
			&cli.StringFlag{Name: "net", Usage: "net `QUANTITY` in one unit of issue, as 620g or 500ml"},
			&cli.StringFlag{Name: "watt-hours", Usage: "`WH` of the battery in one unit of issue"},
			&cli.StringFlag{Name: "volts", Usage: "its nominal `V`, with --amp-hours instead of --watt-hours"}, &cli.StringFlag{Name: "amp-hours", Usage: "its rated `AH`"},
			&cli.BoolFlag{Name: "suggest", Usage: "take what is not told from this program's list"}, &cli.BoolFlag{Name: "none", Usage: "it is no dangerous goods"},
			&cli.StringFlag{Name: "why", Usage: "the `REASON`"}},
		action: (*call).itemHazard}.command(e)
}

func (e *env) itemHazardsVerb() *cli.Command {
	return verb{path: "pulk item hazards", usage: "the items that are dangerous goods, with what is not told of them", reads: true,
		about:    "Whether or not any of them is there: what lies at a place is summed up by pulk stock dangerous.",
		examples: []string{"pulk item hazards", "pulk item hazards --open"},
		flags:    []cli.Flag{&cli.BoolFlag{Name: "open", Usage: "only those of which something is not told, or in doubt"}}, action: (*call).itemHazards}.command(e)
}

// hazardRow is an item that is dangerous goods, or may be: sites tell its UN number differently.
type hazardRow struct {
	PartNumber string   `json:"part_number"`
	Name       string   `json:"name"`
	Goods      goodsRow `json:"dangerous_goods"`
}

func (c *call) itemHazards() error {
	return c.view(func(tx *changelog.Tx) error {
		items, err := stock.Items(tx)
		if err != nil {
			return err
		}
		rows := []hazardRow{}
		t := newTable("part number", "name", "UN", "class", "PG", "net", "not told or in doubt")
		for _, it := range items {
			g := it.Goods()
			row := hazardRow{it.PartNumber, it.Name, goodsRowOf(g)}
			open := append(slices.Clone(row.Goods.Missing), row.Goods.Doubts...)
			if !(dangerous.Piece{Goods: g}).Told() || c.Bool("open") && len(open) == 0 {
				continue
			}
			rows = append(rows, row)
			t.add(it.PartNumber, it.Name, g.UNNumber, g.ClassText(), g.PackingGroup, dangerous.Quantity(g.NetGrams, g.NetMillilitres), strings.Join(open, "; "))
		}
		if c.asJSON() {
			return c.printJSON(rows)
		}
		none := "No item is dangerous goods by what is told. Look at every safety data sheet, section 14; then: pulk item hazard"
		if c.Bool("open") {
			none = "Nothing is open of what is told. Look at every safety data sheet, section 14, for what nobody told."
		}
		t.print(c.env, none)
		return nil
	})
}

func (c *call) itemHazard() error {
	part := c.Args().First()
	var it *stock.Item
	var g dangerous.Goods
	var suggested []string
	return c.write(func(tx *changelog.Tx, _ *crew.Person) (err error) {
		if it, err = stock.FindItem(tx, part); err != nil {
			return err
		}
		if c.Bool("none") {
			return stock.SetGoods(tx, it, dangerous.Goods{}, c.String("why"))
		}
		if g, err = c.goodsTold(it.Goods()); err != nil {
			return err
		}
		if c.Bool("suggest") {
			if g, suggested, err = suggest(g); err != nil {
				return err
			}
		}
		return stock.SetGoods(tx, it, g, c.String("why"))
	}, func() {
		if c.Bool("none") {
			c.printf("%s is no dangerous goods, by what is told here\n", part)
			return
		}
		c.printBlock(part+": ", goodsText(g))
		if len(suggested) > 0 {
			c.printBlock("note: ", fmt.Sprintf("taken from %s: %s. Hold it against section 14 of the safety data sheet.", dangerous.ListSource, strings.Join(suggested, "; ")))
		}
		c.printGoodsNotes("", g)
	})
}

// goodsTold changes what is known of goods by the flags that are given.
func (c *call) goodsTold(g dangerous.Goods) (dangerous.Goods, error) {
	if c.IsSet("un") && c.String("un") != g.UNNumber {
		g = dangerous.Goods{UNNumber: c.String("un")}
	}
	if g.UNNumber == "" {
		return g, fault.Misuse("give it with --un 1203; what is no dangerous goods: --none", "the UN number is not known")
	}
	state := string(g.State)
	for flag, into := range map[string]*string{"name": &g.Name, "class": &g.Class, "packing-group": &g.PackingGroup, "state": &state, "zone": &g.Zone} {
		if c.IsSet(flag) {
			*into = strings.TrimSpace(c.String(flag))
		}
	}
	g.State = dangerous.State(state)
	if c.IsSet("subsidiary") {
		g.Subsidiary = strings.FieldsFunc(c.String("subsidiary"), func(r rune) bool { return r == ',' || r == ' ' })
	}
	var err error
	if text := c.String("net"); c.IsSet("net") && text == "" {
		g.NetGrams, g.NetMillilitres = 0, 0
	} else if text != "" {
		g.NetGrams, g.NetMillilitres, err = dangerous.ParseNet(text)
	}
	if err == nil {
		g.WattHours, err = c.wattHours(g.WattHours)
	}
	if err != nil {
		return g, fault.Misuse("it is of one unit of issue, net", "%s", err)
	}
	return g, nil
}

func (c *call) wattHours(was float64) (float64, error) {
	rating := c.IsSet("volts") || c.IsSet("amp-hours")
	switch {
	case rating && c.IsSet("watt-hours"):
		return 0, fmt.Errorf("give either --watt-hours, or --volts and --amp-hours")
	case rating:
		return dangerous.ParseRating(c.String("volts"), c.String("amp-hours"))
	case c.IsSet("watt-hours") && c.String("watt-hours") == "":
		return 0, nil
	case c.IsSet("watt-hours"):
		return dangerous.ParseWattHours(c.String("watt-hours"))
	}
	return was, nil
}

// suggest fills in what is not told, and says what.
func suggest(g dangerous.Goods) (dangerous.Goods, []string, error) {
	from, ok := dangerous.Suggest(g.UNNumber)
	if !ok {
		return g, nil, fault.Hint("look at section 14 of the safety data sheet", "UN %s is not in this program's list", g.UNNumber)
	}
	var said []string
	// Class, subsidiary hazards and packing group go together: what is told of one is not
	// mixed with what the list has of another.
	if from.Class != "" && g.Class == "" && len(g.Subsidiary) == 0 && g.PackingGroup == "" {
		g.Class, g.Subsidiary, g.PackingGroup = from.Class, from.Subsidiary, from.PackingGroup
		said = append(said, "class "+g.ClassText())
		if g.PackingGroup != "" {
			said = append(said, "packing group "+g.PackingGroup)
		}
	}
	if from.Class == "" && g.Class == "" {
		said = append(said, "no class, as several are possible: give it with --class")
	}
	if g.Name == "" {
		g.Name = from.Name
		said = append(said, "the name")
		if strings.Contains(g.Name, " or ") {
			said = append(said, "give the one of its names that is meant with --name")
		}
	}
	return g, said, nil
}

// goodsText is what goods are, in a line.
func goodsText(g dangerous.Goods) string {
	text := g.UN()
	if g.Name != "" {
		text += " " + g.Name
	}
	if g.Class != "" {
		text += ", class " + g.ClassText()
	}
	for _, part := range []struct{ word, value string }{{"packing group ", g.PackingGroup}, {"", string(g.State)}, {"zone ", g.Zone}} {
		if part.value != "" {
			text += ", " + part.word + part.value
		}
	}
	if net := dangerous.Quantity(g.NetGrams, g.NetMillilitres); net != "" {
		text += ", net " + net
	}
	if g.WattHours > 0 {
		text += ", " + strconv.FormatFloat(g.WattHours, 'f', -1, 64) + " Wh"
	}
	return text
}

// printGoodsNotes tells what is not told of goods, and what is in doubt.
func (c *call) printGoodsNotes(indent string, g dangerous.Goods) {
	if missing := g.Missing(); len(missing) > 0 {
		c.printBlock(indent+"note: ", "not told: "+strings.Join(missing, ", "))
	}
	for _, doubt := range g.Doubts() {
		c.printBlock(indent+"DOUBT: ", doubt+", by "+dangerous.ListSource+". Look at section 14 of the safety data sheet.")
	}
}

// goodsRow is what an item is by the rules of transport; texts are empty, numbers 0,
// where nothing is told.
type goodsRow struct {
	UNNumber       string   `json:"un_number"`
	Name           string   `json:"proper_shipping_name"`
	Class          string   `json:"class"`      // or division, of class 1 with its compatibility group
	Subsidiary     []string `json:"subsidiary"` // classes or divisions
	PackingGroup   string   `json:"packing_group"`
	State          string   `json:"state"`           // solid, liquid or gas
	Zone           string   `json:"hazard_zone"`     // of what is toxic by inhalation
	NetGrams       int64    `json:"net_grams"`       // in one unit of issue
	NetMillilitres int64    `json:"net_millilitres"` // in one unit of issue
	WattHours      float64  `json:"watt_hours"`      // in one unit of issue
	Missing        []string `json:"missing"`         // what a summary needs and is not told
	Doubts         []string `json:"doubts"`          // what differs from this program's list of UN numbers
}

func goodsRowOf(g dangerous.Goods) goodsRow {
	row := goodsRow{g.UNNumber, g.Name, g.Class, append([]string{}, g.Subsidiary...), g.PackingGroup, string(g.State), g.Zone,
		g.NetGrams, g.NetMillilitres, g.WattHours, []string{}, append([]string{}, g.Doubts()...)}
	if g.UNNumber != "" || len(g.Contested) > 0 {
		row.Missing = append(row.Missing, g.Missing()...)
	}
	return row
}
