package main

import (
	"bufio"
	"errors"
	"fmt"
	"io"
	"slices"
	"strings"

	"github.com/urfave/cli/v2"

	"pulk/checklist/crew"
	"pulk/checklist/procedure"
	"pulk/checklist/run"
	"pulk/checklist/work"
	"pulk/schema/fault"
	"pulk/schema/kind"
	"pulk/sync/changelog"
)

func (e *env) runWorkCommand() *cli.Command {
	return verb{path: "pulk run work", args: "RUN", minArgs: 1, maxArgs: 1, usage: "go through the steps at the terminal", writes: true,
		about: "Shows one step at a time, its cautions first, and asks for what it takes; each answer is on disk before the next step is shown, so it can be left, cut off and taken up again anywhere. " +
			"Where the terminal allows, it uses the whole screen: ? shows its keys. With --line, in a pipe, or where TERM is dumb, it asks line by line: Enter or d for done, y or n for an answer, numbers for readings, a text or a scanned serial for records, @PERSON for another person to go on, ? for help, q to leave.",
		examples: []string{"pulk run work stn-15 --as ida", "pulk run work stn-15 --as ida --line"},
		flags:    []cli.Flag{&cli.BoolFlag{Name: "line", Usage: "ask line by line, though the terminal could do more"}},
		action:   (*call).runWork}.command(e)
}

// runWork goes through a run step by step. Each answer is a command of its own,
// on disk before the next step is shown, so it can be left or cut off anywhere.
func (c *call) runWork() error {
	if c.fullScreen() {
		return c.runScreen()
	}
	in := bufio.NewReader(c.env.stdin)
	c.env.stdin = in
	skipped, told := map[string]bool{}, map[string]bool{}
	for first := true; ; first = false {
		step, state, err := c.nextStep(skipped)
		if err != nil {
			return err
		}
		if first {
			if read, err := c.showHazards(in, state); !read || err != nil {
				return err
			}
		}
		if step == nil {
			return c.noNextStep(state)
		}
		if err := c.tellLater(told); err != nil {
			return err
		}
		warnings, err := c.warningsNow(state, step)
		if err != nil {
			return err
		}
		c.showStep(state, step, warnings)
		stop, err := c.askStep(in, step, skipped)
		if stop || err != nil {
			return err
		}
		if err := c.putOffFaulty(step, skipped); err != nil {
			return err
		}
	}
}

// showHazards shows what can hurt before anything else. At a terminal it waits until
// each screen of it is read, so that nothing scrolls away; false is for leaving.
func (c *call) showHazards(in *bufio.Reader, state *run.State) (read bool, err error) {
	rows := 0
	if c.env.terminal {
		rows = 24
		if c.env.size != nil {
			if _, n, ok := c.env.size(); ok {
				rows = max(n, 8)
			}
		}
	}
	c.printf("%s\n", state.Title)
	used := 1
	for _, h := range state.Procedure.Hazards {
		text := h.Name + ": " + h.Caution
		lines := len(wrap(text, c.env.width()-2))
		if rows > 0 && used+lines > rows-2 {
			if read, err := c.waitForReader(in); !read || err != nil {
				return false, err
			}
			used = 0
		}
		c.printBlock("! ", text)
		used += lines
	}
	if rows == 0 || len(state.Procedure.Hazards) == 0 {
		return true, nil
	}
	return c.waitForReader(in)
}

func (c *call) waitForReader(in *bufio.Reader) (read bool, err error) {
	c.printf("Enter when read> ")
	line, err := in.ReadString('\n')
	if errors.Is(err, io.EOF) || strings.TrimSpace(line) == "q" {
		c.printf("Left. Everything so far is saved.\n")
		return false, nil
	}
	return err == nil, err
}

// putOffFaulty puts a step off that an open nonconformance keeps from being done, as
// nothing more can be done at it before someone decides.
func (c *call) putOffFaulty(step *run.StepState, skipped map[string]bool) error {
	return c.view(func(tx *changelog.Tx) error {
		id, err := tx.ParseName(c.Args().First())
		if err != nil {
			return err
		}
		record, err := run.Load(tx, id)
		if err != nil {
			return err
		}
		state := run.Evaluate(record)
		if state.Steps[step.Number].Done || skipped[step.Step.ID] {
			return nil
		}
		for _, nc := range state.NCs {
			if nc.Open && nc.Entry.Step == step.Number {
				skipped[step.Step.ID] = true
				c.printBlock("", fmt.Sprintf("Step %s is put off until someone decides: pulk nc dispose %s DISPOSITION --why REASON", step.Step.ID, tx.Name(nc.Entry.Dot)))
			}
		}
		return nil
	})
}

