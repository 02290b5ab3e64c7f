package main

import (
	"errors"
	"fmt"
	"strings"

	"github.com/urfave/cli/v2"

	"pulk/checklist/crew"
	"pulk/checklist/procedure"
	"pulk/inventory/assembly"
	"pulk/inventory/unit"
	"pulk/schema/decimal"
	"pulk/schema/fault"
	"pulk/sync/changelog"
)

func (e *env) assemblyCommand() *cli.Command {
	why := &cli.StringFlag{Name: "why", Usage: "the `REASON`"}
	asBuilt := []cli.Flag{&cli.StringFlag{Name: "position", Usage: "as built, `METRES` along the assembly from its upper end"},
		&cli.StringFlag{Name: "depth", Usage: "as built, `METRES` below the plan's datum"}, &cli.StringFlag{Name: "channel", Usage: "the fibre or `CHANNEL` it answers on"}}
	return group("assembly", "units with slots: what goes where, as planned and as built",
		verb{path: "pulk assembly plan", args: "ASSEMBLY [FILE.csv]", minArgs: 1, maxArgs: 2, usage: "take in a plan of the slots, all of it or nothing", writes: true,
			about: "The columns are those of docs/assembly-plan.md: slot, part_number, position_m, depth_m, channel, note; the slots come in the order of the work. Every bad cell is named with its line and column. " +
				"With --procedure the slots are those that its steps fill. Another plan for the same assembly needs a reason; the same one a second time changes nothing.",
			examples: []string{`pulk assembly plan STG-07 string-7.csv --title "String 7" --datum "collar of hole 6" --length 2150 --as ida`, "pulk assembly plan STG-07 --procedure borehole-lowering --as ida"},
			flags: []cli.Flag{&cli.StringFlag{Name: "title", Usage: "`TITLE` of the plan"}, &cli.StringFlag{Name: "datum", Usage: "`WHAT` depths count from"},
				&cli.StringFlag{Name: "length", Usage: "of the assembly, `METRES`"}, &cli.StringFlag{Name: "procedure", Usage: "take the slots from `PROCEDURE[@REVISION]`"}, why},
			action: (*call).assemblyPlan}.command(e),
		verb{path: "pulk assembly list", usage: "the assemblies that have a plan, and how far they are", reads: true, action: (*call).assemblyList}.command(e),
		verb{path: "pulk assembly show", args: "ASSEMBLY", minArgs: 1, maxArgs: 1, usage: "a drawing: every slot, what is in it, and what is not as planned", reads: true,
			about:    "Where every slot has a depth the drawing goes from the shallowest down, else in the order of the plan. [x] is filled, [ ] empty, [!] not as planned. With --svg it is written as a picture, too.",
			examples: []string{"pulk assembly show STG-07", "pulk assembly show STG-07 --svg string-7.svg"},
			flags:    []cli.Flag{&cli.StringFlag{Name: "svg", Usage: "write a picture to `FILE`"}}, action: (*call).assemblyShow}.command(e),
		verb{path: "pulk assembly fit", args: "ASSEMBLY SLOT UNIT", minArgs: 3, maxArgs: 3, usage: "put a unit into a slot, by scan", writes: true,
			about: "Refused (exit code 3) for a unit of another part than planned, one that is in a slot already or out of use, a slot that holds something, and a fibre or channel that another slot uses. " +
				"A record step of a procedure that names a slot does the same when it is checked.",
			examples: []string{"pulk assembly fit STG-07 5 SM3-0107 --as tomas", "pulk assembly fit CBL-02 F17 SEN-0031 --channel F17 --position 1830.5 --as tomas"},
			flags:    append(asBuilt, &cli.StringFlag{Name: "run", Usage: "the `RUN` it was done in"}), action: (*call).assemblyFit}.command(e),
		verb{path: "pulk assembly built", args: "ASSEMBLY [SLOT]", minArgs: 1, maxArgs: 2, usage: "say how the unit in a slot sits, or how long the assembly is", writes: true,
			about:    "What is not given stays as it was said before. Another value than before needs a reason.",
			examples: []string{"pulk assembly built STG-07 5 --depth 1931.4 --as mirre", "pulk assembly built STG-07 --length 2147.5 --as mirre"},
			flags:    append(asBuilt, &cli.StringFlag{Name: "length", Usage: "of the assembly as built, `METRES`"}, why), action: (*call).assemblyBuilt}.command(e),
		verb{path: "pulk assembly unfit", args: "ASSEMBLY SLOT", minArgs: 2, maxArgs: 2, usage: "take the unit out of a slot", writes: true,
			examples: []string{`pulk assembly unfit STG-07 5 --to stn-store --why "scanned for the next one" --as tomas`},
			flags:    []cli.Flag{&cli.StringFlag{Name: "to", Usage: "`LOCATION` code"}, why}, action: (*call).assemblyUnfit}.command(e),
		assemblyRecordVerb().command(e),
	)
}

