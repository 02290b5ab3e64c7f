package main

import (
	"strings"

	"github.com/urfave/cli/v2"

	"pulk/checklist/ask"
	"pulk/checklist/crew"
	"pulk/schema/fault"
	"pulk/sync/changelog"
	"pulk/sync/clock"
)

func (e *env) askCommand() *cli.Command {
	return group("ask", "questions between the crew and home, and their answers",
		verb{path: "pulk ask raise", args: "TEXT", minArgs: 1, maxArgs: -1, usage: "ask something; with --urgent it goes ahead of all that waits", writes: true,
			about: "Every site of the campaign sees it, and anyone may answer. Urgent is for what cannot wait for its turn on the link: " +
				"the question goes in the first bundle, and so does its answer. In danger, do not wait for an answer: stop, and follow your local rules.",
			examples: []string{`pulk ask raise "may we lower with module 7 at 4.9 kPa?" --about stn-41:120 --urgent --as tomas`, `pulk ask raise "which lot of O-rings is on the next flight?" --as mirre`},
			flags:    []cli.Flag{&cli.StringFlag{Name: "about", Usage: "what it is about: `RUN`, RUN:STEP, a nonconformance, or the serial of a unit"}, &cli.BoolFlag{Name: "urgent", Usage: "it goes ahead of all that waits"}},
			action:   (*call).askRaise}.command(e),
		verb{path: "pulk ask list", usage: "the questions that are open", reads: true,
			flags: []cli.Flag{&cli.BoolFlag{Name: "all", Usage: "those that were answered too"}}, action: (*call).askList}.command(e),
		verb{path: "pulk ask show", args: "QUESTION", minArgs: 1, maxArgs: 1, usage: "one question, with its answers", reads: true, action: (*call).askShow}.command(e),
		verb{path: "pulk ask answer", args: "QUESTION TEXT", minArgs: 2, maxArgs: -1, usage: "answer a question", writes: true,
			about:    "The answer to an urgent question is urgent. A decision about a fault or a gate is not given here: that is pulk nc dispose and pulk run sign.",
			examples: []string{`pulk ask answer stn-x7 "no: repeat the test at 5.0 kPa first" --as oskar`}, action: (*call).askAnswer}.command(e),
	)
}

func (c *call) askRaise() error {
	text := strings.Join(c.Args().Slice(), " ")
	var said string
	return c.write(func(tx *changelog.Tx, _ *crew.Person) error {
		var about clock.Dot
		step := ask.NoStep
		if name := c.String("about"); name != "" {
			var err error
			if about, step, err = attachedTo(tx, name); err != nil {
				return err
			}
		}
		id, err := ask.Raise(tx, about, step, c.Bool("urgent"), text)
		said = tx.Name(id)
		return err
	}, func() {
		c.printf("question %s is asked\n", said)
		if c.Bool("urgent") {
			c.printf("it goes ahead of all that waits: pulk bundle make --expedited, or the next pulk exchange\n")
		}
	})
}

// askRow is a question of --json.
type askRow struct {
	ID       string      `json:"id"`
	Here     bool        `json:"here"` // false while only an answer is here
	Urgent   bool        `json:"urgent"`
	About    string      `json:"about"` // in words, or empty
	Text     string      `json:"text"`
	AskedAt  string      `json:"asked_at"`
	AskedBy  string      `json:"asked_by"`
	Answered bool        `json:"answered"`
	Answers  []answerRow `json:"answers"`
}

// answerRow is an answer.
type answerRow struct {
	ID     string `json:"id"`
	Text   string `json:"text"`
	At     string `json:"at"`
	Person string `json:"person"`
}

func askRowOf(tx *changelog.Tx, q *ask.Question) (askRow, error) {
	row := askRow{ID: tx.Name(q.ID), Here: q.Here, Urgent: q.Urgent, Text: q.Text, Answered: len(q.Answers) > 0, Answers: []answerRow{}}
	var err error
	if q.Here {
		row.AskedAt = *jsonTime(q.At.Time())
		if row.AskedBy, err = crew.Label(tx, q.Person); err != nil {
			return row, err
		}
	}
	if !q.About.IsZero() {
		if row.About, err = aboutEntity(tx, q.About, q.Step); err != nil {
			return row, err
		}
	}
	for _, a := range q.Answers {
		person, err := crew.Label(tx, a.Person)
		if err != nil {
			return row, err
		}
		row.Answers = append(row.Answers, answerRow{tx.Name(a.ID), a.Text, *jsonTime(a.At.Time()), person})
	}
	return row, nil
}

// asked says the text of a question, or that it is not here.
func (row *askRow) asked() string {
	if !row.Here {
		return "(the question is not here yet; an answer to it is)"
	}
	return row.Text
}

func (c *call) askList() error {
	return c.view(func(tx *changelog.Tx) error {
		list, err := ask.List(tx)
		if err != nil {
			return err
		}
		rows := []askRow{}
		t := newTable("question", "state", "about", "what", "asked")
		for _, q := range list {
			if q.Here && len(q.Answers) > 0 && !c.Bool("all") {
				continue
			}
			row, err := askRowOf(tx, q)
			if err != nil {
				return err
			}
			rows = append(rows, row)
			state := "open"
			if row.Answered {
				state = "answered"
			} else if row.Urgent {
				state = "OPEN, URGENT"
			}
			asked := ""
			if row.Here {
				asked = c.env.stampText(q.At) + " " + row.AskedBy
			}
			t.add(row.ID, state, row.About, row.asked(), asked)
		}
		if c.asJSON() {
			return c.printJSON(rows)
		}
		t.print(c.env, "No open questions (answered ones: --all).")
		return nil
	})
}

func (c *call) askShow() error {
	return c.view(func(tx *changelog.Tx) error {
		id, err := tx.ParseName(c.Args().First())
		if err != nil {
			return fault.Misuse("see: pulk ask list --all", "%s", err)
		}
		q, err := ask.Find(tx, id)
		if err != nil {
			return err
		}
		row, err := askRowOf(tx, q)
		if err != nil {
			return err
		}
		if c.asJSON() {
			return c.printJSON(row)
		}
		c.printf("question %s\n", row.ID)
		c.printBlock("  ", row.asked())
		if row.About != "" {
			c.printf("  about: %s\n", row.About)
		}
		if row.Here {
			c.printf("  asked: %s by %s%s\n", c.env.stampText(q.At), row.AskedBy, map[bool]string{true: ", URGENT"}[row.Urgent])
		}
		for i, a := range row.Answers {
			c.printBlock("  answer: ", a.Text)
			c.printf("          %s by %s, %s\n", c.env.stampText(q.Answers[i].At), a.Person, a.ID)
		}
		if !row.Answered {
			c.printf("  open; next: pulk ask answer %s TEXT\n", row.ID)
		}
		return nil
	})
}

func (c *call) askAnswer() error {
	text := strings.Join(c.Args().Slice()[1:], " ")
	return c.write(func(tx *changelog.Tx, _ *crew.Person) error {
		id, err := tx.ParseName(c.Args().First())
		if err != nil {
			return fault.Misuse("see: pulk ask list", "%s", err)
		}
		return ask.Reply(tx, id, text)
	}, func() { c.printf("answered %s\n", c.Args().First()) })
}
