package main

import (
	"fmt"

	"pulk/checklist/crew"
	"pulk/inventory/grid"
	"pulk/schema/fault"
	"pulk/sync/changelog"
)

// paperForm is the table that pulk run transcribe --from reads.
var paperForm = grid.Form[paperLine]{
	Columns: []grid.Column[paperLine]{
		grid.Of("step", func(l *paperLine, cell string) string {
			l.step = cell
			if cell == "" {
				return "the step's id"
			}
			return ""
		}),
		grid.Of("answer", func(l *paperLine, cell string) string { l.answer = cell; return "" }),
		grid.Of("written_by", func(l *paperLine, cell string) string { l.by = cell; return "" }),
		grid.Of("written_at", func(l *paperLine, cell string) string { l.at = cell; return "" }),
		grid.Of("why", func(l *paperLine, cell string) string { l.why = cell; return "" }),
	},
	BytesMax: 1 << 20,
	RowsMax:  1000,
}

// transcribeFile takes a table of answers in.
func (c *call) transcribeFile() error {
	path := c.String("from")
	source, err := readAtMost(path, paperForm.BytesMax)
	if err != nil {
		return err
	}
	rows, faults := paperForm.Parse(source)
	if len(faults) > 0 {
		for _, f := range faults {
			fmt.Fprintf(c.env.stderr, "%s:%s\n", path, f)
		}
		return fault.Hint("mend the lines named above; nothing was written. The columns: step,answer,written_by,written_at,why", "%s is no table of answers", path)
	}
	lines := make([]paperLine, len(rows))
	for i, row := range rows {
		lines[i] = *row
	}
	var all *sheetTaken
	return c.write(func(tx *changelog.Tx, me *crew.Person) (err error) {
		all, err = c.takeSheet(tx, me, lines)
		return err
	}, func() {
		for _, said := range all.said {
			c.printLines(said)
		}
		c.saySheet(all)
	})
}
