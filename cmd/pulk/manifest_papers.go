package main

import (
	"bytes"
	"fmt"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"time"

	"github.com/urfave/cli/v2"

	"pulk/cmd/book"
	"pulk/cmd/paper"
	"pulk/inventory/dangerous"
	"pulk/inventory/freight"
	"pulk/inventory/manifest"
	"pulk/inventory/stock"
	"pulk/schema/fault"
	"pulk/sync/changelog"
)

func (e *env) manifestPapersVerbs() []*cli.Command {
	return []*cli.Command{
		verb{path: "pulk manifest print", args: "MANIFEST", minArgs: 1, maxArgs: 1, usage: "print manifest, packing lists and a summary of dangerous goods", reads: false,
			about: "The same tables as pages, as a workbook, and as CSV files. Where a load goes by air each piece is also told as what it is charged for: its mass, or its volume over the divisor. " +
				"The summary of dangerous goods is no declaration: a trained and certified shipper and the edition in force decide.",
			examples: []string{"pulk manifest print M-27-1 --pdf M-27-1.pdf --xlsx M-27-1.xlsx --csv papers"},
			flags: []cli.Flag{&cli.StringFlag{Name: "pdf", Usage: "`FILE` to write, a PDF"}, &cli.StringFlag{Name: "xlsx", Usage: "`FILE` to write, a workbook"},
				&cli.StringFlag{Name: "csv", Usage: "`FOLDER` to write a CSV file for each table to"}, &cli.StringFlag{Name: "paper", Value: "a4", Usage: "`SIZE` of the paper: a4 or letter"},
				&cli.Int64Flag{Name: "divisor", Value: freight.AirDivisor, Usage: "volume that counts as a kilogram by air, in `CM³`; 0 leaves it away"},
				&cli.Int64Flag{Name: "step", Value: freight.AirStepGrams, Usage: "by air round up to a multiple of so many `GRAMS`"},
				&cli.StringFlag{Name: "legs", Usage: "CSV `FILE` of the legs: print by when the crates must be where, and what a leg does not carry"},
				&cli.Float64Flag{Name: "odds", Value: 0.95, Usage: "with --legs: wanted `PROBABILITY` of being on site by the day needed"}},
			action: (*call).manifestPrint}.command(e),
		verb{path: "pulk manifest labels", args: "MANIFEST", minArgs: 1, maxArgs: 1, usage: "print a label for each crate: to, piece, mass, how it is kept",
			about: "Two to a crate, for two sides of it. A scan of the code types the crate's code. Hazard labels and marks are not printed: those have forms of their own, " +
				"and are put on by a trained and certified shipper.",
			examples: []string{"pulk manifest labels M-27-1 -o labels.pdf", "pulk manifest labels M-27-1 --single 100x150 -o labels.pdf", "pulk manifest labels M-27-1 --csv labels.csv"},
			flags: printFlags(&cli.StringFlag{Name: "xlsx", Usage: "`FILE` to write what stands on them to, a workbook: for a label program of your own"},
				&cli.StringFlag{Name: "csv", Usage: "`FILE` to write the same to, as CSV"},
				&cli.StringFlag{Name: "single", Usage: "single labels of this size in mm, `WIDTHxHEIGHT` (else two on a sheet)"},
				&cli.IntFlag{Name: "copies", Value: 2, Usage: "`N` labels of each"}, &cli.IntFlag{Name: "dots", Value: 300, Usage: "dots per inch of the printer, `N`: codes are made of whole dots"}), action: (*call).manifestLabels}.command(e),
		e.manifestBoxesCommand(),
	}
}

// papers is what goes with a manifest.
type papers struct {
	manifestDetail
	fromName, toName string
	goods            dangerous.Summary
	divisor, step    int64 // 0: nothing is charged by volume
	way              shipWay
}

