package main

import (
	"fmt"
	"strconv"
	"strings"

	"github.com/urfave/cli/v2"

	"pulk/cmd/paper"
	"pulk/inventory/stock"
	"pulk/inventory/unit"
	"pulk/schema/fault"
	"pulk/sync/changelog"
)

func (e *env) labelCommand() *cli.Command {
	about := "A label has the text in letters, as a QR or Data Matrix code, and as Code 128 bars; a scan types just the text. " +
		"On sheets of labels the grid fills the paper, without gaps, unless --label, --margin and --gap say otherwise; with --single each label is a page of its own, for a label printer. " +
		"Print at 100 %, not fitted to the page."
	return group("label", "print labels for units and crates",
		verb{path: "pulk label unit", args: "SERIAL…", minArgs: 1, maxArgs: -1, usage: "labels with serial, part number and name", about: about,
			examples: []string{"pulk label unit SM3-0107 SM3-0108 -o labels.pdf", "pulk label unit SM3-0107 --single 62x29 --dots 203 -o label.pdf",
				"pulk label unit SM3-0107 --grid 3x7 --label 63.5x38.1 --margin 7.2x15.1 --gap 2.5x0 --skip 4 -o labels.pdf"},
			flags: labelFlags(), action: (*call).labelUnit}.command(e),
		verb{path: "pulk label crate", args: "LOCATION…", minArgs: 1, maxArgs: -1, usage: "labels with code and name of a crate, shelf or other place", about: about,
			examples: []string{"pulk label crate crate-12 crate-13 --grid 2x4 -o crates.pdf"},
			flags:    labelFlags(), action: (*call).labelCrate}.command(e),
	)
}

func labelFlags() []cli.Flag {
	return printFlags(
		&cli.StringFlag{Name: "grid", Value: "3x8", Usage: "labels across and down a sheet, `COLUMNSxROWS`"},
		&cli.StringFlag{Name: "label", Usage: "size of a label on the sheet in mm, `WIDTHxHEIGHT`"},
		&cli.StringFlag{Name: "margin", Usage: "where the first label begins in mm, `LEFTxTOP` (else the grid is centred)"},
		&cli.StringFlag{Name: "gap", Usage: "between labels in mm, `ACROSSxDOWN`"},
		&cli.IntFlag{Name: "skip", Usage: "leave the first `N` labels of the sheet free: they are used up"},
		&cli.StringFlag{Name: "single", Usage: "print single labels of this size in mm, `WIDTHxHEIGHT`"},
		&cli.IntFlag{Name: "copies", Value: 1, Usage: "`N` labels of each"},
		&cli.StringFlag{Name: "code", Value: "qr", Usage: "`KIND` of code: qr or datamatrix"},
		&cli.BoolFlag{Name: "no-bars", Usage: "without Code 128 bars"},
		&cli.IntFlag{Name: "dots", Value: 300, Usage: "dots per inch of the printer, `N`: codes are made of whole dots"})
}

// pair reads two numbers with an x between them, such as 62x29; zero values where the
// flag is not given.
func (c *call) pair(flag string) (a, b float64, err error) {
	text := c.String(flag)
	if text == "" {
		return 0, 0, nil
	}
	first, second, ok := strings.Cut(text, "x")
	a, errA := strconv.ParseFloat(first, 64)
	b, errB := strconv.ParseFloat(second, 64)
	const most = 1000
	if !ok || errA != nil || errB != nil || !(a >= 0 && a <= most && b >= 0 && b <= most) {
		return 0, 0, fault.Misuse("like --"+flag+" 62x29, at most 1000", "%q are no two numbers", text)
	}
	return a, b, nil
}

// labelFormOf reads the form from the flags.
func (c *call) labelFormOf(size paper.Size) (labelForm, error) {
	f, err := c.labelGrid(size)
	if err != nil {
		return f, err
	}
	f.skip, f.dots, f.bars = c.Int("skip"), float64(c.Int("dots")), !c.Bool("no-bars")
	switch c.String("code") {
	case "qr":
	case "datamatrix":
		f.matrix = true
	default:
		return f, fault.Misuse("qr or datamatrix", "the code %q is not known", c.String("code"))
	}
	if f.dots < 100 || f.dots > 2400 {
		return f, fault.Misuse("203, 300 and 600 are usual", "%d dots per inch", c.Int("dots"))
	}
	if f.skip < 0 || f.skip > 0 && f.skip >= f.columns*f.rows {
		return f, fault.Misuse("at most one less than there are on a sheet", "--skip %d", f.skip)
	}
	return f, nil
}

