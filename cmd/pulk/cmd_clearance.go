package main

import (
	"fmt"
	"strings"
	"time"

	"github.com/urfave/cli/v2"

	"pulk/checklist/conditions"
	"pulk/checklist/crew"
	"pulk/checklist/exposure"
	"pulk/inventory/stock"
	"pulk/schema/fault"
	"pulk/sync/changelog"
	"pulk/sync/clock"
)

func (e *env) clearanceCommand() *cli.Command {
	confined := "It is confined: it goes to sites that are named for it, and to no other (pulk site confide)."
	return group("clearance", "trainings and medical clearances of persons, and until when",
		verb{path: "pulk clearance set", args: "PERSON CODE", minArgs: 2, maxArgs: 2, usage: "enter a training, or a medical clearance", writes: true,
			about: "Only that it is there and until when: no reason, no finding, no restriction. A training is entered by somebody with the role " + crew.TrainingRole +
				", a medical clearance by somebody with the role " + crew.MedicalRole + ", and nobody enters their own. " + confined,
			examples: []string{"pulk clearance set ida cold-weather --until 2027-11-30 --as runa", "pulk clearance set ida height --medical --until 2027-03-31 --as runa"},
			flags:    []cli.Flag{&cli.StringFlag{Name: "until", Usage: "the last `DAY`, as 2027-03-31"}, &cli.BoolFlag{Name: "medical", Usage: "it is a medical clearance, not a training"}},
			action:   (*call).clearanceSet}.command(e),
		verb{path: "pulk clearance withdraw", args: "PERSON CODE", minArgs: 2, maxArgs: 2, usage: "say that somebody has it no more", writes: true,
			about:  "Anybody may: it only ever makes the work safer. No reason is asked for, and none is kept. " + confined,
			action: (*call).clearanceWithdraw}.command(e),
		verb{path: "pulk clearance list", args: "[PERSON]", maxArgs: 1, usage: "trainings and clearances, as far as they are kept here", reads: true, action: (*call).clearanceList}.command(e),
		verb{path: "pulk clearance void", args: "ID", minArgs: 1, maxArgs: 1, usage: "say that an entry about a clearance, or an arrival, was a mistake", writes: true, action: (*call).clearanceVoid}.command(e),
	)
}

// exposureCommands are those of pulk person about height.
func (e *env) exposureCommands() []*cli.Command {
	return []*cli.Command{
		verb{path: "pulk person arrive", args: "PERSON", minArgs: 1, maxArgs: 1, usage: "enter that somebody came to a place to sleep there", writes: true,
			about: "At height it starts days of rest before heavy work. The height is that of the place, if it is known; where the barometer reads lower than the map's height lets expect, give the height that it tells. " +
				"It is confined: it goes to sites that are named for it, and to no other (pulk site confide). A mistake: pulk clearance void.",
			examples: []string{"pulk person arrive ida --at plateau --as ida", "pulk person arrive ida --at plateau --height 3450 --on 2027-01-05T11:30 --as ida"},
			flags: []cli.Flag{&cli.StringFlag{Name: "at", Usage: "`PLACE`, as pulk location list names it"}, &cli.Int64Flag{Name: "height", Usage: "`METRES` above the sea; else that of the place"},
				&cli.StringFlag{Name: "on", Usage: "`WHEN`, a time in UTC; now if left out"}},
			action: (*call).personArrive}.command(e),
		verb{path: "pulk person exposure", args: "[PERSON]", maxArgs: 1, usage: "who has had their rest at height, as far as it is known here", reads: true, action: (*call).personExposure}.command(e),
	}
}

func (c *call) clearanceSet() error {
	clearance := crew.Clearance{Code: c.Args().Get(1), Valid: true, Until: c.String("until")}
	if c.Bool("medical") {
		clearance.Sort = crew.Medical
	}
	if clearance.Until == "" {
		return fault.Misuse("give the last day: --until 2027-03-31", "a %s ends some day", clearance.Sort)
	}
	return c.setClearance(clearance, func() {
		c.printf("%s has %s %s, until %s\n", c.Args().First(), clearance.Sort, clearance.Code, clearance.Until)
	})
}

func (c *call) clearanceWithdraw() error {
	clearance := crew.Clearance{Code: c.Args().Get(1)}
	return c.setClearance(clearance, func() { c.printf("%s has %s no more\n", c.Args().First(), clearance.Code) })
}