func (c *call) papersOf(tx *changelog.Tx, code string) (papers, error) {
	m, d, err := manifestOf(tx, code)
	if err != nil {
		return papers{}, err
	}
	if m.Voided {
		return papers{}, fault.Refuse("make another: pulk manifest make", "manifest %s is voided: %s", m.Code, m.VoidWhy)
	}
	p := papers{manifestDetail: d, divisor: c.Int64("divisor"), step: c.Int64("step")}
	if p.fromName, err = placeName(tx, m.From); err != nil {
		return p, err
	}
	if p.toName, err = placeName(tx, m.To); err != nil {
		return p, err
	}
	h, err := manifest.ReadHolds(tx)
	if err != nil {
		return p, err
	}
	crates := map[string][]manifest.Line{}
	for i, crate := range m.Crates {
		crates[d.Crates[i].Code] = crate.Lines
	}
	p.goods = h.DangerousIn(crates)
	return p, nil
}

// papers are those of the manifest that the command names.
func (c *call) papers() (p papers, err error) {
	err = c.view(func(tx *changelog.Tx) (err error) {
		p, err = c.papersOf(tx, c.Args().First())
		return err
	})
	return p, err
}

// chargedGrams is what a crate is charged for by air; 0 where nothing is asked.
func (p *papers) chargedGrams(crate manifestCrate) (int64, error) {
	if p.divisor == 0 {
		return 0, nil
	}
	charge, err := freight.ChargeOf(crate.Outside, crate.GrossGrams, p.divisor, p.step)
	if err != nil {
		return 0, fault.Misuse("like --divisor 6000 --step 500", "%s: %s", crate.Code, err)
	}
	return charge.Grams, nil
}

func kg(grams int64) float64 { return float64(grams) / 1000 }

// tables are the papers as tables: pieces, what is in them, and dangerous goods.
func (p *papers) tables() ([]book.Table, error) {
	pieces := book.Table{Name: "manifest " + p.Code, Columns: []book.Column{{Head: "piece"}, {Head: "crate"}, {Head: "what", Chars: 30}, {Head: "length mm"}, {Head: "width mm"}, {Head: "height mm"}, {Head: "volume m3", Decimals: 3},
		{Head: "tare kg", Decimals: 1}, {Head: "gross kg", Decimals: 1}, {Head: "weighed"}, {Head: "charged kg by air", Decimals: 1}, {Head: "seal"}, {Head: "kept from degC", Decimals: 1}, {Head: "kept to degC", Decimals: 1}}}
	lines := book.Table{Name: "packing list", Columns: []book.Column{{Head: "piece"}, {Head: "crate"}, {Head: "part number", Chars: 16}, {Head: "name", Chars: 44}, {Head: "lot"}, {Head: "serial", Chars: 16}, {Head: "quantity"}, {Head: "unit"}, {Head: "mass kg", Decimals: 3}, {Head: "UN number"}}}
	for _, crate := range p.Crates {
		charged, err := p.chargedGrams(crate)
		if err != nil {
			return nil, err
		}
		row := []any{crate.Piece, crate.Code, crate.Name, crate.Outside[0], crate.Outside[1], crate.Outside[2], volumeM3(crate.Outside), kg(crate.TareGrams), kg(crate.GrossGrams),
			yesNo(crate.Weighed), nil, crate.Seal, nil, nil}
		if charged > 0 {
			row[10] = kg(charged)
		}
		if kept, err := stock.ParseSpan(crate.Kept); err == nil && kept.Told {
			row[12], row[13] = kept.Lowest.Float64(), kept.Highest.Float64()
		}
		pieces.Rows = append(pieces.Rows, row)
		for _, l := range crate.Contents {
			line := []any{crate.Piece, crate.Code, l.PartNumber, l.Name, l.Lot, l.Serial, l.Quantity, l.UnitOfIssue, nil, l.UNNumber}
			if l.Grams > 0 {
				line[8] = kg(l.Grams)
			}
			lines.Rows = append(lines.Rows, line)
		}
	}
	tables := []book.Table{pieces, lines, dangerousTable(p.goods)}
	if len(p.way.deadlines) > 0 {
		tables = append(tables, p.way.table())
	}
	return tables, nil
}

func volumeM3(sides [3]int64) float64 {
	return float64(sides[0]) * float64(sides[1]) * float64(sides[2]) / 1e9
}

func yesNo(b bool) string {
	if b {
		return "yes"
	}
	return "no"
}

