package main

import (
	"fmt"
	"slices"
	"strings"

	"pulk/checklist/procedure"
	"pulk/checklist/work"
)

// bottomRows is how many lines the field, or what keys do, takes.
const bottomRows = 2

// foot returns the lines below the body: what else goes on, what was answered, the
// field that is open, and the keys.
func (s *session) foot() []row { return append(s.middle(), fill(s.bottom(), bottomRows)...) }

func (s *session) middle() []row {
	room := max(s.size.rows-len(s.head())-8-bottomRows, 3) // 8: the least of a body
	told := s.toldLines()
	told = told[:min(len(told), room-1)]
	around := s.around()
	around = around[:min(len(around), max(room-len(told)-2, 0))]
	lines := append([]row{s.rule()}, around...)
	if len(around) > 0 && len(told) > 0 {
		lines = append(lines, s.rule())
	}
	return append(lines, told...)
}

// around tells of waits, of what others did, and of what comes next, in this order:
// what does not fit is left out from the end.
func (s *session) around() []row {
	if s.hazards || s.list != nil {
		return nil
	}
	var lines []row
	for i, w := range s.scene.Waits() {
		if i < 2 && w.ID != s.at {
			lines = append(lines, row{fmt.Sprintf(" wait   %s: %s", w.ID, s.waitText(w)), plain})
		}
	}
	others := s.others()
	for i, o := range others[:min(len(others), 2)] {
		text := s.saidText(o)
		if i == 1 && len(others) > 2 {
			text = fmt.Sprintf("and %d more: o shows them", len(others)-1)
		}
		lines = append(lines, row{" others " + text, bold})
	}
	next := s.next()
	for i, step := range next[:min(len(next), 2)] {
		mark := "        "
		if i == 0 {
			mark = " next   "
		}
		lines = append(lines, row{mark + stepInALine(step), plain})
	}
	return lines
}

// next returns the steps after the one on the screen that are not done.
func (s *session) next() []work.Step {
	if s.at == "" {
		return nil
	}
	after := slices.IndexFunc(s.scene.Steps, func(step work.Step) bool { return step.ID == s.at }) + 1
	return slices.DeleteFunc(slices.Clone(s.scene.Steps[after:]), func(step work.Step) bool { return step.Done })
}

// stepInALine says what a step is, where there is no room for its cautions: it
// tells that there are some.
func stepInALine(step work.Step) string {
	text := step.ID + " "
	if step.Kind == string(procedure.KindHold) || step.Kind == string(procedure.KindWitness) {
		text += step.Kind + " point: "
	}
	if step.Irreversible {
		text += "CANNOT BE UNDONE: "
	}
	if len(step.Cautions) > 0 {
		text += "(caution) "
	}
	return text + step.Text
}

func (s *session) toldLines() []row {
	var lines []row
	for _, text := range s.told {
		if s.alarm {
			lines = append(lines, s.block(" ! ", text, bold)...)
		} else {
			lines = append(lines, s.block(" ", text, plain)...)
		}
	}
	return lines
}

// bottom returns the field that is open, if one is, and what keys do now.
func (s *session) bottom() []row {
	if s.ask == nil {
		return s.keyRows()
	}
	typed := string(s.ask.text)
	if s.ask.hidden {
		typed = strings.Repeat("*", len(s.ask.text))
	}
	label := " " + s.ask.label + "> "
	if room := s.width() - len([]rune(label)) - 2; len([]rune(typed)) > room && room > 0 {
		runes := []rune(typed)
		typed = string(runes[len(runes)-room:])
	}
	return []row{{label + typed + "_", bold}, {" Enter takes it   Esc leaves it", plain}}
}

// keyRows lays out what keys do, as many to a line as fit.
func (s *session) keyRows() []row {
	rows := []row{}
	for _, text := range s.keys() {
		last := len(rows) - 1
		if last >= 0 && len([]rune(rows[last].text+"   "+text)) < s.width() {
			rows[last].text += "   " + text
			continue
		}
		rows = append(rows, row{text: " " + text})
	}
	return rows
}

// keys says what keys do now.
func (s *session) keys() []string {
	step := s.step()
	common := []string{"? help", "q leave"}
	for _, act := range s.scene.Acts {
		if act.Name == work.Void || act.Name == work.End {
			common = append([]string{act.Key + " " + strings.ToLower(act.Label)}, common...)
		}
	}
	first := func(keys ...string) []string { return append(keys, common...) }
	switch {
	case s.list != nil && s.list.sure:
		return []string{"y yes", "Esc no"}
	case s.list != nil && s.list.taken != nil:
		return []string{"up, down", "Enter chooses", "Esc leaves it"}
	case s.list != nil:
		return []string{"up, down", "Esc goes back"}
	case s.hazards && s.top+s.bodyRows() < len(s.body()):
		return []string{"Enter: READ ON", "q leave"}
	case s.hazards:
		return []string{"Enter: I HAVE READ THIS", "q leave"}
	case step == nil || step.Done:
		return common
	case s.cautionsRead(step):
		return append(keysOf(step.Acts), first("p put off")...)
	case s.top+s.bodyRows() < s.cautionLines():
		return first("Enter: READ ON", "p put off")
	}
	return first("Enter: I HAVE READ THE CAUTION", "p put off")
}

func keysOf(acts []work.Act) []string {
	var keys []string
	for i, act := range acts {
		key := act.Key
		switch {
		case act.Takes == work.TakesNumbers:
			keys = append(keys, "type the number")
			continue
		case act.Takes == work.TakesSerial:
			keys = append(keys, "scan it, or Enter to type")
			continue
		case i == 0 && len(acts) == 1:
			key = "Enter"
		}
		keys = append(keys, key+" "+strings.ToLower(act.Label))
	}
	return keys
}