func (c *call) labelGrid(size paper.Size) (labelForm, error) {
	var numbers [5][2]float64
	for i, flag := range []string{"grid", "label", "margin", "gap", "single"} {
		var err error
		if numbers[i][0], numbers[i][1], err = c.pair(flag); err != nil {
			return labelForm{}, err
		}
	}
	if single := numbers[4]; c.IsSet("single") {
		if single[0] < labelSide || single[1] < labelSide {
			return labelForm{}, fault.Misuse(fmt.Sprintf("at least %gx%g", labelSide, labelSide), "a label of %s mm is too small", c.String("single"))
		}
		return labelForm{size: paper.Size{Name: "label", WidthMillimetres: single[0], HeightMillimetres: single[1]}}, nil
	}
	columns, rows := int(numbers[0][0]), int(numbers[0][1])
	if columns < 1 || rows < 1 || columns > 50 || rows > 50 || float64(columns) != numbers[0][0] || float64(rows) != numbers[0][1] {
		return labelForm{}, fault.Misuse("like --grid 3x8", "a grid of %s labels", c.String("grid"))
	}
	margin := numbers[2]
	if !c.IsSet("margin") {
		margin = [2]float64{-1, -1} // centred
	}
	f, err := formOf(size, columns, rows, numbers[1][0], numbers[1][1], margin[0], margin[1], numbers[3][0], numbers[3][1])
	if err != nil {
		return f, fault.Misuse("see the label sheet's wrapper for its sizes", "%s", err)
	}
	return f, nil
}

// printLabels makes the labels of what the arguments name.
func (c *call) printLabels(of func(tx *changelog.Tx, name string) (labelText, error)) error {
	copies := c.Int("copies")
	const most = 2000
	if copies < 1 || copies*c.NArg() > most {
		return fault.Misuse(fmt.Sprintf("from 1, and at most %d labels at once", most), "--copies %d", copies)
	}
	return c.printed(func(tx *changelog.Tx, size paper.Size) (*paper.Doc, error) {
		form, err := c.labelFormOf(size)
		if err != nil {
			return nil, err
		}
		var labels []labelText
		for _, name := range c.Args().Slice() {
			label, err := of(tx, name)
			if err != nil {
				return nil, err
			}
			for range copies {
				labels = append(labels, label)
			}
		}
		return form.print(labels, c.env.now())
	})
}

func (c *call) labelUnit() error {
	return c.printLabels(func(tx *changelog.Tx, serial string) (labelText, error) {
		u, err := unit.FindBySerial(tx, serial)
		if err != nil {
			return labelText{}, err
		}
		label := labelText{code: u.Serial, big: u.Serial}
		part, err := partOf(tx, u.Item)
		if err != nil {
			return label, err
		}
		if _, err := unit.FindBySerial(tx, u.Serial); err != nil { // units of several items have it
			label.code = part + ":" + u.Serial
		}
		label.lines = []string{part}
		if it, err := stock.ItemByID(tx, u.Item); err != nil {
			return label, err
		} else if it != nil {
			label.lines = append(label.lines, it.Name)
		}
		if u.Lot != "" {
			label.lines = append(label.lines, "lot "+u.Lot)
		}
		label.lines = append(label.lines, tx.Self().CampaignName)
		return label, nil
	})
}

func (c *call) labelCrate() error {
	return c.printLabels(func(tx *changelog.Tx, code string) (labelText, error) {
		l, err := stock.FindLocation(tx, code)
		if err != nil {
			return labelText{}, err
		}
		label := labelText{code: l.Code, big: l.Code, lines: []string{l.Name}}
		if !l.Parent.IsZero() {
			parent, err := stock.LocationLabel(tx, l.Parent)
			if err != nil {
				return label, err
			}
			label.lines = append(label.lines, "in "+parent)
		}
		label.lines = append(label.lines, tx.Self().CampaignName)
		return label, nil
	})
}
