package main

import (
	"cmp"
	"fmt"
	"math"
	"slices"
	"strings"
	"time"

	"github.com/urfave/cli/v2"

	"pulk/checklist/crew"
	"pulk/inventory/assembly"
	"pulk/inventory/stock"
	"pulk/inventory/unit"
	"pulk/schema/fault"
	"pulk/schema/kind"
	"pulk/sync/changelog"
	"pulk/sync/clock"
)

func (e *env) unitCommand() *cli.Command {
	why := &cli.StringFlag{Name: "why", Usage: "the `REASON`"}
	inRun := &cli.StringFlag{Name: "run", Usage: "the `RUN` it was done in"}
	to := &cli.StringFlag{Name: "to", Usage: "`LOCATION` code"}
	return group("unit", "serialised pieces: where each is, in what, and its whole history",
		verb{path: "pulk unit add", args: "SERIAL", minArgs: 1, maxArgs: 1, usage: "make a unit known", writes: true,
			about:    "It starts in the state received. A serial is refused that a unit of the same part has.",
			examples: []string{"pulk unit add SM3-0107 --part SM3-001 --at stn-store --as mirre"},
			flags: []cli.Flag{&cli.StringFlag{Name: "part", Usage: "`PART` number in the catalogue"}, &cli.StringFlag{Name: "at", Usage: "`LOCATION` code"},
				&cli.StringFlag{Name: "lot", Usage: "`LOT` of the maker"}},
			action: (*call).unitAdd}.command(e),
		verb{path: "pulk unit list", usage: "the units, with place and state", reads: true,
			examples: []string{"pulk unit list --part SM3-001 --state released", "pulk unit list --at drill-hut --json"},
			flags: []cli.Flag{&cli.StringFlag{Name: "part", Usage: "of this `PART` number"}, &cli.StringFlag{Name: "state", Usage: "in this `STATE`"},
				&cli.StringFlag{Name: "at", Usage: "at this `LOCATION`, also in an assembly there"},
				&cli.BoolFlag{Name: "calibrated", Usage: "only those that have a calibration, the one that is due first first"}},
			action: (*call).unitList}.command(e),
		verb{path: "pulk unit show", args: "SERIAL", minArgs: 1, maxArgs: 1, usage: "one unit: place, state, hours in service, what is installed in it", reads: true,
			about:    "Where units of several items have one serial, write PART:SERIAL, here and everywhere.",
			examples: []string{"pulk unit show SM3-0107", "pulk unit show SM3-001:0107 --json"}, action: (*call).unitShow}.command(e),
		verb{path: "pulk unit move", args: "SERIAL", minArgs: 1, maxArgs: 1, usage: "carry a unit, with what is installed in it, to a location", writes: true,
			examples: []string{"pulk unit move SM3-0107 --to drill-hut --as tomas"},
			flags:    []cli.Flag{to, &cli.StringFlag{Name: "note", Usage: "a `REMARK`"}}, action: (*call).unitMove}.command(e),
		verb{path: "pulk unit state", args: "SERIAL STATE", minArgs: 2, maxArgs: 2, usage: "accept, release, quarantine or scrap a unit", writes: true,
			about:    "States: " + strings.Join(kind.UnitStates, ", ") + ". Only from received to accepted and from accepted to released it needs no reason.",
			examples: []string{"pulk unit state SM3-0107 accepted --as oskar", `pulk unit state SM3-0108 quarantined --why "scratch on the glass" --as oskar`},
			flags:    []cli.Flag{why}, action: (*call).unitState}.command(e),
		verb{path: "pulk unit install", args: "SERIAL", minArgs: 1, maxArgs: 1, usage: "put a unit into a slot of an assembly", writes: true,
			about:    "Refused for a slot that holds something, and for a unit that is installed, quarantined, failed or scrapped; of an assembly that has a plan, for all that pulk assembly fit refuses.",
			examples: []string{"pulk unit install SM3-0107 --into STR-0003 --slot 1 --run stn-41 --as tomas"},
			flags:    []cli.Flag{&cli.StringFlag{Name: "into", Usage: "`SERIAL` of the assembly"}, &cli.StringFlag{Name: "slot", Usage: "`SLOT` of the assembly"}, inRun}, action: (*call).unitInstall}.command(e),
		verb{path: "pulk unit remove", args: "SERIAL", minArgs: 1, maxArgs: 1, usage: "take a unit out of its assembly", writes: true,
			examples: []string{`pulk unit remove SM3-0107 --to stn-store --why "no answer on the string" --as tomas`},
			flags:    []cli.Flag{to, why}, action: (*call).unitRemove}.command(e),
		verb{path: "pulk unit fail", args: "SERIAL", minArgs: 1, maxArgs: 1, usage: "record that a unit failed", writes: true,
			about:    "The news travels ahead of others. Give --hours if the unit has a meter, or its hours in service are known otherwise: they count in place of what was worked out.",
			examples: []string{`pulk unit fail SM3-0107 --mode "no answer, current 0 mA" --hours 312 --as mirre`},
			flags:    []cli.Flag{&cli.StringFlag{Name: "mode", Usage: "`HOW` it failed"}, &cli.Int64Flag{Name: "hours", Value: unit.UnknownHours, DefaultText: "unknown", Usage: "hours in service in all, whole `HOURS`"}, inRun},
			action:   (*call).unitFail}.command(e),
		e.unitCalibrateCommand(),
		verb{path: "pulk unit dossier", args: "SERIAL", minArgs: 1, maxArgs: 1, usage: "the whole history of a unit, in the order of time", reads: true,
			about: "Movements, installs, states and failures; the runs carried out on it, with every reading, nonconformance, decision and sign-off with its standing; and the runs that recorded it, " +
				"with the readings of the steps that follow its scan before the next one.",
			examples: []string{"pulk unit dossier SM3-0107", "pulk unit dossier SM3-0107 --json"}, action: (*call).unitDossier}.command(e),
	)
}

