package main

import (
	"errors"
	"fmt"
	"slices"
	"strings"

	"github.com/urfave/cli/v2"

	"pulk/checklist/crew"
	"pulk/checklist/procedure"
	"pulk/checklist/run"
	"pulk/schema/fault"
	"pulk/schema/kind"
	"pulk/sync/changelog"
	"pulk/sync/clock"
)

func (e *env) runCommand() *cli.Command {
	why := &cli.StringFlag{Name: "why", Usage: "the `REASON`"}
	return group("run", "carry out a procedure: check off, read, record, sign",
		verb{path: "pulk run start", args: "PROCEDURE[@REVISION]", minArgs: 1, maxArgs: 1, usage: "start a run", writes: true,
			about:    "The run stays on the revision that it starts with, until it is moved: pulk run move.",
			examples: []string{"pulk run start module-acceptance --target SM3-0107 --as oskar", `pulk run start borehole-lowering@C --at drill-hut --title "Hole 3" --as ida`},
			flags: []cli.Flag{&cli.StringFlag{Name: "target", Usage: "`SERIAL` of the unit it is carried out on"},
				&cli.StringFlag{Name: "at", Usage: "`LOCATION` code"}, &cli.StringFlag{Name: "title", Usage: "`TITLE` of this run (else the procedure's)"}},
			action: (*call).runStart}.command(e),
		verb{path: "pulk run list", usage: "the runs and how far they are", reads: true,
			flags: []cli.Flag{&cli.BoolFlag{Name: "all", Usage: "also those that have ended"}}, action: (*call).runList}.command(e),
		verb{path: "pulk run show", args: "RUN", minArgs: 1, maxArgs: 1, usage: "every step, its entries, and why a gate is shut", reads: true, action: (*call).runShow}.command(e),
		verb{path: "pulk run check", args: "RUN STEP [VALUE…]", minArgs: 2, maxArgs: -1, usage: "carry out one step", writes: true,
			about: "A do or confirm step takes no value; a reading takes one number or several, in the step's unit or with another unit of its dimension behind each; a record step takes the text or serial; a waiting step starts its clock the first time and is done the second time. " +
				"A reading outside its limits opens a nonconformance by itself. One taken with an instrument out of calibration is kept and does not count.",
			examples: []string{"pulk run check stn-41 30 --as ida", "pulk run check stn-41 120 4.35 --as ida",
				"pulk run check stn-41 140 0.55 0.61 0.58 --unit GOhm --with TST-0031 --as ida", `pulk run check stn-41 50 --no "frost on the seal" --as ida`},
			flags: []cli.Flag{&cli.StringFlag{Name: "no", Usage: "answer a confirm step with no: `WHAT` is seen instead"},
				&cli.StringFlag{Name: "unit", Usage: "the `UNIT` that the values are typed in, by its UCUM code"},
				&cli.StringFlag{Name: "with", Usage: "`SERIAL` of the instrument that they were read with"},
				&cli.BoolFlag{Name: "again", Usage: "take another reading at a step that is done"}},
			action: (*call).runCheck}.command(e),
		e.runWorkCommand(),
		e.runPageCommand(),
		e.runSheetCommand(), e.runTranscribeCommand(),
		verb{path: "pulk run sign", args: "RUN STEP go|stop", minArgs: 3, maxArgs: 3, usage: "sign a hold point or witness point", writes: true,
			about:    "Signs with your own key, on the evidence that this store has now. A go is refused while anything is open; a stop is always taken.",
			examples: []string{"pulk run sign home-212 190 go --as lena"}, action: (*call).runSign}.command(e),
		verb{path: "pulk run void", args: "ENTRY…", minArgs: 1, maxArgs: -1, usage: "say that an entry is not to be relied on", writes: true,
			about: "Nothing is erased. Sign-offs that stood on the entry fall, and the step is open again. Of several entries all are voided, or none.", flags: []cli.Flag{why},
			examples: []string{`pulk run void stn-88 --why "wrong module was clamped" --as ida`}, action: (*call).runVoid}.command(e),
		verb{path: "pulk run note", args: "RUN TEXT", minArgs: 2, maxArgs: -1, usage: "write down a remark", writes: true,
			flags: []cli.Flag{&cli.StringFlag{Name: "step", Usage: "the `STEP` it is about"}}, action: (*call).runNote}.command(e),
		verb{path: "pulk run owner", args: "RUN PERSON", minArgs: 2, maxArgs: 2, usage: "say who looks after a run, or one step of it", writes: true,
			flags: []cli.Flag{&cli.StringFlag{Name: "step", Usage: "one `STEP` only"}, why}, action: (*call).runOwner}.command(e),
		runMoveVerb().command(e),
		runStayVerb().command(e),
		verb{path: "pulk run end", args: "RUN", minArgs: 1, maxArgs: 1, usage: "end a run that is finished, or abandon it", writes: true,
			flags: []cli.Flag{&cli.BoolFlag{Name: "abandon", Usage: "end it though steps are open"}, why}, action: (*call).runEnd}.command(e),
	)
}

