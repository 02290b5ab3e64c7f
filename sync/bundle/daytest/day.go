// Package daytest makes the standard day that sizes and speeds are measured on:
// what three people at the station write down in one working day, in about 2,000
// changes.
//
// Of these 70 % are check-offs, 20 % readings (4 in 100 of them out of limits,
// each with a nonconformance, in the expedited lane), 7 % stock movements; the
// rest are notes and sign-offs, with digests and signatures that are as random as
// real ones. Six runs go on at a time. Gaps between changes are lognormal for each
// person, with breaks; their milliseconds are as the clock gave them. The figures
// are invented, in the order of what a drill camp writes down; nothing in them
// leans towards any codec.
package daytest

import (
	"cmp"
	"math"
	"math/rand/v2"
	"slices"
	"time"

	"pulk/schema/kind"
	"pulk/sync/change"
	"pulk/sync/clock"
)

// The campaign and its sites.
const (
	Campaign uint32       = 0x51d0c7e2
	Station  clock.SiteID = 0x8e4b01d7
	Home     clock.SiteID = 0x2fa96c33
	Ship     clock.SiteID = 0xc05571ae
)

// The station's lanes.
var (
	Normal    = clock.Lane{Site: Station, Class: clock.Normal}
	Expedited = clock.Lane{Site: Station, Class: clock.Expedited}
)

// Day returns the change-sets of one day, in the order in which they were written.
// The station's lanes start at 1 in it.
func Day(seed uint64) []*change.Set { return Days(seed, 1) }

// Days returns the change-sets of days in a row.
func Days(seed uint64, days int) []*change.Set {
	w := newWorld(seed)
	for day := range days {
		w.day(time.Date(2027, 1, 5+day, 6, 40, 0, 0, time.UTC))
	}
	return w.sets
}

const (
	people   = 3
	runs     = 6
	dayStops = 667 // what one person writes down in a day
)

type world struct {
	*rand.Rand
	last       clock.Stamp
	sets       []*change.Set
	tips       map[clock.Lane]*tip
	procedures []procedure
	persons    []clock.Dot
	keys       []clock.Dot
	items      []clock.Dot
	places     []clock.Dot
	tools      []clock.Dot
	runs       []run
}

// tip is the end of a lane.
type tip struct {
	seq  uint64
	hash change.Hash
	told bool // the other lane's context has it
}

// procedure is a sequence of step kinds, each reading with what it measures.
type procedure struct {
	revision clock.Dot
	steps    []step
}

type step struct {
	reading bool
	nominal float64
	spread  float64
	digits  uint8
	tool    int
}

type run struct {
	dot       clock.Dot
	procedure *procedure
	next      int
	bias      float64
}

// event is one thing that a person does.
type event struct {
	at     time.Time
	person int
	run    int
}

func newWorld(seed uint64) *world {
	w := &world{Rand: rand.New(rand.NewPCG(seed, 0x9e3779b97f4a7c15)), tips: map[clock.Lane]*tip{}}
	for _, lane := range []clock.Lane{Normal, Expedited} {
		w.tips[lane] = &tip{hash: change.Genesis(Campaign, lane), told: true}
	}
	home := func(class clock.Class, seq uint64, index int) clock.Dot {
		return clock.Dot{Lane: clock.Lane{Site: Home, Class: class}, Seq: seq, Index: uint16(index)}
	}
	for i := range people {
		w.persons = append(w.persons, home(clock.Normal, uint64(3+2*i), 0))
		w.keys = append(w.keys, home(clock.Normal, uint64(4+2*i), 0))
	}
	for i := range 400 {
		w.items = append(w.items, home(clock.Bulk, 2, i))
	}
	for i := range 30 {
		w.places = append(w.places, home(clock.Bulk, 3, i))
	}
	for i := range 8 {
		w.tools = append(w.tools, home(clock.Normal, uint64(140+3*i), 0))
	}
	for i := range 4 {
		w.procedures = append(w.procedures, w.procedure(home(clock.Bulk, uint64(11+i), 0)))
	}
	return w
}

