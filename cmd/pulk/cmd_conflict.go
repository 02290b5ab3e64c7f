package main

import (
	"errors"
	"fmt"
	"math"
	"slices"
	"strings"

	"github.com/urfave/cli/v2"

	"pulk/checklist/crew"
	"pulk/schema/fault"
	"pulk/sync/changelog"
	"pulk/sync/clock"
)

func (e *env) conflictCommand() *cli.Command {
	return group("conflict", "what sites did without having heard of each other",
		verb{path: "pulk conflict list", usage: "conflicts, those at irreversible steps first", reads: true,
			about:  fmt.Sprintf("Tells of the first %d; of how many more there are, it tells on standard error.", conflictsTold),
			flags:  []cli.Flag{&cli.BoolFlag{Name: "all", Usage: "tell of all, however many"}},
			action: (*call).conflictList}.command(e),
		verb{path: "pulk conflict show", args: "ID", minArgs: 1, maxArgs: 1, usage: "both sides: who, when, where, and what each knew", reads: true, action: (*call).conflictShow}.command(e),
		verb{path: "pulk conflict settle", args: "ID", minArgs: 1, maxArgs: 1, usage: "choose which side of a field counts", writes: true,
			about:    "Only conflicts of fields are settled here; others end when what they show is put right.",
			examples: []string{`pulk conflict settle stn-14:item.minimum --take 2 --why "agreed by radio" --as ida`},
			flags: []cli.Flag{&cli.IntFlag{Name: "take", Usage: "`N`, the side that counts, as conflict show numbers them"},
				&cli.StringFlag{Name: "why", Usage: "the `REASON`"}},
			action: (*call).conflictSettle}.command(e),
	)
}

// conflictsTold is of how many conflicts a list tells where not all are asked for: more
// than anybody settles in a day, few enough to be kept in memory.
const conflictsTold = 500

// conflictRow is a conflict of --json.
type conflictRow struct {
	ID     string    `json:"id"`
	Kind   string    `json:"kind"`
	What   string    `json:"what"`
	Urgent bool      `json:"urgent"`
	Advice string    `json:"advice"`
	Sides  []sideRow `json:"sides"`
}

// sideRow is one side of a conflict.
type sideRow struct {
	Change string `json:"change"`
	What   string `json:"what"`
	Person string `json:"person"`
	Site   string `json:"site"`
	At     string `json:"at"`
	Knew   string `json:"knew"` // what its author knew of the other sides

	when string // At, for people
}

func (c *call) conflictRow(tx *changelog.Tx, conflict changelog.Conflict) (conflictRow, error) {
	row := conflictRow{ID: conflict.ID, Kind: conflict.Kind, What: conflict.What, Urgent: conflict.Urgent, Advice: conflict.Advice}
	for _, side := range conflict.Sides {
		info, err := tx.Info(side.Dot)
		if err != nil {
			return row, err
		}
		person, err := crew.Label(tx, info.Person)
		if err != nil {
			return row, err
		}
		knew, err := knewOf(tx, side.Dot, conflict.Sides)
		if err != nil {
			return row, err
		}
		site, _, err := tx.SiteByID(side.Dot.Site)
		if err != nil {
			return row, err
		}
		row.Sides = append(row.Sides, sideRow{tx.Name(side.Dot), side.What, person, site.Code, *jsonTime(info.At.Time()), knew, c.env.stampText(info.At)})
	}
	return row, nil
}

// knewOf says which of the other sides one side's author knew, and up to where it
// had heard of the others' sites.
func knewOf(tx *changelog.Tx, dot clock.Dot, sides []changelog.Side) (string, error) {
	ctx, err := tx.Context(dot)
	if err != nil {
		return "", err
	}
	var parts []string
	for _, other := range sides {
		if other.Dot == dot || other.Dot.Lane == dot.Lane {
			continue
		}
		part := fmt.Sprintf("had heard nothing of %s", tx.LaneName(other.Dot.Lane))
		switch seq := ctx.Others[other.Dot.Lane]; {
		case ctx.Has(other.Dot):
			part = "knew " + tx.Name(other.Dot)
		case seq > 0:
			part = fmt.Sprintf("had heard of %s up to %s", tx.LaneName(other.Dot.Lane), tx.Name(clock.Dot{Lane: other.Dot.Lane, Seq: seq}))
		}
		if !slices.Contains(parts, part) {
			parts = append(parts, part)
		}
	}
	return strings.Join(parts, "; "), nil
}