// onRun opens a run for an action.
func onRun(tx *changelog.Tx, me *crew.Person, name string) (*run.Doing, error) {
	id, err := tx.ParseName(name)
	if err != nil {
		return nil, fault.Misuse("see: pulk run list", "%s", err)
	}
	doing, err := run.Open(tx, me, id)
	return doing, noRun(err)
}

// noRun says where to look when a run is not here.
func noRun(err error) error {
	if errors.Is(err, run.ErrNotHere) {
		return fault.Hint("see: pulk run list; if the name is right, its start comes with another bundle", "%w", err)
	}
	return err
}

func (c *call) runStart() error {
	var said, note string
	return c.write(func(tx *changelog.Tx, _ *crew.Person) error {
		revision, err := procedure.Find(tx, c.Args().First())
		if err != nil {
			return err
		}
		var target, location clock.Dot
		if serial := c.String("target"); serial != "" {
			if target, err = findUnit(tx, serial); err != nil {
				return err
			}
		}
		if code := c.String("at"); code != "" {
			if location, err = findLocation(tx, code); err != nil {
				return err
			}
		}
		if note, err = slotsOfNothing(tx, revision, target); err != nil {
			return err
		}
		id, err := run.Start(tx, revision, target, location, c.String("title"))
		said = fmt.Sprintf("run %s of %s revision %s", tx.Name(id), revision.Procedure, revision.Revision)
		return err
	}, func() {
		c.printf("started %s\n", said)
		if note != "" {
			c.printf("%s\n", note)
		}
		c.printf("next: pulk run work %s\n", strings.Fields(said)[1])
	})
}

// check is what pulk run check and pulk run work have in common: it carries out
// one step and returns what to say.
func check(tx *changelog.Tx, doing *run.Doing, n int, values []string, no string) (string, error) {
	step := doing.Steps[n].Step
	if no != "" {
		return fmt.Sprintf("step %s: no. A nonconformance is open and shuts the gates of this run", step.ID), doing.AnswerNo(n, no)
	}
	switch step.Kind {
	case procedure.KindReading:
		return checkReading(tx, doing, n, values)
	case procedure.KindRecord:
		text := strings.Join(values, " ")
		unit, err := unitToRecord(tx, step, text)
		if err != nil {
			return "", err
		}
		if err := doing.Write(n, text, unit); err != nil {
			return "", err
		}
		in, err := fitScanned(tx, doing, n, unit)
		return fmt.Sprintf("step %s: recorded %s%s", step.ID, text, in), err
	}
	if len(values) > 0 {
		return "", fault.Misuse("leave the value away", "step %s is a %s step and takes no value", step.ID, step.Kind)
	}
	if step.Kind == procedure.KindWait {
		ends, over, err := doing.Wait(n)
		if over {
			return fmt.Sprintf("step %s: done, the time is over", step.ID), err
		}
		return fmt.Sprintf("step %s: waiting until %s, then check it again", step.ID, ends.Format("2006-01-02 15:04:05Z")), err
	}
	said := fmt.Sprintf("step %s: done", step.ID)
	for _, nc := range doing.NCs {
		if nc.Open && nc.Entry.Step == n {
			said = fmt.Sprintf("step %s: noted; it counts as done when nonconformance %s is decided", step.ID, tx.Name(nc.Entry.Dot))
		}
	}
	return said, doing.Check(n)
}

func (c *call) runCheck() error {
	var said string
	return c.write(func(tx *changelog.Tx, me *crew.Person) error {
		doing, err := onRun(tx, me, c.Args().Get(0))
		if err != nil {
			return err
		}
		n, err := doing.Number(c.Args().Get(1))
		if err != nil {
			return err
		}
		if kind := doing.Steps[n].Step.Kind; kind != procedure.KindReading && (c.IsSet("unit") || c.IsSet("with")) {
			return fault.Misuse("leave --unit and --with away", "step %s is a %s step and is not measured", doing.Steps[n].Step.ID, kind)
		}
		doing.Again = c.Bool("again")
		said, err = check(tx, doing, n, c.readingWords(doing.Steps[n].Step), c.String("no"))
		return err
	}, func() { c.say(said) })
}

// readingWords returns what was typed behind the step, with what --unit and --with
// add to a reading.
func (c *call) readingWords(step *procedure.Step) []string {
	words := c.Args().Slice()[2:]
	if step.Kind != procedure.KindReading {
		return words
	}
	if code := c.String("unit"); code != "" {
		var with []string
		for _, word := range words {
			with = append(with, word, code)
		}
		words = with
	}
	if serial := c.String("with"); serial != "" {
		words = append(words, "with", serial)
	}
	return words
}

