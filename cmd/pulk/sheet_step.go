package main

import (
	"fmt"
	"strings"

	"pulk/checklist/crew"
	"pulk/checklist/procedure"
	"pulk/checklist/run"
	"pulk/cmd/paper"
	"pulk/schema/kind"
)

// indentFor is where the text of steps begins, right of their ids, if those are not
// very long.
func indentFor(d *paper.Doc, p *procedure.Procedure) float64 {
	widest := 12.0
	for i := range p.Steps {
		widest = max(widest, d.TextWidth(paper.Style{Face: paper.Bold, SizePoints: 12}, p.Steps[i].ID))
	}
	return min(widest, 25) + 3
}

// step lays out one step: cautions, text, what is known of it, what is to be filled
// in. All of it stays on one page.
func (s *printedSheet) step(n int) error {
	step := &s.p.Steps[n]
	known, err := s.known(n)
	if err != nil {
		return err
	}
	if s.done(n) {
		s.doneStep(step, known)
		return nil
	}
	s.doc.Keep(func() {
		s.doc.Gap(1)
		for _, caution := range step.Cautions {
			s.doc.Caution("CAUTION", caution)
			s.doc.Gap(1)
		}
		if step.Irreversible {
			s.doc.Caution("THIS CANNOT BE UNDONE", "Only when every hold point and witness point before it is signed.")
			s.doc.Gap(1)
		}
		s.doc.Item(s.indent, step.ID, paper.Style{SizePoints: 12}, sheetText(step))
		asks := stepAsks(step)
		if s.s != nil {
			asks = stepAsksNow(s.s, n)
		}
		if asks != "" {
			s.doc.Indent(paper.Style{SizePoints: 10}, s.indent, asks)
		}
		for _, line := range known {
			s.doc.Indent(paper.Style{Face: paper.Bold, SizePoints: 9.5}, s.indent, line)
		}
		s.fillIn(n)
		s.doc.Gap(1)
		s.doc.Rule()
	})
	return nil
}

// doneStep lays out a step that is done in little room: what it is, and what is known.
func (s *printedSheet) doneStep(step *procedure.Step, known []string) {
	s.doc.Keep(func() {
		s.doc.Gap(1)
		s.doc.Tick(paper.Ticked, paper.Style{SizePoints: 9.5}, step.ID+"   "+sheetText(step)+"\n"+strings.Join(known, "\n"))
		s.doc.Rule()
	})
}

// sheetText is the text of a step, and that it is a gate where it is one.
func sheetText(step *procedure.Step) string {
	if isGateKind(step.Kind) {
		return strings.ToUpper(string(step.Kind)) + " POINT. " + step.Text
	}
	return step.Text
}

func isGateKind(k procedure.Kind) bool {
	return k == procedure.KindHold || k == procedure.KindWitness
}

// known says in words what the store holds of a step already.
func (s *printedSheet) known(n int) ([]string, error) {
	if s.s == nil {
		return nil, nil
	}
	var lines []string
	state := s.s.Steps[n]
	for _, e := range state.Entries {
		person, err := crew.Label(s.tx, e.Person)
		if err != nil {
			return nil, err
		}
		behind, err := paperText(s.tx, e)
		if err != nil {
			return nil, err
		}
		line := fmt.Sprintf("%s: %s%s, %s (%s)", e.At.Time().UTC().Format("2006-01-02 15:04Z"), entryText(s.s, e), behind, person, s.tx.Name(e.Dot))
		if state.Gate != nil {
			line += s.standing(state.Gate, e)
		}
		lines = append(lines, line)
	}
	for _, nc := range s.s.NCs {
		if nc.Open && nc.Entry.Step == n {
			lines = append(lines, fmt.Sprintf("NONCONFORMANCE %s IS OPEN: %s", s.tx.Name(nc.Entry.Dot), nc.Entry.Text))
		}
	}
	return lines, nil
}

// standing says of a sign-off whether it holds.
func (s *printedSheet) standing(g *run.Gate, e *run.Entry) string {
	for _, so := range g.SignOffs {
		if so.Entry.Dot == e.Dot {
			return ", " + string(so.Standing)
		}
	}
	return ""
}