// nextStep returns the first step that can be carried out and was not put off.
func (c *call) nextStep(skipped map[string]bool) (*run.StepState, *run.State, error) {
	var next *run.StepState
	var state *run.State
	err := c.view(func(tx *changelog.Tx) error {
		id, err := tx.ParseName(c.Args().First())
		if err != nil {
			return fault.Misuse("see: pulk run list", "%s", err)
		}
		record, err := run.Load(tx, id)
		if err != nil {
			return noRun(err)
		}
		if record.Procedure == nil {
			return fault.Hint("it comes with a bundle from the site that imported it", "the procedure of run %s is not here yet", tx.Name(id))
		}
		state = run.Evaluate(record)
		for i := range state.Steps {
			if s := &state.Steps[i]; !s.Done && len(s.Blocked) == 0 && !skipped[s.Step.ID] {
				next = s
				break
			}
		}
		return nil
	})
	return next, state, err
}

func (c *call) noNextStep(state *run.State) error {
	if state.Ended != nil {
		c.printf("The run has ended.\n")
		return nil
	}
	if state.Finished() {
		c.printf("All %d steps are done. End the run with: pulk run end %s\n", len(state.Steps), c.Args().First())
		return nil
	}
	for _, step := range state.Steps {
		if !step.Done && len(step.Blocked) > 0 {
			c.printBlock("Nothing more can be done now. ", fmt.Sprintf("Step %s: %s", step.Step.ID, strings.Join(step.Blocked, "; ")))
			return nil
		}
	}
	c.printf("Only steps that you put off are left.\n")
	return nil
}

// warningsNow says what the person who works is to heed of the weather, their rest and
// their clearances.
func (c *call) warningsNow(state *run.State, step *run.StepState) (warnings []string, err error) {
	err = c.withLog(func(log *changelog.Log) error {
		me, err := c.person(log, true)
		if err != nil {
			return err
		}
		return log.View(c.Context.Context, func(tx *changelog.Tx) error {
			warnings, err = warningsFor(tx, state, step.Number, me, c.env.now())
			return err
		})
	})
	return warnings, err
}

func (c *call) showStep(state *run.State, step *run.StepState, warnings []string) {
	c.printf("\n--- step %s, %d of %d ---\n", step.Step.ID, step.Number+1, len(state.Steps))
	for _, caution := range step.Step.Cautions {
		c.printBlock("! CAUTION: ", caution)
	}
	for _, warning := range warnings {
		c.printBlock("! ", warning)
	}
	if step.Step.Irreversible {
		c.printf("! THIS CANNOT BE UNDONE.\n")
	}
	c.printBlock("", step.Step.Text)
	if line := stepAsksNow(state, step.Number); line != "" {
		c.printBlock("  = ", line)
	}
	if step.Gate != nil {
		for _, reason := range step.Gate.Shut {
			c.printBlock("  ", reason)
		}
	}
}

const workHelp = `At a terminal single keys need no Enter.
Enter or d: done      y, n: yes, no (a no asks what is seen)
a number: a reading   any text: what is to be recorded, typed or scanned
0.55 GOhm with TST-3: a reading in another unit, and the instrument
g, s: sign go, stop   p: put this step off for now
@mirre: go on as mirre, for the steps of another role
q: leave; everything so far is saved`

