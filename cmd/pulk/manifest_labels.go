package main

import (
	"bytes"
	"fmt"
	"strings"

	"pulk/cmd/book"
	"pulk/cmd/paper"
	"pulk/inventory/stock"
	"pulk/schema/fault"
	"pulk/sync/carrier"
	"pulk/sync/changelog"
	"pulk/sync/clock"
)

// placeName is a place's code and name.
func placeName(tx *changelog.Tx, id clock.Dot) (string, error) {
	l, err := stock.LocationByID(tx, id)
	if err != nil || l == nil {
		return tx.Name(id), err
	}
	if l.Name == l.Code {
		return l.Code, nil
	}
	return l.Name + " (" + l.Code + ")", nil
}

// Sides of a crate's label in millimetres: the least, and what two on A4 are.
const (
	crateLabelLeast  = 70.0
	crateLabelWidth  = 190.0
	crateLabelHeight = 130.0
)

func (c *call) manifestLabels() error {
	copies := c.Int("copies")
	if copies < 1 || copies > 20 {
		return fault.Misuse("from 1 to 20", "--copies %d", copies)
	}
	dots := float64(c.Int("dots"))
	if dots < 100 || dots > 2400 {
		return fault.Misuse("203, 300 and 600 are usual", "%d dots per inch", c.Int("dots"))
	}
	width, height, err := c.pair("single")
	if err != nil {
		return err
	}
	if c.IsSet("single") && min(width, height) < crateLabelLeast {
		return fault.Misuse(fmt.Sprintf("at least %g mm each way", crateLabelLeast), "a label of %s mm is too small", c.String("single"))
	}
	if err := c.labelTables(); err != nil {
		return err
	}
	if c.String("output") == "" {
		return nil
	}
	return c.printed(func(tx *changelog.Tx, size paper.Size) (*paper.Doc, error) {
		p, err := c.papersOf(tx, c.Args().First())
		if err != nil {
			return nil, err
		}
		options := paper.Options{Size: size, Made: c.env.now(), Title: "Labels of manifest " + p.Code, Bare: true}
		perSheet := 2
		if c.IsSet("single") {
			options.Size, perSheet = paper.Size{Name: "label", WidthMillimetres: width, HeightMillimetres: height}, 1
		}
		d := paper.New(options)
		n := 0
		for _, crate := range p.Crates {
			for range copies {
				if n > 0 && n%perSheet == 0 {
					d.NewPage()
				}
				page := d.Page()
				place := page.Part(4, 4, page.Width-8, page.Height-8)
				if perSheet == 2 {
					place = page.Part((page.Width-crateLabelWidth)/2, 10+float64(n%2)*(page.Height/2), crateLabelWidth, crateLabelHeight)
				}
				if err := p.label(place, crate, dots); err != nil {
					return nil, err
				}
				n++
			}
		}
		return d, nil
	})
}

// labelTables writes what stands on the labels as a workbook and as CSV, where that is
// asked for.
func (c *call) labelTables() error {
	if c.String("output") == "" && c.String("xlsx") == "" && c.String("csv") == "" {
		return fault.Misuse("like -o labels.pdf", "say what to write: -o FILE, --xlsx FILE or --csv FILE")
	}
	p, err := c.papers()
	if err != nil {
		return err
	}
	table := p.labelTable()
	if err := c.wrote("xlsx", func(out *bytes.Buffer) error {
		return book.XLSX(out, "Labels of manifest "+p.Code, c.env.now(), []book.Table{table})
	}); err != nil {
		return err
	}
	return c.wrote("csv", func(out *bytes.Buffer) error { return book.CSV(out, table) })
}

// wrote writes the file that a flag names, if it does.
func (c *call) wrote(flag string, write func(*bytes.Buffer) error) error {
	if path := c.String(flag); path != "" {
		return c.wroteFile(path, write)
	}
	return nil
}

// wroteFile writes a file whole, and says so.
func (c *call) wroteFile(path string, write func(*bytes.Buffer) error) error {
	var file bytes.Buffer
	if err := write(&file); err != nil {
		return err
	}
	if err := carrier.WriteFile(path, file.Bytes()); err != nil {
		return err
	}
	c.printf("wrote %s\n", path)
	return nil
}