func (c *call) conflictList() error {
	stayFrugal()
	most := conflictsTold
	if c.Bool("all") {
		most = math.MaxInt
	}
	return c.view(func(tx *changelog.Tx) error {
		list, all, err := tx.FirstConflicts(most)
		if err != nil {
			return err
		}
		if err := c.printConflicts(tx, list); err != nil {
			return err
		}
		if more := all - len(list); more > 0 {
			fmt.Fprintf(c.env.stderr, "pulk: and %s: pulk conflict list --all\n", plural(more, "more conflict", "more conflicts"))
		}
		return nil
	})
}

func (c *call) printConflicts(tx *changelog.Tx, list []changelog.Conflict) error {
	if c.asJSON() {
		return c.printJSONEach(func(add func(any) error) error {
			for _, conflict := range list {
				row, err := c.conflictRow(tx, conflict)
				if err == nil {
					err = add(row)
				}
				if err != nil {
					return err
				}
			}
			return nil
		})
	}
	t := newTable("conflict", "what")
	return t.printEach(c.env, "No conflicts.", func(row func([]string)) error {
		for _, conflict := range list {
			what := conflict.What
			if conflict.Urgent {
				what = "URGENT " + what
			}
			row([]string{conflict.ID, what})
		}
		return nil
	})
}

// errFound ends a search.
var errFound = errors.New("found")

func findConflict(tx *changelog.Tx, id string) (found changelog.Conflict, err error) {
	err = tx.EachConflict(func(c changelog.Conflict) error {
		if c.ID != id {
			return nil
		}
		found = c
		return errFound
	})
	switch {
	case errors.Is(err, errFound):
		return found, nil
	case err != nil:
		return found, err
	}
	return found, fault.Hint("it may be settled already; see: pulk conflict list", "there is no conflict %q", id)
}

func (c *call) conflictShow() error {
	stayFrugal()
	return c.view(func(tx *changelog.Tx) error {
		conflict, err := findConflict(tx, c.Args().First())
		if err != nil {
			return err
		}
		row, err := c.conflictRow(tx, conflict)
		if err != nil {
			return err
		}
		if c.asJSON() {
			return c.printJSON(row)
		}
		if row.Urgent {
			c.printf("URGENT\n")
		}
		c.say(strings.Join(wrap(row.What, c.env.width()), "\n") + "\n")
		t := newTable("n", "value or deed", "who", "site", "when", "what they knew", "change")
		for i, side := range row.Sides {
			t.add(i+1, side.What, side.Person, side.Site, side.when, side.Knew, side.Change)
		}
		t.print(c.env, "")
		c.printf("\nnext: %s\n", row.Advice)
		return nil
	})
}

func (c *call) conflictSettle() error {
	id, n := c.Args().First(), c.Int("take")
	if c.String("why") == "" {
		return fault.Misuse("give it with --why", "settling a conflict needs a reason")
	}
	var value string
	return c.write(func(tx *changelog.Tx, _ *crew.Person) error {
		conflict, err := findConflict(tx, id)
		if err != nil {
			return err
		}
		if conflict.Field == nil {
			return fault.Refuse(conflict.Advice, "%s is not settled by choosing a value", id)
		}
		if n < 1 || n > len(conflict.Choices) {
			return fault.Misuse("see: pulk conflict show "+id, "--take %d: choose 1 to %d", n, len(conflict.Choices))
		}
		value = conflict.Sides[n-1].What
		_, err = tx.Settle(*conflict.Field, conflict.Choices[n-1], c.String("why"))
		return err
	}, func() { c.printf("settled: %s is %s\n", id, value) })
}