// needed returns a flag that a verb cannot do without.
func (c *call) needed(flag, what string) (string, error) {
	text := c.String(flag)
	if text == "" {
		return "", fault.Misuse("see: "+c.Command.HelpName+" --help", "%s with --%s", what, flag)
	}
	return text, nil
}

// runFlag returns the run that --run names, or none.
func (c *call) runFlag(tx *changelog.Tx) (clock.Dot, error) {
	name := c.String("run")
	if name == "" {
		return clock.Dot{}, nil
	}
	id, err := tx.ParseName(name)
	if err != nil {
		return id, fault.Misuse("see: pulk run list", "%s", err)
	}
	if text, err := tx.Describe(id); err != nil || text != "run "+tx.Name(id) {
		return id, fault.Hint("see: pulk run list --all", "there is no run %s here", name)
	}
	return id, nil
}

func (c *call) unitAdd() error {
	serial := c.Args().First()
	return c.write(func(tx *changelog.Tx, _ *crew.Person) error {
		part, err := c.needed("part", "say which item it is")
		if err != nil {
			return err
		}
		it, err := stock.FindItem(tx, part)
		if err != nil {
			return err
		}
		var at clock.Dot
		if code := c.String("at"); code != "" {
			if at, err = findLocation(tx, code); err != nil {
				return err
			}
		}
		_, err = unit.Add(tx, it, serial, c.String("lot"), at)
		return err
	}, func() { c.printf("added %s, received\n", serial) })
}

// onUnit runs fn as a command on the unit that the first argument names.
func (c *call) onUnit(fn func(tx *changelog.Tx, u *unit.Unit) error, say func()) error {
	return c.write(func(tx *changelog.Tx, _ *crew.Person) error {
		u, err := unit.FindBySerial(tx, c.Args().First())
		if err != nil {
			return err
		}
		return fn(tx, u)
	}, say)
}

func (c *call) unitMove() error {
	return c.onUnit(func(tx *changelog.Tx, u *unit.Unit) error {
		to, err := c.place(tx, "to")
		if err != nil {
			return err
		}
		return unit.Move(tx, u, to, c.String("note"))
	}, func() { c.printf("%s is at %s\n", c.Args().First(), c.String("to")) })
}

func (c *call) unitState() error {
	state := c.Args().Get(1)
	return c.onUnit(func(tx *changelog.Tx, u *unit.Unit) error {
		return unit.SetState(tx, u, state, c.String("why"))
	}, func() { c.printf("%s is %s\n", c.Args().First(), state) })
}

