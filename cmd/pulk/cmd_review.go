package main

import (
	"fmt"
	"strings"

	"github.com/urfave/cli/v2"

	"pulk/checklist/crew"
	"pulk/checklist/review"
	"pulk/checklist/run"
	"pulk/schema/fault"
	"pulk/schema/kind"
	"pulk/sync/changelog"
	"pulk/sync/clock"
)

func (e *env) reviewCommand() *cli.Command {
	why := &cli.StringFlag{Name: "why", Usage: "the `REASON`"}
	return group("review", "readiness reviews before a step that cannot be undone",
		verb{path: "pulk review open", args: "RUN[:STEP]", minArgs: 1, maxArgs: 1, usage: "open the review of a hold point", writes: true,
			about: "Works every check out from what this store has, and keeps how each came out, with its facts: they are not worked out again by the gate. " +
				"STEP is the hold point; it may be left out where the run has one with a review. Opened again, every go that was given falls.",
			examples: []string{"pulk review open stn-41 --as ida"},
			flags:    []cli.Flag{&cli.StringFlag{Name: "note", Usage: "what it is for, in `WORDS`"}}, action: (*call).reviewOpen}.command(e),
		verb{path: "pulk review list", usage: "the reviews that hold points ask for, and how they stand", reads: true,
			flags: []cli.Flag{&cli.BoolFlag{Name: "all", Usage: "also those of runs that have ended"}}, action: (*call).reviewList}.command(e),
		verb{path: "pulk review show", args: "RUN[:STEP]", minArgs: 1, maxArgs: 1, usage: "each line with its facts, the waivers, and who gave a go", reads: true, action: (*call).reviewShow}.command(e),
		verb{path: "pulk review check", args: "RUN[:STEP]", minArgs: 1, maxArgs: 1, usage: "work the checks out again, and keep what has changed", writes: true,
			about:  "pulk review decide does so too. A check that was ok and is not any more fells every go that was given.",
			action: (*call).reviewCheck}.command(e),
		verb{path: "pulk review ask", args: "RUN[:STEP] TEXT", minArgs: 2, maxArgs: -1, usage: "ask something that the procedure does not ask", writes: true,
			about:    "Ask it so that yes means ready. The review waits for the answer.",
			examples: []string{`pulk review ask stn-41 "is the second winch driver back from the medical room?" --as lena`}, action: (*call).reviewAsk}.command(e),
		verb{path: "pulk review answer", args: "RUN[:STEP] QUESTION yes|no [TEXT]", minArgs: 3, maxArgs: -1, usage: "answer a question of the review", writes: true,
			about:    "QUESTION is its id, as pulk review show has it. A no needs a text, and is taken from anyone.",
			examples: []string{`pulk review answer stn-41 rested yes "all slept from 22 to 6" --as ida`}, action: (*call).reviewAnswer}.command(e),
		verb{path: "pulk review waive", args: "RUN[:STEP] LINE", minArgs: 2, maxArgs: 2, usage: "ask to go on though a line is not ok", writes: true,
			about: "Signed with your own key. It counts once a second person, of the role that the procedure names, has granted it: pulk review grant. " +
				"It covers what both had seen and nothing that comes later, and stands in every report of the run for good. Open nonconformances are not waived: they are disposed of.",
			examples: []string{`pulk review waive stn-41 transport --why "the flight can wait until noon" --risk "if the string sticks, four people stay the winter" --as ida`},
			flags:    []cli.Flag{why, &cli.StringFlag{Name: "risk", Usage: "what can go wrong and what it would cost, in `WORDS`"}}, action: (*call).reviewWaive}.command(e),
		verb{path: "pulk review grant", args: "WAIVER", minArgs: 1, maxArgs: 1, usage: "grant a waiver that somebody else asked for", writes: true,
			examples: []string{"pulk review grant stn-x12 --as lena"}, action: (*call).reviewGrant}.command(e),
		verb{path: "pulk review decide", args: "RUN[:STEP] go|no-go", minArgs: 2, maxArgs: 2, usage: "give a go or a no-go, in a role of the review", writes: true,
			about: "Works the checks out first, and keeps what has changed. Signs with your own key, on what this store has now. " +
				"A go is refused while a line is neither ok nor waived; a no-go is always taken, from anyone. In doubt: no-go.",
			examples: []string{"pulk review decide stn-41 go --role quality --as oskar", `pulk review decide stn-41 no-go --why "wind is rising" --as ida`},
			flags:    []cli.Flag{&cli.StringFlag{Name: "role", Usage: "the `ROLE` to decide in, where you hold several"}, why}, action: (*call).reviewDecide}.command(e),
		verb{path: "pulk review void", args: "ENTRY", minArgs: 1, maxArgs: 1, usage: "take back a question, an answer, a waiver or a go", writes: true,
			about: "Nothing is erased. Every go that stood on it falls.", flags: []cli.Flag{why},
			examples: []string{`pulk review void stn-x9 --why "counted the wrong crate" --as ida`}, action: (*call).runVoid}.command(e),
	)
}