// onAssembly runs fn as a command on the assembly that the first argument names.
func (c *call) onAssembly(fn func(tx *changelog.Tx, a *assembly.Assembly) error, say func()) error {
	return c.write(func(tx *changelog.Tx, _ *crew.Person) error {
		a, err := findAssembly(tx, c.Args().First())
		if err != nil {
			return err
		}
		return fn(tx, a)
	}, say)
}

func findAssembly(tx *changelog.Tx, serial string) (*assembly.Assembly, error) {
	u, err := unit.FindBySerial(tx, serial)
	if err != nil {
		return nil, err
	}
	return assembly.Load(tx, u)
}

// metresFlag reads a length or depth; nil where it is not given.
func (c *call) metresFlag(name string) (*decimal.Decimal, error) {
	number, err := assembly.ParseMetres(c.String(name))
	if err != nil {
		return nil, fault.Misuse("give metres as a decimal number, such as 1931.4", "--%s: %s", name, err)
	}
	return number, nil
}

func (c *call) assemblyPlan() error {
	slots, err := c.planFile()
	if err != nil {
		return err
	}
	length, err := c.metresFlag("length")
	if err != nil {
		return err
	}
	var written bool
	var left []string
	plan := &assembly.Plan{Title: c.String("title"), Datum: c.String("datum"), Length: length, Slots: slots}
	return c.onAssembly(func(tx *changelog.Tx, a *assembly.Assembly) error {
		if name := c.String("procedure"); name != "" {
			if err := planFrom(tx, plan, name); err != nil {
				return err
			}
		}
		for _, p := range a.Positions {
			if len(p.Units) > 0 && plan.Slot(p.Slot.Name) == nil {
				left = append(left, p.Slot.Name)
			}
		}
		written, err = assembly.SetPlan(tx, a, plan, c.String("why"))
		return err
	}, func() {
		if !written {
			c.printf("%s has this plan already\n", c.Args().First())
			return
		}
		c.printf("%s has a plan of %s\nnext: pulk assembly show %s\n", c.Args().First(), plural(len(plan.Slots), "slot", "slots"), c.Args().First())
		if len(left) > 0 {
			c.printf("not in the plan, and filled: slot %s\n", strings.Join(left, ", "))
		}
	})
}

// planFile reads the slots of the file that is named, if one is.
func (c *call) planFile() ([]assembly.Slot, error) {
	path := c.Args().Get(1)
	if (path == "") == (c.String("procedure") == "") {
		return nil, fault.Misuse("name a file, or a procedure with --procedure", "a plan comes from one of them")
	}
	if path == "" {
		return nil, nil
	}
	source, err := readInput(path)
	if err != nil {
		return nil, err
	}
	slots, faults := assembly.ParsePlan(source)
	for _, f := range faults {
		fmt.Fprintf(c.env.stderr, "%s:%s\n", path, f)
	}
	if len(faults) > 0 {
		return nil, fault.Hint("mend the cells named above; nothing was taken in", "%s has %s", path, plural(len(faults), "bad cell", "bad cells"))
	}
	return slots, nil
}