func (c *call) runSign() error {
	verdict := run.Go
	switch c.Args().Get(2) {
	case "go":
	case "stop":
		verdict = run.Stop
	default:
		return fault.Misuse("sign go or stop", "%q is no verdict", c.Args().Get(2))
	}
	return c.sign(c.Args().Get(0), c.Args().Get(1), verdict)
}

// sign signs a hold or witness point. The passphrase is asked before the store is
// locked, so that nobody else has to wait for it.
func (c *call) sign(runName, stepID string, verdict run.Verdict) error {
	if verdict == run.Go {
		if err := c.showRisks(runName, stepID); err != nil {
			return err
		}
	}
	signer, err := c.unlock()
	if err != nil {
		return err
	}
	return c.write(func(tx *changelog.Tx, me *crew.Person) error {
		doing, err := onRun(tx, me, runName)
		if err != nil {
			return err
		}
		n, err := doing.Number(stepID)
		if err != nil {
			return err
		}
		return doing.Sign(n, verdict, signer)
	}, func() { c.printf("step %s of run %s: signed %s\n", stepID, runName, verdict) })
}

// showRisks shows the conditional passes before a gate, whose risk a go takes, before
// the passphrase is asked.
func (c *call) showRisks(runName, stepID string) error {
	return c.view(func(tx *changelog.Tx) error {
		id, err := tx.ParseName(runName)
		if err != nil {
			return fault.Misuse("see: pulk run list", "%s", err)
		}
		record, err := run.Load(tx, id)
		if err != nil {
			return noRun(err)
		}
		s := run.Evaluate(record)
		if n, ok := s.StepByID(stepID); ok && s.Steps[n].Gate != nil {
			for _, risk := range risksOf(tx, s, s.Steps[n].Gate) {
				fmt.Fprintf(c.env.stderr, "! a go takes the risk of %s\n", risk)
			}
		}
		return nil
	})
}

func (c *call) runVoid() error {
	var said []string
	return c.write(func(tx *changelog.Tx, me *crew.Person) error {
		names := slices.Sorted(slices.Values(c.Args().Slice()))
		for _, name := range slices.Compact(names) {
			id, about, err := entryOfRun(tx, name)
			if err != nil {
				return err
			}
			doing, err := run.Open(tx, me, about)
			if err != nil {
				return err
			}
			line, err := voidEntry(tx, doing, id, c.String("why"))
			if err != nil {
				return err
			}
			said = append(said, line)
		}
		return nil
	}, func() { c.say(strings.Join(said, "\n")) })
}

func (c *call) runNote() error {
	text := strings.Join(c.Args().Tail(), " ")
	return c.write(func(tx *changelog.Tx, me *crew.Person) error {
		doing, err := onRun(tx, me, c.Args().First())
		if err != nil {
			return err
		}
		n := run.NoStep
		if id := c.String("step"); id != "" {
			if n, err = doing.Number(id); err != nil {
				return err
			}
		}
		return doing.Note(n, text)
	}, func() { c.printf("noted\n") })
}

func (c *call) runOwner() error {
	return c.write(func(tx *changelog.Tx, me *crew.Person) error {
		doing, err := onRun(tx, me, c.Args().First())
		if err != nil {
			return err
		}
		owner, err := crew.ByCode(tx, c.Args().Get(1))
		if err != nil {
			return err
		}
		step := c.String("step")
		if step != "" {
			if _, err := doing.Number(step); err != nil {
				return err
			}
		}
		tx.AssignRef(doing.Run, kind.FieldRunOwner, step, owner.ID, c.String("why"))
		return nil
	}, func() { c.printf("%s looks after it\n", c.Args().Get(1)) })
}

func (c *call) runEnd() error {
	var freed string
	return c.write(func(tx *changelog.Tx, me *crew.Person) error {
		doing, err := onRun(tx, me, c.Args().First())
		if err != nil {
			return err
		}
		freed, err = endRun(tx, doing, c.Bool("abandon"), c.String("why"))
		return err
	}, func() {
		c.printf("run %s has ended\n", c.Args().First())
		if freed != "" {
			c.printBlock("", freed)
		}
	})
}

// unlock asks for the passphrase of the acting person's key.
func (c *call) unlock() (run.Signer, error) {
	var key crew.Key
	var locked []byte
	err := c.withLog(func(log *changelog.Log) error {
		me, err := c.person(log, true)
		if err != nil {
			return err
		}
		return log.View(c.Context.Context, func(tx *changelog.Tx) error {
			key, locked, err = secretOf(tx, me)
			return err
		})
	})
	if err != nil {
		return run.Signer{}, err
	}
	passphrase, err := c.passphrase("Passphrase", false)
	if err != nil {
		return run.Signer{}, err
	}
	private, err := crew.Unlock(locked, passphrase)
	if err != nil {
		return run.Signer{}, fault.Hint("nothing was signed; try again", "%w", err)
	}
	return run.Signer{Key: key.ID, Sign: signWith(private)}, nil
}
