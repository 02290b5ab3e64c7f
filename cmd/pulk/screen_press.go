package main

import (
	"fmt"
	"slices"
	"strings"
	"time"

	"pulk/checklist/procedure"
	"pulk/checklist/work"
)

// press takes one key and returns what is to be done for it; nil for nothing.
func (s *session) press(k key, now time.Time) *effect {
	s.now = now
	switch {
	case k.name == keyLeave:
		return &effect{leave: true}
	case s.scene == nil:
		return nil
	case s.ask != nil:
		return s.pressInField(k)
	case s.list != nil:
		return s.pressInList(k)
	case s.scroll(k):
		return nil
	case s.hazards:
		return s.pressAtHazards(k)
	}
	return s.pressAtStep(k)
}

// scroll moves the body, where more of it is there than the screen holds.
func (s *session) scroll(k key) bool {
	rows := s.bodyRows()
	last := max(len(s.body())-rows, 0)
	switch {
	case k.name == keyPageDown || k.name == keyRune && k.text == " ":
		s.top = min(s.top+max(rows-1, 1), last)
	case k.name == keyPageUp:
		s.top = max(s.top-max(rows-1, 1), 0)
	default:
		return false
	}
	return true
}

// settled reports whether what stands on the screen has stood there long enough to
// be answered.
func (s *session) settled() bool { return s.now.Sub(s.since) >= settle }

func (s *session) pressAtHazards(k key) *effect {
	switch {
	case k.name == keyRune && k.text == "q":
		return &effect{leave: true}
	case k.name != keyEnter || !s.settled():
	case s.top+s.bodyRows() < len(s.body()):
		s.scroll(key{name: keyPageDown})
	default:
		s.nowRead(s.scene.Place)
		s.hazards, s.top = false, 0
		s.since = s.now
	}
	return nil
}

func (s *session) pressInField(k key) *effect {
	q := s.ask
	switch k.name {
	case keyEscape:
		s.ask = nil
	case keyBackspace:
		q.text = q.text[:max(len(q.text)-1, 0)]
	case keyRune, keyBurst:
		q.text = append(q.text, []rune(k.text)...)
	case keyScan, keyEnter:
		typed := strings.TrimSpace(string(q.text))
		text := strings.TrimSpace(string(q.text) + k.text)
		if q.numbers && k.name == keyScan && typed != "" {
			text = work.TakenWith(typed, k.text)
		}
		if text == "" && !q.optional {
			return nil
		}
		s.ask = nil
		return q.taken(text)
	}
	return nil
}

func (s *session) pressInList(k key) *effect {
	l := s.list
	switch {
	case k.name == keyEscape || k.name == keyRune && k.text == "q":
		s.list = nil
	case k.name == keyUp:
		l.at = max(l.at-1, 0)
	case k.name == keyDown:
		l.at = min(l.at+1, len(l.lines)-1)
	case l.sure && k.name == keyRune && k.text == "y", !l.sure && k.name == keyEnter:
		s.list = nil
		if l.taken != nil {
			return l.taken(l.at)
		}
	case l.taken == nil && k.name == keyRune:
		s.list = nil
	}
	return nil
}

// pressAtStep is a key where no field and no list is open.
func (s *session) pressAtStep(k key) *effect {
	step := s.step()
	switch k.name {
	case keyScan:
		return s.scan(step, k.text)
	case keyBurst:
		s.burst(step, k.text)
		return nil
	case keyUp, keyDown:
		s.move(k.name == keyDown)
		return nil
	}
	if e, known := s.command(k); known {
		return e
	}
	if step == nil || step.Done || !s.settled() || k.name != keyEnter && k.name != keyRune {
		return nil
	}
	if !s.cautionsRead(step) {
		if k.name == keyEnter {
			s.readCautions(step)
		}
		return nil
	}
	for i, act := range step.Acts {
		first := i == 0 && k.name == keyEnter && step.Kind != string(procedure.KindConfirm) && act.Takes != work.TakesKey
		if first || k.name == keyRune && k.text == act.Key {
			return s.do(step, act, "")
		}
		if act.Takes == work.TakesNumbers && k.name == keyRune && strings.Contains("0123456789.-+", k.text) {
			return s.do(step, act, k.text)
		}
	}
	if k.name == keyEnter {
		s.say(false, "this step takes: "+strings.Join(keysOf(step.Acts), ", "))
	}
	return nil
}

