package main

import (
	"fmt"
	"strings"

	"github.com/urfave/cli/v2"

	"pulk/checklist/crew"
	"pulk/checklist/procedure"
	"pulk/schema/fault"
	"pulk/sync/changelog"
)

func (e *env) procedureCommand() *cli.Command {
	return group("procedure", "how a job is done: files checked, imported, compared",
		verb{path: "pulk procedure lint", args: "FILE…", minArgs: 1, maxArgs: -1, usage: "check procedure files", storeless: true, reads: true,
			about:    "Names every problem with file, line and column. Limits that are worked out are shown on the examples of the file. The format: docs/procedure-format.md.",
			examples: []string{"pulk procedure lint borehole-lowering.yaml"}, action: (*call).procedureLint}.command(e),
		verb{path: "pulk procedure import", args: "FILE…", minArgs: 1, maxArgs: -1, usage: "take procedure files into the store", writes: true,
			about:    "A revision never changes: the same text is not taken twice, and a changed text needs a new revision. All files or none.",
			examples: []string{"pulk procedure import *.yaml --as oskar"}, action: (*call).procedureImport}.command(e),
		verb{path: "pulk procedure list", usage: "the procedures and their revisions", reads: true, action: (*call).procedureList}.command(e),
		verb{path: "pulk procedure show", args: "PROCEDURE[@REVISION]", minArgs: 1, maxArgs: 1, usage: "one revision, hazards first", reads: true,
			examples: []string{"pulk procedure show borehole-lowering", "pulk procedure show borehole-lowering@C --source > c.yaml"},
			flags:    []cli.Flag{&cli.BoolFlag{Name: "source", Usage: "print the file as it was imported"}}, action: (*call).procedureShow}.command(e),
		verb{path: "pulk procedure compare", args: "OLD NEW", minArgs: 2, maxArgs: 2, usage: "what differs between two revisions, or two files", reads: true,
			examples: []string{"pulk procedure compare borehole-lowering@C borehole-lowering@D", "pulk procedure compare old.yaml new.yaml"}, action: (*call).procedureCompare}.command(e),
		e.procedureSheetCommand(),
		verb{path: "pulk procedure withdraw", args: "PROCEDURE@REVISION", minArgs: 1, maxArgs: 1, usage: "say that a revision must not be used any more", writes: true,
			about: "Shuts the gates of every run that is under way on it, at every site that hears of it.",
			flags: []cli.Flag{&cli.StringFlag{Name: "why", Usage: "the `REASON`"}}, action: (*call).procedureWithdraw}.command(e),
	)
}

// readProcedure reads a file, and prints its problems.
func (c *call) readProcedure(path string) (*procedure.Procedure, []byte, []procedure.Problem, error) {
	source, err := readInput(path)
	if err != nil {
		return nil, nil, nil, err
	}
	p, problems := procedure.Parse(path, source)
	return p, source, problems, nil
}

func (c *call) procedureLint() error {
	var all []procedure.Problem
	faulty := 0
	for _, path := range c.Args().Slice() {
		p, _, problems, err := c.readProcedure(path)
		if err != nil {
			return err
		}
		all = append(all, problems...)
		if procedure.HasErrors(problems) {
			faulty++
		}
		if c.asJSON() {
			continue
		}
		for _, problem := range problems {
			c.printf("%s\n", problem)
		}
		if p != nil {
			c.printf("%s: %s revision %s, %d steps: no errors\n", path, p.ID, p.Revision, len(p.Steps))
			c.printTrials(p)
		}
	}
	if c.asJSON() {
		if err := c.printJSON(problemRows(all)); err != nil {
			return err
		}
	}
	if faulty > 0 {
		return fault.Hint("mend the lines named above; the format: docs/procedure-format.md", "%d of %d files have errors", faulty, c.NArg())
	}
	return nil
}

func (c *call) procedureImport() error {
	type file struct {
		p      *procedure.Procedure
		source []byte
	}
	var files []file
	for _, path := range c.Args().Slice() {
		p, source, problems, err := c.readProcedure(path)
		if err != nil {
			return err
		}
		for _, problem := range problems {
			fmt.Fprintln(c.env.stderr, problem)
		}
		if p == nil {
			return fault.Hint("mend the lines named above; nothing was imported", "%s has errors", path)
		}
		files = append(files, file{p, source})
	}
	var said []string
	return c.write(func(tx *changelog.Tx, _ *crew.Person) error {
		for _, f := range files {
			id, fresh, err := procedure.Import(tx, f.p, f.source)
			if err != nil {
				return err
			}
			word := "imported"
			if !fresh {
				word = "was here already:"
			}
			said = append(said, fmt.Sprintf("%s %s revision %s, %d steps (%s)", word, f.p.ID, f.p.Revision, len(f.p.Steps), tx.Name(id)))
		}
		return nil
	}, func() {
		for _, line := range said {
			c.printf("%s\n", line)
		}
	})
}

