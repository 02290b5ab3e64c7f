package main

import (
	"fmt"
	"strings"

	"github.com/urfave/cli/v2"

	"pulk/inventory/stock"
	"pulk/schema/fault"
	"pulk/sync/changelog"
)

func (e *env) makeVerbs() []*cli.Command {
	at := &cli.StringFlag{Name: "at", Usage: "`LOCATION` where it lies"}
	lot := &cli.StringFlag{Name: "lot", Usage: "`LOT` of the kits"}
	why := &cli.StringFlag{Name: "why", Usage: "the `REASON`, where a rule is overruled"}
	return []*cli.Command{
		verb{path: "pulk stock make", args: "KIT QUANTITY", minArgs: 2, maxArgs: 2, usage: "make up kits from parts", writes: true,
			about: "The kits are a lot of their own, which expires with the first of its parts; each part is taken\n" +
				"from one lot. Kits come in and parts go out together: voiding one movement voids all of them.",
			examples: []string{"pulk stock make KIT-001 3 --at hut --lot K1 --part CON-011=4 --part CHM-004=10 --as mirre"},
			flags:    []cli.Flag{at, lot, &cli.StringSliceFlag{Name: "part", Usage: "`PART=QUANTITY` in one kit; may be repeated"}, why}, action: (*call).stockMake}.command(e),
		verb{path: "pulk stock break", args: "KIT QUANTITY", minArgs: 2, maxArgs: 2, usage: "take kits apart; the parts come back as the lots they were", writes: true,
			examples: []string{"pulk stock break KIT-001 1 --at hut --lot K1 --as mirre"},
			flags:    []cli.Flag{at, lot, &cli.StringFlag{Name: "note", Usage: "a `TEXT` to go with it"}, why}, action: (*call).stockBreak}.command(e),
	}
}

func (c *call) stockMake() error {
	return c.stockAct(func(tx *changelog.Tx, it *stock.Item, n int64) (string, error) {
		at, err := c.place(tx, "at")
		if err != nil {
			return "", err
		}
		parts, err := c.kitParts(tx)
		if err != nil {
			return "", err
		}
		draws, err := stock.MakeUp(tx, it, c.String("lot"), n, at, parts, c.String("why"))
		if err != nil {
			return "", err
		}
		var from []string
		for i, d := range draws {
			from = append(from, drawsText(parts[i].Item, []stock.Draw{d}))
		}
		return fmt.Sprintf("made up %d %s of %s lot %s at %s from %s", n, it.UnitOfIssue, it.PartNumber, c.String("lot"), at.Code, strings.Join(from, "; ")), nil
	})
}

// kitParts reads what goes into one kit.
func (c *call) kitParts(tx *changelog.Tx) ([]stock.Part, error) {
	var parts []stock.Part
	for _, text := range c.StringSlice("part") {
		number, quantity, ok := strings.Cut(text, "=")
		if !ok {
			return nil, fault.Misuse("like --part CON-011=4", "--part %q does not say how much goes into one kit", text)
		}
		it, err := stock.FindItem(tx, number)
		if err != nil {
			return nil, err
		}
		n, err := stock.Quantity(tx, it, quantity)
		if err != nil {
			return nil, err
		}
		parts = append(parts, stock.Part{Item: it, Quantity: n})
	}
	return parts, nil
}

func (c *call) stockBreak() error {
	return c.stockAct(func(tx *changelog.Tx, it *stock.Item, n int64) (string, error) {
		at, err := c.place(tx, "at")
		if err != nil {
			return "", err
		}
		came, err := stock.BreakDown(tx, it, c.String("lot"), n, at, c.String("note"), c.String("why"))
		if err != nil {
			return "", err
		}
		var parts []string
		for _, m := range came {
			part, err := partOf(tx, m.Item)
			if err != nil {
				return "", err
			}
			text := fmt.Sprintf("%d of %s", m.Quantity, part)
			if m.Lot != "" {
				text += " lot " + m.Lot
			}
			parts = append(parts, text)
		}
		return fmt.Sprintf("broke down %d %s of %s at %s: %s came back", n, it.UnitOfIssue, it.PartNumber, at.Code, strings.Join(parts, ", ")), nil
	})
}

// inKitsText tells into which kits a lot went, for who puts it into quarantine.
func inKitsText(tx *changelog.Tx, it *stock.Item, lot string) (string, error) {
	made, err := stock.InKits(tx, it, lot)
	text := ""
	for _, m := range made {
		kit, err := partOf(tx, m.Kit.Item)
		if err != nil {
			return "", err
		}
		text += fmt.Sprintf("\nCAUTION: it is in %[1]s lot %[2]s too: pulk stock quarantine %[1]s --lot %[2]s --why REASON", kit, m.Kit.Lot)
	}
	return text, err
}