// onReview opens a run for someone to act in the review of a hold point of it.
func (c *call) onReview(tx *changelog.Tx, me *crew.Person) (*run.Doing, int, error) {
	name, step, _ := strings.Cut(c.Args().First(), ":")
	doing, err := onRun(tx, me, name)
	if err != nil {
		return nil, 0, err
	}
	n, err := doing.ReviewedStep(step)
	return doing, n, err
}

// reviewName is how people name the review of a hold point.
func reviewName(tx *changelog.Tx, s *run.State, n int) string {
	return tx.Name(s.Run) + ":" + s.Steps[n].Step.ID
}

func (c *call) reviewOpen() error {
	var name string
	if err := c.write(func(tx *changelog.Tx, me *crew.Person) error {
		doing, n, err := c.onReview(tx, me)
		if err != nil {
			return err
		}
		findings, err := gatherReview(tx, doing.State, n, c.env.now())
		if err != nil {
			return err
		}
		name = reviewName(tx, doing.State, n)
		_, err = doing.OpenReview(n, c.String("note"), findings)
		return err
	}, nil); err != nil {
		return err
	}
	c.printf("the readiness review of %s is open\n", name)
	return c.printReviewOf(name, false)
}

// refresh works the checks out again and keeps what has changed, in a change-set of its
// own: it stays, whatever is decided on it.
func (c *call) refresh() (name string, changed int, err error) {
	err = c.write(func(tx *changelog.Tx, me *crew.Person) error {
		doing, n, err := c.onReview(tx, me)
		if err != nil {
			return err
		}
		findings, err := gatherReview(tx, doing.State, n, c.env.now())
		if err != nil {
			return err
		}
		name = reviewName(tx, doing.State, n)
		changed, err = doing.Record(n, findings)
		return err
	}, nil)
	return name, changed, err
}

func (c *call) reviewCheck() error {
	name, changed, err := c.refresh()
	if err != nil {
		return err
	}
	c.printf("%s: %s\n", name, map[bool]string{true: "every check came out as before", false: plural(changed, "check has", "checks have") + " changed"}[changed == 0])
	return c.printReviewOf(name, false)
}

func (c *call) reviewAsk() error {
	var said string
	return c.write(func(tx *changelog.Tx, me *crew.Person) error {
		doing, n, err := c.onReview(tx, me)
		if err != nil {
			return err
		}
		id, err := doing.AskReview(n, strings.Join(c.Args().Tail(), " "))
		said = fmt.Sprintf("asked; answer it with: pulk review answer %s %s yes|no", reviewName(tx, doing.State, n), tx.Name(id))
		return err
	}, func() { c.say(said) })
}

func (c *call) reviewAnswer() error {
	name, text := c.Args().Get(1), strings.Join(c.Args().Slice()[3:], " ")
	answer := c.Args().Get(2)
	if answer != "yes" && answer != "no" {
		return fault.Misuse("answer yes or no, and say more behind it", "%q is no answer", answer)
	}
	return c.write(func(tx *changelog.Tx, me *crew.Person) error {
		doing, n, err := c.onReview(tx, me)
		if err != nil {
			return err
		}
		line, err := doing.Line(n, name)
		if err != nil {
			return err
		}
		return doing.AnswerReview(n, line, answer == "yes", text)
	}, func() { c.printf("%s: %s\n", name, answer) })
}

func (c *call) reviewWaive() error {
	signer, err := c.unlock()
	if err != nil {
		return err
	}
	var said, role string
	return c.write(func(tx *changelog.Tx, me *crew.Person) error {
		doing, n, err := c.onReview(tx, me)
		if err != nil {
			return err
		}
		line, err := doing.Line(n, c.Args().Get(1))
		if err != nil {
			return err
		}
		id, err := doing.Waive(n, line, c.String("why"), c.String("risk"), signer)
		said, role = tx.Name(id), doing.Steps[n].Step.Review.WaiverRole
		return err
	}, func() {
		c.printf("waiver %s is asked for; it counts once another person grants it, as %s\nnext: pulk review grant %s --as PERSON\n", said, role, said)
	})
}

func (c *call) reviewGrant() error {
	signer, err := c.unlock()
	if err != nil {
		return err
	}
	return c.write(func(tx *changelog.Tx, me *crew.Person) error {
		id, about, err := entryOfRun(tx, c.Args().First())
		if err != nil {
			return err
		}
		doing, err := run.Open(tx, me, about)
		if err != nil {
			return err
		}
		return doing.Grant(id, signer)
	}, func() {
		c.printf("waiver %s is granted; it stays in every report\n", c.Args().First())
	})
}