func (c *call) setClearance(clearance crew.Clearance, say func()) error {
	return c.write(func(tx *changelog.Tx, me *crew.Person) error {
		p, err := crew.ByCode(tx, c.Args().First())
		if err != nil {
			return err
		}
		_, err = crew.SetClearance(tx, me, p, clearance)
		return err
	}, func() {
		say()
		c.sayWhereConfined()
	})
}

// sayWhereConfined says to whom what was just written goes.
func (c *call) sayWhereConfined() {
	err := c.view(func(tx *changelog.Tx) error {
		codes, err := confidantCodes(tx)
		if err == nil && len(codes) == 0 {
			c.printf("no site is named for what is confined, so it stays here: pulk site confide, at the founding site\n")
		} else if err == nil {
			c.printf("it goes to %s alone\n", strings.Join(codes, ", "))
		}
		return err
	})
	if err != nil {
		fmt.Fprintln(c.env.stderr, "pulk: it is written; where it goes could not be read:", err)
	}
}

// clearanceRow is a training or a medical clearance of a person.
type clearanceRow struct {
	ID       string `json:"id"`
	Person   string `json:"person"`
	Code     string `json:"code"`
	Sort     string `json:"sort"` // training or medical clearance
	Holds    bool   `json:"holds"`
	Until    string `json:"until"`    // the last day; empty where it was withdrawn
	Disputed bool   `json:"disputed"` // people who had not seen each other's word said otherwise; the more careful one stands
}

func (c *call) clearanceList() error {
	return c.view(func(tx *changelog.Tx) error {
		people, err := c.peopleAsked(tx)
		if err != nil {
			return err
		}
		rows := []clearanceRow{}
		t := newTable("person", "code", "sort", "until", "today", "id")
		for _, p := range people {
			list, err := crew.Clearances(tx, p.ID)
			if err != nil {
				return err
			}
			for _, cl := range list {
				row := clearanceRow{tx.Name(cl.ID), p.Code, cl.Code, cl.Sort.String(), cl.Holds(c.env.now()), cl.Until, cl.Disputed}
				rows = append(rows, row)
				today := "holds"
				if !row.Holds {
					today = "NO"
				}
				if row.Disputed {
					today += ", disputed"
				}
				t.add(row.Person, row.Code, row.Sort, row.Until, today, row.ID)
			}
		}
		if c.asJSON() {
			return c.printJSON(rows)
		}
		t.print(c.env, "No trainings or clearances are kept here: pulk clearance set")
		return c.sayConfidants(tx)
	})
}

// peopleAsked returns the person that the command names, or all.
func (c *call) peopleAsked(tx *changelog.Tx) ([]*crew.Person, error) {
	if c.Args().Len() == 0 {
		return crew.List(tx)
	}
	p, err := crew.ByCode(tx, c.Args().First())
	return []*crew.Person{p}, err
}

func (c *call) clearanceVoid() error {
	return c.write(func(tx *changelog.Tx, _ *crew.Person) error {
		id, err := tx.ParseName(c.Args().First())
		if err != nil {
			return fault.Misuse("see: pulk clearance list, pulk person exposure", "%s", err)
		}
		return crew.VoidPersonal(tx, id)
	}, func() { c.printf("%s counts no more\n", c.Args().First()) })
}

func (c *call) personArrive() error {
	code := c.Args().First()
	at, err := pastTime("--on", c.String("on"), c.env.now())
	if err != nil {
		return err
	}
	var rest exposure.Rest
	var height int64
	return c.write(func(tx *changelog.Tx, _ *crew.Person) error {
		p, err := crew.ByCode(tx, code)
		if err != nil {
			return err
		}
		var place clock.Dot
		if name := c.String("at"); name != "" {
			if place, err = findLocation(tx, name); err != nil {
				return err
			}
		}
		if height, err = c.arrivalHeight(tx, place); err != nil {
			return err
		}
		if _, err := crew.Arrive(tx, p.ID, place, height, at); err != nil {
			return err
		}
		stays, err := conditions.Stays(tx, p.ID, at)
		rest = exposure.RestAfter(append(stays, exposure.Stay{Metres: height, From: at}))
		return err
	}, func() {
		c.printf("%s came to %d m on %s\n", code, height, c.env.showTime(at))
		c.printRest(rest)
		c.sayWhereConfined()
	})
}

