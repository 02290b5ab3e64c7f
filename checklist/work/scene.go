// Package work is the model of the work place: what a person who carries out a run
// is shown, and what they can do there, for the screen of a terminal and for the
// page of a tablet alike.
//
// [Look] turns the state of a run into a [Scene]; whoever draws it offers the acts
// that stand in it and hands back a [Tap]; [Scene.Permit] says whether the tap goes
// with what was shown. What a run allows is not decided here: that is the part of
// package run, when the tap is carried out.
package work

import (
	"fmt"
	"slices"
	"time"

	"pulk/checklist/crew"
	"pulk/checklist/run"
	"pulk/schema/kind"
	"pulk/sync/clock"
)

// Words puts into words what a run holds, by what the caller knows of names.
type Words struct {
	Person func(clock.Dot) string              // "mirre"
	Name   func(clock.Dot) string              // "stn-5"
	Asks   func(*run.State, int) string        // what a step, by its number, asks for beside its text
	Says   func(*run.State, *run.Entry) string // what an entry says
	// Heeds says what is to be heeded of a step that is open, beside its own cautions: of
	// the weather, rest at height, clearances. It may be nil.
	Heeds func(s *run.State, n int) []string
	Later string // that a later revision is here about which nobody has decided; or empty
}

// Scene is all that the work place shows of a run.
type Scene struct {
	Run       string `json:"run"`
	Title     string `json:"title"`
	Procedure string `json:"procedure"`
	Revision  string `json:"revision"`
	Person    string `json:"person"` // who is looking
	// Place tells hazards that were read from others: a run that moves to another
	// revision has them read again.
	Place   string   `json:"place"`
	Hazards []Hazard `json:"hazards"`
	Done    int      `json:"done"` // steps that are done
	Ended   bool     `json:"ended"`
	Steps   []Step   `json:"steps"`
	// Order names the steps that can be carried out now, the first one first. What
	// waits for its time, or for somebody to decide a nonconformance, is not in it.
	Order  []string `json:"order"`
	Faults []Fault  `json:"faults"` // open nonconformances
	Others []Said   `json:"others"` // what others did: what is new first, then the latest first
	Undo   []Said   `json:"undo"`   // what can be voided, the latest first; one's own before all others'
	Acts   []Act    `json:"acts"`   // that belong to no step
}

// Hazard is a danger of the whole job.
type Hazard struct {
	Name    string `json:"name"`
	Caution string `json:"caution"`
}

// Step is a step as it is shown.
type Step struct {
	ID           string   `json:"id"`
	Number       int      `json:"number"` // from 1
	Kind         string   `json:"kind"`
	Text         string   `json:"text"`
	Cautions     []string `json:"cautions"`
	Irreversible bool     `json:"irreversible"`
	Asks         string   `json:"asks"`
	Unit         string   `json:"unit"`  // of a reading
	Role         string   `json:"role"`  // that carries it out or signs it
	Holds        bool     `json:"holds"` // the one who looks holds that role, or none is asked for
	Done         bool     `json:"done"`
	Open         bool     `json:"open"`  // it is not done, and the run allows it now
	Why          []string `json:"why"`   // it cannot be carried out now, or its gate is shut
	Facts        []string `json:"facts"` // what was entered
	Signed       []string `json:"signed"`
	Need         int      `json:"need"` // people who sign
	Have         int      `json:"have"`
	EndsMS       int64    `json:"ends_ms"` // of a wait that runs: when its time is over; else 0
	Acts         []Act    `json:"acts"`
	// Shown names what stands here. A tap brings it back, so that nobody checks off
	// what has become another step.
	Shown string `json:"shown"`
}

// Fault is an open nonconformance.
type Fault struct {
	ID   string `json:"id"`
	Step string `json:"step"` // or empty
	Text string `json:"text"`
}

// Said is an entry in words.
type Said struct {
	ID     string `json:"id"`
	Step   string `json:"step"` // or empty
	What   string `json:"what"`
	Person string `json:"person"`
	AtMS   int64  `json:"at_ms"`
	// New: whoever looks had not heard of it when they last entered something here.
	New bool `json:"new"`
}

// Bounds of the lists in a scene.
const (
	othersMax = 30
	undoMax   = 20
)

// Look returns what me is shown of a run at a time.
func Look(s *run.State, me *crew.Person, now time.Time, words Words) *Scene {
	scene := &Scene{
		Run: words.Name(s.Run), Title: s.Title, Procedure: s.Procedure.ID, Revision: s.Procedure.Revision, Person: me.Code,
		Place: digest(words.Name(s.Run), words.Name(s.Revision)), Ended: s.Ended != nil,
		Hazards: []Hazard{}, Steps: []Step{}, Order: []string{}, Faults: []Fault{}, Others: []Said{}, Undo: []Said{},
	}
	if words.Later != "" { // news that are to be read before work goes on, as hazards are
		scene.Place = digest(scene.Place, words.Later)
		scene.Hazards = append(scene.Hazards, Hazard{"Another revision", words.Later})
	}
	for _, h := range s.Procedure.Hazards {
		scene.Hazards = append(scene.Hazards, Hazard{h.Name, h.Caution})
	}
	faulty := map[int]bool{}
	for _, nc := range s.NCs {
		if nc.Open {
			faulty[nc.Entry.Step] = true
			scene.Faults = append(scene.Faults, Fault{words.Name(nc.Entry.Dot), stepID(s, nc.Entry.Step), nc.Entry.Text})
		}
	}
	for n := range s.Steps {
		step := lookAt(s, n, me, words)
		if step.Done {
			scene.Done++
		} else if step.Open && !faulty[n] && step.EndsMS <= now.UnixMilli() {
			scene.Order = append(scene.Order, step.ID)
		}
		scene.Steps = append(scene.Steps, step)
	}
	scene.Others, scene.Undo = said(s, me, words)
	scene.Acts = runActs(scene)
	return scene
}