// askStep asks for one step's answer until it is taken. It returns true to leave.
func (c *call) askStep(in *bufio.Reader, step *run.StepState, skipped map[string]bool) (bool, error) {
	for {
		c.printf("%s> ", prompt(step.Step))
		answer, err := c.readAnswer(in, step.Step)
		if errors.Is(err, io.EOF) && answer == "" || answer == interrupted {
			c.printf("\nLeft. Everything so far is saved.\n")
			return true, nil
		}
		if err != nil && !errors.Is(err, io.EOF) {
			return true, err
		}
		switch answer {
		case "q":
			c.printf("Left. Everything so far is saved.\n")
			return true, nil
		case "?":
			c.printf("%s\n", workHelp)
			continue
		case "p":
			skipped[step.Step.ID] = true
			return false, nil
		}
		if code, other := strings.CutPrefix(answer, "@"); other {
			c.goOnAs(code)
			continue
		}
		err = c.answerStep(in, step, answer)
		var refused *fault.Refused
		var usage *fault.Usage
		var hinted *fault.Hinted
		switch {
		case err == nil:
			return false, nil
		case errors.As(err, &refused):
			c.printBlock("refused: ", refused.Error())
			c.printBlock("hint: ", refused.Hint)
		case errors.As(err, &usage):
			c.printBlock("", usage.What+" ("+usage.Hint+")")
		case errors.As(err, &hinted):
			c.printBlock("", hinted.Error()+" ("+hinted.Hint+")")
		default:
			return true, err
		}
	}
}

// goOnAs lets another person answer from here on: a laptop in a hut is shared.
func (c *call) goOnAs(code string) {
	err := c.view(func(tx *changelog.Tx) error {
		_, err := crew.ByCode(tx, code)
		return err
	})
	if err == nil {
		err = c.Set("as", code)
	}
	if err != nil {
		c.printf("%s\n", err)
		return
	}
	c.printf("Now %s answers.\n", code)
}

// readAnswer reads a single key where a key answers the step and there is a
// keyboard, else a line.
func (c *call) readAnswer(in *bufio.Reader, step *procedure.Step) (string, error) {
	takesText := step.Kind == procedure.KindReading || step.Kind == procedure.KindRecord
	if takesText || c.env.keyboard == nil {
		line, err := in.ReadString('\n')
		return strings.TrimSpace(line), err
	}
	key, err := readKey(c.env.keyboard)
	if key == "@" { // a person's code follows
		c.printf("%s", key)
		line, err := in.ReadString('\n')
		return key + strings.TrimSpace(line), err
	}
	if key != interrupted {
		c.printf("%s\n", key)
	}
	return key, err
}

func prompt(step *procedure.Step) string {
	switch step.Kind {
	case procedure.KindConfirm:
		return "y/n"
	case procedure.KindReading:
		return step.Reading.Unit
	case procedure.KindRecord:
		return step.Record.What
	case procedure.KindHold, procedure.KindWitness:
		return "g/s/p"
	case procedure.KindWait:
		return "Enter"
	}
	return "done?"
}

// answerStep carries out one step as answered, in a transaction of its own.
func (c *call) answerStep(in *bufio.Reader, step *run.StepState, answer string) error {
	tap := work.Tap{Step: step.Step.ID, Text: answer, Shown: work.Shown(step.Step), Read: true} // cautions stand before the prompt
	switch step.Step.Kind {
	case procedure.KindHold, procedure.KindWitness:
		return c.answerGate(step.Step.ID, answer)
	case procedure.KindConfirm:
		tap.Act = work.Yes
		if answer == "n" {
			c.printf("what is seen instead> ")
			line, _ := in.ReadString('\n')
			tap.Act, tap.Text = work.No, line
		} else if answer != "y" {
			return fault.Misuse("y or n", "%q is no answer", answer)
		}
	case procedure.KindReading:
		tap.Act = work.Read
	case procedure.KindRecord:
		tap.Act = work.Write
	default:
		if answer != "" && answer != "d" {
			return fault.Misuse("Enter or d when it is done; ? for help", "%q is no answer", answer)
		}
		tap.Act = work.Done
		if step.Step.Kind == procedure.KindWait {
			tap.Act = work.Begin
			if slices.ContainsFunc(step.Entries, func(e *run.Entry) bool { return e.Kind == kind.StepBegin }) {
				tap.Act = work.Over
			}
		}
	}
	var said string
	return c.write(func(tx *changelog.Tx, me *crew.Person) error {
		doing, err := onRun(tx, me, c.Args().First())
		if err != nil {
			return err
		}
		said, err = act(tx, doing, tap, nil)
		return err
	}, func() {
		for line := range strings.Lines(said) {
			c.printBlock("", line)
		}
	})
}

func (c *call) answerGate(id, answer string) error {
	switch answer {
	case "g":
		return c.sign(c.Args().First(), id, run.Go)
	case "s":
		return c.sign(c.Args().First(), id, run.Stop)
	}
	return fault.Misuse("g to sign go, s to sign stop, p to put it off", "%q is no answer", answer)
}