// procedure draws 70 different steps; a long run goes through them again for each
// module.
func (w *world) procedure(revision clock.Dot) procedure {
	p := procedure{revision: revision}
	for range 70 {
		s := step{reading: w.Float64() < 0.222}
		s.nominal = math.Exp(w.Float64()*7 - 1) // 0.4 to 400
		s.spread = s.nominal * (0.003 + 0.03*w.Float64())
		s.digits = uint8(w.IntN(4))
		s.tool = w.IntN(len(w.tools))
		p.steps = append(p.steps, s)
	}
	return p
}

// day adds a working day.
func (w *world) day(start time.Time) {
	w.runs = nil
	for i := range runs {
		title := []string{"String 2 lowering", "Module acceptance", "Cable landing", "Hub power-up", "Winch round", "Hole reaming"}[i]
		r := run{procedure: &w.procedures[i%len(w.procedures)], bias: w.NormFloat64()}
		at := start.Add(-time.Duration(runs-i) * time.Duration(40_000+w.IntN(50_000)) * time.Millisecond)
		set := w.write(Normal, at, i%people, change.New(kind.RunStart, change.Ref(r.procedure.revision), change.Ref(w.tools[i]),
			change.Ref(w.places[i]), change.Text(title)))
		r.dot = set.ID(0)
		w.runs = append(w.runs, r)
	}
	last := start
	for _, e := range w.events(start) {
		// Two people never write in the same millisecond of one clock.
		if !e.at.After(last) {
			e.at = last.Add(time.Millisecond)
		}
		last = e.at
		w.act(e)
	}
}

// events draws when each person does something, and at which run.
func (w *world) events(start time.Time) []event {
	var events []event
	for person := range people {
		at := start.Add(time.Duration(w.IntN(900_000)) * time.Millisecond)
		run := person
		for range dayStops {
			// Half of all steps take less than 20 s; few take minutes.
			at = at.Add(time.Duration(1500+20_000*math.Exp(0.8*w.NormFloat64())) * time.Millisecond)
			if w.Float64() < 0.02 { // a pause, a wait, a walk
				at = at.Add(time.Duration(120_000+w.IntN(900_000)) * time.Millisecond)
			}
			switch chance := w.Float64(); {
			case chance < 0.08: // to the other of the two runs
				run = (run + people) % runs
			case chance < 0.09: // lends a hand elsewhere
				run = w.IntN(runs)
			}
			events = append(events, event{at, person, run})
		}
	}
	slices.SortStableFunc(events, func(a, b event) int { return cmp.Compare(a.at.UnixNano(), b.at.UnixNano()) })
	return events
}

// act writes down what one event is about.
func (w *world) act(e event) {
	r := &w.runs[e.run]
	switch chance := w.Float64(); {
	case chance < 0.07:
		w.write(Normal, e.at, e.person, w.stock(r))
	case chance < 0.09:
		w.write(Normal, e.at, e.person, change.New(kind.RunNote, change.Ref(r.dot), change.Num(int64(r.next)), change.Text(w.note())))
	case chance < 0.10:
		w.write(Normal, e.at, e.person, w.signOff(e, r))
	default:
		w.step(e, r)
	}
}

// step does the next step of a run.
func (w *world) step(e event, r *run) {
	number := r.next
	s := &r.procedure.steps[number%len(r.procedure.steps)]
	if r.next++; w.Float64() < 0.02 { // one is left for later, or was not needed
		r.next++
	}
	if !s.reading {
		answer := int64(0)
		if w.Float64() < 0.01 {
			answer = 1
		}
		w.write(Normal, e.at, e.person, change.New(kind.StepCheck, change.Ref(r.dot), change.Num(int64(number)), change.Num(answer)))
		return
	}
	off, outcome, lane := w.NormFloat64()*0.7+0.5*r.bias, int64(0), Normal
	if w.Float64() < 0.04 {
		off, outcome, lane = 4+w.Float64()*3, 2, Expedited
		if w.Float64() < 0.5 {
			off, outcome = -off, 1
		}
		r.next = number // measured again
	}
	mantissa := int64(math.Round((s.nominal + off*s.spread) * math.Pow10(int(s.digits))))
	reading := change.New(kind.StepReading, change.Ref(r.dot), change.Num(int64(number)),
		change.Value{Num: mantissa, Scale: s.digits}, change.Num(outcome), change.Ref(w.tools[s.tool]))
	if outcome == 0 {
		w.write(lane, e.at, e.person, reading)
		return
	}
	cause := clock.Dot{Lane: lane, Seq: w.tips[lane].seq + 1}
	w.write(lane, e.at, e.person, reading, change.New(kind.NCRaise, change.Ref(r.dot), change.Num(int64(number)+1), change.Ref(clock.Dot{}),
		change.Ref(cause), change.Text([]string{"", "reading too low", "reading too high"}[outcome])))
}

