package main

import (
	"fmt"
	"strings"

	"github.com/urfave/cli/v2"

	"pulk/checklist/crew"
	"pulk/checklist/procedure"
	"pulk/checklist/run"
	"pulk/schema/kind"
	"pulk/sync/changelog"
	"pulk/sync/clock"
)

func runMoveVerb() verb {
	return verb{path: "pulk run move", args: "RUN", minArgs: 1, maxArgs: 1, usage: "move a run to another revision of its procedure", writes: true,
		about: "To the latest one, unless --to names another. What was done counts where the step is the same in all that pulk procedure compare tells; the rest is to be done again. " +
			"What cannot be undone stays done. A sign-off counts where nothing before it changed. It takes a role that signs a gate of the one revision or the other.",
		examples: []string{`pulk run move stn-41 --why "limits of the tension were mended" --as ida`, "pulk run move stn-41 --to D --as ida"},
		flags:    []cli.Flag{&cli.StringFlag{Name: "to", Usage: "the `REVISION`"}, &cli.StringFlag{Name: "why", Usage: "the `REASON`"}}, action: (*call).runMove}
}

func runStayVerb() verb {
	return verb{path: "pulk run stay", args: "RUN", minArgs: 1, maxArgs: 1, usage: "say that a run stays on its revision though a later one is here", writes: true,
		about:    "Until someone moves the run or says so, no gate of it can be signed go.",
		examples: []string{`pulk run stay stn-41 --why "the string hangs at 1,000 m; D changes the checks before lowering" --as ida`},
		flags:    []cli.Flag{&cli.StringFlag{Name: "why", Usage: "the `REASON`"}}, action: (*call).runStay}
}

func (c *call) runMove() error {
	name := c.Args().First()
	var to procedure.Revision
	var fates []run.Fate
	return c.write(func(tx *changelog.Tx, me *crew.Person) error {
		doing, err := onRun(tx, me, name)
		if err != nil {
			return err
		}
		wanted := doing.Procedure.ID
		if revision := c.String("to"); revision != "" {
			wanted += "@" + revision
		}
		if to, err = procedure.Find(tx, wanted); err != nil {
			return err
		}
		fates, err = doing.Move(to, c.String("why"))
		return err
	}, func() {
		c.printf("run %s is on revision %s\n", name, to.Revision)
		c.printFates(fates)
		c.printf("next: pulk run show %s\n", name)
	})
}

// printFates says what became of what was done.
func (c *call) printFates(fates []run.Fate) {
	var kept, again, gates []string
	for _, f := range fates {
		switch {
		case f.Keeps:
			kept = append(kept, f.Step)
		case f.Gate:
			gates = append(gates, f.Step)
		default:
			again = append(again, f.Step)
		}
	}
	for _, list := range []struct {
		what  string
		steps []string
	}{{"done, and stays so: ", kept}, {"to be done again: ", again}, {"to be signed again: ", gates}} {
		if len(list.steps) > 0 {
			c.printBlock("  "+list.what, strings.Join(list.steps, ", "))
		}
	}
}

func (c *call) runStay() error {
	name := c.Args().First()
	var offer *run.Offer
	var now string
	return c.write(func(tx *changelog.Tx, me *crew.Person) error {
		doing, err := onRun(tx, me, name)
		if err != nil {
			return err
		}
		now = doing.Procedure.Revision
		offer, err = doing.Stay(c.String("why"))
		return err
	}, func() {
		c.printf("run %s stays on revision %s, though %s is here\n", name, now, offer.Revision.Revision)
	})
}

// moveRow is a move of a run from one revision to another.
type moveRow struct {
	ID      string `json:"id"`
	From    string `json:"from"` // as who moved it knew
	To      string `json:"to"`
	Why     string `json:"why"`
	At      string `json:"at"`
	Person  string `json:"person"`
	Against bool   `json:"against_another"` // someone who had not heard of it moved the run elsewhere, and nobody has decided since
}

func (m *moveRow) words() string {
	text := fmt.Sprintf("moved from revision %s to %s by %s %s (%s)", m.From, m.To, m.Person, m.At, m.ID)
	if m.Why != "" {
		text += ": " + m.Why
	}
	if m.Against {
		text = "! " + text + ", AGAINST ANOTHER MOVE"
	}
	return text
}

// laterRow is a later revision than the one that a run is on.
type laterRow struct {
	ID         string          `json:"id"`
	Revision   string          `json:"revision"`
	Changes    []differenceRow `json:"changes"`     // from the run's revision to it
	StayWhy    string          `json:"stay_reason"` // why the run stays where it is; empty where nobody said so
	StayAt     *string         `json:"stay_at"`
	StayPerson string          `json:"stay_by"`

	lines []string // the changes in words
}

