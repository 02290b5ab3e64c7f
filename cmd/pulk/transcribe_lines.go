package main

import (
	"bufio"
	"errors"
	"fmt"
	"io"
	"strings"

	"pulk/checklist/crew"
	"pulk/checklist/filled"
	"pulk/checklist/procedure"
	"pulk/checklist/run"
	"pulk/schema/fault"
	"pulk/sync/changelog"
)

// typing is a sheet being typed in at the keyboard, step by step. Each line is tried
// on the store as it is typed, and all of them are written at the end.
type typing struct {
	c     *call
	in    *bufio.Reader
	steps []*procedure.Step // that are not done
	need  map[string]int    // signatures that a gate lacks
	at    int               // of the step that is asked
	lines []paperLine
	by    string // who wrote what comes next
	when  string
}

const typingHelp = `Enter: it is done, or yes     -: nothing stands there, it was not done
no: WHAT IS SEEN              4.35 4.36 with TOL-17: readings, and the instrument's serial
any text: what was recorded
06:40-07:05: a wait           go CODE 06:40, stop CODE 06:40: a signature
@CODE, @06:40, @CODE 06:40: who wrote this and what follows, and when (also behind an answer)
<: the step before once more  .: nothing stands at the rest   q: leave, nothing is written`

var (
	errLeft  = errors.New("left")
	errTried = errors.New("tried")
)

// transcribeLines takes a sheet in at the keyboard.
func (c *call) transcribeLines() error {
	t := &typing{c: c, in: bufio.NewReader(c.env.stdin), by: c.String("by"), when: c.String("at"), need: map[string]int{}}
	err := t.all()
	switch {
	case errors.Is(err, errLeft):
		c.printf("Left. Nothing was written.\n")
		return nil
	case errors.Is(err, io.EOF):
		return fault.Hint("answer y at the end to write it", "the input ended; nothing was written")
	}
	return err
}

func (t *typing) all() error {
	if err := t.open(); err != nil {
		return err
	}
	if len(t.steps) == 0 {
		t.c.printf("Every step is done: there is nothing to take in.\n")
		return nil
	}
	if err := t.askWho(); err != nil {
		return err
	}
	for {
		for t.at < len(t.steps) {
			if err := t.ask(t.steps[t.at]); err != nil {
				return err
			}
		}
		if again, err := t.write(); err != nil || !again {
			return err
		}
	}
}

// open reads which steps are to be asked.
func (t *typing) open() error {
	return t.trial(func(tx *changelog.Tx, me *crew.Person) error {
		doing, err := t.c.sheetRun(tx, me)
		if err != nil {
			return err
		}
		done := 0
		for i := range doing.Steps {
			step := &doing.Steps[i]
			if step.Done {
				done++
				continue
			}
			t.steps = append(t.steps, step.Step)
			if step.Gate != nil {
				t.need[step.Step.ID] = step.Gate.Need - step.Gate.Have
			}
		}
		t.c.printf("%s\n%s revision %s: %d of %d steps are done and not asked. ? for help.\n", doing.Title, doing.Procedure.ID, doing.Procedure.Revision, done, len(doing.Steps))
		return nil
	})
}

// trial does something on the store and takes it back.
func (t *typing) trial(fn func(*changelog.Tx, *crew.Person) error) error {
	err := t.c.write(func(tx *changelog.Tx, me *crew.Person) error {
		if err := fn(tx, me); err != nil {
			return err
		}
		return errTried
	}, nil)
	if errors.Is(err, errTried) {
		return nil
	}
	return err
}

// line asks for a line. What it returns has no spaces around it.
func (t *typing) line(prompt string) (string, error) {
	fmt.Fprintf(t.c.env.stdout, "%s> ", prompt)
	text, err := t.in.ReadString('\n')
	if text = strings.TrimSpace(text); text == "q" {
		return "", errLeft
	}
	if err != nil && text != "" {
		err = nil
	}
	return text, err
}

// askWho asks once who wrote on the sheet, and when.
func (t *typing) askWho() error {
	for t.by == "" {
		text, err := t.line("who wrote on it (a code, or first and last name)")
		if err != nil {
			return err
		}
		t.set(text, "")
	}
	for t.when == "" {
		text, err := t.line("date on it, in UTC (Enter: today)")
		if err != nil {
			return err
		}
		if text == "" {
			text = t.c.env.now().UTC().Format("2006-01-02")
		}
		t.set("", text)
	}
	return nil
}

