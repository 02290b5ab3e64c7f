package main

import (
	"fmt"
	"slices"
	"strings"
	"time"

	"github.com/urfave/cli/v2"

	"pulk/checklist/crew"
	"pulk/checklist/run"
	"pulk/inventory/stock"
	"pulk/schema/fault"
	"pulk/schema/kind"
	"pulk/sync/changelog"
	"pulk/sync/clock"
)

func (e *env) stockCommand() *cli.Command {
	lot := &cli.StringFlag{Name: "lot", Usage: "`LOT` (else the first to expire)"}
	from := &cli.StringFlag{Name: "from", Usage: "`LOCATION` it is taken from"}
	to := &cli.StringFlag{Name: "to", Usage: "`LOCATION` it goes to"}
	at := &cli.StringFlag{Name: "at", Usage: "`LOCATION`"}
	note := &cli.StringFlag{Name: "note", Usage: "a `TEXT` to go with it"}
	why := &cli.StringFlag{Name: "why", Usage: "the `REASON`"}
	return group("stock", "what lies where: receive, move, issue, count", slices.Concat([]*cli.Command{
		verb{path: "pulk stock receive", args: "PART QUANTITY", minArgs: 2, maxArgs: 2, usage: "take in what came from outside", writes: true,
			examples: []string{"pulk stock receive CON-011 80 --to stn-store --lot L2612 --expires 2029-03-01 --as piet"},
			flags:    []cli.Flag{to, &cli.StringFlag{Name: "lot", Usage: "`LOT`"}, &cli.StringFlag{Name: "expires", Usage: "the lot's `DATE`, YYYY-MM-DD"}, note}, action: (*call).stockReceive}.command(e),
		verb{path: "pulk stock move", args: "PART QUANTITY", minArgs: 2, maxArgs: 2, usage: "carry from one place to another", writes: true,
			examples: []string{"pulk stock move CON-011 10 --from stn-store --to drill-hut --as tomas"}, flags: []cli.Flag{from, to, lot, note, why}, action: (*call).stockMove}.command(e),
		verb{path: "pulk stock issue", args: "PART QUANTITY", minArgs: 2, maxArgs: 2, usage: "take for use, for a run where there is one", writes: true,
			about: "Lots are taken first expired first out. A lot that is named out of turn, or has expired, or what\n" +
				"is reserved for another run, needs a reason with --why; a lot in quarantine is refused.",
			examples: []string{"pulk stock issue CON-011 2 --from drill-hut --run stn-41 --step 90 --as tomas"},
			flags: []cli.Flag{from, lot, &cli.StringFlag{Name: "run", Usage: "the `RUN` it is for"}, &cli.StringFlag{Name: "step", Usage: "the `STEP` of that run"},
				&cli.StringFlag{Name: "instead-of", Usage: "it is taken in place of this `PART`, for which it may stand"}, note, why}, action: (*call).stockIssue}.command(e),
		verb{path: "pulk stock count", args: "PART COUNTED", minArgs: 2, maxArgs: 2, usage: "say what was found; a difference becomes a movement", writes: true,
			examples: []string{`pulk stock count CON-011 7 --at drill-hut --why "one lost in the snow" --as tomas`},
			flags:    []cli.Flag{at, &cli.StringFlag{Name: "lot", Usage: "`LOT`"}, why}, action: (*call).stockCount}.command(e),
		verb{path: "pulk stock scrap", args: "PART QUANTITY", minArgs: 2, maxArgs: 2, usage: "throw away", writes: true, flags: []cli.Flag{from, &cli.StringFlag{Name: "lot", Usage: "`LOT`"}, why}, action: (*call).stockScrap}.command(e),
		verb{path: "pulk stock void", args: "MOVEMENT", minArgs: 1, maxArgs: 1, usage: "say that a movement did not happen as recorded", writes: true,
			about: "Nothing is erased: the movement stays on record and counts no more.", examples: []string{`pulk stock void stn-88 --why "typed twice" --as tomas`}, flags: []cli.Flag{why}, action: (*call).stockVoid}.command(e),
		verb{path: "pulk stock list", usage: "what lies where, what is short, what expires", reads: true,
			about: "What is still to be counted on a blind count sheet is listed without its quantity.",
			flags: []cli.Flag{at, &cli.IntFlag{Name: "days", Value: 60, Usage: "tell what expires within so many `DAYS`"},
				&cli.BoolFlag{Name: "despite-count", Usage: "also tell quantities that are being counted: not to who counts, who would find what ought to be there"}}, action: (*call).stockList}.command(e),
		verb{path: "pulk stock history", args: "PART", minArgs: 1, maxArgs: 1, usage: "all movements of an item", reads: true, action: (*call).stockHistory}.command(e),
		e.stockLowVerb(), e.stockDangerousVerb(),
	}, e.quarantineVerbs(), e.makeVerbs())...)
}