// arrivalHeight is the height that was given, or that of the place.
func (c *call) arrivalHeight(tx *changelog.Tx, place clock.Dot) (int64, error) {
	if c.IsSet("height") {
		return c.Int64("height"), nil
	}
	metres, known, err := conditions.Elevation(tx, place)
	if err == nil && !known {
		err = fault.Misuse("give it with --height METRES, or tell that of the place: pulk location position", "the height is not known")
	}
	return int64(metres.Float64()), err
}

func (c *call) printRest(rest exposure.Rest) {
	for _, s := range rest.Stops {
		c.printBlock("  ! ", s.Text+" ["+s.Source+"]")
	}
	if !rest.Until.IsZero() {
		c.printf("  no heavy work before %s\n", c.env.showTime(rest.Until))
	}
	for _, a := range rest.Advice {
		c.printBlock("  ", a.Text+" ["+a.Source+"; "+a.Range+"]")
	}
	if len(rest.Stops)+len(rest.Advice) > 0 {
		c.printf("  %s\n", exposure.Decides)
	}
}

// exposureRow is what is known here of a person's rest at height.
type exposureRow struct {
	Person     string      `json:"person"`
	ArrivalID  string      `json:"arrival_id"` // empty: no arrival is known here
	Place      string      `json:"place"`
	Height     int64       `json:"height_metres"`
	ArrivedAt  *string     `json:"arrived_at"`
	RestUntil  *string     `json:"rest_until"`  // null where no rest is asked for
	HeavyNow   bool        `json:"heavy_work"`  // it may be done now, as far as rest goes
	Stops      []adviceRow `json:"stops"`       // there is no figure for rest
	Advice     []adviceRow `json:"advice"`      //
	WhoDecides string      `json:"who_decides"` //
}

func (c *call) personExposure() error {
	return c.view(func(tx *changelog.Tx) error {
		people, err := c.peopleAsked(tx)
		if err != nil {
			return err
		}
		rows := []exposureRow{}
		t := newTable("person", "place", "height", "since", "heavy work", "arrival")
		for _, p := range people {
			row, rest, err := c.exposureRowOf(tx, p)
			if err != nil {
				return err
			}
			rows = append(rows, row)
			heavy := "yes"
			switch {
			case row.ArrivalID == "":
				t.add(p.Code, "", "", "", "no arrival is known here", "")
				continue
			case len(row.Stops) > 0:
				heavy = "NO: stop and ask"
			case !row.HeavyNow:
				heavy = "NO, before " + c.env.showTime(rest.Until)
			}
			since, _ := time.Parse(time.RFC3339, *row.ArrivedAt) // as written
			t.add(p.Code, row.Place, fmt.Sprintf("%d m", row.Height), c.env.showTime(since), heavy, row.ArrivalID)
		}
		if c.asJSON() {
			return c.printJSON(rows)
		}
		t.print(c.env, "No persons yet: add them with pulk person add.")
		c.printBlock("", exposure.RestSource+"; "+exposure.Decides)
		return c.sayConfidants(tx)
	})
}

func (c *call) exposureRowOf(tx *changelog.Tx, p *crew.Person) (exposureRow, exposure.Rest, error) {
	row := exposureRow{Person: p.Code, Stops: []adviceRow{}, Advice: []adviceRow{}, WhoDecides: exposure.Decides}
	list, err := crew.Arrivals(tx, p.ID)
	if err != nil || len(list) == 0 {
		return row, exposure.Rest{}, err
	}
	stays, err := conditions.Stays(tx, p.ID, c.env.now())
	if err != nil {
		return row, exposure.Rest{}, err
	}
	rest, last := exposure.RestAfter(stays), list[len(list)-1]
	row.ArrivalID, row.Height, row.ArrivedAt, row.RestUntil = tx.Name(last.ID), last.HeightMetres, jsonTime(last.At), jsonTime(rest.Until)
	row.HeavyNow, row.Stops = rest.Over(c.env.now()), stopRows(rest.Stops)
	for _, a := range rest.Advice {
		row.Advice = append(row.Advice, adviceRow{a.Text, a.Source, a.Range})
	}
	if !last.Location.IsZero() {
		row.Place, err = stock.LocationLabel(tx, last.Location)
	}
	return row, rest, err
}