func (c *call) unitInstall() error {
	return c.onUnit(func(tx *changelog.Tx, u *unit.Unit) error {
		serial, err := c.needed("into", "name the assembly")
		if err != nil {
			return err
		}
		slot, err := c.needed("slot", "name the slot")
		if err != nil {
			return err
		}
		into, err := unit.FindBySerial(tx, serial)
		if err != nil {
			return err
		}
		run, err := c.runFlag(tx)
		if err != nil {
			return err
		}
		a, err := assembly.Load(tx, into)
		if err != nil {
			return err
		}
		if a.Plan == nil && !a.PlanContested {
			return unit.Install(tx, u, into, slot, run)
		}
		return assembly.Fit(tx, a, u, assembly.Fitting{Slot: slot, Run: run, Step: -1})
	}, func() { c.printf("%s is in %s, slot %s\n", c.Args().First(), c.String("into"), c.String("slot")) })
}

func (c *call) unitRemove() error {
	return c.onUnit(func(tx *changelog.Tx, u *unit.Unit) error {
		to, err := c.place(tx, "to")
		if err != nil {
			return err
		}
		return unit.Remove(tx, u, to, c.String("why"))
	}, func() { c.printf("%s is at %s\n", c.Args().First(), c.String("to")) })
}

func (c *call) unitFail() error {
	if c.IsSet("hours") && c.Int64("hours") < 0 {
		return fault.Misuse("give whole hours, or leave --hours away where unknown", "%d cannot be the hours in service", c.Int64("hours"))
	}
	return c.onUnit(func(tx *changelog.Tx, u *unit.Unit) error {
		run, err := c.runFlag(tx)
		if err != nil {
			return err
		}
		return unit.Fail(tx, u, c.String("mode"), c.Int64("hours"), run)
	}, func() { c.printf("%s has failed; the news goes ahead in the next bundle\n", c.Args().First()) })
}

// unitRow is a unit of --json.
type unitRow struct {
	ID        string   `json:"id"`
	Serial    string   `json:"serial"`
	Part      string   `json:"part_number"`
	Lot       string   `json:"lot"`
	State     string   `json:"state"`
	Place     string   `json:"place"`    // location code; of an installed unit that of its outermost assembly; "-" where unknown or in conflict
	Assembly  string   `json:"assembly"` // serial of what it is installed in, or empty
	Slot      string   `json:"slot"`
	Contested []string `json:"contested_fields"` // told differently by people who had not heard of each other
	Due       string   `json:"calibration_due"`  // last day of its calibration, YYYY-MM-DD; empty where it has none
	Overdue   bool     `json:"calibration_overdue"`
}

// partNames remembers the part numbers of items while rows are made.
type partNames map[clock.Dot]string

func (p partNames) of(tx *changelog.Tx, item clock.Dot) (string, error) {
	if name, ok := p[item]; ok {
		return name, nil
	}
	name, err := partOf(tx, item)
	p[item] = name
	return name, err
}

func unitRowOf(tx *changelog.Tx, parts partNames, u *unit.Unit) (unitRow, error) {
	row := unitRow{ID: tx.Name(u.ID), Serial: u.Serial, Lot: u.Lot, State: u.State, Slot: u.Slot, Contested: append([]string{}, u.Contested...)}
	var err error
	if row.Part, err = parts.of(tx, u.Item); err != nil {
		return row, err
	}
	if row.Place, err = stock.LocationLabel(tx, u.Place); err != nil {
		return row, err
	}
	if u.Installed() {
		text, err := tx.Describe(u.Assembly)
		row.Assembly = strings.TrimPrefix(text, "unit ")
		return row, err
	}
	return row, nil
}

func (row unitRow) where() string {
	text := row.Place
	if row.Assembly != "" {
		text = fmt.Sprintf("%s (in %s, slot %s)", row.Place, row.Assembly, row.Slot)
	}
	if len(row.Contested) > 0 {
		text += " CONTESTED: " + strings.Join(row.Contested, ", ")
	}
	return text
}

func (c *call) unitFilter(tx *changelog.Tx) (f unit.Filter, err error) {
	f.State = c.String("state")
	if part := c.String("part"); part != "" {
		it, err := stock.FindItem(tx, part)
		if err != nil {
			return f, err
		}
		f.Item = it.ID
	}
	if code := c.String("at"); code != "" {
		f.At, err = findLocation(tx, code)
	}
	return f, err
}