// addRevisions tells which revisions a run was moved to, which later one is here, and what
// does not count any more.
func (d *runDetail) addRevisions(tx *changelog.Tx, s *run.State) error {
	d.Moves = []moveRow{}
	for _, m := range s.Moves() {
		row := moveRow{ID: tx.Name(m.Dot), Why: m.Text, At: *jsonTime(m.At.Time()), To: revisionName(tx, s, m.Ref)}
		from, err := tx.Entry(m.Dot)
		if err != nil {
			return err
		}
		row.From = revisionName(tx, s, from.Values[1].Ref)
		for _, other := range s.Contested {
			row.Against = row.Against || other.Dot == m.Dot
		}
		if row.Person, err = crew.Label(tx, m.Person); err != nil {
			return err
		}
		d.Moves = append(d.Moves, row)
	}
	for _, e := range s.Left() {
		row, err := entryRowOf(tx, s, e, false)
		if err != nil {
			return err
		}
		row.What = fmt.Sprintf("step %s is not in revision %s: %s", s.StepName(e), d.Revision, row.What)
		d.Notes = append(d.Notes, row)
	}
	offer, err := run.Offered(tx, s)
	if err != nil || offer == nil || s.Ended != nil {
		return err
	}
	d.Later = &laterRow{ID: tx.Name(offer.Revision.ID), Revision: offer.Revision.Revision, Changes: differenceRows(offer.Changes)}
	for _, difference := range offer.Changes {
		d.Later.lines = append(d.Later.lines, difference.String())
	}
	if offer.Stay != nil {
		d.Later.StayWhy, d.Later.StayAt = offer.Stay.Text, jsonTime(offer.Stay.At.Time())
		d.Later.StayPerson, err = crew.Label(tx, offer.Stay.Person)
	}
	return err
}

// revisionName returns what people call a revision that a run was on.
func revisionName(tx *changelog.Tx, s *run.State, id clock.Dot) string {
	if p := s.Texts[id]; p != nil {
		return p.Revision
	}
	return tx.Name(id) + " (not here yet)"
}

// printLater tells of a later revision, and, until someone has decided, what it changes.
func (c *call) printLater(name, now string, later *laterRow) {
	if later.StayPerson != "" {
		c.printBlock("", fmt.Sprintf("revision %s is here; the run stays on %s, says %s %s: %s", later.Revision, now, later.StayPerson, *later.StayAt, later.StayWhy))
		return
	}
	c.printBlock("! ", fmt.Sprintf("REVISION %s IS HERE, and this run is on %s. No gate can be signed go before someone decides: pulk run move %s, or: pulk run stay %s --why REASON. What changed:", later.Revision, now, name, name))
	for _, line := range later.lines {
		c.printBlock("  ~ ", line)
	}
}

// tellLater says, once for each, that a later revision has come while people work.
func (c *call) tellLater(told map[string]bool) error {
	return c.view(func(tx *changelog.Tx) error {
		id, err := tx.ParseName(c.Args().First())
		if err != nil {
			return err
		}
		record, err := run.Load(tx, id)
		if err != nil {
			return err
		}
		text, err := laterWords(tx, run.Evaluate(record))
		if err != nil || text == "" || told[text] {
			return err
		}
		told[text] = true
		c.printf("\n")
		c.printBlock("! ", text)
		return nil
	})
}

// laterWords says that a later revision is here about which nobody has decided; nothing
// where there is none.
func laterWords(tx *changelog.Tx, s *run.State) (string, error) {
	offer, err := run.Offered(tx, s)
	if err != nil || offer == nil || offer.Stay != nil || s.Ended != nil {
		return "", err
	}
	return fmt.Sprintf("REVISION %s IS HERE, and this run is on %s; %s. No gate can be signed go before someone decides. See: pulk run show %s; then: pulk run move, or: pulk run stay",
		offer.Revision.Revision, s.Procedure.Revision, plural(len(offer.Changes), "thing differs", "things differ"), tx.Name(s.Run)), nil
}

// revisionEntryText says in words what a move, or a word to stay, says.
func revisionEntryText(s *run.State, e *run.Entry) string {
	name := "another revision"
	if p := s.Texts[e.Ref]; p != nil {
		name = "revision " + p.Revision
	}
	switch e.Kind {
	case kind.RunMove:
		return strings.TrimSuffix("moved to "+name+": "+e.Text, ": ")
	case kind.RunStay:
		return "stays where it is, though a later revision is here: " + e.Text
	}
	return ""
}
