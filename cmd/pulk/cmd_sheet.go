package main

import (
	"bytes"

	"github.com/urfave/cli/v2"

	"pulk/checklist/procedure"
	"pulk/checklist/run"
	"pulk/cmd/paper"
	"pulk/schema/fault"
	"pulk/sync/carrier"
	"pulk/sync/changelog"
)

// printFlags are those of each command that makes a PDF.
func printFlags(more ...cli.Flag) []cli.Flag {
	return append([]cli.Flag{
		&cli.StringFlag{Name: "output", Aliases: []string{"o"}, Usage: "`FILE` to write, a PDF"},
		&cli.StringFlag{Name: "paper", Value: "a4", Usage: "`SIZE` of the paper: a4 or letter"}}, more...)
}

func (e *env) procedureSheetCommand() *cli.Command {
	return verb{path: "pulk procedure sheet", args: "PROCEDURE[@REVISION]", minArgs: 1, maxArgs: 1, usage: "print a sheet to fill in by hand",
		about: "For work where no computer can be: boxes to tick, lines for readings beside their limits, places to sign, each caution before its step. " +
			"What was filled in is taken in with pulk run transcribe, after pulk run start.",
		examples: []string{"pulk procedure sheet power-up -o power-up.pdf", "pulk procedure sheet power-up@A --paper letter -o power-up.pdf"},
		flags:    printFlags(), action: (*call).procedureSheet}.command(e)
}

func (e *env) runSheetCommand() *cli.Command {
	return verb{path: "pulk run sheet", args: "RUN", minArgs: 1, maxArgs: 1, usage: "print what is left of a run, to fill in by hand",
		about: "As pulk procedure sheet, with what is done already printed as done. The code at the top of each page names the run and its revision. " +
			"What was filled in is taken in with pulk run transcribe.",
		examples: []string{"pulk run sheet stn-41 -o stn-41.pdf"},
		flags:    printFlags(), action: (*call).runSheet}.command(e)
}

func (c *call) procedureSheet() error {
	return c.printed(func(tx *changelog.Tx, size paper.Size) (*paper.Doc, error) {
		r, err := procedure.Find(tx, c.Args().First())
		if err != nil {
			return nil, err
		}
		p, err := procedure.Load(tx, r.ID)
		if err != nil {
			return nil, err
		}
		if p == nil {
			return nil, fault.Hint("it comes with the next bundle", "the text of %s revision %s is not here yet", r.Procedure, r.Revision)
		}
		return newSheet(tx, p, r.Withdrawn).print(size, c.env.now())
	})
}

func (c *call) runSheet() error {
	return c.printed(func(tx *changelog.Tx, size paper.Size) (*paper.Doc, error) {
		id, err := tx.ParseName(c.Args().First())
		if err != nil {
			return nil, fault.Misuse("see: pulk run list", "%s", err)
		}
		record, err := run.Load(tx, id)
		if err != nil {
			return nil, noRun(err)
		}
		if record.Procedure == nil {
			return nil, fault.Hint("it comes with a bundle from the site that imported it", "the procedure of run %s is not here yet", tx.Name(id))
		}
		s := newSheet(tx, record.Procedure, nil)
		if len(record.Withdrawals) > 0 {
			s.withdrawn = record.Withdrawals[0].Why
		}
		s.s, s.code.Run = run.Evaluate(record), tx.Name(id)
		return s.print(size, c.env.now())
	})
}

// printed makes a document from the store and writes it to the file that was named.
func (c *call) printed(layOut func(*changelog.Tx, paper.Size) (*paper.Doc, error)) error {
	path := c.String("output")
	if path == "" {
		return fault.Misuse("like -o sheet.pdf", "say with -o which file to write")
	}
	size, err := paper.SizeNamed(c.String("paper"))
	if err != nil {
		return fault.Misuse("a4 or letter", "%s", err)
	}
	var file bytes.Buffer
	pages := 0
	err = c.view(func(tx *changelog.Tx) error {
		doc, err := layOut(tx, size)
		if err != nil {
			return err
		}
		pages = doc.Pages()
		return doc.Write(&file)
	})
	if err != nil {
		return err
	}
	if err := carrier.WriteFile(path, file.Bytes()); err != nil {
		return err
	}
	c.printf("%s: %s\n", path, plural(pages, "page", "pages"))
	return nil
}