// cautionsRead reports whether nothing is to be read before the step is answered.
func (s *session) cautionsRead(step *work.Step) bool {
	return len(step.Cautions) == 0 || s.hasRead(step.Shown)
}

// readCautions counts the cautions as read where all of them have been on the
// screen; else it shows more of them.
func (s *session) readCautions(step *work.Step) {
	if s.top+s.bodyRows() >= s.cautionLines() {
		s.nowRead(step.Shown)
		s.top = 0
		s.since = s.now
		return
	}
	s.scroll(key{name: keyPageDown})
}

// scan takes what a scanner typed, wherever the person is: into the step that asks
// for it, and nowhere else.
func (s *session) scan(step *work.Step, text string) *effect {
	i := -1
	if step != nil && !step.Done {
		i = slices.IndexFunc(step.Acts, func(a work.Act) bool {
			return a.Takes == work.TakesSerial || a.Takes == work.TakesText && a.Name == work.Write
		})
	}
	switch {
	case i >= 0 && !s.cautionsRead(step):
		s.say(true, "scanned "+text+": read the caution first, then scan again")
	case i >= 0:
		return s.tap(step, step.Acts[i], text)
	case step != nil && !step.Done && s.cautionsRead(step) && len(step.Acts) > 0 && step.Acts[0].Takes == work.TakesNumbers:
		s.do(step, step.Acts[0], text) // Enter has to be pressed by a person
		s.say(true, "it came as from a scanner: look at it, then Enter")
	default:
		s.say(true, "scanned "+text+": this step takes no scan; nothing was done")
	}
	return nil
}

// burst takes what came at once and without Enter: a scan of which the rest is still
// on its way over a slow line, or a scanner that sends no Enter. It answers nothing
// by itself.
func (s *session) burst(step *work.Step, text string) {
	if step != nil && !step.Done && s.cautionsRead(step) && len(step.Acts) > 0 && step.Acts[0].Name == work.Write {
		s.do(step, step.Acts[0], text)
		return
	}
	s.say(true, fmt.Sprintf("%q came too fast for a person and answers nothing", text))
}

// move goes to the step before or after that can be carried out.
func (s *session) move(down bool) {
	var open []string
	at := -1
	for _, step := range s.scene.Steps {
		if step.ID == s.at {
			at = len(open)
			if !step.Open && down {
				at-- // the next one after a step that is not in the list
			}
		}
		if step.Open {
			open = append(open, step.ID)
		}
	}
	to := at - 1
	if down {
		to = at + 1
	}
	if to >= 0 && to < len(open) {
		s.say(false)
		s.goTo(open[to])
		delete(s.putOff, open[to])
	}
}

// command takes the keys that belong to no step.
func (s *session) command(k key) (e *effect, known bool) {
	if k.name != keyRune {
		return nil, false
	}
	for _, act := range s.scene.Acts {
		if act.Key == k.text {
			return s.doAct(act), true
		}
	}
	switch k.text {
	case "q":
		return &effect{leave: true}, true
	case "?":
		s.list = &choice{title: "Keys", lines: screenHelp}
	case "@":
		s.ask = &question{label: "who goes on", taken: func(text string) *effect { return &effect{become: text} }}
	case "p":
		if step := s.step(); step != nil {
			s.putOff[step.ID] = true
			s.say(false, "step "+step.ID+" is put off; up and down go back to it")
			s.pick()
		}
	case "w":
		if waits := s.scene.Waits(); len(waits) > 0 {
			first := slices.MinFunc(waits, func(a, b work.Step) int { return int(min(max(a.EndsMS-b.EndsMS, -1), 1)) })
			s.goTo(first.ID)
			s.say(false)
		}
	case "o":
		s.list = &choice{title: "What others did, the latest first", lines: s.saidLines(s.scene.Others)}
		s.seeOthers()
	case "l":
		s.list = &choice{title: "All steps", lines: s.stepLines()}
	default:
		return nil, false
	}
	return nil, true
}