// revisionRow is a row of pulk procedure list --json.
type revisionRow struct {
	ID        string `json:"id"`
	Procedure string `json:"procedure"`
	Revision  string `json:"revision"`
	Title     string `json:"title"`
	Imported  string `json:"imported_at"`
	By        string `json:"imported_by"`
	Withdrawn string `json:"withdrawn"` // the reason; empty if it was not
}

func (c *call) procedureList() error {
	return c.view(func(tx *changelog.Tx) error {
		list, err := procedure.Revisions(tx)
		if err != nil {
			return err
		}
		rows := []revisionRow{}
		t := newTable("procedure", "revision", "title", "imported", "id")
		for _, r := range list {
			info, err := tx.Info(r.ID)
			if err != nil {
				return err
			}
			by, err := crew.Label(tx, info.Person)
			if err != nil {
				return err
			}
			row := revisionRow{ID: tx.Name(r.ID), Procedure: r.Procedure, Revision: r.Revision, Title: r.Title, Imported: *jsonTime(info.At.Time()), By: by}
			revision := r.Revision
			if len(r.Withdrawn) > 0 {
				row.Withdrawn = r.Withdrawn[0].Why
				revision += " WITHDRAWN"
			}
			rows = append(rows, row)
			t.add(r.Procedure, revision, r.Title, c.env.stampText(info.At)+" "+by, row.ID)
		}
		if c.asJSON() {
			return c.printJSON(rows)
		}
		t.print(c.env, "No procedures yet: take them in with pulk procedure import.")
		return nil
	})
}

func (c *call) procedureShow() error {
	return c.view(func(tx *changelog.Tx) error {
		r, err := procedure.Find(tx, c.Args().First())
		if err != nil {
			return err
		}
		source, found, err := procedure.Text(tx, r.ID)
		if err != nil {
			return err
		}
		if !found {
			return fault.Hint("it comes with the next bundle", "the text of %s revision %s is not here yet", r.Procedure, r.Revision)
		}
		if c.Bool("source") {
			_, err := c.env.raw.Write(source)
			return err
		}
		p, problems := procedure.Parse(r.Procedure, source)
		if p == nil {
			return fmt.Errorf("%s", problems[0])
		}
		if c.asJSON() {
			withdrawn := ""
			if len(r.Withdrawn) > 0 {
				withdrawn = r.Withdrawn[0].Why
			}
			return c.printJSON(procedureJSONOf(p, withdrawn))
		}
		if len(r.Withdrawn) > 0 {
			c.printf("WITHDRAWN: %s\n\n", r.Withdrawn[0].Why)
		}
		c.printProcedure(p)
		return nil
	})
}

func (c *call) printProcedure(p *procedure.Procedure) {
	c.printf("%s\n%s, revision %s, %d steps\n\nHazards\n", p.Title, p.ID, p.Revision, len(p.Steps))
	for _, h := range p.Hazards {
		c.printBlock("  ! ", h.Name+": "+h.Caution)
	}
	c.printf("\nRoles: %s\nTools:\n", strings.Join(p.Roles, ", "))
	for _, tool := range p.Tools {
		c.printBlock("  - ", tool)
	}
	c.printf("Parts:\n")
	for _, part := range p.Parts {
		c.printf("  - %d × %s\n", part.Quantity, part.Part)
	}
	c.printInputs(p)
	c.printf("\nSteps\n")
	for i := range p.Steps {
		c.printStep(&p.Steps[i])
	}
}

// printBlock prints wrapped text, its first line behind a mark.
func (c *call) printBlock(mark, text string) {
	for i, line := range wrap(text, c.env.width()-len([]rune(mark))) {
		if i > 0 {
			mark = strings.Repeat(" ", len([]rune(mark)))
		}
		c.printf("%s%s\n", mark, line)
	}
}

func (c *call) printStep(step *procedure.Step) {
	for _, caution := range step.Cautions {
		c.printBlock("        ! ", caution)
	}
	text := step.Text
	if step.Irreversible {
		text = "CANNOT BE UNDONE. " + text
	}
	c.printBlock(fmt.Sprintf("  %-5s ", step.ID), text)
	if line := stepAsks(step); line != "" {
		c.printBlock("        = ", line)
	}
}