// stock draws a movement: popular items more often.
func (w *world) stock(r *run) change.Change {
	item := change.Ref(w.items[int(400*math.Pow(w.Float64(), 2.5))])
	place := func() change.Value { return change.Ref(w.places[w.IntN(len(w.places))]) }
	lot := change.Text("")
	if w.Float64() < 0.4 {
		lot = change.Text([]string{"L2608", "L2611", "B-0417", "B-0422", "26-118", "26-131", "K77", "K81"}[w.IntN(8)])
	}
	quantity, held, none := change.Num(1+int64(9*math.Pow(w.Float64(), 3))), change.Num(int64(3+w.IntN(120))), change.Text("")
	switch chance := w.Float64(); {
	case chance < 0.65:
		return change.New(kind.StockIssue, item, lot, place(), quantity, held, change.Ref(r.dot), change.Num(int64(r.next)+1), none)
	case chance < 0.85:
		return change.New(kind.StockMove, item, lot, place(), place(), quantity, held, none)
	case chance < 0.95:
		return change.New(kind.StockCount, item, lot, place(), held, change.Num(held.Num+int64(w.IntN(5))-2), change.Text("yearly count"))
	}
	return change.New(kind.StockReceive, item, lot, place(), quantity, change.Text("2029-06-30"), none)
}

func (w *world) random(n int) change.Value {
	p := make([]byte, n)
	for i := range p {
		p[i] = byte(w.Uint32())
	}
	return change.Bytes(p)
}

func (w *world) signOff(e event, r *run) change.Change {
	role := []string{"deployment-lead", "drill-engineer", "technician"}[e.person]
	return change.New(kind.StepSign, change.Ref(r.dot), change.Num(int64(r.next)), change.Num(0), change.Text(role),
		w.random(32), change.Ref(w.keys[e.person]), w.random(64))
}

// write appends a change-set to a lane.
func (w *world) write(lane clock.Lane, at time.Time, person int, changes ...change.Change) *change.Set {
	tip, other := w.tips[lane], Expedited
	if lane == Expedited {
		other = Normal
	}
	set := &change.Set{Lane: lane, Seq: tip.seq + 1, Campaign: Campaign, At: w.stamp(at), Person: w.persons[person], Changes: changes}
	if beside := w.tips[other]; !beside.told {
		set.Seen = append(set.Seen, change.Seen{Lane: other, Seq: beside.seq, Check: beside.hash.Check()})
		beside.told = true
	}
	set.Seen = append(w.news(lane, set.Seq), set.Seen...)
	tip.seq, tip.hash, tip.told = set.Seq, change.Next(tip.hash, set.Canonical()), false
	w.sets = append(w.sets, set)
	return set
}

// stamp is the station's clock at a time: whole ticks, and a counter within one.
func (w *world) stamp(at time.Time) clock.Stamp {
	w.last = clock.Next(w.last, at)
	return w.last
}

// news is what a bundle from home brought: twice a day, in the normal lane.
func (w *world) news(lane clock.Lane, seq uint64) []change.Seen {
	if lane != Normal || seq%900 != 300 {
		return nil
	}
	return []change.Seen{
		{Lane: clock.Lane{Site: Home}, Seq: 400 + seq/9, Check: w.Uint32()},
		{Lane: clock.Lane{Site: Home, Class: clock.Bulk}, Seq: 15 + seq/900, Check: w.Uint32()},
	}
}