// set takes over who writes and when, each where it is given and right.
func (t *typing) set(by, when string) bool {
	err := t.trial(func(tx *changelog.Tx, _ *crew.Person) error {
		if by != "" {
			if err := writerOf(tx, by, new(run.Paper)); err != nil {
				return err
			}
		}
		last := paperLine{at: t.when}
		if when != "" {
			at, err := writtenAt(when, &last, t.c.env.now())
			if err != nil {
				return fault.Misuse("times on a sheet are in UTC", "%s", err)
			}
			when = string(at)
		}
		return nil
	})
	if err != nil {
		t.say(err)
		return false
	}
	if by != "" {
		t.by = by
	}
	if when != "" {
		t.when = when
	}
	return true
}

// say tells what is wrong and what to do.
func (t *typing) say(err error) {
	var refused *fault.Refused
	var usage *fault.Usage
	var hinted *fault.Hinted
	switch {
	case errors.As(err, &refused):
		t.c.printBlock("refused: ", refused.Error())
	case errors.As(err, &usage):
		t.c.printBlock("", usage.What+" ("+usage.Hint+")")
	case errors.As(err, &hinted):
		t.c.printBlock("", hinted.Error()+" ("+hinted.Hint+")")
	default:
		t.c.printBlock("", err.Error())
	}
}

// ask asks for one step until an answer is taken.
func (t *typing) ask(step *procedure.Step) error {
	t.c.printf("\n%s\n", clipText(step.ID+"  "+step.Text, t.c.env.width()))
	prompt, err := t.prompt(step)
	if err != nil {
		return err
	}
	for {
		text, err := t.line(prompt)
		if err != nil {
			return err
		}
		switch text {
		case "?":
			t.c.say(typingHelp)
			continue
		case "-":
			t.at++
			return nil
		case ".":
			t.at = len(t.steps)
			return nil
		case "<":
			t.back()
			return nil
		}
		if who, ok := strings.CutPrefix(text, "@"); ok {
			t.set(splitWho(who))
			continue
		}
		line, ok := t.understand(step, text)
		if !ok {
			continue
		}
		taken, err := t.try(line)
		if err != nil {
			return err
		}
		if taken && t.complete(step) {
			t.at++
			return nil
		}
	}
}

// back goes to the step before, and forgets what was typed there.
func (t *typing) back() {
	t.at = max(t.at-1, 0)
	id := t.steps[t.at].ID
	for len(t.lines) > 0 && t.lines[len(t.lines)-1].step == id {
		t.lines = t.lines[:len(t.lines)-1]
	}
}

// complete reports whether nothing more can stand at a step; a gate takes as many
// signatures as it needs.
func (t *typing) complete(step *procedure.Step) bool {
	have := 0
	for _, l := range t.lines {
		if l.step == step.ID {
			have++
		}
	}
	return have >= max(1, t.need[step.ID])
}

// prompt says what is asked at a step, with limits as they follow from what was typed.
func (t *typing) prompt(step *procedure.Step) (string, error) {
	if step.Reading == nil || step.Reading.Computed == nil {
		return typingPrompt(step), nil
	}
	text := ""
	err := t.trial(func(tx *changelog.Tx, me *crew.Person) error {
		all, err := t.c.takeSheet(tx, me, t.lines)
		if err != nil {
			return err
		}
		n, err := all.doing.Number(step.ID)
		if err != nil {
			return err
		}
		b := all.doing.Bounds(n)
		text = step.Reading.Quantity + ", " + b.In(step.Reading.Unit)
		if b.Why != "" {
			text = fmt.Sprintf("%s, in %s, limits not known: %s", step.Reading.Quantity, step.Reading.Unit, b.Why)
		}
		return nil
	})
	return text, err
}

