package run

import (
	"fmt"
	"slices"
	"strings"
	"testing"

	"pgregory.net/rapid"

	"pulk/checklist/procedure"
	"pulk/schema/kind"
	"pulk/sync/clock"
)

// revisionDot names a revision by its letter.
func revisionDot(name string) clock.Dot {
	return clock.Dot{Lane: clock.Lane{Site: 80}, Seq: uint64(name[0])}
}

// revision makes one of steps such as "10", "20:changed" and "60!" (irreversible);
// "g" steps are gates.
func revision(name, steps string) *procedure.Procedure {
	p := &procedure.Procedure{ID: "p", Revision: name}
	for _, word := range strings.Fields(steps) {
		id, text, _ := strings.Cut(word, ":")
		s := procedure.Step{ID: strings.TrimSuffix(id, "!"), Kind: procedure.KindDo, Text: text, Irreversible: strings.HasSuffix(id, "!")}
		if strings.HasPrefix(id, "g") {
			s.Kind, s.Sign = procedure.KindHold, &procedure.Sign{Role: "lead", People: 1}
		}
		p.Steps = append(p.Steps, s)
	}
	return p
}

// book is what several sites write about one run; each knows a part of it.
type book struct {
	texts   map[clock.Dot]*procedure.Procedure
	entries []Entry
	knows   map[string]clock.Vector
	seq     map[string]uint64
}

func newBook(texts ...*procedure.Procedure) *book {
	b := &book{texts: map[clock.Dot]*procedure.Procedure{}, knows: map[string]clock.Vector{}, seq: map[string]uint64{}}
	for _, p := range texts {
		b.texts[revisionDot(p.Revision)] = p
	}
	return b
}

// record is what someone has of whom sees tells.
func (b *book) record(sees func(clock.Dot) bool) *Record {
	r := &Record{Revision: revisionDot("A"), Procedure: b.texts[revisionDot("A")], Texts: b.texts, Withdrawn: map[clock.Dot][]Withdrawal{}}
	for _, e := range b.entries {
		if sees(e.Dot) {
			e.Origin = nil
			r.Entries = append(r.Entries, e)
		}
	}
	slices.SortFunc(r.Entries, func(x, y Entry) int { return x.Dot.Compare(y.Dot) })
	r.settle()
	return r
}

func (b *book) whole() *Record { return b.record(func(clock.Dot) bool { return true }) }

func (b *book) at(site string) *Record { return b.record(b.knows[site].Has) }

var lanes = map[string]clock.SiteID{"home": 1, "stn": 2, "ship": 3}

// write adds an entry at a site, in its context. Its step is the place in the revision
// that the site knows.
func (b *book) write(site string, e Entry) *Entry {
	if b.knows[site] == nil {
		b.knows[site] = clock.Vector{}
	}
	if e.Step >= 0 {
		e.Step = onWire(e.Step, len(b.at(site).Moves()))
	}
	b.seq[site]++
	e.Dot = clock.Dot{Lane: clock.Lane{Site: lanes[site]}, Seq: b.seq[site]}
	e.Ctx = clock.Context{Of: e.Dot, Others: b.knows[site].Clone()}
	e.At = clock.Stamp(len(b.entries) + 1)
	b.knows[site][e.Dot.Lane] = e.Dot.Seq
	b.entries = append(b.entries, e)
	return &b.entries[len(b.entries)-1]
}

func (b *book) check(site, id string) clock.Dot {
	n, ok := b.at(site).Procedure.StepIndex(id)
	if !ok {
		panic("no step " + id)
	}
	return b.write(site, Entry{Kind: kind.StepCheck, Step: n}).Dot
}

func (b *book) move(site, to string) clock.Dot {
	return b.write(site, Entry{Kind: kind.RunMove, Step: NoStep, Ref: revisionDot(to)}).Dot
}

func (b *book) meet(sites ...string) {
	all := clock.Vector{}
	for _, s := range sites {
		all.Merge(b.knows[s])
	}
	for _, s := range sites {
		b.knows[s] = all.Clone()
	}
}

