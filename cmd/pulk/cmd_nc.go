package main

import (
	"strings"

	"github.com/urfave/cli/v2"

	"pulk/checklist/crew"
	"pulk/checklist/run"
	"pulk/schema/fault"
	"pulk/sync/changelog"
	"pulk/sync/clock"
)

func (e *env) ncCommand() *cli.Command {
	return group("nc", "nonconformances: what is not as it must be, and its disposition",
		verb{path: "pulk nc raise", args: "TEXT", minArgs: 1, maxArgs: -1, usage: "open a nonconformance", writes: true,
			about:    "A failing reading opens one by itself. Any open one shuts the gates of its run. One about a reading that does not count, as its instrument was out of calibration, lets people decide to use it as it is.",
			examples: []string{`pulk nc raise "cable jacket cut 3 m above the connector" --run stn-41 --step 120 --as tomas`},
			flags: []cli.Flag{&cli.StringFlag{Name: "run", Usage: "the `RUN` it is about"}, &cli.StringFlag{Name: "step", Usage: "the `STEP` of that run"},
				&cli.StringFlag{Name: "unit", Usage: "the `SERIAL` of the unit it is about"}, &cli.StringFlag{Name: "entry", Usage: "the `ID` of the reading of that run that it is about"}},
			action: (*call).ncRaise}.command(e),
		verb{path: "pulk nc list", usage: "the nonconformances", reads: true,
			flags: []cli.Flag{&cli.BoolFlag{Name: "open", Usage: "only those still open"}}, action: (*call).ncList}.command(e),
		verb{path: "pulk nc show", args: "NC", minArgs: 1, maxArgs: 1, usage: "one nonconformance, with what was decided", reads: true, action: (*call).ncShow}.command(e),
		verb{path: "pulk nc dispose", args: "NC DISPOSITION", minArgs: 2, maxArgs: 2, usage: "decide: rework, repair, use-as-is or scrap", writes: true,
			about:    "Rework and repair ask for the step to be done again. Use-as-is takes the thing as it is. Scrap keeps the gates shut. It takes a role that signs a hold point of the procedure, or gives a go in its readiness review.",
			examples: []string{`pulk nc dispose stn-x4.1 rework --why "connector cleaned, measure again" --as lena`},
			flags:    []cli.Flag{&cli.StringFlag{Name: "why", Usage: "the `REASON`"}}, action: (*call).ncDispose}.command(e),
	)
}

func (c *call) ncRaise() error {
	text := strings.Join(c.Args().Slice(), " ")
	var said string
	return c.write(func(tx *changelog.Tx, me *crew.Person) error {
		var runID, unitID clock.Dot
		step := run.NoStep
		var err error
		if name := c.String("run"); name != "" {
			if runID, err = tx.ParseName(name); err != nil {
				return fault.Misuse("see: pulk run list", "%s", err)
			}
			doing, err := run.Open(tx, me, runID)
			if err != nil {
				return err
			}
			if name := c.String("entry"); name != "" {
				id, err := tx.ParseName(name)
				if err != nil {
					return fault.Misuse("see: pulk run show "+c.String("run"), "%s", err)
				}
				nc, err := doing.RaiseAbout(id, text)
				said = tx.Name(nc)
				return err
			}
			if id := c.String("step"); id != "" {
				if step, err = doing.Number(id); err != nil {
					return err
				}
			}
			unitID = doing.Target
		} else if c.String("step") != "" || c.String("entry") != "" {
			return fault.Misuse("name it with --run", "a step or an entry is that of a run")
		}
		if serial := c.String("unit"); serial != "" {
			if unitID, err = findUnit(tx, serial); err != nil {
				return err
			}
		}
		id, err := run.RaiseNC(tx, runID, step, unitID, text)
		said = tx.Name(id)
		return err
	}, func() { c.printf("nonconformance %s is open\n", said) })
}

// ncRow is a nonconformance of --json.
type ncRow struct {
	ID          string `json:"id"`
	Open        bool   `json:"open"`
	Text        string `json:"text"`
	Run         string `json:"run"`
	Step        string `json:"step"` // its id, or "number N" while the run's start or its revision is not here yet
	RunAwaited  bool   `json:"run_not_here_yet"`
	Unit        string `json:"unit"`
	RaisedAt    string `json:"raised_at"`
	RaisedBy    string `json:"raised_by"`
	Disposition string `json:"disposition"` // empty while open
	Reason      string `json:"reason"`
	DecidedAt   string `json:"decided_at"`
	DecidedBy   string `json:"decided_by"`
	Contested   bool   `json:"contested"` // decided differently by people who had not seen each other's decision
}

