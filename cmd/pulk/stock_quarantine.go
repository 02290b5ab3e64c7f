package main

import (
	"fmt"

	"github.com/urfave/cli/v2"

	"pulk/checklist/crew"
	"pulk/inventory/stock"
	"pulk/schema/fault"
	"pulk/sync/changelog"
)

func (e *env) quarantineVerbs() []*cli.Command {
	lot := &cli.StringFlag{Name: "lot", Usage: "`LOT`; '' for pieces without one"}
	why := &cli.StringFlag{Name: "why", Usage: "the `REASON`"}
	return []*cli.Command{
		verb{path: "pulk stock quarantine", args: "PART", minArgs: 1, maxArgs: 1, usage: "keep a lot from being issued, everywhere or at one place", writes: true,
			about:    "Anybody may: stopping is never refused. It can still be moved, counted and thrown away where it is named with --lot.",
			examples: []string{`pulk stock quarantine CON-011 --lot L2612 --why "maker's notice: wrong hardness" --as mirre`},
			flags:    []cli.Flag{lot, &cli.StringFlag{Name: "at", Usage: "only what lies at this `LOCATION`"}, why}, action: (*call).stockQuarantine}.command(e),
		verb{path: "pulk stock release", args: "PART", minArgs: 1, maxArgs: 1, usage: "let a lot be issued again", writes: true,
			about:    "It takes the role " + stock.DecidingRole + ". It ends what this site knows of; a quarantine that another site has set meanwhile goes on.",
			examples: []string{`pulk stock release CON-011 --lot L2612 --why "measured 20, all at 75 Shore A" --as oskar`}, flags: []cli.Flag{lot, why}, action: (*call).stockRelease}.command(e),
		verb{path: "pulk stock quarantined", usage: "what is in quarantine, and why", reads: true, action: (*call).stockQuarantined}.command(e),
	}
}

// namedLot returns the item and the lot, which must be named.
func (c *call) namedLot(tx *changelog.Tx) (*stock.Item, string, error) {
	if !c.IsSet("lot") {
		return nil, "", fault.Misuse("see: pulk stock list", "name the lot with --lot LOT; --lot '' is what has none")
	}
	it, err := stock.FindItem(tx, c.Args().First())
	return it, c.String("lot"), err
}

func (c *call) stockQuarantine() error {
	var said string
	return c.write(func(tx *changelog.Tx, _ *crew.Person) error {
		it, lot, err := c.namedLot(tx)
		if err != nil {
			return err
		}
		var at *stock.Location
		where := "wherever it lies"
		if code := c.String("at"); code != "" {
			if at, err = stock.FindLocation(tx, code); err != nil {
				return err
			}
			where = "at " + code
		}
		id, err := stock.Quarantine(tx, it, lot, at, c.String("why"))
		if err != nil {
			return err
		}
		kits, err := inKitsText(tx, it, lot)
		said = fmt.Sprintf("%s lot %q is in quarantine %s (%s)\nnext: tell those who may hold some of it; pulk stock history %[1]s shows where it went", it.PartNumber, lot, where, tx.Name(id)) + kits
		return err
	}, func() { c.say(said) })
}

func (c *call) stockRelease() error {
	var said string
	return c.write(func(tx *changelog.Tx, me *crew.Person) error {
		it, lot, err := c.namedLot(tx)
		if err != nil {
			return err
		}
		_, err = stock.Release(tx, it, lot, c.String("why"), me.Granted())
		said = fmt.Sprintf("%s lot %q is released from quarantine", it.PartNumber, lot)
		return err
	}, func() { c.say(said) })
}

// holdRow is a quarantine of --json.
type holdRow struct {
	ID         string `json:"id"`
	PartNumber string `json:"part_number"`
	Lot        string `json:"lot"`
	Location   string `json:"location"` // - for wherever it lies
	Quantity   int64  `json:"quantity"` // that lies there, by the record here
	Since      string `json:"since"`    // RFC 3339
	Person     string `json:"person"`
	Why        string `json:"why"`
}

func (c *call) stockQuarantined() error {
	return c.view(func(tx *changelog.Tx) error {
		holds, err := stock.Holds(tx)
		if err != nil {
			return err
		}
		balance, err := stock.Balances(tx)
		if err != nil {
			return err
		}
		rows := []holdRow{}
		t := newTable("part number", "lot", "where", "quantity", "since", "by", "why", "id")
		for _, h := range holds {
			if !h.Stands() {
				continue
			}
			row, err := holdRowOf(tx, h)
			if err != nil {
				return err
			}
			for shelf, n := range balance {
				if h.Covers(shelf) {
					row.Quantity += n
				}
			}
			rows = append(rows, row)
			where := row.Location
			if h.At.IsZero() {
				where = "all places"
			}
			t.add(row.PartNumber, row.Lot, where, row.Quantity, c.env.showTime(h.Since), row.Person, row.Why, row.ID)
		}
		if c.asJSON() {
			return c.printJSON(rows)
		}
		t.print(c.env, "Nothing is in quarantine.")
		return nil
	})
}

func holdRowOf(tx *changelog.Tx, h stock.Hold) (holdRow, error) {
	row := holdRow{ID: tx.Name(h.ID), PartNumber: tx.Name(h.Item), Lot: h.Lot, Since: *jsonTime(h.Since), Why: h.Why}
	it, err := stock.ItemByID(tx, h.Item)
	if err != nil {
		return row, err
	}
	if it != nil {
		row.PartNumber = it.PartNumber
	}
	if row.Location, err = stock.LocationLabel(tx, h.At); err != nil {
		return row, err
	}
	row.Person, err = crew.Label(tx, h.Person)
	return row, err
}