// label draws the label of one crate: to whom in the largest letters, the crate's code
// for eyes and scanners, what it weighs and how it is kept.
func (p *papers) label(c paper.Canvas, crate manifestCrate, dots float64) error {
	c.Rect(0, 0, c.Width, c.Height, 0.5)
	in := c.Part(4, 3, c.Width-8, c.Height-6)
	code, err := paper.QR(crate.Code)
	if err != nil {
		return err
	}
	side := min(in.Width*0.38, in.Height*0.5)
	module := code.Fit(side, side, dots)
	if module == 0 {
		return fault.Misuse("take a larger label", "the code of %s does not fit", crate.Code)
	}
	wide, high := code.Size(module)
	in.Code(in.Width-wide, 0, module, code)
	left := in.Part(0, 0, in.Width-wide-3, high)
	y := 0.0
	put := func(c paper.Canvas, points float64, face paper.Face, text string) {
		if text == "" {
			return
		}
		style := paper.Style{Face: face, SizePoints: points}
		for style.SizePoints > 8 && c.TextWidth(style, text) > c.Width {
			style.SizePoints -= 0.5
		}
		c.Put(0, y, c.Width, paper.Left, style, text)
		y += style.Line() + 0.5
	}
	scale, words := in.Width/crateLabelWidth, p.labelWords(crate)
	put(left, max(8, 11*scale), paper.Regular, "to")
	put(left, max(12, 26*scale), paper.Bold, p.toName)
	put(left, max(8, 12*scale), paper.Regular, p.Consignee)
	put(left, max(8, 11*scale), paper.Regular, "from "+p.fromName)
	put(left, max(8, 11*scale), paper.Regular, "manifest "+p.Code)
	y = max(y, high) + 1
	put(in, max(18, 44*scale), paper.Bold, crate.Code)
	put(in, max(10, 20*scale), paper.Bold, fmt.Sprintf("%s    %s gross    %s mm", words.piece, kgText(crate.GrossGrams), words.sides))
	put(in, max(10, 20*scale), paper.Bold, words.kept)
	put(in, max(9, 14*scale), paper.Regular, words.goods)
	put(in, max(8, 12*scale), paper.Regular, words.needed)
	put(in, max(8, 12*scale), paper.Regular, words.heavy)
	return nil
}

// labelWords are the sentences on the label of a crate; empty where there is nothing to
// say.
type labelWords struct{ piece, sides, kept, goods, needed, heavy string }

func (p *papers) labelWords(crate manifestCrate) labelWords {
	out := labelWords{piece: fmt.Sprintf("piece %d of %d", crate.Piece, len(p.Crates)), sides: stock.SidesText(crate.Outside)}
	if crate.Kept != "" {
		out.kept = "KEEP BETWEEN " + strings.Replace(crate.Kept, "..", " AND ", 1) + " °C"
	}
	if numbers := p.numbersIn(crate); len(numbers) > 0 {
		out.goods = "UN " + strings.Join(numbers, ", UN ") + ": hazard labels and marks by a trained shipper"
	}
	if p.Needed != "" {
		out.needed = "needed on site by " + p.Needed
	}
	if crate.GrossGrams > liftAloneGrams {
		out.heavy = "Heavy: lift with help or a machine, by local rules"
	}
	return out
}

// labelTable is what stands on the labels, a row for each crate, for who prints them with
// a program of their own.
func (p *papers) labelTable() book.Table {
	t := book.Table{Name: "labels " + p.Code, Columns: []book.Column{{Head: "crate", Chars: 16}, {Head: "piece"}, {Head: "pieces"}, {Head: "to", Chars: 30}, {Head: "consignee", Chars: 24}, {Head: "from", Chars: 30},
		{Head: "manifest"}, {Head: "gross kg", Decimals: 1}, {Head: "outside mm", Chars: 18}, {Head: "kept", Chars: 28}, {Head: "dangerous goods", Chars: 50}, {Head: "needed", Chars: 26}, {Head: "lifting", Chars: 44}}}
	for _, crate := range p.Crates {
		words := p.labelWords(crate)
		t.Rows = append(t.Rows, []any{crate.Code, crate.Piece, len(p.Crates), p.toName, p.Consignee, p.fromName,
			p.Code, kg(crate.GrossGrams), words.sides, words.kept, words.goods, words.needed, words.heavy})
	}
	return t
}

// liftAloneGrams is from which mass a label says that it is heavy. Common practice: 25 kg
// is a usual limit for one person's lift; local rules stand before it.
const liftAloneGrams = 25_000
