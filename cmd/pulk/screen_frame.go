package main

import (
	"fmt"
	"strings"
	"time"
	"unicode/utf8"

	"pulk/checklist/procedure"
	"pulk/checklist/work"
)

// row is a line of the screen. Weight is never the only sign of anything, so that
// terminals without it show as much.
type row struct {
	text   string
	weight weight
}

type weight int

const (
	plain   weight = iota
	bold           // what is to be done
	reverse        // the heading, and what warns
)

// Bounds of the screen. Below them nothing fits that could be worked with.
const (
	columnsMin = 40
	rowsMin    = 14
	columnsMax = tableWidth // lines longer than that are hard to read
)

// frame returns the whole screen: as many lines as it has rows, none longer than its
// columns.
func (s *session) frame() []row {
	if s.size.columns < columnsMin || s.size.rows < rowsMin {
		lines := []row{{text: "The window is too small."}, {text: fmt.Sprintf("%d × %d is the least.", columnsMin, rowsMin)}, {text: "q leaves."}}
		for i := range lines {
			lines[i].text = cut(lines[i].text, s.size.columns)
		}
		return fill(lines, s.size.rows)
	}
	if s.scene == nil {
		return fill(nil, s.size.rows)
	}
	head, foot := s.head(), s.foot()
	body := s.body()
	rows := s.bodyRoom()
	body = body[min(s.top, max(len(body)-1, 0)):]
	if len(body) > rows {
		body = append(append([]row{}, body[:rows-1]...), row{"      (more: space)", plain})
	}
	lines := append(append(head, fill(body, rows)...), foot...)
	for i := range lines {
		lines[i].text = cut(lines[i].text, s.size.columns)
	}
	return lines
}

func (s *session) bodyRoom() int {
	return max(s.size.rows-len(s.head())-len(s.middle())-bottomRows, 1)
}

// bodyRows returns how many lines of the body are seen at once, the mark for more
// left out.
func (s *session) bodyRows() int {
	rows := s.bodyRoom()
	if len(s.body()) > rows {
		rows--
	}
	return max(rows, 1)
}

func fill(lines []row, rows int) []row {
	for len(lines) < rows {
		lines = append(lines, row{})
	}
	return lines[:rows]
}

// cut shortens a text to some columns, and shows that it did.
func cut(text string, columns int) string {
	runes := []rune(text)
	if len(runes) <= columns {
		return text
	}
	return string(runes[:max(columns-1, 0)]) + "…"
}

func (s *session) width() int { return min(s.size.columns, columnsMax) }

// both puts one text at the left end of a line and one at the right end.
func (s *session) both(left, right string) string {
	left = cut(left, s.width()-utf8.RuneCountInString(right)-1)
	return left + strings.Repeat(" ", max(s.width()-utf8.RuneCountInString(left+right), 1)) + right
}

func (s *session) rule() row { return row{text: strings.Repeat("-", s.width())} }

func (s *session) head() []row {
	right := fmt.Sprintf("%s   %d of %d done ", s.scene.Person, s.scene.Done, len(s.scene.Steps))
	lines := []row{
		{s.both(" "+s.scene.Title, right), reverse},
		{text: s.both(fmt.Sprintf(" run %s, %s revision %s", s.scene.Run, s.scene.Procedure, s.scene.Revision), s.now.UTC().Format("15:04Z")+s.localTime(s.now)+" ")},
	}
	if s.size.rows >= 20 {
		lines = append(lines, row{})
	}
	return lines
}

func (s *session) localTime(t time.Time) string {
	if local := t.In(s.local); local.Format("-07") != "+00" {
		return local.Format(" (15:04 -07)")
	}
	return ""
}

// block wraps a text after a mark, which stands once.
func (s *session) block(mark, text string, w weight) []row {
	var lines []row
	for _, part := range wrap(text, max(s.width()-utf8.RuneCountInString(mark)-1, 8)) {
		lines = append(lines, row{mark + part, w})
		mark = strings.Repeat(" ", utf8.RuneCountInString(mark))
	}
	return lines
}

// body returns all lines of what the screen is about.
func (s *session) body() []row {
	switch step := s.step(); {
	case s.list != nil:
		return s.listBody()
	case s.hazards:
		return s.hazardBody()
	case step == nil:
		return s.idleBody()
	default:
		return s.stepBody(step)
	}
}

func (s *session) hazardBody() []row {
	lines := []row{{text: " What can hurt people in this job:"}, {}}
	for _, h := range s.scene.Hazards {
		lines = append(lines, s.block(" ! ", strings.ToUpper(h.Name)+": "+h.Caution, plain)...)
	}
	return lines
}

// cautionLines returns how many lines of a step's body have to be seen before its
// cautions count as read.
func (s *session) cautionLines() int {
	step := s.step()
	return len(s.stepHead(step)) + len(s.stepCautions(step))
}

func (s *session) stepHead(step *work.Step) []row {
	what := step.Kind
	if step.Kind == string(procedure.KindHold) || step.Kind == string(procedure.KindWitness) {
		what += " point"
	}
	who := "anyone"
	if step.Role != "" {
		who = step.Role
		if !step.Holds {
			who += ", which " + s.scene.Person + " is not: @ lets another person go on"
		}
	}
	return append(s.block(" STEP ", fmt.Sprintf("%s, %d of %d: %s, for %s", step.ID, step.Number, len(s.scene.Steps), what, who), bold), row{})
}

