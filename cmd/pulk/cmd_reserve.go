package main

import (
	"cmp"
	"fmt"
	"slices"
	"strings"

	"github.com/urfave/cli/v2"

	"pulk/checklist/crew"
	"pulk/checklist/run"
	"pulk/inventory/stock"
	"pulk/schema/fault"
	"pulk/sync/changelog"
	"pulk/sync/clock"
)

func (e *env) reserveCommand() *cli.Command {
	return group("reserve", "keep stock for a run",
		verb{path: "pulk reserve add", args: "PART QUANTITY", minArgs: 2, maxArgs: 2, usage: "keep a quantity at a place for a run", writes: true,
			about:    "What is issued to the run from that place is taken from it. Others are refused what is\nreserved, unless they say why theirs goes first. The end of the run lets go of it.",
			examples: []string{"pulk reserve add CON-011 12 --at hut --run stn-41 --as tomas"},
			flags: []cli.Flag{&cli.StringFlag{Name: "at", Usage: "`LOCATION` where it lies"}, &cli.StringFlag{Name: "run", Usage: "the `RUN` it is for"},
				&cli.StringFlag{Name: "note", Usage: "a `TEXT` to go with it"}}, action: (*call).reserveAdd}.command(e),
		verb{path: "pulk reserve list", usage: "what is reserved, and what is free beside it", reads: true,
			flags: []cli.Flag{&cli.StringFlag{Name: "at", Usage: "only at this `LOCATION`"}}, action: (*call).reserveList}.command(e),
		verb{path: "pulk reserve end", args: "RESERVATION", minArgs: 1, maxArgs: 1, usage: "let go of what is still reserved", writes: true,
			examples: []string{`pulk reserve end stn-52 --why "the hole is given up" --as tomas`}, flags: []cli.Flag{&cli.StringFlag{Name: "why", Usage: "the `REASON`"}}, action: (*call).reserveEnd}.command(e),
	)
}

func (c *call) reserveAdd() error {
	name := c.String("run")
	if name == "" {
		return fault.Misuse("see: pulk run list", "say for which run with --run RUN")
	}
	return c.stockAct(func(tx *changelog.Tx, it *stock.Item, n int64) (string, error) {
		at, err := c.place(tx, "at")
		if err != nil {
			return "", err
		}
		id, err := tx.ParseName(name)
		if err != nil {
			return "", fault.Misuse("see: pulk run list", "%s", err)
		}
		if _, err := run.Open(tx, nil, id); err != nil {
			return "", err
		}
		dot, free, err := stock.Reserve(tx, it, at, n, id, c.String("note"))
		return fmt.Sprintf("reserved %d %s of %s at %s for run %s (%s); %d stay free there", n, it.UnitOfIssue, it.PartNumber, at.Code, name, tx.Name(dot), free.Free()), err
	})
}

func (c *call) reserveEnd() error {
	var left stock.Kept
	return c.write(func(tx *changelog.Tx, _ *crew.Person) (err error) {
		left, err = stock.EndReservation(tx, c.Args().First(), c.String("why"))
		return err
	}, func() { c.printf("%s is ended; %d are free again\n", c.Args().First(), left.Outstanding) })
}

// reserveJSON is pulk reserve list --json.
type reserveJSON struct {
	Reservations []reservedRow `json:"reservations"`
	Free         []freeRow     `json:"free"` // of the items and places that they are about
}

// reservedRow is a reservation of which something is still to be issued.
type reservedRow struct {
	ID          string `json:"id"`
	Run         string `json:"run"`
	PartNumber  string `json:"part_number"`
	Location    string `json:"location"`
	Quantity    int64  `json:"quantity"`
	Outstanding int64  `json:"outstanding"` // not issued to the run yet
	Person      string `json:"person"`
	Since       string `json:"since"` // RFC 3339
	Note        string `json:"note"`
}

// freeRow is an item at a place where some of it is reserved.
type freeRow struct {
	PartNumber  string `json:"part_number"`
	Location    string `json:"location"`
	OnHand      int64  `json:"on_hand"` // in date and in no quarantine
	Reserved    int64  `json:"reserved"`
	Free        int64  `json:"free"` // below 0 where more is reserved than is there
	UnitOfIssue string `json:"unit_of_issue"`
}