// entryOfRun returns the entry that a name means, and the run that it is about.
func entryOfRun(tx *changelog.Tx, name string) (id, about clock.Dot, err error) {
	if id, err = tx.ParseName(name); err != nil {
		return id, about, fault.Misuse("see: pulk run show RUN", "%s", err)
	}
	entry, err := tx.Entry(id)
	if err != nil {
		return id, about, fault.Hint("see: pulk run show RUN", "there is no %s here", name)
	}
	about, ok := run.About(entry)
	if !ok {
		return id, about, fault.Misuse("see: pulk run show RUN", "%s is no entry of a run", name)
	}
	return id, about, nil
}

func (c *call) reviewDecide() error {
	verdict, ok := map[string]run.Verdict{"go": run.Go, "no-go": run.Stop}[c.Args().Get(1)]
	if !ok {
		return fault.Misuse("decide go or no-go", "%q is no decision", c.Args().Get(1))
	}
	signer, err := c.unlock()
	if err != nil {
		return err
	}
	name, _, err := c.refresh()
	if err != nil {
		return err
	}
	role := c.String("role")
	err = c.write(func(tx *changelog.Tx, me *crew.Person) error {
		doing, n, err := c.onReview(tx, me)
		if err != nil {
			return err
		}
		if role == "" {
			if role, err = roleToDecide(doing.Steps[n].Gate.Review, me, verdict); err != nil {
				return err
			}
		}
		return doing.Decide(n, verdict, role, c.String("why"), signer)
	}, func() { c.printf("%s: signed %s as %s\n", name, c.Args().Get(1), role) })
	if err != nil {
		return err
	}
	return c.printReviewOf(name, true)
}

// roleToDecide returns the role that someone decides in who named none: the only one of
// the review's that they hold and that lacks a go. A no-go takes none.
func roleToDecide(rv *run.Review, me *crew.Person, verdict run.Verdict) (string, error) {
	var roles, missing []string
	for _, role := range rv.Form.Roles {
		if me.Has(role) {
			roles = append(roles, role)
		}
	}
	for _, role := range rv.Missing {
		if me.Has(role) {
			missing = append(missing, role)
		}
	}
	switch {
	case len(missing) == 1:
		return missing[0], nil
	case len(roles) > 0 && (len(roles) == 1 || verdict != run.Go):
		return roles[0], nil
	case len(roles) > 1:
		return "", fault.Misuse("say which with --role", "%s holds several roles of the review: %s", me.Code, strings.Join(roles, ", "))
	case verdict != run.Go:
		return "none of the review's", nil
	}
	return "", fault.Refuse("let someone with such a role decide", "%s holds none of the roles %s", me.Code, strings.Join(rv.Form.Roles, ", "))
}

// reviewEntryText says in words what an entry of a review says; "" for other kinds.
func reviewEntryText(s *run.State, e *run.Entry) string {
	switch e.Kind {
	case kind.ReviewOpen:
		return "readiness review opened" + afterColon(e.Text)
	case kind.ReviewCheck:
		return fmt.Sprintf("readiness, %s: %s: %s", e.Line.Name, e.Outcome, e.Text)
	case kind.ReviewAsk:
		return "asked in the review: " + e.Text
	case kind.ReviewAnswer:
		answer := map[bool]string{true: "yes", false: "NO"}[e.Outcome == review.OK]
		return fmt.Sprintf("%s: %s%s", lineText(s, e), answer, afterColon(e.Text))
	case kind.ReviewWaive:
		if !e.Ref.IsZero() {
			return fmt.Sprintf("granted, as %s, the WAIVER of %s", e.Role, lineText(s, e))
		}
		return fmt.Sprintf("asked for a WAIVER of %s: %s; risk: %s", lineText(s, e), e.Text, e.Risk)
	case kind.ReviewDecide:
		verdict := map[bool]string{true: "go", false: "NO-GO"}[e.Verdict == run.Go]
		return fmt.Sprintf("%s in the readiness review as %s%s", verdict, e.Role, afterColon(e.Text))
	}
	return ""
}

// lineText names the line that an entry of a review is about.
func lineText(s *run.State, e *run.Entry) string {
	if e.Line.Asked.IsZero() {
		return strings.TrimPrefix(e.Line.Name, review.QuestionMark)
	}
	for i := range s.Entries {
		if s.Entries[i].Dot == e.Line.Asked {
			return `"` + s.Entries[i].Text + `"`
		}
	}
	return "a question that is not here yet"
}
