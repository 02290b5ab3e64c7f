package main

import (
	"errors"
	"fmt"
	"strings"
	"time"

	"github.com/urfave/cli/v2"

	"pulk/checklist/crew"
	"pulk/checklist/filled"
	"pulk/checklist/procedure"
	"pulk/checklist/run"
	"pulk/schema/fault"
	"pulk/sync/changelog"
)

func (e *env) runTranscribeCommand() *cli.Command {
	return verb{path: "pulk run transcribe", args: "RUN", minArgs: 1, maxArgs: 1, usage: "take a filled-in sheet of paper in", writes: true,
		about: "Asks for each step that is not done what stands on the sheet: Enter where it is done, a value for a reading, - where nothing stands there; ? shows the rest. " +
			"With --from a table is taken in, with the columns step,answer,written_by,written_at,why. All of it is written at the end, or nothing. " +
			"RUN may be the text of the code on the sheet. Every entry keeps who wrote it on paper and when, beside who typed it. " +
			"A signature on paper is kept as a note: the gate opens when it is signed here. " +
			"What was done on paper against a rule of the work is taken in only with the reason, and shown as a conflict. What is on record already is not taken twice.",
		examples: []string{"pulk run transcribe stn-41 --as ida", "pulk run transcribe 'pulk1 run stn-41 power-up@A' --as ida",
			"pulk run transcribe stn-41 --from sheet.csv --by mirre --at 2027-01-05 --as ida"},
		flags: []cli.Flag{&cli.StringFlag{Name: "from", Usage: "`FILE` with a table of the answers"},
			&cli.StringFlag{Name: "by", Usage: "`WHO` wrote on the sheet, where a line does not say: a code, or first and last name"},
			&cli.StringFlag{Name: "at", Usage: "`WHEN` in UTC, where a line does not say: 2027-01-05 or \"2027-01-05 06:40\""},
			&cli.StringFlag{Name: "why", Usage: "the `REASON`, where something was done against a rule of the work"}},
		action: (*call).runTranscribe}.command(e)
}

// paperLine is a line of a sheet as it was typed.
type paperLine struct {
	step, answer, by, at, why string
}

// sheetLine is a line of a sheet as it is understood.
type sheetLine struct {
	n      int // of the step
	paper  run.Paper
	answer filled.Answer
}

// sheetTaken is what became of the lines of a sheet.
type sheetTaken struct {
	doing                  *run.Doing // the run with them
	said                   []string
	taken, there, leftOpen int
	against                bool // something was done against a rule of the work
}

func (c *call) runTranscribe() error {
	if c.String("from") != "" {
		return c.transcribeFile()
	}
	return c.transcribeLines()
}

// sheetRun opens the run that a sheet is of. Where its code was scanned the revision
// must be that of the run.
func (c *call) sheetRun(tx *changelog.Tx, me *crew.Person) (*run.Doing, error) {
	name := strings.TrimSpace(c.Args().First())
	if !filled.IsCode(name) {
		return onRun(tx, me, name)
	}
	code, err := filled.ParseCode(name)
	if err != nil {
		return nil, fault.Misuse("scan it again, or type the run's id", "%s", err)
	}
	if code.Run == "" {
		return nil, fault.Misuse("start a run first: pulk run start "+code.Procedure+"@"+code.Revision+"; then name the run", "the sheet is of a procedure, of no run")
	}
	doing, err := onRun(tx, me, code.Run)
	if err != nil {
		return nil, err
	}
	if p := doing.Procedure; p.ID != code.Procedure || p.Revision != code.Revision {
		return nil, fault.Refuse("its steps or limits may be other ones: print the run's sheet anew, and copy by hand what is the same",
			"the sheet is of %s revision %s, and run %s is of %s revision %s", code.Procedure, code.Revision, code.Run, p.ID, p.Revision)
	}
	return doing, nil
}

// understand reads the lines of a sheet, and tells all that is wrong with them.
func (c *call) understand(tx *changelog.Tx, doing *run.Doing, typed []paperLine) ([]sheetLine, error) {
	var lines []sheetLine
	var wrong []error
	last := paperLine{by: c.String("by"), at: c.String("at"), why: c.String("why")}
	for _, t := range typed {
		line, err := understandLine(tx, doing, t, &last, c.env.now())
		if err != nil {
			wrong = append(wrong, err)
		}
		lines = append(lines, line)
	}
	if len(wrong) == 1 {
		return nil, wrong[0]
	}
	return lines, errors.Join(wrong...)
}

func understandLine(tx *changelog.Tx, doing *run.Doing, t paperLine, last *paperLine, now time.Time) (sheetLine, error) {
	var line sheetLine
	n, err := doing.Number(t.step)
	if err != nil {
		return line, err
	}
	line.n = n
	step := doing.Steps[n].Step
	if line.paper.Written, err = writtenAt(t.at, last, now); err != nil {
		return line, fault.Misuse("times on a sheet are in UTC", "step %s: %s", t.step, err)
	}
	if line.answer, err = filled.ParseAnswer(step, t.answer, filled.When(line.paper.Written.Day())); err != nil || line.answer.Blank {
		return line, asMisuse(err)
	}
	if line.paper.Why = t.why; t.why == "" {
		line.paper.Why = last.why
	}
	line.paper.Answer = line.answer.String()
	if line.answer.Until != "" {
		line.paper.Written = line.answer.Until
	}
	by := t.by
	switch gate := isGateKind(step.Kind); {
	case by == "" && gate:
		return line, fault.Misuse("name the one who signed", "step %s: who signed it on paper?", t.step)
	case by == "":
		by = last.by
	case !gate:
		last.by = by
	}
	if err := writerOf(tx, by, &line.paper); err != nil {
		return line, fault.Misuse("see: pulk person list; of somebody else write first and last name", "step %s: %s", t.step, err)
	}
	return line, nil
}