// done lists the steps that are done.
func done(r *Record) string {
	var ids []string
	for _, s := range Evaluate(r).Steps {
		if s.Done {
			ids = append(ids, s.Step.ID)
		}
	}
	return strings.Join(ids, " ")
}

func TestMoveMapsWhatIsTheSame(t *testing.T) {
	for _, c := range []struct{ name, from, to, does, want string }{
		{"same", "10 20 30", "10 20 30", "10 20", "10 20"},
		{"changed", "10 20 30", "10 20:new 30", "10 20 30", "10 30"},
		{"moved", "10 20 30", "30 10 20", "10 30", "30 10"},
		{"added_before", "10 20", "05 10 20", "20", "20"},
		{"removed", "10 20", "20", "10 20", "20"},
		{"cannot_be_undone", "10 20!", "10 20!:new", "10 20", "10 20"},
		{"could_be_undone_before", "10 20", "10 20!:new", "20", ""},
	} {
		t.Run(c.name, func(t *testing.T) {
			b := newBook(revision("A", c.from), revision("B", c.to))
			for _, id := range strings.Fields(c.does) {
				b.check("stn", id)
			}
			b.move("stn", "B")
			if got := done(b.whole()); got != c.want {
				t.Errorf("done %q, want %q", got, c.want)
			}
		})
	}
}

// What a site wrote that had not heard of a move means what it meant there.
func TestMoveCrosses(t *testing.T) {
	b := newBook(revision("A", "10 20 30"), revision("B", "05 10 20:new 30"))
	b.move("stn", "B")
	b.check("home", "20") // place 1, which is step 10 of B
	b.check("home", "30") // place 2, which is step 20 of B
	b.check("stn", "05")
	if got := done(b.whole()); got != "05 30" {
		t.Errorf("done %q, want %q", got, "05 30")
	}
	b.meet("home", "stn")
	b.check("home", "20")
	if got := done(b.whole()); got != "05 20 30" {
		t.Errorf("done %q after 20 was done again, want %q", got, "05 20 30")
	}
	s := Evaluate(b.whole())
	if list := s.Steps[2].Earlier; len(list) != 1 || s.RevisionOf(list[0]) != "A" {
		t.Errorf("step 20 tells of %d earlier entries, want the one of A", len(list))
	}
}

// While two moves cross nothing goes on; a third that knows both ends it.
func TestTwoMoves(t *testing.T) {
	b := newBook(revision("A", "10 g 20"), revision("B", "10 g 20"), revision("C", "10 g 20:new"))
	b.check("stn", "10")
	b.meet("home", "stn")
	b.move("stn", "B")
	b.move("home", "C")
	s := Evaluate(b.whole())
	if len(s.Contested) != 2 || s.Revision != revisionDot("A") {
		t.Fatalf("%d moves are contested, on revision %v", len(s.Contested), s.Revision)
	}
	for _, step := range s.Steps {
		if !slices.Contains(step.Blocked, contestedText) {
			t.Errorf("step %s is not stopped: %v", step.Step.ID, step.Blocked)
		}
	}
	if !slices.Contains(s.Steps[1].Gate.Shut, "not settled: "+contestedText) {
		t.Errorf("the gate is shut because %v", s.Steps[1].Gate.Shut)
	}
	b.meet("home", "stn")
	b.move("home", "C")
	if s = Evaluate(b.whole()); len(s.Contested) > 0 || s.Revision != revisionDot("C") || !s.Steps[0].Done {
		t.Errorf("after a third move: %d contested, revision %v, step 10 done %v", len(s.Contested), s.Revision, s.Steps[0].Done)
	}
	// Two moves to one revision are no conflict.
	b = newBook(revision("A", "10"), revision("B", "10"))
	b.move("stn", "B")
	b.move("home", "B")
	if s = Evaluate(b.whole()); len(s.Contested) > 0 || s.Revision != revisionDot("B") {
		t.Errorf("two moves to B: %d contested, revision %v", len(s.Contested), s.Revision)
	}
}

