package simulate_test

import (
	"fmt"
	"maps"
	"math/rand/v2"
	"os"
	"runtime/debug"
	"slices"
	"time"

	"pulk/sync/clock"
	"pulk/sync/fragment"
)

// op is one thing that happens. What it does follows from the state it meets and
// from r, so that a season stays playable when ops are left out.
type op struct {
	verb string
	site uint32 // modulo the machines there are
	r    uint64
	kill int // fail the write with this number; 0 none
}

// season is a whole story, made from one seed.
type season struct {
	seed  uint64
	sites int
	late  int
	ops   []op
	circumstances
}

// verbs are what can happen, and how often; else than usual in seasons where the link
// is narrow, and where news is urgent.
var verbs = []struct {
	name                  string
	usual, narrow, urgent int
	forks, hostile, lost  bool // only in such seasons
}{
	{name: "work", usual: 40, narrow: 24, urgent: 24}, {name: "correct", usual: 14, narrow: 10, urgent: 30},
	{name: "start", usual: 2, narrow: 2, urgent: 9}, {name: "role", usual: 3, narrow: 3, urgent: 3},
	{name: "revision", usual: 1, narrow: 1, urgent: 1}, {name: "assign", usual: 8, narrow: 8, urgent: 8},
	{name: "settle", usual: 4, narrow: 2, urgent: 2}, {name: "stock", usual: 14, narrow: 8, urgent: 4},
	{name: "unit", usual: 5, narrow: 5, urgent: 5}, {name: "newer", usual: 3, narrow: 3, urgent: 3},
	{name: "later", usual: 6, narrow: 4, urgent: 4}, {name: "upgrade", usual: 1, narrow: 1, urgent: 1},
	{name: "secret", usual: 8, narrow: 6, urgent: 6}, {name: "confide", usual: 4, narrow: 3, urgent: 3},
	{name: "send", usual: 20, narrow: 24, urgent: 20}, {name: "deliver", usual: 24, narrow: 70, urgent: 24},
	{name: "talk", usual: 16, narrow: 6, urgent: 24}, {name: "ask", usual: 3, narrow: 24, urgent: 3},
	{name: "look", usual: 4, narrow: 4, urgent: 6}, {name: "clock", usual: 3, narrow: 3, urgent: 3},
	{name: "join", usual: 3, narrow: 3, urgent: 3}, {name: "tell", usual: 2, narrow: 2, urgent: 2},
	{name: "hostile", usual: 10, narrow: 16, urgent: 10, hostile: true},
	{name: "cut off", usual: 8, narrow: 8, urgent: 8, lost: true},
	{name: "keep", usual: 6, narrow: 6, urgent: 6, forks: true}, {name: "restore", usual: 5, narrow: 5, urgent: 5, forks: true},
	{name: "ahead", usual: 4, narrow: 4, urgent: 8, forks: true}, {name: "clone", usual: 3, narrow: 3, urgent: 3, forks: true}, {name: "renew", usual: 1, narrow: 1, urgent: 1, forks: true},
}

// choices returns the verbs that a season chooses from, each as often as its weight.
func (c *circumstances) choices(forks bool) (list []string) {
	for _, v := range verbs {
		if v.forks && !forks || v.hostile && !c.hostile || v.lost && c.lost == 0 {
			continue
		}
		weight := v.usual
		if c.narrow {
			weight = v.narrow
		} else if c.urgent {
			weight = v.urgent
		}
		for range weight {
			list = append(list, v.name)
		}
	}
	return list
}

func makeSeason(seed uint64, length int) season {
	r := rand.New(rand.NewPCG(seed, 1))
	s := season{seed: seed, sites: 2 + r.IntN(4)}
	if r.IntN(16) == 0 {
		s.sites = sitesMax
	}
	if r.IntN(3) == 0 {
		s.late = 1 + r.IntN(min(2, s.sites-1))
	}
	s.circumstances = makeCircumstances(seed, s.sites)
	forks := r.IntN(5) < 2 && s.lost == 0
	kills := r.IntN(3) == 0
	choices := s.choices(forks)
	for range length/2 + r.IntN(length+1) {
		o := op{verb: choices[r.IntN(len(choices))], site: r.Uint32(), r: r.Uint64()}
		if kills && r.IntN(25) == 0 {
			o.kill = 1 + r.IntN(20)
		}
		s.ops = append(s.ops, o)
	}
	return s
}