// fillIn lays out what is to be written at a step by hand.
func (s *printedSheet) fillIn(n int) {
	step, d := &s.p.Steps[n], s.doc
	timeAndName := []paper.Field{{Label: "time (UTC)", Share: 2}, {Label: "name", Share: 3}}
	switch step.Kind {
	case procedure.KindHold, procedure.KindWitness:
		s.signatures(n)
		return
	case procedure.KindConfirm:
		d.Fields(s.indent, append([]paper.Field{{Label: "yes", Box: true}, {Label: "no", Box: true}}, timeAndName...)...)
		d.Fields(s.indent, paper.Field{Label: "if no: what is seen"})
	case procedure.KindReading:
		s.readings(n)
		with := paper.Field{Label: "instrument", Share: 3}
		if i := step.Reading.Instrument; i != nil && i.Part != "" {
			with.Label = i.Part
		}
		d.Fields(s.indent, append([]paper.Field{with}, timeAndName...)...)
	case procedure.KindRecord:
		d.Fields(s.indent, paper.Field{Label: step.Record.Label})
		d.Fields(s.indent, timeAndName...)
	case procedure.KindWait:
		d.Fields(s.indent, paper.Field{Label: "done", Box: true}, paper.Field{Label: "from (UTC)", Share: 2}, paper.Field{Label: "until", Share: 2}, paper.Field{Label: "name", Share: 3})
	default:
		d.Fields(s.indent, append([]paper.Field{{Label: "done", Box: true}}, timeAndName...)...)
	}
}

func (s *printedSheet) done(n int) bool { return s.s != nil && s.s.Steps[n].Done }

// readings lays out a line for each reading that is to be taken still, three in a row.
func (s *printedSheet) readings(n int) {
	r := s.p.Steps[n].Reading
	var fields []paper.Field
	for i := s.taken(n); i < r.Repeat; i++ {
		label := ""
		if r.Repeat > 1 {
			label = fmt.Sprintf("%d of %d", i+1, r.Repeat)
		}
		fields = append(fields, paper.Field{Label: label, After: unitText(r.Unit)})
	}
	if len(fields) == 0 { // as many as are asked for, and yet not done: to be taken again
		fields = []paper.Field{{Label: "again", After: unitText(r.Unit)}}
	}
	s.doc.Indent(paper.Style{Face: paper.Bold, SizePoints: 12}, s.indent, "limits: "+s.limits(n))
	for len(fields) > 0 {
		row := fields[:min(3, len(fields))]
		fields = fields[len(row):]
		s.doc.Fields(s.indent, row...)
	}
}

// unitText is a unit as it stands behind a number; a bare number has none.
func unitText(ucum string) string {
	if ucum == "1" {
		return ""
	}
	return ucum
}

// limits says the limits that the readings of a step are judged by.
func (s *printedSheet) limits(n int) string {
	r := s.p.Steps[n].Reading
	switch {
	case r.Computed == nil:
		return r.Limits.In(r.Unit)
	case s.s == nil:
		return "worked out as above, when it is typed in"
	}
	b := s.s.Bounds(n)
	if b.Why != "" {
		return "not known when this was printed (" + b.Why + "); it is judged when it is typed in"
	}
	return b.In(r.Unit)
}

// taken counts the readings of a step that are here already.
func (s *printedSheet) taken(n int) int {
	count := 0
	if s.s != nil {
		for _, e := range s.s.Steps[n].Entries {
			if e.Kind == kind.StepReading {
				count++
			}
		}
	}
	return count
}

// reviewQuestions lays out what the readiness review of a hold point asks people, and
// what it lacks of a go. It is decided at a keyboard, as its checks are worked out.
func (s *printedSheet) reviewQuestions(n int) {
	form := s.p.Steps[n].Review
	if form == nil {
		return
	}
	style := paper.Style{SizePoints: 10}
	if s.s != nil && s.s.Steps[n].Gate.Review.Go {
		s.doc.Indent(style, s.indent, "The readiness review stands at go, as of this sheet.")
		return
	}
	s.doc.Indent(style, s.indent, "Readiness review before anybody signs, at a keyboard: pulk review open. Its checks are worked out there, and it asks:")
	for _, q := range form.Questions {
		s.doc.Indent(style, s.indent, q.Text)
		s.doc.Fields(s.indent, paper.Field{Label: "yes", Box: true}, paper.Field{Label: "no", Box: true}, paper.Field{Label: "name" + asRole(q.Role)})
	}
}

// asRole says in which role somebody answers; nothing where anyone may.
func asRole(role string) string {
	if role == "" {
		return ""
	}
	return ", as " + role
}

// signatures lays out the places to sign that are free still.
func (s *printedSheet) signatures(n int) {
	sign, have := s.p.Steps[n].Sign, 0
	if s.s != nil {
		have = s.s.Steps[n].Gate.Have
	}
	s.reviewQuestions(n)
	for range max(1, sign.People) - have {
		s.doc.Fields(s.indent, paper.Field{Label: "go", Box: true}, paper.Field{Label: "stop", Box: true}, paper.Field{Label: "name, as " + sign.Role})
		s.doc.Fields(s.indent, paper.Field{Label: "time (UTC)", Share: 2}, paper.Field{Label: "signature", Share: 3})
	}
}