// typingPrompt says what is asked at a step whose limits are not worked out.
func typingPrompt(step *procedure.Step) string {
	switch step.Kind {
	case procedure.KindConfirm:
		return "yes"
	case procedure.KindReading:
		r := step.Reading
		return r.Quantity + ", " + r.Limits.In(r.Unit)
	case procedure.KindRecord:
		return step.Record.Label
	case procedure.KindWait:
		return fmt.Sprintf("from-until, at least %d min", step.WaitMinutes)
	case procedure.KindHold, procedure.KindWitness:
		return "go or stop, and who signed as " + step.Sign.Role
	}
	return "done"
}

// understand makes a line of what was typed at a step.
func (t *typing) understand(step *procedure.Step, text string) (paperLine, bool) {
	line := paperLine{step: step.ID, answer: text, by: t.by, at: t.when, why: t.c.String("why")}
	switch {
	case isGateKind(step.Kind):
		verdict, who, _ := strings.Cut(text, " ")
		by, when := splitWho(strings.TrimPrefix(strings.TrimSpace(who), "@"))
		line.answer, line.by = verdict, by
		if when != "" {
			line.at = when
		}
	case step.Kind != procedure.KindRecord:
		if answer, who, ok := strings.Cut(text, "@"); ok {
			if !t.set(splitWho(who)) {
				return line, false
			}
			line.answer, line.by, line.at = strings.TrimSpace(answer), t.by, t.when
		}
	}
	if line.answer == "" {
		switch step.Kind {
		case procedure.KindDo:
			line.answer = "done"
		case procedure.KindConfirm:
			line.answer = "yes"
		default:
			t.c.printf("type what stands there, or - where nothing does\n")
			return line, false
		}
	}
	return line, true
}

// splitWho divides "mirre 06:40", "Jo Stone 2027-01-05 06:40", or a part of it.
func splitWho(text string) (by, when string) {
	words := strings.Fields(text)
	n := len(words)
	for n > 0 {
		if _, err := filled.ParseWhen(words[n-1], "2000-01-01"); err != nil {
			break
		}
		n--
	}
	return strings.Join(words[:n], " "), strings.Join(words[n:], " ")
}

// try takes all lines and one more in, and takes it back. What a rule of the work had
// stopped is asked for its reason.
func (t *typing) try(line paperLine) (taken bool, err error) {
	for {
		var all *sheetTaken
		err := t.trial(func(tx *changelog.Tx, me *crew.Person) (err error) {
			all, err = t.c.takeSheet(tx, me, append(t.lines[:len(t.lines):len(t.lines)], line))
			return err
		})
		var refused *fault.Refused
		switch {
		case err == nil:
			t.c.printLines(all.said[len(all.said)-1])
			t.lines = append(t.lines, line)
			return true, nil
		case errors.As(err, &refused) && len(refused.Because) > 0 && line.why == "":
			t.c.printBlock("", refused.Error())
			why, err := t.line("it has happened? say how it came to that (Enter: it was not done)")
			if err != nil || why == "" {
				return false, err
			}
			line.why = why
		case knownFault(err):
			t.say(err)
			return false, nil
		default:
			return false, err
		}
	}
}

// knownFault reports whether an error is an answer to what was typed.
func knownFault(err error) bool {
	var refused *fault.Refused
	var usage *fault.Usage
	var hinted *fault.Hinted
	return errors.As(err, &refused) || errors.As(err, &usage) || errors.As(err, &hinted)
}

// write asks once more, and writes all; or it goes back to the last step, to ask it again.
func (t *typing) write() (again bool, err error) {
	if len(t.lines) == 0 {
		t.c.printf("\nNothing stands on the sheet: nothing was written.\n")
		return false, nil
	}
	answer, err := t.line(fmt.Sprintf("\nwrite %s? y/n, < for the step before", plural(len(t.lines), "answer", "answers")))
	switch {
	case err != nil:
		return false, err
	case answer == "<":
		t.back()
		return true, nil
	case answer != "y" && answer != "yes":
		return false, errLeft
	}
	var all *sheetTaken
	return false, t.c.write(func(tx *changelog.Tx, me *crew.Person) (err error) {
		all, err = t.c.takeSheet(tx, me, t.lines)
		return err
	}, func() { t.c.saySheet(all) })
}

// clipText cuts a line to a width.
func clipText(text string, width int) string {
	if letters := []rune(text); len(letters) > width {
		return string(letters[:width-1]) + "…"
	}
	return text
}