// An entry that is here before the move that its author knew counts for nothing; one by
// a program that knows no moves counts on the first revision, whatever it had received.
func TestMoveIsNotHere(t *testing.T) {
	b := newBook(revision("A", "10 20"), revision("B", "20 10"))
	move := b.move("stn", "B")
	b.check("stn", "20") // place 0, which is step 10 of A
	lacking := b.record(func(d clock.Dot) bool { return d != move })
	if got := done(lacking); got != "" {
		t.Errorf("without the move: done %q, want nothing", got)
	}
	if list := lacking.Left(); len(list) != 1 || !list[0].Origin.Waits {
		t.Errorf("without the move: %d entries are left, want the one that waits", len(list))
	}
	old := b.write("stn", Entry{Kind: kind.StepCheck, Step: NoStep})
	old.Step = 0 // step 10 of A
	if got := done(b.whole()); got != "20 10" {
		t.Errorf("with what an older program wrote: done %q, want %q", got, "20 10")
	}
}

// A stop holds on whatever revision; a nonconformance stays with its step, or with the
// run where the step is no more.
func TestAdverseOutlivesMoves(t *testing.T) {
	b := newBook(revision("A", "10 g1 20 g2"), revision("B", "10:new g2:new"))
	b.write("stn", Entry{Kind: kind.StepSign, Step: 1, Verdict: Stop, Role: "lead"})
	b.write("stn", Entry{Kind: kind.NCRaise, Step: 0, Text: "cracked"})
	b.write("stn", Entry{Kind: kind.NCRaise, Step: 2, Text: "bent"})
	b.move("stn", "B")
	s := Evaluate(b.whole())
	gate := s.Steps[1].Gate
	for _, want := range []string{"nonconformance: cracked", "nonconformance: bent"} {
		if !slices.Contains(gate.Shut, "not settled: "+want) {
			t.Errorf("the gate is shut because %v, which lacks %q", gate.Shut, want)
		}
	}
	v := s.whole()
	if !slices.ContainsFunc(v.adverse(1), func(a Adverse) bool { return a.Why == "stop: lead" }) {
		t.Error("the stop at a gate that is no more speaks against nothing")
	}
	if at := s.NCs[0].Entry.Step; at != 0 {
		t.Errorf("the nonconformance of step 10 is at place %d", at)
	}
	if at := s.NCs[1].Entry.Step; at != NoStep {
		t.Errorf("the nonconformance of a step that is no more is at place %d", at)
	}
}

// What was voided, or was to be done again, is settled where its step is no more; not
// where nobody here can say which step that is.
func TestSettledAcrossMoves(t *testing.T) {
	settled := func(r *Record, gate int, why string) bool {
		t.Helper()
		v := Evaluate(r).whole()
		for _, a := range v.adverse(gate) {
			if strings.Contains(a.Why, why) {
				return a.settled(v)
			}
		}
		t.Fatalf("nothing that has %q speaks against gate %d", why, gate)
		return false
	}
	b := newBook(revision("A", "10 20 g"), revision("B", "20 g"), revision("C", "10 20:new g"))
	slip := b.check("stn", "10")
	b.write("stn", Entry{Kind: kind.Void, Step: NoStep, Ref: slip, Text: "slip"})
	if settled(b.whole(), 2, "slip") {
		t.Error("a void is settled though its step was not done again")
	}
	b.move("stn", "B")
	if !settled(b.whole(), 1, "slip") {
		t.Error("the void of a step that is no more is not settled")
	}

	b = newBook(b.texts[revisionDot("A")], b.texts[revisionDot("C")])
	move := b.move("stn", "C")
	slip = b.check("stn", "20")
	b.write("stn", Entry{Kind: kind.Void, Step: NoStep, Ref: slip, Text: "slip"})
	nc := b.write("stn", Entry{Kind: kind.NCRaise, Step: 1, Text: "bent"}).Dot
	b.write("stn", Entry{Kind: kind.NCDispose, Step: NoStep, Ref: nc, Disposition: Rework, Text: "straightened"})
	b.check("stn", "20")
	for _, why := range []string{"slip", "bent"} {
		if !settled(b.whole(), 2, why) {
			t.Errorf("%s: the step was done again, and it is not settled", why)
		}
		if settled(b.record(func(d clock.Dot) bool { return d != move }), 2, why) {
			t.Errorf("%s is settled where the move to its revision is not here", why)
		}
	}
}

