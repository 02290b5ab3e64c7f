package main

import (
	"cmp"
	"fmt"
	"slices"
	"strings"
	"time"

	"github.com/urfave/cli/v2"

	"pulk/checklist/crew"
	"pulk/inventory/count"
	"pulk/inventory/stock"
	"pulk/schema/fault"
	"pulk/sync/changelog"
)

func (e *env) countCommand() *cli.Command {
	why := &cli.StringFlag{Name: "why", Usage: "the `REASON`"}
	return group("count", "count a place without being shown what ought to be there",
		verb{path: "pulk count open", args: "LOCATION", minArgs: 1, maxArgs: 1, usage: "ask for a blind count of what lies at a place", writes: true,
			examples: []string{"pulk count open drill-hut --tolerance 2 --as mirre"},
			flags: []cli.Flag{&cli.Int64Flag{Name: "tolerance", Usage: "a difference of up to `N` units of issue needs no recount"},
				&cli.StringFlag{Name: "note", Usage: "a `TEXT` to go with it"}}, action: (*call).countOpen}.command(e),
		verb{path: "pulk count list", usage: "counts that are open; with --all done and voided ones too", reads: true,
			flags: []cli.Flag{&cli.BoolFlag{Name: "all", Usage: "tell of all counts"}}, action: (*call).countList}.command(e),
		verb{path: "pulk count sheet", args: "SHEET", minArgs: 1, maxArgs: 1, usage: "what is still to be counted, without quantities", reads: true,
			examples: []string{"pulk count sheet stn-12"}, action: (*call).countSheet}.command(e),
		verb{path: "pulk count enter", args: "SHEET PART COUNTED", minArgs: 3, maxArgs: 3, usage: "say what you found", writes: true,
			about: "What differs from the record is asked for once more, of somebody else. Two counts that\n" +
				"tell of the same difference, or one within the tolerance, become a movement of stock.",
			examples: []string{"pulk count enter stn-12 CON-011 7 --lot L2612 --as tomas"},
			flags: []cli.Flag{&cli.StringFlag{Name: "lot", Usage: "`LOT`, as it stands on the pieces"},
				&cli.StringFlag{Name: "alone", Usage: "the `REASON` why the same person counts again"}, why}, action: (*call).countEnter}.command(e),
		verb{path: "pulk count show", args: "SHEET", minArgs: 1, maxArgs: 1, usage: "how far a count is; figures only of what is settled", reads: true, action: (*call).countShow}.command(e),
		verb{path: "pulk count void", args: "SHEET|ENTRY", minArgs: 1, maxArgs: 1, usage: "end a count, or take an entry back", writes: true,
			about:    "Nothing is erased, and what is settled stays: that is a movement, see pulk stock void.",
			examples: []string{`pulk count void stn-13 --why "read the wrong shelf" --as tomas`}, flags: []cli.Flag{why}, action: (*call).countVoid}.command(e),
	)
}

func (c *call) countOpen() error {
	var said string
	return c.write(func(tx *changelog.Tx, _ *crew.Person) error {
		at, err := stock.FindLocation(tx, c.Args().First())
		if err != nil {
			return err
		}
		id, err := count.Open(tx, at, c.Int64("tolerance"), c.String("note"))
		said = fmt.Sprintf("opened count %[1]s of %[2]s\nnext: pulk count sheet %[1]s", tx.Name(id), at.Code)
		return err
	}, func() { c.say(said) })
}

func (c *call) countEnter() error {
	var said string
	return c.write(func(tx *changelog.Tx, _ *crew.Person) error {
		s, err := count.Find(tx, c.Args().First())
		if err != nil {
			return err
		}
		it, err := stock.FindItem(tx, c.Args().Get(1))
		if err != nil {
			return err
		}
		n, err := stock.Quantity(tx, it, c.Args().Get(2))
		if err != nil {
			return err
		}
		out, err := count.Enter(tx, s, it, c.String("lot"), n, c.String("alone"), c.String("why"))
		said = fmt.Sprintf("counted %d %s of %s", n, it.UnitOfIssue, it.PartNumber) + map[count.Verdict]string{
			count.Recount: ": it is to be counted once more, by somebody who is not told this figure",
			count.AsHeld:  ", as recorded",
			count.Within:  fmt.Sprintf("; the difference of %+d is within %d, and on record", out.Difference, s.Tolerance),
			count.Agreed:  fmt.Sprintf("; two counts agree, the difference of %+d is on record", out.Difference),
		}[out.Verdict]
		return err
	}, func() { c.say(said) })
}

