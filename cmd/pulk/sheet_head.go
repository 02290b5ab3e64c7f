package main

import (
	"fmt"
	"strings"
	"time"

	"pulk/checklist/filled"
	"pulk/checklist/procedure"
	"pulk/checklist/run"
	"pulk/cmd/paper"
	"pulk/sync/changelog"
)

// printedSheet is a procedure, or a run of it, being laid out to be filled in by hand.
type printedSheet struct {
	doc  *paper.Doc
	tx   *changelog.Tx
	p    *procedure.Procedure
	s    *run.State // nil on the sheet of a procedure
	code filled.Code

	indent    float64 // where the text of steps begins
	withdrawn string  // why the revision must not be used any more
}

// newSheet begins the sheet of a procedure.
func newSheet(tx *changelog.Tx, p *procedure.Procedure, withdrawn []procedure.Withdrawal) *printedSheet {
	s := &printedSheet{tx: tx, p: p, code: filled.Code{Procedure: p.ID, Revision: p.Revision}}
	if len(withdrawn) > 0 {
		s.withdrawn = withdrawn[0].Why
	}
	return s
}

// print lays the sheet out.
func (s *printedSheet) print(size paper.Size, now time.Time) (*paper.Doc, error) {
	code, err := paper.QR(s.code.String())
	if err != nil {
		return nil, err
	}
	title := s.p.Title
	right := fmt.Sprintf("%s revision %s", s.p.ID, s.p.Revision)
	foot := right
	if s.s != nil {
		title = s.s.Title
		right = "run " + s.code.Run
		foot = fmt.Sprintf("run %s of %s", s.code.Run, foot)
	}
	foot += ", printed " + now.UTC().Format("2006-01-02 15:04Z")
	s.doc = paper.New(paper.Options{Size: size, Made: now, Title: title, Head: title, Right: right, Foot: foot, Code: &code})
	s.indent = indentFor(s.doc, s.p)
	if err := s.head(title); err != nil {
		return nil, err
	}
	for n := range s.p.Steps {
		if err := s.step(n); err != nil {
			return nil, err
		}
	}
	return s.doc, nil
}

// head is what stands before the first step: what the sheet is of, how to fill it in,
// what can hurt, what is needed.
func (s *printedSheet) head(title string) error {
	d := s.doc
	d.Heading(1, title)
	d.Text(paper.Style{Face: paper.Bold, SizePoints: 12}, fmt.Sprintf("%s, revision %s, %d steps", s.p.ID, s.p.Revision, len(s.p.Steps)))
	if s.s != nil {
		if err := s.runLine(); err != nil {
			return err
		}
	}
	d.Gap(1)
	if s.withdrawn != "" {
		d.Caution("THIS REVISION IS WITHDRAWN", s.withdrawn)
		d.Gap(1)
	}
	d.Fields(0, paper.Field{Label: "filled in by", Share: 3}, paper.Field{Label: "date (UTC)", Share: 2}, paper.Field{Label: "sheet kept at", Share: 2})
	if s.s == nil {
		d.Fields(0, paper.Field{Label: "carried out on (serial)", Share: 3}, paper.Field{Label: "at", Share: 2}, paper.Field{Label: "run", Share: 2})
	}
	d.Gap(2)
	d.Text(paper.Style{SizePoints: 10}, "Cautions stand before their step: read them first. Tick what is done, write what is measured, and the time in UTC; "+
		"write your name at a step where it is not the one above. Leave empty what was not done. "+
		"A hand-written signature is a record: the gate opens when it is signed in the store, with a key. Local rules and licensed or medical staff decide whether work is safe.")
	for _, h := range s.p.Hazards {
		d.Gap(2)
		d.Caution(h.Name, h.Caution)
	}
	d.Gap(2)
	s.needed()
	d.Heading(2, "Steps")
	d.Rule()
	return nil
}

func (s *printedSheet) runLine() error {
	target, err := s.tx.Describe(s.s.Target)
	if err != nil {
		return err
	}
	location, err := s.tx.Describe(s.s.Location)
	if err != nil {
		return err
	}
	done := 0
	for _, step := range s.s.Steps {
		if step.Done {
			done++
		}
	}
	words := []string{"run " + s.code.Run}
	if !s.s.Target.IsZero() {
		words = append(words, "on "+target)
	}
	if !s.s.Location.IsZero() {
		words = append(words, "at "+location)
	}
	words = append(words, "started "+s.s.At.Time().UTC().Format("2006-01-02 15:04Z"), fmt.Sprintf("%d of %d steps done", done, len(s.s.Steps)))
	if s.s.Ended != nil {
		words = append(words, "ENDED")
	}
	s.doc.Text(paper.Style{SizePoints: 11}, strings.Join(words, "; "))
	return nil
}

// needed lists roles, tools and parts.
func (s *printedSheet) needed() {
	parts := make([]string, len(s.p.Parts))
	for i, part := range s.p.Parts {
		parts[i] = fmt.Sprintf("%d × %s", part.Quantity, part.Part)
	}
	for _, list := range []struct {
		name  string
		words []string
	}{{"Roles", s.p.Roles}, {"Tools", s.p.Tools}, {"Parts", parts}} {
		if len(list.words) > 0 {
			s.doc.Item(16, list.name, paper.Style{SizePoints: 10}, strings.Join(list.words, "; "))
			s.doc.Gap(1)
		}
	}
}