func (c *call) unitList() error {
	return c.view(func(tx *changelog.Tx) error {
		filter, err := c.unitFilter(tx)
		if err != nil {
			return err
		}
		list, err := unit.List(tx, filter)
		if err != nil {
			return err
		}
		calibrations, err := unit.AllCalibrations(tx)
		if err != nil {
			return err
		}
		rows, parts := []unitRow{}, partNames{}
		for _, u := range list {
			row, err := unitRowOf(tx, parts, u)
			if err != nil {
				return err
			}
			if row.Due, row.Overdue = dueOf(calibrations[u.ID], c.env.now()); row.Due != "" || !c.Bool("calibrated") {
				rows = append(rows, row)
			}
		}
		if c.Bool("calibrated") {
			slices.SortStableFunc(rows, func(a, b unitRow) int { return cmp.Compare(a.Due, b.Due) })
		}
		t := unitTable(rows)
		if c.asJSON() {
			return c.printJSON(rows)
		}
		t.print(c.env, "No such units; new ones come with pulk unit add.")
		return nil
	})
}

// unitTable has a column of when a calibration is due where one of the units has one.
func unitTable(rows []unitRow) *table {
	measures := slices.ContainsFunc(rows, func(row unitRow) bool { return row.Due != "" })
	t := newTable("serial", "part", "state", "where", "lot")
	if measures {
		t = newTable("serial", "part", "state", "where", "lot", "calibrated to")
	}
	for _, row := range rows {
		cells := []any{row.Serial, row.Part, row.State, row.where(), row.Lot}
		if measures {
			cells = append(cells, dueText(row.Due, row.Overdue))
		}
		t.add(cells...)
	}
	return t
}

// unitDetail is pulk unit show --json.
type unitDetail struct {
	unitRow
	ServiceHours float64          `json:"service_hours"`          // to 0.1 h: installed and not failed, up to now; a failure's meter hours count in place of what came before
	Holds        []unitRow        `json:"holds"`                  // what is installed in it
	Calibrations []calibrationRow `json:"calibrations"`           // the earliest first
	Standing     string           `json:"calibration_that_holds"` // its id, or empty
}

func unitDetailOf(tx *changelog.Tx, u *unit.Unit, events []unit.Event, now time.Time) (unitDetail, error) {
	parts := partNames{}
	row, err := unitRowOf(tx, parts, u)
	detail := unitDetail{unitRow: row, Holds: []unitRow{}, ServiceHours: math.Round(unit.ServiceHours(events, now)*10) / 10}
	if err != nil {
		return detail, err
	}
	calibrations, err := unit.Calibrations(tx, u.ID)
	if err != nil {
		return detail, err
	}
	detail.Calibrations = calibrationRows(tx, calibrations, now)
	detail.Due, detail.Overdue = dueOf(calibrations, now)
	if standing := unit.Standing(calibrations); standing != nil {
		detail.Standing = tx.Name(standing.ID)
	}
	inside, err := unit.List(tx, unit.Filter{In: u.ID})
	if err != nil {
		return detail, err
	}
	for _, piece := range inside {
		row, err := unitRowOf(tx, parts, piece)
		if err != nil {
			return detail, err
		}
		detail.Holds = append(detail.Holds, row)
	}
	return detail, nil
}

func (c *call) unitShow() error {
	return c.view(func(tx *changelog.Tx) error {
		u, err := unit.FindBySerial(tx, c.Args().First())
		if err != nil {
			return err
		}
		events, err := unit.Events(tx, u.ID)
		if err != nil {
			return err
		}
		detail, err := unitDetailOf(tx, u, events, c.env.now())
		if err != nil {
			return err
		}
		if c.asJSON() {
			return c.printJSON(detail)
		}
		c.printUnit(detail)
		return nil
	})
}

func (c *call) printUnit(d unitDetail) {
	c.printf("unit %s (%s), part %s\n", d.Serial, d.ID, d.Part)
	if d.Lot != "" {
		c.printf("  lot:     %s\n", d.Lot)
	}
	c.printf("  state:   %s\n  where:   %s\n  service: %.1f h\n", d.State, d.where(), d.ServiceHours)
	if d.Due != "" {
		c.printf("  calibrated to: %s\n", dueText(d.Due, d.Overdue))
	}
	c.printCalibrations(d.Calibrations, d.Standing)
	if len(d.Holds) == 0 {
		return
	}
	c.printf("\nInstalled in it\n")
	t := newTable("slot", "serial", "part", "state")
	for _, row := range d.Holds {
		t.add(row.Slot, row.Serial, row.Part, row.State)
	}
	t.print(c.env, "")
}