func (c *call) countVoid() error {
	return c.write(func(tx *changelog.Tx, _ *crew.Person) error {
		return count.Void(tx, c.Args().First(), c.String("why"))
	}, func() { c.printf("%s is voided; it stays on record\n", c.Args().First()) })
}

// countRow is a count of a place of --json.
type countRow struct {
	ID        string `json:"id"`
	Location  string `json:"location"`
	Tolerance int64  `json:"tolerance"` // units of issue
	Note      string `json:"note"`
	Person    string `json:"person"`
	Opened    string `json:"opened"` // RFC 3339
	Lines     int    `json:"lines"`
	Open      int    `json:"open"` // lines that are not settled
	Voided    bool   `json:"voided"`
}

// countSheet is a count with its lines.
type countSheet struct {
	Sheet countRow    `json:"sheet"`
	Lines []countLine `json:"lines"`
}

// countLine is a lot of a count. Figures are told once it is settled, and not before.
type countLine struct {
	PartNumber  string     `json:"part_number"`
	Name        string     `json:"name"`
	UnitOfIssue string     `json:"unit_of_issue"`
	Lot         string     `json:"lot"`
	State       string     `json:"state"`      // to count, to recount, settled, settled twice
	CountedBy   []string   `json:"counted_by"` // persons, the earliest first
	Entries     []string   `json:"entries"`    // their ids
	Counted     []int64    `json:"counted"`    // by each of them; null where not settled
	Difference  *int64     `json:"difference"` // taken in; null where not settled
	Movement    string     `json:"movement"`   // by which; empty where not settled
	line        count.Line // as the domain has it
}

func countRowOf(tx *changelog.Tx, s *count.Sheet) (countRow, error) {
	at, err := stock.LocationLabel(tx, s.At)
	if err != nil {
		return countRow{}, err
	}
	person, err := crew.Label(tx, s.Person)
	return countRow{tx.Name(s.ID), at, s.Tolerance, s.Note, person, s.Opened.Format(time.RFC3339), len(s.Lines), s.ToCount(), !s.Voided.IsZero()}, err
}

func (c *call) countList() error {
	return c.view(func(tx *changelog.Tx) error {
		list, err := count.List(tx)
		if err != nil {
			return err
		}
		rows := []countRow{}
		t := newTable("count", "of", "opened", "by", "lots", "open", "note")
		for _, s := range list {
			row, err := countRowOf(tx, s)
			if err != nil {
				return err
			}
			if !c.Bool("all") && (row.Voided || row.Open == 0) {
				continue
			}
			rows = append(rows, row)
			open := fmt.Sprint(row.Open)
			if row.Voided {
				open = "voided"
			}
			t.add(row.ID, row.Location, c.env.showTime(s.Opened), row.Person, row.Lines, open, row.Note)
		}
		if c.asJSON() {
			return c.printJSON(rows)
		}
		t.print(c.env, "No count is open.")
		return nil
	})
}

// countOf reads the count that the first argument names, with lines in the order of
// part numbers.
func (c *call) countOf(tx *changelog.Tx) (countSheet, error) {
	s, err := count.Find(tx, c.Args().First())
	if err != nil {
		return countSheet{}, err
	}
	row, err := countRowOf(tx, s)
	if err != nil {
		return countSheet{}, err
	}
	sheet := countSheet{row, []countLine{}}
	for _, l := range s.Lines {
		line, err := countLineOf(tx, l)
		if err != nil {
			return countSheet{}, err
		}
		sheet.Lines = append(sheet.Lines, line)
	}
	slices.SortStableFunc(sheet.Lines, func(a, b countLine) int {
		return cmp.Or(cmp.Compare(a.PartNumber, b.PartNumber), cmp.Compare(a.Lot, b.Lot))
	})
	return sheet, nil
}

