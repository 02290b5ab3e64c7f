package main

import (
	"bytes"
	"cmp"
	"fmt"
	"slices"
	"strings"

	"github.com/urfave/cli/v2"

	"pulk/inventory/crate"
	"pulk/inventory/dangerous"
	"pulk/inventory/kitbook"
	"pulk/inventory/packing"
	"pulk/inventory/stock"
	"pulk/schema/fault"
	"pulk/sync/carrier"
	"pulk/sync/changelog"
)

func (e *env) kitBoxesCommand() *cli.Command {
	return verb{path: "pulk kit boxes", args: "PLAN", minArgs: 1, maxArgs: 1, usage: "write what a kept plan sends as a table of boxes, to be packed",
		about: "Each piece is a box of the size and mass in the catalogue, its height upright, in the class of its dangerous goods. Look the table over: which way up, what is fragile, " +
			"what is kept cold or together is not in the catalogue. Columns: docs/crate-csv.md.",
		examples: []string{"pulk kit boxes flight-1800 -o boxes.csv"},
		flags:    []cli.Flag{&cli.StringFlag{Name: "output", Aliases: []string{"o"}, Usage: "`FILE` to write, a CSV"}}, action: (*call).kitBoxes}.command(e)
}

func (e *env) manifestBoxesCommand() *cli.Command {
	return verb{path: "pulk manifest boxes", args: "MANIFEST", minArgs: 1, maxArgs: 1, usage: "write its crates as a table of boxes, for pulk crate pack",
		about:    "Crates with dangerous goods of one class are in that class, those of several in a class of their own, so that they go apart. Columns: docs/crate-csv.md.",
		examples: []string{"pulk manifest boxes M-27-1 -o crates.csv"},
		flags:    []cli.Flag{&cli.StringFlag{Name: "output", Aliases: []string{"o"}, Usage: "`FILE` to write, a CSV"}}, action: (*call).manifestBoxes}.command(e)
}

// writeBoxes writes a table of boxes, and tells what is not in it.
func (c *call) writeBoxes(boxes []crate.Box, left []string) error {
	path := c.String("output")
	if path == "" {
		return fault.Misuse("like -o boxes.csv", "say with -o which file to write")
	}
	for _, text := range left {
		c.printBlock("not in it: ", text)
	}
	if len(boxes) == 0 {
		return fault.Hint("sizes come from the catalogue: pulk item import", "nothing of it can be packed")
	}
	pieces, grams := 0, int64(0)
	for _, b := range boxes {
		pieces, grams = pieces+b.Count, grams+b.MassGrams*int64(b.Count)
	}
	var file bytes.Buffer
	if err := crate.WriteBoxes(&file, boxes); err != nil {
		return err
	}
	if err := carrier.WriteFile(path, file.Bytes()); err != nil {
		return err
	}
	c.printf("%s: %s, %s\nnext: pulk crate pack --boxes %s --into CRATES.csv\n", path, plural(pieces, "box", "boxes"), kgText(grams), path)
	return nil
}

func (c *call) kitBoxes() error {
	var boxes []crate.Box
	var left []string
	if err := c.view(func(tx *changelog.Tx) error {
		p, err := kitbook.Find(tx, c.Args().First())
		if err != nil {
			return err
		}
		if p.Voided != nil {
			return fault.Refuse("see: pulk kit list", "plan %s is voided: %s", p.Name, p.Voided.Why)
		}
		for _, l := range p.Lines {
			if l.Send == 0 {
				continue
			}
			it, err := stock.ItemByID(tx, l.Item)
			if err != nil {
				return err
			}
			if it == nil {
				left = append(left, fmt.Sprintf("%d of an item that is not here yet", l.Send))
				continue
			}
			box := crate.Box{Box: packing.Box{ID: it.PartNumber, Count: int(l.Send), Size: [3]int{int(it.LengthMM), int(it.WidthMM), int(it.HeightMM)}, MassGrams: it.MassGrams, Segregation: apartAs(it.Goods())}, Name: it.Name}
			if why := unpackable(box); why != "" {
				left = append(left, fmt.Sprintf("%d %s of %s: %s", l.Send, it.UnitOfIssue, it.PartNumber, why))
				continue
			}
			boxes = append(boxes, box)
		}
		return nil
	}); err != nil {
		return err
	}
	return c.writeBoxes(boxes, left)
}

// apartAs is the class that goods go apart in: those whose class is not told go apart from
// all others.
func apartAs(g dangerous.Goods) string {
	if g.Class == "" && (dangerous.Piece{Goods: g}).Told() {
		return "UN" + cmp.Or(g.UNNumber, "-not-known")
	}
	return g.Class
}

// unpackable says why a box cannot be in a table.
func unpackable(b crate.Box) string {
	switch {
	case min(b.Size[0], b.Size[1], b.Size[2]) < 1:
		return "its size is not known"
	case max(b.Size[0], b.Size[1], b.Size[2]) > packing.MaxLength:
		return "it is too large"
	case b.Count > packing.MaxBoxes:
		return fmt.Sprintf("more than %d pieces", packing.MaxBoxes)
	}
	return ""
}

func (c *call) manifestBoxes() error {
	var boxes []crate.Box
	if err := c.view(func(tx *changelog.Tx) error {
		p, err := c.papersOf(tx, c.Args().First())
		if err != nil {
			return err
		}
		for _, k := range p.Crates {
			var classes []string
			for _, l := range p.goods.Lines {
				for _, code := range l.Packages {
					if class := apartAs(l.Goods); code == k.Code && !slices.Contains(classes, class) {
						classes = append(classes, class)
					}
				}
			}
			boxes = append(boxes, crate.Box{Box: packing.Box{ID: k.Code, Count: 1, Size: [3]int{int(k.Outside[0]), int(k.Outside[1]), int(k.Outside[2])}, MassGrams: k.GrossGrams,
				Segregation: strings.Join(classes, "+")}, Name: k.Name})
		}
		return nil
	}); err != nil {
		return err
	}
	return c.writeBoxes(boxes, nil)
}