// Finished reports whether all steps are done.
func (s *Scene) Finished() bool { return len(s.Steps) > 0 && s.Done == len(s.Steps) }

// StepByID returns the step with an id, or nil.
func (s *Scene) StepByID(id string) *Step {
	i := slices.IndexFunc(s.Steps, func(step Step) bool { return step.ID == id })
	if i < 0 {
		return nil
	}
	return &s.Steps[i]
}

// Waits returns the waits that run or whose time is over, in the order of the steps.
func (s *Scene) Waits() []Step {
	var list []Step
	for _, step := range s.Steps {
		if step.EndsMS > 0 && !step.Done {
			list = append(list, step)
		}
	}
	return list
}

func lookAt(s *run.State, n int, me *crew.Person, words Words) Step {
	at := &s.Steps[n]
	step := Step{
		ID: at.Step.ID, Number: n + 1, Kind: string(at.Step.Kind), Text: at.Step.Text, Cautions: some(at.Step.Cautions),
		Irreversible: at.Step.Irreversible, Asks: words.Asks(s, n), Role: at.Step.Role,
		Done: at.Done, Open: !at.Done && len(at.Blocked) == 0 && s.Ended == nil,
		Why: some(at.Blocked), Facts: []string{}, Signed: []string{}, Shown: Shown(at.Step),
	}
	if step.Open && words.Heeds != nil {
		step.Cautions = append(step.Cautions, words.Heeds(s, n)...)
	}
	if at.Step.Reading != nil {
		step.Unit = at.Step.Reading.Unit
	}
	for _, e := range at.Entries {
		if e.Kind != kind.StepSign { // told with their standing
			step.Facts = append(step.Facts, words.Says(s, e)+", "+byline(e, words))
		}
	}
	if ends, ok := s.WaitEnds(n); ok && !at.Done {
		step.EndsMS = ends.UnixMilli()
	}
	if at.Gate != nil {
		step.Need, step.Have, step.Role = at.Gate.Need, at.Gate.Have, at.Gate.Role
		step.Why = append(step.Why, at.Gate.Shut...)
		if at.Step.Review != nil && !at.Done {
			step.Why = append(step.Why, "the review is answered and decided at the command line: pulk review show "+words.Name(s.Run)+":"+at.Step.ID)
		}
		for _, e := range at.Gate.Conditional {
			step.Why = append(step.Why, fmt.Sprintf("a go takes the risk of step %s: %s", s.Steps[e.Step].Step.ID, words.Says(s, e)))
		}
		for _, so := range at.Gate.SignOffs {
			text := so.Entry.Verdict.String() + ": " + string(so.Standing)
			if so.By != nil {
				text += ", by " + so.By.Why
			}
			step.Signed = append(step.Signed, text+", "+byline(so.Entry, words))
		}
	}
	step.Holds = step.Role == "" || me.Has(step.Role)
	step.Acts = stepActs(at.Step, step.EndsMS > 0)
	return step
}

func byline(e *run.Entry, words Words) string {
	return words.Person(e.Person) + " " + e.At.Time().UTC().Format("2006-01-02 15:04Z") + " " + words.Name(e.Dot)
}

// some returns a list that JSON writes as one though it is empty.
func some(list []string) []string { return append([]string{}, list...) }

func stepID(s *run.State, n int) string {
	if n < 0 || n >= len(s.Steps) {
		return ""
	}
	return s.Steps[n].Step.ID
}

// said lists what others did and what can be voided.
func said(s *run.State, me *crew.Person, words Words) (others, undo []Said) {
	others, undo = []Said{}, []Said{}
	entries := make([]*run.Entry, len(s.Entries))
	var last *run.Entry // of me
	for i := range s.Entries {
		entries[i] = &s.Entries[i]
		if e := entries[i]; e.Person == me.ID && (last == nil || e.At > last.At) {
			last = e
		}
	}
	slices.SortStableFunc(entries, func(a, b *run.Entry) int {
		switch {
		case a.At > b.At:
			return -1
		case a.At < b.At:
			return 1
		}
		return b.Dot.Compare(a.Dot)
	})
	voidable := map[clock.Dot]bool{}
	for n := range s.Steps {
		for _, e := range s.Steps[n].Entries {
			voidable[e.Dot] = true
		}
	}
	var theirs, news, known []Said
	for _, e := range entries {
		one := Said{ID: words.Name(e.Dot), Step: stepID(s, e.Step), What: what(s, e, words), Person: words.Person(e.Person), AtMS: e.At.Time().UnixMilli()}
		if e.Person != me.ID {
			one.New = last != nil && !last.Ctx.Has(e.Dot)
			if one.New {
				news = append(news, one)
			} else {
				known = append(known, one)
			}
		}
		if voidable[e.Dot] && e.Person == me.ID && len(undo) < undoMax {
			undo = append(undo, one)
		} else if voidable[e.Dot] && len(theirs) < undoMax {
			theirs = append(theirs, one)
		}
	}
	// What came by a bundle may be days old and new here all the same.
	others = append(append(others, news...), known...)
	others = others[:min(len(others), othersMax)]
	return others, append(undo, theirs[:min(len(theirs), undoMax-len(undo))]...)
}

// what says an entry in words where it stands alone, without its step beside it.
func what(s *run.State, e *run.Entry, words Words) string {
	text := words.Says(s, e)
	switch e.Kind {
	case kind.Void:
		return "voided " + words.Name(e.Ref) + ": " + text
	case kind.NCRaise:
		return "nonconformance: " + text
	case kind.RunNote:
		return "note: " + text
	}
	return text
}