// asMisuse makes wrong use of an error, and nothing of none.
func asMisuse(err error) error {
	if err == nil {
		return nil
	}
	return fault.Misuse("see: pulk run transcribe --help", "%s", err)
}

// writtenAt reads when a line was written; the day goes on from line to line, and
// where a line says nothing, so does the time.
func writtenAt(text string, last *paperLine, now time.Time) (filled.When, error) {
	if text == "" {
		text = last.at
	}
	if text == "" {
		return "", nil
	}
	base, _ := filled.ParseWhen(last.at, "")
	at, err := filled.ParseWhen(text, base)
	if err != nil {
		return "", err
	}
	const skew = 5 * time.Minute
	if t, ok := at.Time(); ok && t.After(now.Add(skew)) {
		return "", fmt.Errorf("the sheet says %s, which is later than now (%s): is it local time, or is this computer's clock wrong?", at, now.UTC().Format("2006-01-02 15:04Z"))
	}
	last.at = string(at)
	return at, nil
}

// writerOf fills in who wrote: a person by code, or somebody by first and last name.
func writerOf(tx *changelog.Tx, by string, p *run.Paper) error {
	if by == "" {
		return fault.Misuse("say it with --by, or in the line", "who wrote on the sheet?")
	}
	if strings.Contains(by, " ") {
		p.Name = by
		return nil
	}
	person, err := crew.ByCode(tx, by)
	if err != nil {
		return fault.Misuse("see: pulk person list; of somebody else write first and last name", "%s", err)
	}
	p.Writer = person.ID
	return nil
}

// takeSheet takes the lines of a sheet in.
func (c *call) takeSheet(tx *changelog.Tx, me *crew.Person, typed []paperLine) (*sheetTaken, error) {
	doing, err := c.sheetRun(tx, me)
	if err != nil {
		return nil, err
	}
	lines, err := c.understand(tx, doing, typed)
	if err != nil {
		return nil, err
	}
	all := &sheetTaken{doing: doing}
	for _, line := range lines {
		if line.answer.Blank {
			all.leftOpen++
			continue
		}
		said, taken, err := takeLine(tx, doing, line)
		if err != nil {
			return nil, err
		}
		if taken {
			all.taken++
		} else {
			all.there++
			said = fmt.Sprintf("step %s: on record already", doing.Steps[line.n].Step.ID)
		}
		all.said = append(all.said, said)
		all.against = all.against || taken && line.paper.Why != ""
	}
	return all, nil
}

func takeLine(tx *changelog.Tx, doing *run.Doing, line sheetLine) (said string, taken bool, err error) {
	step := doing.Steps[line.n].Step
	taken, err = doing.FromPaper(line.n, line.paper, func() error {
		var err error
		switch {
		case line.answer.Verdict != "":
			said, err = takeSignature(tx, doing, line)
		case step.Kind == procedure.KindWait:
			said = fmt.Sprintf("step %s: waited from %s until %s", step.ID, line.answer.From, line.answer.Until)
			err = doing.WaitedOnPaper(line.n, line.answer.From, line.answer.Until)
		default:
			values := line.answer.Values
			if line.answer.Text != "" {
				values = []string{line.answer.Text}
			}
			said, err = check(tx, doing, line.n, values, line.answer.No)
		}
		return err
	})
	return said, taken, err
}

func takeSignature(tx *changelog.Tx, doing *run.Doing, line sheetLine) (string, error) {
	step, who := doing.Steps[line.n].Step, line.paper.Name
	if !line.paper.Writer.IsZero() {
		var err error
		if who, err = crew.Label(tx, line.paper.Writer); err != nil {
			return "", err
		}
	}
	if line.answer.Verdict == run.Stop.String() {
		return fmt.Sprintf("step %s: stop by %s. A nonconformance is open and shuts the gates of this run", step.ID, who), doing.SignedOnPaper(line.n, run.Stop, line.paper)
	}
	return fmt.Sprintf("step %s: go by %s is noted; the gate opens when it is signed here: pulk run sign %s %s go", step.ID, who, tx.Name(doing.Run), step.ID),
		doing.SignedOnPaper(line.n, run.Go, line.paper)
}

// printLines prints lines, each wrapped.
func (c *call) printLines(text string) {
	for line := range strings.Lines(text) {
		c.printBlock("", line)
	}
}

// saySheet says what became of a sheet.
func (c *call) saySheet(all *sheetTaken) {
	c.printf("%s taken in from paper", plural(all.taken, "answer", "answers"))
	if all.there > 0 {
		c.printf(", %d on record already", all.there)
	}
	if all.leftOpen > 0 {
		c.printf(", %s left open", plural(all.leftOpen, "step", "steps"))
	}
	c.printf("\n")
}