// stockAct reads the item and quantity of a stock command and runs fn with them.
func (c *call) stockAct(fn func(tx *changelog.Tx, it *stock.Item, n int64) (string, error)) error {
	return c.stockActBy(func(tx *changelog.Tx, _ *crew.Person, it *stock.Item, n int64) (string, error) { return fn(tx, it, n) })
}

// stockActBy is stockAct for what depends on who does it.
func (c *call) stockActBy(fn func(tx *changelog.Tx, me *crew.Person, it *stock.Item, n int64) (string, error)) error {
	var said string
	return c.write(func(tx *changelog.Tx, me *crew.Person) error {
		it, err := stock.FindItem(tx, c.Args().First())
		if err != nil {
			return err
		}
		n, err := stock.Quantity(tx, it, c.Args().Get(1))
		if err != nil {
			return err
		}
		said, err = fn(tx, me, it, n)
		return err
	}, func() { c.say(said) })
}

// place returns the location that a flag names.
func (c *call) place(tx *changelog.Tx, flag string) (*stock.Location, error) {
	code := c.String(flag)
	if code == "" {
		return nil, fault.Misuse("see: pulk location list", "say where with --%s LOCATION", flag)
	}
	return stock.FindLocation(tx, code)
}

// lot returns the lot that is named, or any.
func (c *call) lot() string {
	if c.IsSet("lot") {
		return c.String("lot")
	}
	return stock.AnyLot
}

func (c *call) stockReceive() error {
	if expires := c.String("expires"); expires != "" {
		if _, err := time.Parse(time.DateOnly, expires); err != nil {
			return fault.Misuse("like 2029-03-01", "--expires %q is no date", expires)
		}
	}
	return c.stockAct(func(tx *changelog.Tx, it *stock.Item, n int64) (string, error) {
		to, err := c.place(tx, "to")
		if err != nil {
			return "", err
		}
		id, err := stock.Receive(tx, it, c.String("lot"), to, n, c.String("expires"), c.String("note"))
		return fmt.Sprintf("received %d %s of %s at %s (%s)", n, it.UnitOfIssue, it.PartNumber, to.Code, tx.Name(id)), err
	})
}

func drawsText(it *stock.Item, draws []stock.Draw) string {
	var parts []string
	for _, d := range draws {
		text := fmt.Sprintf("%d %s of %s", d.Quantity, it.UnitOfIssue, it.PartNumber)
		if d.Lot != "" {
			text += " lot " + d.Lot
		}
		if expires := it.LotExpiry[d.Lot]; expires != "" {
			text += " (until " + expires + ")"
		}
		parts = append(parts, fmt.Sprintf("%s, %d left there", text, d.Held-d.Quantity))
	}
	return strings.Join(parts, "; ")
}

func (c *call) stockMove() error {
	return c.stockAct(func(tx *changelog.Tx, it *stock.Item, n int64) (string, error) {
		from, err := c.place(tx, "from")
		if err != nil {
			return "", err
		}
		to, err := c.place(tx, "to")
		if err != nil {
			return "", err
		}
		draws, err := stock.Move(tx, it, c.lot(), from, to, n, c.String("note"), c.String("why"))
		return "moved to " + to.Code + ": " + drawsText(it, draws), err
	})
}

func (c *call) stockIssue() error {
	return c.stockActBy(func(tx *changelog.Tx, me *crew.Person, it *stock.Item, n int64) (string, error) {
		from, err := c.place(tx, "from")
		if err != nil {
			return "", err
		}
		runID, step, err := c.runStep(tx)
		if err != nil {
			return "", err
		}
		if part := c.String("instead-of"); part != "" {
			wanted, err := stock.FindItem(tx, part)
			if err != nil {
				return "", err
			}
			draws, err := stock.IssueInstead(tx, it, wanted, me.Granted(), c.lot(), from, n, runID, step, c.String("note"), c.String("why"))
			return "issued in place of " + part + ": " + drawsText(it, draws), err
		}
		draws, err := stock.Issue(tx, it, c.lot(), from, n, runID, step, c.String("note"), c.String("why"))
		return "issued: " + drawsText(it, draws), err
	})
}

// runStep returns the run and step (its place plus one) that flags name.
func (c *call) runStep(tx *changelog.Tx) (clock.Dot, int, error) {
	name, id := c.String("run"), c.String("step")
	if name == "" {
		if id != "" {
			return clock.Dot{}, 0, fault.Misuse("name it with --run", "a step is that of a run")
		}
		return clock.Dot{}, 0, nil
	}
	dot, err := tx.ParseName(name)
	if err != nil {
		return clock.Dot{}, 0, fault.Misuse("see: pulk run list", "%s", err)
	}
	if id == "" {
		return dot, 0, nil
	}
	record, err := run.Load(tx, dot)
	if err != nil {
		return clock.Dot{}, 0, err
	}
	n, ok := run.Evaluate(record).StepByID(id)
	if !ok {
		return clock.Dot{}, 0, fault.Hint("see: pulk run show "+name, "run %s has no step %q", name, id)
	}
	n, err = run.StepOnWire(tx, dot, n)
	return dot, n + 1, err
}