// A go counts where nothing before it changed.
func TestCounterparts(t *testing.T) {
	a := revision("A", "10 20 g 30 h")
	for _, c := range []struct{ name, to, same, whole string }{
		{"same", "10 20 g 30 h", "10 20 g 30 h", "10 20 g 30 h"},
		{"behind", "10 20 g 30:new h", "10 20 g h", "10 20 g"},
		{"before", "10 20:new g 30 h", "10 g 30 h", "10"},
		{"added", "10 15 20 g 30 h", "10 20 g 30 h", "10"},
		{"removed", "10 g 30 h", "10 g 30 h", "10"},
		{"swapped", "20 10 g 30 h", "10 20 g 30 h", ""},
		{"gate_changed", "10 20 g:new 30 h", "10 20 30 h", "10 20"},
	} {
		t.Run(c.name, func(t *testing.T) {
			var same, whole []string
			for i, to := range procedure.Counterparts(a, revision("B", c.to)) {
				if to.Same {
					same = append(same, a.Steps[i].ID)
				}
				if to.Whole {
					whole = append(whole, a.Steps[i].ID)
				}
			}
			if got := strings.Join(same, " "); got != c.same {
				t.Errorf("same %q, want %q", got, c.same)
			}
			if got := strings.Join(whole, " "); got != c.whole {
				t.Errorf("whole %q, want %q", got, c.whole)
			}
		})
	}
	b := revision("B", "10 20 g 30 h")
	b.Hazards = []procedure.Hazard{{Name: "Cold", Caution: "Gloves."}}
	if to := procedure.Counterparts(a, b)[0]; !to.Same || to.Whole {
		t.Errorf("with another hazard: %+v", to)
	}
}

// Whatever three sites write and move, apart and together: every entry means, in the
// whole and in any part of what is here, the step that its author meant, or waits.
func TestEntriesMeanWhatTheyMeant(t *testing.T) {
	texts := []*procedure.Procedure{revision("A", "10 20 30 g 40!"), revision("B", "05 10 20:new 30 g 40!"), revision("C", "30 g 20 10 40!:new 50")}
	rapid.Check(t, func(t *rapid.T) {
		b := newBook(texts...)
		meant := map[clock.Dot]string{} // revision and step
		sites := []string{"home", "stn", "ship"}
		for range rapid.IntRange(4, 25).Draw(t, "acts") {
			site := rapid.SampledFrom(sites).Draw(t, "site")
			switch rapid.IntRange(0, 5).Draw(t, "act") {
			case 0:
				b.move(site, rapid.SampledFrom([]string{"A", "B", "C"}).Draw(t, "to"))
			case 1:
				b.meet(site, rapid.SampledFrom(sites).Draw(t, "with"))
			default:
				r := b.at(site)
				n := rapid.IntRange(0, len(r.Procedure.Steps)-1).Draw(t, "step")
				k := rapid.SampledFrom([]*kind.Kind{kind.StepCheck, kind.StepCheck, kind.NCRaise, kind.RunNote}).Draw(t, "kind")
				if r.Procedure.Steps[n].Sign != nil {
					k = kind.StepSign
				}
				e := b.write(site, Entry{Kind: k, Step: n, Text: "x"})
				meant[e.Dot] = r.Procedure.Revision + " " + r.Procedure.Steps[n].ID
			}
		}
		b.mustCount(t, meant)
		parts := map[string]*Record{"all": b.whole()}
		for i := range 4 {
			parts[fmt.Sprintf("part %d", i)] = b.record(func(clock.Dot) bool { return rapid.Bool().Draw(t, "here") })
		}
		for name, r := range parts {
			s := Evaluate(r)
			for i := range r.Entries {
				e := &r.Entries[i]
				if e.Kind == kind.RunMove || e.waits() {
					if e.waits() && name == "all" {
						t.Fatalf("%v waits though all is here", e.Dot)
					}
					continue
				}
				on := r.Procedure.Revision
				if e.Origin != nil {
					on = e.Origin.Text.Revision
				}
				if got := on + " " + s.StepName(e); got != meant[e.Dot] {
					t.Fatalf("%s: %v is read as %s, meant was %s", name, e.Dot, got, meant[e.Dot])
				}
			}
		}
	})
}

