package main

import (
	"slices"
	"strings"
	"time"

	"pulk/checklist/work"
)

// settle is how long a step has to stand on the screen before a key answers it, so
// that a key that bounces, or one meant for the step before, answers nothing.
const settle = 400 * time.Millisecond

// session is what a person at a terminal sees and does: keys go in, what is to be
// carried out comes out. It holds no rule of the work, and knows no clock and no
// terminal.
type session struct {
	scene    *work.Scene
	size     screenSize
	now      time.Time
	local    *time.Location
	noSecret bool // passphrases come from elsewhere and are not asked

	hazards bool              // they are being read
	at      string            // the step on the screen; empty for none
	since   time.Time         // when it came there
	read    map[string]bool   // Scene.Place and Step.Shown, where hazards and cautions were read, by person
	putOff  map[string]bool   // by step
	with    map[string]string // serial of the instrument last used, by what is asked for
	known   map[string]bool   // entries of others that were seen
	rung    map[string]bool   // waits that were told to be over
	top     int               // first line of the body on the screen
	told    []string          // answer to what was done last
	alarm   bool              // that answer is a refusal
	ask     *question
	list    *choice
}

type screenSize struct{ columns, rows int }

// question is a field in which something is typed.
type question struct {
	label    string
	text     []rune
	hidden   bool
	optional bool
	numbers  bool                      // a scan after them is the instrument
	taken    func(text string) *effect // what the answer leads to; it may ask on
}

// choice is a list on the screen, to choose from or only to read.
type choice struct {
	title string
	lines []string
	at    int                  // the line that is chosen
	taken func(at int) *effect // nil where the list is only read
	sure  bool                 // y takes it, and no other key
}

// effect is what the world is to do for the person.
type effect struct {
	tap    *work.Tap
	as     string // who does it
	key    bool   // it takes that person's key
	secret string // which this opens
	become string // another person goes on
	leave  bool
}

func newSession(size screenSize, local *time.Location) *session {
	return &session{size: size, local: local, read: map[string]bool{}, putOff: map[string]bool{}, rung: map[string]bool{}, with: map[string]string{}}
}

// show takes in what the run is like now.
func (s *session) show(scene *work.Scene, now time.Time) {
	before := s.step()
	if s.known == nil { // what came since this person last entered something is news
		s.known = map[string]bool{}
		for _, o := range scene.Others {
			s.known[o.ID] = !o.New
		}
	}
	s.scene, s.now = scene, now
	if len(scene.Hazards) > 0 && !s.hasRead(scene.Place) && !s.hazards {
		s.hazards, s.top, s.ask, s.list, s.since = true, 0, nil, nil, now
	}
	after := s.step()
	switch {
	case before != nil && after != nil && after.Done && !before.Done:
		s.say(false, "step "+after.ID+" is done: "+strings.Join(after.Facts, "; "))
		s.pick()
	case (after == nil || after.Done) && s.ask == nil && s.list == nil:
		s.pick()
	case after == nil:
	case before != nil && before.Shown != after.Shown:
		s.goTo(after.ID)
		s.say(true, "step "+after.ID+" has changed: read it again")
	}
}

// hasRead reports whether who is at the keyboard has read some hazards or cautions.
// Another person who goes on reads them for themselves.
func (s *session) hasRead(what string) bool { return s.read[s.scene.Person+" "+what] }

func (s *session) nowRead(what string) { s.read[s.scene.Person+" "+what] = true }

// step returns the step on the screen, or nil.
func (s *session) step() *work.Step {
	if s.scene == nil {
		return nil
	}
	return s.scene.StepByID(s.at)
}

// pick puts the first step on the screen that can be carried out and was not put
// off; none where there is no such step.
func (s *session) pick() {
	for _, id := range s.scene.Order {
		if !s.putOff[id] {
			s.goTo(id)
			return
		}
	}
	s.goTo("")
}

func (s *session) goTo(id string) {
	if id == "" && s.at == "" {
		return // nothing changes: a list or a field that is open stays
	}
	s.top, s.since, s.ask, s.list = 0, s.now, nil, nil
	s.at = id
}

// others returns what others did that this person has not seen, the latest first.
func (s *session) others() []work.Said {
	return slices.DeleteFunc(slices.Clone(s.scene.Others), func(o work.Said) bool { return s.known[o.ID] })
}

func (s *session) seeOthers() {
	for _, o := range s.scene.Others {
		s.known[o.ID] = true
	}
}

func (s *session) say(alarm bool, lines ...string) { s.told, s.alarm = lines, alarm }

// answered takes in what became of a tap: what was said, or why it was refused.
func (s *session) answered(e *effect, scene *work.Scene, said string, err error, now time.Time) {
	if err == nil {
		s.seeOthers()
	}
	s.ask, s.list = nil, nil
	done, faults := e.tap.Step, len(s.scene.Faults)
	s.show(scene, now)
	for _, o := range scene.Others {
		s.known[o.ID] = s.known[o.ID] || o.Person == e.as // somebody signed at this keyboard
	}
	if err != nil {
		clear(s.with) // the wrong one, perhaps
		what, because, hint := tellFault(err)
		if isAnswer(err) {
			what = "REFUSED: " + what
		} else {
			what, hint = "NOT DONE: "+what, "try it again"
		}
		s.say(true, append([]string{what}, prefixed("- ", because)...)...)
		if hint != "" {
			s.told = append(s.told, "next: "+hint)
		}
		return
	}
	s.say(len(scene.Faults) > faults, strings.Split(strings.TrimSpace(said), "\n")...)
	step := s.step()
	switch {
	case e.tap.Act == work.Void: // what is open again is most likely what comes next
		s.pick()
	case e.tap.Act == work.Note || step == nil || step.ID != done:
	case e.tap.Act == work.Go && step.Have < step.Need:
		s.askSigner(step, work.Go, "")
	case !slices.Contains(s.scene.Order, step.ID): // a wait that runs, or what somebody has to decide
		s.pick()
	}
}

func prefixed(mark string, list []string) []string {
	var out []string
	for _, text := range list {
		out = append(out, mark+text)
	}
	return out
}

// tick lets time pass. It returns true when a wait has just ended: the time to ring.
func (s *session) tick(now time.Time) (ring bool) {
	s.now = now
	if s.scene == nil {
		return false
	}
	for _, w := range s.scene.Waits() {
		if w.EndsMS <= now.UnixMilli() && !s.rung[w.ID] {
			s.rung[w.ID], ring = true, true
			if s.ask == nil && s.at != w.ID {
				s.say(true, "step "+w.ID+": the time is over; w goes there")
			}
		}
	}
	return ring
}