func (s *session) stepCautions(step *work.Step) []row {
	var lines []row
	for _, caution := range step.Cautions {
		lines = append(lines, s.block(" ! CAUTION: ", caution, reverse)...)
	}
	if step.Irreversible {
		lines = append(lines, row{" ! THIS CANNOT BE UNDONE.", reverse})
	}
	if len(lines) > 0 {
		lines = append(lines, row{})
	}
	return lines
}

func (s *session) stepBody(step *work.Step) []row {
	lines := append(s.stepHead(step), s.stepCautions(step)...)
	lines = append(lines, s.block("   ", step.Text, bold)...)
	lines = append(lines, row{})
	if step.Asks != "" {
		lines = append(lines, s.block("   = ", step.Asks, plain)...)
	}
	for _, list := range []struct {
		mark  string
		texts []string
	}{{"   . ", step.Facts}, {"   * ", step.Signed}, {"   - ", step.Why}} {
		for _, text := range list.texts {
			lines = append(lines, s.block(list.mark, text, plain)...)
		}
	}
	for _, f := range s.scene.Faults {
		if f.Step == step.ID {
			lines = append(lines, s.block("   ! ", f.Text+" ("+f.ID+"): someone has to decide; pulk nc dispose "+f.ID+" DISPOSITION --why REASON", plain)...)
		}
	}
	if step.EndsMS > 0 {
		lines = append(lines, row{}, row{"   " + s.waitText(*step), bold})
	}
	return lines
}

// idleBody tells why there is no step to carry out.
func (s *session) idleBody() []row {
	scene := s.scene
	switch {
	case scene.Ended:
		return []row{{}, {text: "   The run has ended. q leaves."}}
	case scene.Finished():
		return []row{{}, {fmt.Sprintf("   All %d steps are done. e ends the run.", len(scene.Steps)), bold}}
	case len(scene.Order) > 0:
		return []row{{}, {text: "   Only steps that were put off are left; up and down go to them:"}, {text: "   " + strings.Join(scene.Order, ", ")}}
	}
	lines := []row{{}, {"   Nothing can be carried out now.", bold}, {}}
	for _, w := range scene.Waits() {
		lines = append(lines, row{"   step " + w.ID + ": " + s.waitText(w), plain})
	}
	for _, f := range scene.Faults {
		lines = append(lines, s.block("   ! ", f.Text+" ("+f.ID+"): someone has to decide; pulk nc dispose "+f.ID+" DISPOSITION --why REASON", plain)...)
	}
	for _, step := range scene.Steps {
		if !step.Done && !step.Open && len(step.Why) > 0 {
			lines = append(lines, s.block("   - step "+step.ID+": ", strings.Join(step.Why, "; "), plain)...)
			break
		}
	}
	return lines
}

func (s *session) listBody() []row {
	lines := s.block(" ", s.list.title, bold)
	lines = append(lines, row{})
	rows := max(s.bodyRoom()-len(lines)-1, 1)
	from := max(0, min(s.list.at-rows/2, len(s.list.lines)-rows))
	for i := from; i < min(from+rows, len(s.list.lines)); i++ {
		mark, w := "   ", plain
		if i == s.list.at && !s.list.sure {
			mark, w = " > ", bold
		}
		lines = append(lines, row{mark + s.list.lines[i], w})
	}
	if len(s.list.lines) == 0 {
		lines = append(lines, row{text: "   none"})
	}
	return lines
}

func (s *session) saidLines(list []work.Said) []string {
	var lines []string
	for _, said := range list {
		lines = append(lines, s.saidText(said))
	}
	return lines
}

func (s *session) saidText(said work.Said) string {
	at := time.UnixMilli(said.AtMS).UTC()
	when := at.Format("15:04Z")
	if at.Format(time.DateOnly) != s.now.UTC().Format(time.DateOnly) {
		when = at.Format("01-02 15:04Z")
	}
	step := ""
	if said.Step != "" {
		step = " step " + said.Step
	}
	return fmt.Sprintf("%s %s%s: %s (%s)", when, said.Person, step, said.What, said.ID)
}

func (s *session) stepLines() []string {
	var lines []string
	for _, step := range s.scene.Steps {
		mark := "--"
		switch {
		case step.Done:
			mark = "ok"
		case step.ID == s.at:
			mark = ">>"
		case step.Open:
			mark = "  "
		}
		lines = append(lines, fmt.Sprintf("%s %-5s %s", mark, step.ID, step.Text))
	}
	return lines
}

// waitText tells how long a wait still takes, or that its time is over.
func (s *session) waitText(w work.Step) string {
	left := time.UnixMilli(w.EndsMS).Sub(s.now)
	if left <= 0 {
		return "the time is over"
	}
	left = (left + time.Second - 1).Truncate(time.Second)
	return fmt.Sprintf("%d min %02d s left, until %s", int(left.Minutes()), int(left.Seconds())%60, time.UnixMilli(w.EndsMS).UTC().Format("15:04:05Z"))
}