// play plays a season in a folder and returns its story, and the fault that it
// showed, "" if none.
func (s season) play(dir string) (w *world, fault string) {
	t := theTemplate()
	h := t.history.Clone()
	w = &world{tmpl: t, h: h, dir: dir, now: simStart.Add(24 * time.Hour), m: newModel(h), counts: map[string]int{}, circumstances: s.circumstances, cuts: map[fragment.Cut]*cutSent{}, everNamed: map[clock.SiteID]bool{}}
	versions.RLock()
	defer func() {
		versions.RUnlock()
		for _, m := range w.machines {
			if m.store != nil {
				m.store.Close()
			}
		}
		switch e := recover().(type) {
		case nil:
		case failure:
			fault = e.text
		default:
			fault = fmt.Sprintf("panic: %v\n%s", e, debug.Stack())
		}
	}()
	w.m.persons, w.m.parsed = t.persons, maps.Clone(t.parsed)
	for _, c := range h.Commits {
		if err := w.m.learn(c, false); err != nil {
			w.fail("%v", err)
		}
	}
	w.begin(s)
	for i, o := range s.ops {
		w.now = w.now.Add(time.Duration(o.r%7200) * time.Second)
		w.far = i < len(s.ops)*4/5
		w.do(o)
		w.pause()
	}
	w.far = false
	w.heal()
	return w, ""
}

func (w *world) begin(s season) {
	for i := range s.sites {
		w.machines = append(w.machines, w.tmpl.place(w, i, i >= s.sites-s.late))
	}
	for _, m := range w.machines[:s.sites-s.late] {
		for i := s.sites - s.late; i < s.sites; i++ {
			m.forget(i)
		}
	}
	r := rand.New(rand.NewPCG(s.seed, 2))
	for _, m := range w.machines {
		if r.IntN(3) == 0 {
			m.skew = time.Duration(r.IntN(96)-48) * time.Hour
		}
	}
	if r.IntN(2) == 0 {
		for range s.sites {
			w.confide(r)
		}
	}
}

// do plays one op.
func (w *world) do(o op) {
	m := w.machines[int(o.site%uint32(len(w.machines)))]
	r := rand.New(rand.NewPCG(o.r, 3))
	switch o.verb {
	case "send":
		if to := w.someoneInReach(m, r); to != nil {
			w.send(m, to, r, o.kill)
		}
	case "talk":
		if to := w.someoneInReach(m, r); to != nil {
			first := len(w.net.Queue)
			w.send(m, to, r, 0)
			w.deliverLast(first, r, o.kill)
		}
	case "deliver":
		w.deliver(r, o.kill)
	case "ask":
		w.ask(m, r)
	case "hostile":
		w.sendFalse(r)
	case "cut off":
		w.cutOff(r)
	case "confide":
		w.confide(r)
	case "ahead":
		w.ahead(r)
	case "look":
		w.look(m, r)
	case "upgrade":
		m.upgrade()
	case "clock":
		m.skew = time.Duration(r.IntN(96*60)-48*60) * time.Minute
		w.tell("the clock of %s is set %s off", m.name, m.skew)
	case "join":
		w.join(m, r)
	case "tell":
		w.everybody(m, r)
	case "keep":
		m.keep()
	case "restore":
		m = w.withBackup(m)
		if n := len(m.backups); n > 0 {
			m.restore(m.backups[r.IntN(n)], r.IntN(3) > 0)
		}
	case "clone":
		m = w.withBackup(m)
		if n := len(m.backups); n > 0 && len(w.machines) < sitesMax+2 {
			w.clone(m, m.backups[r.IntN(n)], r.IntN(2) == 0)
		}
	case "renew":
		w.renew(m, o.kill)
	default:
		w.act(m, o, r)
	}
}

// withBackup returns a machine that has a backup, m if it can.
func (w *world) withBackup(m *machine) *machine {
	for _, other := range append([]*machine{m}, w.machines...) {
		if len(other.backups) > 0 {
			return other
		}
	}
	return m
}

// shrink leaves out ops as long as the season still shows a fault.
func (s season) shrink(dir string, tries int) (season, *world, string) {
	attempt := func(ops []op) (*world, string) {
		t := s
		t.ops = ops
		sub, err := os.MkdirTemp(dir, "shrink-")
		if err != nil {
			panic(err)
		}
		defer os.RemoveAll(sub)
		return t.play(sub)
	}
	w, fault := attempt(s.ops)
	for size := len(s.ops) / 2; size >= 1; {
		removed := false
		for at := 0; at < len(s.ops) && tries > 0; {
			tries--
			shorter := slices.Delete(slices.Clone(s.ops), at, min(at+size, len(s.ops)))
			if w2, f := attempt(shorter); f != "" {
				s.ops, w, fault, removed = shorter, w2, f, true
			} else {
				at += size
			}
		}
		if size == 1 && (!removed || tries <= 0) {
			break
		}
		if !removed || size > 1 {
			size = max(1, size/2)
		}
	}
	return s, w, fault
}