func (c *call) stockCount() error {
	return c.stockAct(func(tx *changelog.Tx, it *stock.Item, n int64) (string, error) {
		at, err := c.place(tx, "at")
		if err != nil {
			return "", err
		}
		held, err := stock.Count(tx, it, c.String("lot"), at, n, c.String("why"))
		if held == n {
			return fmt.Sprintf("counted %d %s of %s at %s, as recorded", n, it.UnitOfIssue, it.PartNumber, at.Code), err
		}
		return fmt.Sprintf("counted %d %s of %s at %s; the record said %d, the difference of %+d is on record", n, it.UnitOfIssue, it.PartNumber, at.Code, held, n-held), err
	})
}

func (c *call) stockScrap() error {
	return c.stockAct(func(tx *changelog.Tx, it *stock.Item, n int64) (string, error) {
		from, err := c.place(tx, "from")
		if err != nil {
			return "", err
		}
		draws, err := stock.Scrap(tx, it, c.lot(), from, n, c.String("why"))
		return "scrapped: " + drawsText(it, draws), err
	})
}

func (c *call) stockVoid() error {
	together := 0
	return c.write(func(tx *changelog.Tx, _ *crew.Person) error {
		id, err := tx.ParseName(c.Args().First())
		if err != nil {
			return fault.Misuse("see: pulk stock history PART", "%s", err)
		}
		together, err = stock.Void(tx, id, c.String("why"))
		return err
	}, func() {
		if together > 1 {
			c.printf("%s is voided with all %d movements that it balances; they stay on record\n", c.Args().First(), together)
			return
		}
		c.printf("%s is voided; it stays on record\n", c.Args().First())
	})
}

// movementRow is a row of pulk stock history --json.
type movementRow struct {
	ID       string `json:"id"`
	At       string `json:"at"`
	Person   string `json:"person"`
	What     string `json:"what"` // receive, move, issue, count, scrap
	Lot      string `json:"lot"`
	From     string `json:"from"`
	To       string `json:"to"`
	Quantity int64  `json:"quantity"`
	Held     int64  `json:"held"` // what was believed to be there before
	Run      string `json:"run"`
	Note     string `json:"note"`
	Voided   bool   `json:"voided"`
	Instead  string `json:"instead_of"` // part number in whose place it was taken, or empty
}

func (c *call) stockHistory() error {
	return c.view(func(tx *changelog.Tx) error {
		it, err := stock.FindItem(tx, c.Args().First())
		if err != nil {
			return err
		}
		list, err := stock.MovementsOf(tx, it.ID)
		if err != nil {
			return err
		}
		rows := []movementRow{}
		for _, m := range list {
			row, err := movementRowOf(tx, m)
			if err != nil {
				return err
			}
			rows = append(rows, row)
		}
		slices.SortStableFunc(rows, func(a, b movementRow) int { return strings.Compare(a.At, b.At) })
		if c.asJSON() {
			return c.printJSON(rows)
		}
		t := newTable("when", "what", "quantity", "lot", "from", "to", "believed", "who", "note", "id")
		for _, row := range rows {
			what, believed := row.What, fmt.Sprint(row.Held)
			if row.Voided {
				what += " VOIDED"
			}
			if row.What == "receive" {
				believed = ""
			}
			if row.Instead != "" {
				row.Note = strings.TrimPrefix(row.Note+"; in place of "+row.Instead, "; ")
			}
			t.add(row.At, what, row.Quantity, row.Lot, row.From, row.To, believed, row.Person, row.Note, row.ID)
		}
		t.print(c.env, "No movements.")
		return nil
	})
}

func movementRowOf(tx *changelog.Tx, m stock.Movement) (movementRow, error) {
	_, what, _ := strings.Cut(m.Kind.Name, ".")
	row := movementRow{ID: tx.Name(m.ID), What: what, Lot: m.Lot, Quantity: m.Quantity, Held: m.Held, Run: tx.Name(m.Run), Note: m.Note, Voided: !m.Voided.IsZero()}
	if m.Kind == kind.StockIssue && row.Note == "" && !m.Run.IsZero() {
		row.Note = "for run " + row.Run
	}
	if !m.Instead.IsZero() {
		wanted, err := stock.ItemByID(tx, m.Instead)
		if err != nil {
			return row, err
		}
		if row.Instead = tx.Name(m.Instead); wanted != nil {
			row.Instead = wanted.PartNumber
		}
	}
	info, err := tx.Info(m.ID)
	if err != nil {
		return row, err
	}
	row.At = *jsonTime(info.At.Time())
	if row.Person, err = crew.Label(tx, info.Person); err != nil {
		return row, err
	}
	if row.From, err = stock.LocationLabel(tx, m.From); err != nil {
		return row, err
	}
	row.To, err = stock.LocationLabel(tx, m.To)
	return row, err
}