// stepAsks says in a line what a step asks for beside its text.
func stepAsks(step *procedure.Step) string {
	limits := ""
	if step.Reading != nil {
		limits = step.Reading.Limits.String()
	}
	return stepAsksWith(step, limits)
}

// stepAsksWith is stepAsks with the limits of a reading in these words.
func stepAsksWith(step *procedure.Step, limits string) string {
	var parts []string
	switch step.Kind {
	case procedure.KindReading:
		r := step.Reading
		parts = append(parts, fmt.Sprintf("reading: %s in %s, limits %s", r.Quantity, r.Unit, limits))
		if r.Repeat > 1 {
			parts = append(parts, fmt.Sprintf("%d times", r.Repeat))
		}
		if r.Instrument != nil {
			parts = append(parts, "with "+r.Instrument.String())
		}
	case procedure.KindRecord:
		what := step.Record.What
		if step.Record.Part != "" {
			what += " of a " + step.Record.Part
		}
		parts = append(parts, "record: "+what)
	case procedure.KindHold, procedure.KindWitness:
		people := "1 person"
		if step.Sign.People > 1 {
			people = fmt.Sprintf("%d different people", step.Sign.People)
		}
		parts = append(parts, fmt.Sprintf("%s point: signed by %s as %s", step.Kind, people, step.Sign.Role))
		if step.Review != nil {
			parts = append(parts, "readiness review: a go by another person each as "+strings.Join(step.Review.Roles, ", "))
		}
	case procedure.KindWait:
		parts = append(parts, fmt.Sprintf("wait at least %d min", step.WaitMinutes))
	case procedure.KindConfirm:
		parts = append(parts, "confirm: yes or no")
	}
	if step.Role != "" {
		parts = append(parts, "by "+step.Role)
	}
	if step.Outdoor {
		parts = append(parts, "outdoors")
	}
	if step.Heavy {
		parts = append(parts, "heavy work")
	}
	if len(step.Needs) > 0 {
		parts = append(parts, "needs "+strings.Join(step.Needs, ", "))
	}
	if len(step.After) > 0 {
		parts = append(parts, "after "+strings.Join(step.After, ", "))
	}
	for _, use := range step.Uses {
		parts = append(parts, fmt.Sprintf("uses %d × %s", use.Quantity, use.Part))
	}
	return strings.Join(parts, "; ")
}

// procedureOf reads a file, or a revision in the store.
func (c *call) procedureOf(name string) (*procedure.Procedure, error) {
	if strings.HasSuffix(name, ".yaml") || strings.HasSuffix(name, ".yml") {
		p, _, problems, err := c.readProcedure(name)
		if err == nil && p == nil {
			err = fault.Hint("see: pulk procedure lint "+name, "%s", problems[0])
		}
		return p, err
	}
	var p *procedure.Procedure
	err := c.view(func(tx *changelog.Tx) error {
		r, err := procedure.Find(tx, name)
		if err != nil {
			return err
		}
		p, err = procedure.Load(tx, r.ID)
		if err == nil && p == nil {
			err = fault.Hint("it comes with the next bundle", "the text of %s is not here yet", name)
		}
		return err
	})
	return p, err
}

func (c *call) procedureCompare() error {
	before, err := c.procedureOf(c.Args().Get(0))
	if err != nil {
		return err
	}
	after, err := c.procedureOf(c.Args().Get(1))
	if err != nil {
		return err
	}
	differences := procedure.Compare(before, after)
	if c.asJSON() {
		return c.printJSON(differenceRows(differences))
	}
	if len(differences) == 0 {
		c.printf("The two are equal, save perhaps for spacing and comments.\n")
		return nil
	}
	t := newTable("where", "change", "field", "from", "to")
	for _, d := range differences {
		t.add(d.Where, d.Change, d.Field, d.From, d.To)
	}
	t.print(c.env, "")
	return nil
}

func (c *call) procedureWithdraw() error {
	name := c.Args().First()
	if !strings.Contains(name, "@") {
		return fault.Misuse("like borehole-lowering@C", "say which revision of %s", name)
	}
	return c.write(func(tx *changelog.Tx, _ *crew.Person) error {
		r, err := procedure.Find(tx, name)
		if err != nil {
			return err
		}
		return procedure.Withdraw(tx, r, c.String("why"))
	}, func() { c.printf("%s is withdrawn: its runs can go no further.\n", name) })
}