func (c *call) manifestPrint() error {
	size, err := paperSize(c.String("paper"))
	if err != nil {
		return err
	}
	if c.String("pdf") == "" && c.String("xlsx") == "" && c.String("csv") == "" {
		return fault.Misuse("like --pdf M-27-1.pdf --xlsx M-27-1.xlsx", "say what to write: --pdf FILE, --xlsx FILE or --csv FOLDER")
	}
	p, err := c.papers()
	if err != nil {
		return err
	}
	if p.way, err = c.wayOf(&p); err != nil {
		return err
	}
	tables, err := p.tables()
	if err != nil {
		return err
	}
	if err := c.wrote("pdf", func(out *bytes.Buffer) error { return p.pdf(size, c.env.now()).Write(out) }); err != nil {
		return err
	}
	if err := c.wrote("xlsx", func(out *bytes.Buffer) error {
		return book.XLSX(out, "Manifest "+p.Code, c.env.now(), p.sheets(tables))
	}); err != nil {
		return err
	}
	if folder := c.String("csv"); folder != "" {
		if err := os.MkdirAll(folder, 0o777); err != nil {
			return err
		}
		for i, name := range []string{"pieces", "packing-list", "dangerous-goods", "legs"}[:len(tables)] {
			if err := c.wroteFile(filepath.Join(folder, name+".csv"), func(out *bytes.Buffer) error { return book.CSV(out, tables[i]) }); err != nil {
				return err
			}
		}
	}
	for _, text := range slices.Concat(p.way.notes, p.goods.Missing, p.goods.Doubts) {
		c.printBlock("note: ", text)
	}
	return nil
}

// sheets are the tables as they stand in a workbook: what is to be read first about dangerous
// goods stands before them.
func (p *papers) sheets(tables []book.Table) []book.Table {
	return slices.Insert(slices.Clone(tables), 2, dangerousWords(p.goods))
}

// pdf is the papers to print: the manifest, a packing list for each crate, and the summary
// of dangerous goods.
func (p *papers) pdf(size paper.Size, made time.Time) *paper.Doc {
	options := paper.Options{Size: size, Made: made, Title: "Manifest " + p.Code, Head: "Manifest " + p.Code + ", " + p.From + " to " + p.To,
		Right: "made " + made.UTC().Format("2006-01-02 15:04Z"), Foot: "masses on a scale, but where they are marked as reckoned"}
	if code, err := paper.QR(p.Code); err == nil {
		options.Code = &code
	}
	d := paper.New(options)
	d.Heading(1, "Manifest "+p.Code)
	head := paper.Table{SizePoints: 10, Columns: []paper.Column{{Head: "manifest", Share: 1, Face: paper.Bold}, {Head: p.Code, Share: 5}}}
	for _, row := range [][2]string{{"From", p.fromName}, {"To", p.toName}, {"Consignor", p.Consignor}, {"Consignee", p.Consignee}, {"Route", p.Route}, {"Needed on site", p.Needed},
		{"Left", strings.TrimSuffix(p.Sent+" with "+p.Carrier, " with ")}, {"Note", p.Note}} {
		if row[1] != "" {
			head.Rows = append(head.Rows, []string{row[0], row[1]})
		}
	}
	d.Table(head)
	d.Heading(2, "Pieces")
	d.Table(p.piecesTable())
	d.Gap(2)
	d.Text(paper.Style{Face: paper.Bold}, p.totals())
	p.way.print(d)
	d.Gap(3)
	d.Keep(func() {
		d.Sign(0, paper.Signature{For: "Handed over"})
		d.Gap(3)
		d.Sign(0, paper.Signature{For: "Taken over by the carrier"})
	})
	for _, crate := range p.Crates {
		d.NewPage()
		p.packingList(d, crate)
	}
	d.NewPage()
	printDangerous(d, p.goods)
	return d
}