// planFrom takes the slots that the steps of a procedure fill.
func planFrom(tx *changelog.Tx, plan *assembly.Plan, name string) error {
	revision, err := procedure.Find(tx, name)
	if err != nil {
		return err
	}
	p, err := procedure.Load(tx, revision.ID)
	if err != nil {
		return err
	}
	plan.Source = revision.ID
	if plan.Title == "" {
		plan.Title = p.ID + " revision " + p.Revision
	}
	for _, step := range p.Steps {
		if step.Record != nil && step.Record.Slot != "" {
			plan.Slots = append(plan.Slots, assembly.Slot{Name: step.Record.Slot, Part: step.Record.Part, Note: step.Record.Label})
		}
	}
	if len(plan.Slots) == 0 {
		return fault.Hint("name a slot in its record steps: docs/procedure-format.md", "no step of %s revision %s fills a slot", p.ID, p.Revision)
	}
	return nil
}

// fitting reads what is said of a slot as built.
func (c *call) fitting(slot string) (f assembly.Fitting, err error) {
	f = assembly.Fitting{Slot: slot, Channel: c.String("channel"), Step: -1}
	if err := assembly.CheckChannel(f.Channel); err != nil {
		return f, fault.Misuse("read the mark on it again", "%s", err)
	}
	if f.Position, err = c.metresFlag("position"); err != nil {
		return f, err
	}
	f.Depth, err = c.metresFlag("depth")
	return f, err
}

func (c *call) assemblyFit() error {
	slot, serial := c.Args().Get(1), c.Args().Get(2)
	f, err := c.fitting(slot)
	if err != nil {
		return err
	}
	next := ""
	return c.onAssembly(func(tx *changelog.Tx, a *assembly.Assembly) error {
		if a.Plan == nil && !a.PlanContested {
			return fault.Refuse("take one in: pulk assembly plan "+a.Unit.Serial+" FILE.csv; without one: pulk unit install", "%s has no plan of its slots", a.Unit.Serial)
		}
		u, err := unit.FindBySerial(tx, serial)
		if errors.Is(err, unit.ErrUnknown) {
			err = fault.Refuse("read the plate again; if it is new here: pulk unit add "+serial+" --part PART", "no unit has the serial %q", serial)
		}
		if err != nil {
			return err
		}
		if f.Run, err = c.runFlag(tx); err != nil {
			return err
		}
		next = fitted(a, slot)
		return assembly.Fit(tx, a, u, f)
	}, func() { c.printf("%s is in %s, slot %s; %s\n", serial, c.Args().First(), slot, next) })
}

// fitted says how far an assembly is when one more slot is filled.
func fitted(a *assembly.Assembly, slot string) string {
	if a.Plan == nil {
		return "there is no plan"
	}
	text := fmt.Sprintf("%d of %d slots are filled", a.Fitted()+1, len(a.Plan.Slots))
	for _, p := range a.Positions {
		if p.Planned && len(p.Units) == 0 && p.Slot.Name != slot {
			return text + ", next is " + p.Slot.Name
		}
	}
	return text
}

func (c *call) assemblyBuilt() error {
	slot := c.Args().Get(1)
	f, err := c.fitting(slot)
	if err != nil {
		return err
	}
	length, err := c.metresFlag("length")
	if err != nil {
		return err
	}
	said := f.Position != nil || f.Depth != nil || f.Channel != ""
	switch {
	case slot == "" && (said || length == nil):
		return fault.Misuse("name the slot, or give --length for the assembly", "what is as it was built?")
	case slot != "" && (!said || length != nil):
		return fault.Misuse("give --depth, --position or --channel; --length is of the assembly", "what is known of slot %s?", slot)
	}
	return c.onAssembly(func(tx *changelog.Tx, a *assembly.Assembly) error {
		if slot == "" {
			return assembly.SetLength(tx, a, *length, c.String("why"))
		}
		return assembly.SetBuilt(tx, a, f, c.String("why"))
	}, func() { c.printf("noted; see: pulk assembly show %s\n", c.Args().First()) })
}

func (c *call) assemblyUnfit() error {
	var serial string
	return c.onAssembly(func(tx *changelog.Tx, a *assembly.Assembly) error {
		to, err := c.place(tx, "to")
		if err != nil {
			return err
		}
		u, err := assembly.Unfit(tx, a, c.Args().Get(1), to, c.String("why"))
		if u != nil {
			serial = u.Serial
		}
		return err
	}, func() { c.printf("%s is at %s; slot %s is empty\n", serial, c.String("to"), c.Args().Get(1)) })
}
