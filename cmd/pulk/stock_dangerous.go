package main

import (
	"bytes"
	"fmt"

	"github.com/urfave/cli/v2"

	"pulk/cmd/book"
	"pulk/cmd/paper"
	"pulk/inventory/dangerous"
	"pulk/inventory/manifest"
	"pulk/inventory/stock"
	"pulk/schema/fault"
	"pulk/sync/carrier"
	"pulk/sync/changelog"
)

func (e *env) stockDangerousVerb() *cli.Command {
	return verb{path: "pulk stock dangerous", usage: "the dangerous goods that lie at a place, summed up", reads: true,
		about: "By UN number, class, packing group and net quantity, with units that are installed in others. What is\n" +
			"told of items: pulk item hazard. " + dangerous.Caution,
		examples: []string{"pulk stock dangerous --at home-store", "pulk stock dangerous --at CR-07 --pdf goods.pdf --xlsx goods.xlsx --csv goods.csv"},
		flags: []cli.Flag{&cli.StringFlag{Name: "at", Usage: "`LOCATION` or crate, with all in it (else everywhere)"},
			&cli.StringFlag{Name: "pdf", Usage: "`FILE` to write, a PDF"}, &cli.StringFlag{Name: "xlsx", Usage: "`FILE` to write, a workbook"},
			&cli.StringFlag{Name: "csv", Usage: "`FILE` to write the lines to; the caution and the advice are not in it"},
			&cli.StringFlag{Name: "paper", Value: "a4", Usage: "`SIZE` of the paper: a4 or letter"}},
		action: (*call).stockDangerous}.command(e)
}

func (c *call) stockDangerous() error {
	size, err := paperSize(c.String("paper"))
	if err != nil {
		return err
	}
	var sum dangerous.Summary
	err = c.view(func(tx *changelog.Tx) error {
		sum, err = c.dangerousAt(tx)
		return err
	})
	if err != nil {
		return err
	}
	if err := c.writeDangerous(sum, size); err != nil {
		return err
	}
	if c.asJSON() {
		return c.printJSON(dangerousJSONOf(sum))
	}
	c.printDangerousText(sum)
	return nil
}

// dangerousAt sums up what lies at the place that --at names.
func (c *call) dangerousAt(tx *changelog.Tx) (dangerous.Summary, error) {
	at := &stock.Location{}
	if code := c.String("at"); code != "" {
		var err error
		if at, err = stock.FindLocation(tx, code); err != nil {
			return dangerous.Summary{}, err
		}
	} else if c.IsSet("at") {
		return dangerous.Summary{}, fault.Misuse("leave --at away for all places; see: pulk location list", "--at names no place")
	}
	h, err := manifest.ReadHolds(tx)
	if err != nil {
		return dangerous.Summary{}, err
	}
	return h.Dangerous(at.ID), nil
}

// writeDangerous writes the files that were asked for.
func (c *call) writeDangerous(s dangerous.Summary, size paper.Size) error {
	title := "Dangerous goods"
	if at := c.String("at"); at != "" {
		title += " at " + at
	}
	for _, file := range []struct {
		flag string
		make func(*bytes.Buffer) error
	}{
		{"pdf", func(out *bytes.Buffer) error {
			d := paper.New(paper.Options{Size: size, Made: c.env.now(), Title: title, Head: title, Right: "made " + c.env.now().UTC().Format("2006-01-02 15:04Z"), Foot: "no declaration"})
			printDangerous(d, s)
			return d.Write(out)
		}},
		{"xlsx", func(out *bytes.Buffer) error {
			return book.XLSX(out, title, c.env.now(), []book.Table{dangerousWords(s), dangerousTable(s)})
		}},
		{"csv", func(out *bytes.Buffer) error { return book.CSV(out, dangerousTable(s)) }},
	} {
		path := c.String(file.flag)
		if path == "" {
			continue
		}
		var out bytes.Buffer
		if err := file.make(&out); err != nil {
			return err
		}
		if err := carrier.WriteFile(path, out.Bytes()); err != nil {
			return err
		}
		fmt.Fprintf(c.env.stderr, "pulk: wrote %s\n", path)
	}
	return nil
}

// wordsChars is how many characters a line of that sheet has: what is longer would run
// out of the page.
const wordsChars = 110

// dangerousWords is what is said about a summary, the caution first, as a sheet that
// stands before the lines.
func dangerousWords(s dangerous.Summary) book.Table {
	t := book.Table{Name: "read first", Columns: []book.Column{{Head: "what", Chars: 16}, {Head: "text", Chars: wordsChars}}}
	advice := dangerousJSONOf(s)
	for _, part := range []struct {
		what string
		list []string
	}{{"caution", []string{advice.Caution}}, {"tables say", advice.Advice}, {"by air", advice.Notes}, {"not described", advice.Missing}, {"in doubt", advice.Doubts}} {
		for _, text := range part.list {
			for i, line := range wrap(text, wordsChars) {
				if i == 0 {
					t.Rows = append(t.Rows, []any{part.what, line})
				} else {
					t.Rows = append(t.Rows, []any{nil, line})
				}
			}
		}
	}
	return t
}