var screenHelp = []string{
	"Enter    what the step asks for: done, a value, a text, the clock",
	"y, n     yes, no; a no asks what is seen",
	"0 to 9   begin to type a reading; several are typed with spaces between",
	"g, s     sign go, sign stop: asks who, and their passphrase",
	"         where several people sign, one does it after the other",
	"u        undo: choose an entry and say why; it is voided and stays on record",
	"t        note a remark at this step",
	"@        another person goes on, for the steps of another role",
	"p        put this step off for now;  up, down: the other steps that are open",
	"w        to the wait that ends first",
	"o        what others did;  l: all steps;  space, page up: read on, back",
	"q        leave; everything so far is saved. Ctrl-C does the same",
	"A scanner that types like a keyboard needs no key before it.",
}

// doAct begins an act that belongs to no step.
func (s *session) doAct(act work.Act) *effect {
	step := s.step()
	switch act.Name {
	case work.Note:
		s.ask = &question{label: act.Ask, taken: func(text string) *effect {
			tap := work.Tap{Act: act.Name, Text: text}
			if step != nil {
				tap.Step = step.ID
			}
			return &effect{tap: &tap, as: s.scene.Person}
		}}
	case work.Void:
		undo := slices.Clone(s.scene.Undo)
		s.list = &choice{title: "Undo: which entry is not to be relied on?", lines: s.saidLines(undo), taken: func(at int) *effect {
			s.ask = &question{label: act.Ask, taken: func(text string) *effect {
				return &effect{tap: &work.Tap{Act: act.Name, Entry: undo[at].ID, Text: text}, as: s.scene.Person}
			}}
			return nil
		}}
	default:
		s.list = &choice{title: act.Sure, lines: []string{"y does it, Esc does not"}, sure: true, taken: func(int) *effect {
			return &effect{tap: &work.Tap{Act: act.Name}, as: s.scene.Person}
		}}
	}
	return nil
}

// do begins an act of a step: at once, or by asking for what it takes.
func (s *session) do(step *work.Step, act work.Act, typed string) *effect {
	s.say(false)
	switch {
	case act.Takes == work.TakesKey:
		s.askSigner(step, act.Name, s.scene.Person)
	case act.With != "":
		s.askReading(step, act, typed)
	case act.Takes != "":
		s.ask = &question{label: act.Ask, text: []rune(typed), taken: func(text string) *effect { return s.tap(step, act, text) }}
	case act.Sure != "":
		s.list = &choice{title: act.Sure, lines: []string{"y does it, Esc does not"}, sure: true, taken: func(int) *effect { return s.tap(step, act, "") }}
	default:
		return s.tap(step, act, "")
	}
	return nil
}

func (s *session) tap(step *work.Step, act work.Act, text string) *effect {
	return &effect{tap: &work.Tap{Step: step.ID, Act: act.Name, Text: text, Shown: step.Shown, Read: s.cautionsRead(step)}, as: s.scene.Person}
}

// askReading asks for numbers, and then for the instrument unless it was scanned or
// typed behind them. The one that was last used for the same is offered.
func (s *session) askReading(step *work.Step, act work.Act, typed string) {
	s.ask = &question{label: act.Ask, text: []rune(typed), numbers: true, taken: func(text string) *effect {
		if _, serial, given := strings.Cut(text, " with "); given {
			s.with[act.With] = strings.TrimSpace(serial)
			return s.tap(step, act, text)
		}
		s.ask = &question{label: "taken with " + act.With + ", its serial", text: []rune(s.with[act.With]), optional: true, taken: func(serial string) *effect {
			s.with[act.With] = serial
			return s.tap(step, act, work.TakenWith(text, serial))
		}}
		return nil
	}}
}

// askSigner asks who signs and for their passphrase, so that people who sign
// together do so one after the other at one keyboard.
func (s *session) askSigner(step *work.Step, name, person string) {
	verb := map[string]string{work.Go: "sign GO", work.Stop: "sign STOP"}[name]
	label := fmt.Sprintf("who signs %s at %s", strings.TrimPrefix(verb, "sign "), step.ID)
	if step.Need > 1 && name == work.Go {
		label += fmt.Sprintf(" (%d of %d have)", step.Have, step.Need)
	}
	s.ask = &question{label: label, text: []rune(person), taken: func(signer string) *effect {
		e := &effect{as: signer, key: true, tap: &work.Tap{Step: step.ID, Act: name, Shown: step.Shown, Read: s.cautionsRead(step)}}
		if s.noSecret {
			return e
		}
		s.ask = &question{label: "passphrase of " + signer + ", to " + verb, hidden: true, taken: func(secret string) *effect {
			e.secret = secret
			return e
		}}
		return nil
	}}
}