// mustCount holds what counts to the rules said a second time, as plainly as they can be:
// steps are their words, a revision is a list of them.
func (b *book) mustCount(t *rapid.T, meant map[clock.Dot]string) {
	words := map[string][]string{
		"A": {"10", "20", "30", "g", "40!"}, "B": {"05", "10", "20:new", "30", "g", "40!"}, "C": {"30", "g", "20", "10", "40!:new", "50"},
	}
	find := func(revision, id string) int {
		return slices.IndexFunc(words[revision], func(w string) bool { return strings.TrimRight(strings.Split(w, ":")[0], "!") == id })
	}
	now := b.plainRevision(nil)
	s := Evaluate(b.whole())
	if s.Procedure.Revision != now {
		t.Fatalf("the run is on %s, plainly on %s", s.Procedure.Revision, now)
	}
	want, goes := map[string]bool{}, map[clock.Dot]bool{}
	for _, e := range b.entries {
		on, id, _ := strings.Cut(meant[e.Dot], " ")
		was, is := find(on, id), find(now, id)
		switch {
		case e.Kind == kind.StepSign:
			goes[e.Dot] = is >= 0 && slices.Equal(words[on][:was+1], words[now][:is+1])
		case e.Kind == kind.StepCheck && is >= 0:
			before, after := words[on][was], words[now][is]
			want[id] = want[id] || before == after || strings.Contains(before, "!") && strings.Contains(after, "!")
		}
	}
	for _, step := range s.Steps {
		if step.Gate == nil && step.Done != want[step.Step.ID] {
			t.Fatalf("on %s step %s is done: %v, plainly %v", now, step.Step.ID, step.Done, want[step.Step.ID])
		}
	}
	for i := range s.Entries {
		if e := &s.Entries[i]; e.Kind == kind.StepSign && (e.Step != Elsewhere) != goes[e.Dot] {
			t.Fatalf("on %s the go %v of %s counts: %v, plainly %v", now, e.Dot, meant[e.Dot], e.Step != Elsewhere, goes[e.Dot])
		}
	}
}

// plainRevision is where the moves lead that are left after some are set aside: the last
// ones if they agree, else where it leads without them.
func (b *book) plainRevision(aside map[clock.Dot]bool) string {
	var moves, last []Entry
	for _, e := range b.entries {
		if e.Kind == kind.RunMove && !aside[e.Dot] {
			moves = append(moves, e)
		}
	}
	to, next := map[string]bool{}, map[clock.Dot]bool{}
	for d := range aside {
		next[d] = true
	}
	for _, e := range moves {
		known := false
		for _, other := range moves {
			known = known || other.Dot != e.Dot && other.Ctx.Others.Has(e.Dot)
		}
		if !known {
			last = append(last, e)
			to[string(rune(e.Ref.Seq))], next[e.Dot] = true, true
		}
	}
	switch len(to) {
	case 0:
		return "A"
	case 1:
		return string(rune(last[0].Ref.Seq))
	}
	return b.plainRevision(next)
}