func ncRowOf(tx *changelog.Tx, rd *run.Reader, nc run.Nonconformance) (ncRow, error) {
	row := ncRow{ID: tx.Name(nc.Entry.Dot), Open: nc.Open, Text: nc.Entry.Text, Run: tx.Name(nc.Run), RaisedAt: *jsonTime(nc.Entry.At.Time()),
		Contested: nc.Open && len(nc.Dispositions) > 1}
	var err error
	if row.Unit, err = tx.Describe(nc.Unit); err != nil {
		return row, err
	}
	if row.RaisedBy, err = crew.Label(tx, nc.Entry.Person); err != nil {
		return row, err
	}
	if !nc.Run.IsZero() {
		here, err := tx.Here(nc.Run)
		if row.RunAwaited = !here; err != nil {
			return row, err
		}
	}
	if nc.Entry.Step != run.NoStep {
		if row.Step, err = rd.StepID(nc.Run, nc.Entry.Step); err != nil {
			return row, err
		}
	}
	if !nc.Open {
		last := nc.Dispositions[0]
		row.Disposition, row.Reason, row.DecidedAt = nc.Disposition.String(), last.Text, *jsonTime(last.At.Time())
		row.DecidedBy, err = crew.Label(tx, last.Person)
	}
	return row, err
}

func (c *call) ncList() error {
	stayFrugal()
	return c.view(func(tx *changelog.Tx) error {
		list, err := run.Nonconformances(tx)
		if err != nil {
			return err
		}
		rows, rd := []ncRow{}, run.NewReader(tx)
		t := newTable("nc", "state", "about", "what", "raised")
		for _, nc := range list {
			if c.Bool("open") && !nc.Open {
				continue
			}
			row, err := ncRowOf(tx, rd, nc)
			if err != nil {
				return err
			}
			rows = append(rows, row)
			state := "OPEN"
			if row.Contested {
				state = "OPEN, contested"
			} else if !row.Open {
				state = row.Disposition
			}
			t.add(row.ID, state, aboutText(row), row.Text, c.env.stampText(nc.Entry.At)+" "+row.RaisedBy)
		}
		if c.asJSON() {
			return c.printJSON(rows)
		}
		t.print(c.env, "No nonconformances.")
		return nil
	})
}

func aboutText(row ncRow) string {
	text := row.Unit
	if row.Run != "-" {
		text = "run " + row.Run
		if row.Step != "" {
			text += " step " + row.Step
		}
	}
	if row.RunAwaited {
		text += ", its start is not here yet"
	}
	return text
}

// ncDetail is pulk nc show --json.
type ncDetail struct {
	ncRow
	Attachments []attachRow `json:"attachments"`
}

func (c *call) ncShow() error {
	return c.view(func(tx *changelog.Tx) error {
		id, err := tx.ParseName(c.Args().First())
		if err != nil {
			return fault.Misuse("see: pulk nc list", "%s", err)
		}
		nc, err := run.FindNC(tx, id)
		if err != nil {
			return err
		}
		row, err := ncRowOf(tx, run.NewReader(tx), nc)
		if err != nil {
			return err
		}
		attached, err := attachedOf(tx, id)
		if err != nil {
			return err
		}
		if c.asJSON() {
			return c.printJSON(ncDetail{row, attached})
		}
		c.printf("nonconformance %s\n", row.ID)
		c.printBlock("  ", row.Text)
		c.printf("  about: %s; unit: %s\n  raised: %s by %s\n", aboutText(row), row.Unit, c.env.stampText(nc.Entry.At), row.RaisedBy)
		if nc.Open {
			c.printf("  OPEN: the gates of its run are shut\n")
		}
		for _, d := range nc.Dispositions {
			by, err := crew.Label(tx, d.Person)
			if err != nil {
				return err
			}
			c.printf("  decided: %s, %s by %s: %s\n", d.Disposition, c.env.stampText(d.At), by, d.Text)
		}
		for _, a := range attached {
			c.printBlock("  attached: ", a.words())
		}
		return nil
	})
}

func (c *call) ncDispose() error {
	disposition, ok := run.ParseDisposition(c.Args().Get(1))
	if !ok {
		return fault.Misuse("one of: rework, repair, use-as-is, scrap (ISO 9000)", "%q is no disposition", c.Args().Get(1))
	}
	return c.write(func(tx *changelog.Tx, me *crew.Person) error {
		id, err := tx.ParseName(c.Args().First())
		if err != nil {
			return fault.Misuse("see: pulk nc list", "%s", err)
		}
		return run.Dispose(tx, me, id, disposition, c.String("why"))
	}, func() {
		c.printf("nonconformance %s: %s\n", c.Args().First(), disposition)
		if disposition == run.Rework || disposition == run.Repair {
			c.printf("next: do the step again, then sign its hold point again\n")
		}
	})
}