func (c *call) reserveList() error {
	return c.view(func(tx *changelog.Tx) error {
		code := c.String("at")
		if code != "" {
			if _, err := stock.FindLocation(tx, code); err != nil {
				return err
			}
		}
		list, err := c.reservedList(tx, code)
		if err != nil {
			return err
		}
		if c.asJSON() {
			return c.printJSON(list)
		}
		t := newTable("reservation", "run", "part number", "at", "reserved", "still to issue", "by", "note")
		for _, r := range list.Reservations {
			t.add(r.ID, r.Run, r.PartNumber, r.Location, r.Quantity, r.Outstanding, r.Person, r.Note)
		}
		t.print(c.env, "Nothing is reserved.")
		if len(list.Free) == 0 {
			return nil
		}
		c.printf("\nFree\n")
		t = newTable("part number", "at", "on hand", "reserved", "free")
		for _, f := range list.Free {
			free := fmt.Sprintf("%d %s", f.Free, f.UnitOfIssue)
			if f.Free < 0 {
				free += " SHORT"
			}
			t.add(f.PartNumber, f.Location, f.OnHand, f.Reserved, free)
		}
		t.print(c.env, "")
		return nil
	})
}

func (c *call) reservedList(tx *changelog.Tx, code string) (reserveJSON, error) {
	out := reserveJSON{[]reservedRow{}, []freeRow{}}
	kept, err := stock.Reservations(tx, clock.Dot{})
	if err != nil {
		return out, err
	}
	levels, err := stock.Levels(tx)
	if err != nil {
		return out, err
	}
	day := stock.Day(c.env.now())
	for _, k := range kept {
		row, unit, err := reservedRowOf(tx, k)
		if err != nil {
			return out, err
		}
		if code != "" && row.Location != code {
			continue
		}
		out.Reservations = append(out.Reservations, row)
		i := slices.IndexFunc(out.Free, func(f freeRow) bool { return f.PartNumber == row.PartNumber && f.Location == row.Location })
		if i < 0 {
			i = len(out.Free)
			onHand := stock.FitAt(levels, k.Item, k.At, day)
			out.Free = append(out.Free, freeRow{row.PartNumber, row.Location, onHand, 0, onHand, unit})
		}
		out.Free[i].Reserved += k.Outstanding
		out.Free[i].Free -= k.Outstanding
	}
	slices.SortStableFunc(out.Free, func(a, b freeRow) int {
		return cmp.Or(cmp.Compare(a.PartNumber, b.PartNumber), cmp.Compare(a.Location, b.Location))
	})
	return out, nil
}

// reservedRowOf returns a reservation for people and programs, with its unit of issue.
func reservedRowOf(tx *changelog.Tx, k stock.Kept) (reservedRow, string, error) {
	row := reservedRow{ID: tx.Name(k.ID), Run: tx.Name(k.Run), PartNumber: tx.Name(k.Item), Quantity: k.Quantity, Outstanding: k.Outstanding, Since: *jsonTime(k.Since), Note: k.Note}
	it, err := stock.ItemByID(tx, k.Item)
	if err != nil {
		return row, "", err
	}
	unit := ""
	if it != nil {
		row.PartNumber, unit = it.PartNumber, it.UnitOfIssue
	}
	if row.Location, err = stock.LocationLabel(tx, k.At); err != nil {
		return row, "", err
	}
	if row.Person, err = crew.Label(tx, k.Person); err != nil {
		return row, "", err
	}
	return row, unit, nil
}

// endRun ends a run, and says what of the stock that was reserved for it is free again.
func endRun(tx *changelog.Tx, doing *run.Doing, abandon bool, why string) (said string, err error) {
	kept, err := stock.KeptFor(tx, doing.Run)
	if err != nil {
		return "", err
	}
	if err := doing.End(abandon, why); err != nil {
		return "", err
	}
	var freed []string
	for _, k := range kept {
		row, unit, err := reservedRowOf(tx, k)
		if err != nil {
			return "", err
		}
		freed = append(freed, fmt.Sprintf("%d %s of %s at %s", k.Outstanding, unit, row.PartNumber, row.Location))
	}
	if len(freed) > 0 {
		said = "free again: " + strings.Join(freed, ", ")
	}
	return said, nil
}