func (p *papers) piecesTable() paper.Table {
	t := paper.Table{SizePoints: 8, Columns: []paper.Column{{Head: "piece", Share: 0.7}, {Head: "crate", Share: 1.1, Face: paper.Bold}, {Head: "what", Share: 2.2}, {Head: "outside mm", Share: 1.7}, {Head: "gross kg", Share: 1.3, Align: paper.Right},
		{Head: "charged kg", Align: paper.Right}, {Head: "seal"}, {Head: "kept °C"}, {Head: "UN", Share: 1.4}}}
	for _, crate := range p.Crates {
		mass, charged := fmt.Sprintf("%.1f", kg(crate.GrossGrams)), ""
		if !crate.Weighed {
			mass = "reckoned " + mass
		}
		if grams, err := p.chargedGrams(crate); err == nil && grams > 0 {
			charged = fmt.Sprintf("%.1f", kg(grams))
		}
		t.Rows = append(t.Rows, []string{fmt.Sprintf("%d of %d", crate.Piece, len(p.Crates)), crate.Code, crate.Name, stock.SidesText(crate.Outside), mass, charged, crate.Seal, keptText(crate.Kept), strings.Join(p.numbersIn(crate), ", ")})
	}
	return t
}

// keptText is a span of temperatures for people.
func keptText(kept string) string { return strings.Replace(kept, "..", " to ", 1) }

// numbersIn is the UN numbers in a crate, each once.
func (p *papers) numbersIn(crate manifestCrate) []string {
	var list []string
	for _, l := range p.goods.Lines {
		for _, code := range l.Packages {
			if code == crate.Code {
				list = append(list, l.Goods.UNNumber)
			}
		}
	}
	return list
}

func (p *papers) totals() string {
	charged := int64(0)
	for _, crate := range p.Crates {
		grams, _ := p.chargedGrams(crate) // tables() has told of what cannot be
		charged += grams
	}
	text := fmt.Sprintf("In all %s, %s gross, %.2f m³", plural(len(p.Crates), "piece", "pieces"), kgText(p.GrossGrams), p.Litres/1000)
	if charged > 0 {
		text += fmt.Sprintf(", charged by air as %s (%d cm³ a kilogram, each piece rounded up to %s; the carrier's tariff stands before this)", kgText(charged), p.divisor, gramsText(p.step))
	}
	return text + "."
}

func gramsText(grams int64) string {
	if grams%1000 == 0 {
		return fmt.Sprintf("%d kg", grams/1000)
	}
	return fmt.Sprintf("%d g", grams)
}

// packingList is the page that goes into a crate, with boxes to tick on arrival.
func (p *papers) packingList(d *paper.Doc, crate manifestCrate) {
	d.Heading(2, fmt.Sprintf("Packing list of %s, piece %d of %d", crate.Code, crate.Piece, len(p.Crates)))
	facts := fmt.Sprintf("%s. Outside %s mm, empty %s, packed %s", crate.Name, stock.SidesText(crate.Outside), kgText(crate.TareGrams), kgText(crate.GrossGrams))
	if crate.Kept != "" {
		facts += ". Keep between " + strings.Replace(crate.Kept, "..", " and ", 1) + " °C"
	}
	if crate.Seal != "" {
		facts += ". Seal " + crate.Seal
	}
	d.Text(paper.Style{}, facts+".")
	t := paper.Table{SizePoints: 8, RowMin: 6, Columns: []paper.Column{{Head: "part number", Share: 1.2}, {Head: "name", Share: 3}, {Head: "lot"}, {Head: "serial", Share: 1.2}, {Head: "quantity", Align: paper.Right}, {Head: "kg", Share: 0.7, Align: paper.Right},
		{Head: "UN", Share: 0.6}, {Head: "found", Share: 0.9}}}
	for _, l := range crate.Contents {
		mass := ""
		if l.Grams > 0 {
			mass = fmt.Sprintf("%.2f", kg(l.Grams))
		}
		t.Rows = append(t.Rows, []string{l.PartNumber, l.Name, l.Lot, l.Serial, fmt.Sprintf("%d %s", l.Quantity, l.UnitOfIssue), mass, l.UNNumber, ""})
	}
	d.Table(t)
	d.Gap(3)
	d.Keep(func() {
		d.Fields(0, paper.Field{Label: "lowest", After: "°C"}, paper.Field{Label: "highest", After: "°C"}, paper.Field{Box: true, Label: "seal unbroken"}, paper.Field{Box: true, Label: "crate damaged"})
		d.Fields(0, paper.Field{Label: "unpacked by", Share: 2}, paper.Field{Label: "on"})
	})
}