func countLineOf(tx *changelog.Tx, l count.Line) (countLine, error) {
	row := countLine{PartNumber: tx.Name(l.Lot.Item), Name: "not here yet", Lot: l.Lot.Name, State: "to count", CountedBy: []string{}, Entries: []string{}, line: l}
	it, err := stock.ItemByID(tx, l.Lot.Item)
	if err != nil {
		return row, err
	}
	if it != nil {
		row.PartNumber, row.Name, row.UnitOfIssue = it.PartNumber, it.Name, it.UnitOfIssue
	}
	var counted []int64
	for _, e := range l.Entries {
		person, err := crew.Label(tx, e.Person)
		if err != nil {
			return row, err
		}
		row.CountedBy, row.Entries, counted = append(row.CountedBy, person), append(row.Entries, tx.Name(e.ID)), append(counted, e.Counted)
	}
	if len(l.Entries) > 0 {
		row.State = "to recount"
	}
	if l.Settled == nil {
		return row, nil
	}
	row.State, row.Counted, row.Movement = "settled", counted, tx.Name(l.Settled.Movement)
	if l.Twice {
		row.State = "settled twice"
	}
	m, found, err := stock.MovementByID(tx, l.Settled.Movement)
	if found {
		difference := m.Quantity
		if m.To.IsZero() {
			difference = -difference
		}
		row.Difference = &difference
	}
	return row, err
}

func (c *call) countSheet() error {
	return c.view(func(tx *changelog.Tx) error {
		sheet, err := c.countOf(tx)
		if err != nil {
			return err
		}
		if sheet.Sheet.Voided {
			return fault.Hint("open another: pulk count open "+sheet.Sheet.Location, "count %s is voided", sheet.Sheet.ID)
		}
		sheet.Lines = slices.DeleteFunc(sheet.Lines, func(l countLine) bool { return !l.line.Open() })
		if c.asJSON() {
			return c.printJSON(sheet)
		}
		t := newTable("part number", "name", "lot", "unit", "counted", "not by")
		for _, l := range sheet.Lines {
			t.add(l.PartNumber, l.Name, l.Lot, l.UnitOfIssue, "_______", strings.Join(l.CountedBy, ", "))
		}
		t.print(c.env, "All is counted; see: pulk count show "+sheet.Sheet.ID)
		if len(sheet.Lines) > 0 {
			c.printf("\nWhat else lies at %s, count it too.\nnext: pulk count enter %s PART COUNTED --lot LOT\n", sheet.Sheet.Location, sheet.Sheet.ID)
		}
		return nil
	})
}

func (c *call) countShow() error {
	return c.view(func(tx *changelog.Tx) error {
		sheet, err := c.countOf(tx)
		if err != nil {
			return err
		}
		if c.asJSON() {
			return c.printJSON(sheet)
		}
		if sheet.Sheet.Voided {
			c.printf("VOIDED\n")
		}
		t := newTable("part number", "lot", "state", "counted", "difference", "movement")
		for _, l := range sheet.Lines {
			var counts []string
			for i, who := range l.CountedBy {
				if l.Counted != nil {
					who = fmt.Sprintf("%d by %s", l.Counted[i], who)
				}
				counts = append(counts, who+" ("+l.Entries[i]+")")
			}
			difference := ""
			if l.Difference != nil {
				difference = fmt.Sprintf("%+d %s", *l.Difference, l.UnitOfIssue)
			}
			t.add(l.PartNumber, l.Lot, l.State, strings.Join(counts, ", "), difference, l.Movement)
		}
		t.print(c.env, "The record held nothing here, and nothing was counted.")
		return nil
	})
}
