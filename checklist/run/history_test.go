package run_test

import (
	"cmp"
	"crypto/ed25519"
	"crypto/sha256"
	"encoding/binary"
	"fmt"
	"slices"
	"strings"
	"testing"

	"pulk/checklist/limit"
	"pulk/checklist/procedure"
	"pulk/checklist/run"
	"pulk/schema/decimal"
	"pulk/schema/kind"
	"pulk/sync/clock"
)

// A history is told in lines, and every site knows what it wrote and what it got:
//
//	NAME SITE PERSON VERB …   a change, made knowing what SITE knows
//	SITE < SITE               the first gets all that the second knows
//	SITE < SITE expedited     it gets what travels first, in expedited lanes
//	SITE < SITE own           it gets what the second wrote, and nothing that others did
//	lost NAME                 that change-set and the later ones of its lane are not here,
//	                          as within a lane change-sets are applied in order
//
// Verbs: check STEP, no STEP, read STEP good|bad, record STEP, begin STEP, note STEP,
// read STEP NUMBER, tell INPUT NUMBER|- (of target or place),
// fail STEP (what fails and, in the same change-set, its nonconformance NAME.nc),
// nc STEP|-, dispose NAME HOW, void NAME, withdraw, grant PERSON ROLE,
// revoke PERSON ROLE, stop STEP [unknown], and go STEP [forged|stolen|nokey] [as ROLE].
// A verdict or disposition that is unknown is one of a newer program.
//
// In a readiness review, where a LINE is a check, a question of the procedure (?ID), or
// the NAME of a question that was asked: open STEP, find STEP LINE ok|bad|unknown, ask
// STEP, answer STEP LINE yes|no, waive STEP LINE [forged|stolen|nokey], allow NAME
// [forged|stolen|nokey] [as ROLE] (a waiver), rgo STEP ROLE [forged|stolen|nokey] and
// rno STEP ROLE. Outside the run, of its unit: ustate accepted|failed, unc -, and
// udispose NAME HOW.
type history struct {
	steps  []procedure.Step
	inputs []procedure.Input
	events []event
	sites  map[string]*site
	sets   map[clock.Lane]uint64 // the last number used in each lane
	gone   []string              // named by lost
}

// event is one change. What its author knew is kept twice: as a plain set of
// events, which is what the reference model reads, and as a clock.Context, which
// is what the program reads.
type event struct {
	name, person, verb string
	step               int
	bad, lost          bool
	of                 int    // the event that it is about, or -1
	how                string // disposition; how a signature is wrong; how it was read
	cal                string // of a reading with an instrument, or recalled
	whom, role         string // of a grant or a sign-off
	line               string // of a review
	value              string // of a reading, where it is a number
	knows              map[int]bool
	ctx                clock.Context
	digest, signature  []byte
}

type site struct {
	knows map[int]bool
	heads clock.Vector
}

// signer is whose key an event names and is signed with: its person's, unless the
// key is stolen.
func (h *history) signer(i int) string {
	e := &h.events[i]
	if e.how == "stolen" {
		return people[(slices.Index(people, e.person)+1)%len(people)]
	}
	return e.person
}

// base is known everywhere: who holds which role from the start.
var base = []string{
	"r1 home lena grant oskar quality", "r2 home lena grant lena quality", "r3 home lena grant mirre technician",
	"r4 home lena grant lena release-authority", "r5 home lena grant oskar release-authority",
	"stn < home", "ship < home",
}

var people = []string{"ida", "tomas", "mirre", "oskar", "lena", "piet"}

func personDot(name string) clock.Dot {
	return clock.Dot{Lane: clock.Lane{Site: 90}, Seq: uint64(slices.Index(people, name) + 1)}
}

func keyDot(name string) clock.Dot {
	return clock.Dot{Lane: clock.Lane{Site: 91}, Seq: uint64(slices.Index(people, name) + 1)}
}

var keys = func() map[string]ed25519.PrivateKey {
	m := map[string]ed25519.PrivateKey{}
	for _, name := range people {
		seed := sha256.Sum256([]byte(name))
		m[name] = ed25519.NewKeyFromSeed(seed[:])
	}
	return m
}()

// stepsOfString is the procedure of most histories: a module is measured, closed
// and looked at, released to be lowered, watched while it goes down, and handed over.
func stepsOfString() []procedure.Step {
	least := decimal.Decimal{Mantissa: 500}
	return []procedure.Step{
		{ID: "measure", Kind: procedure.KindReading, Reading: &procedure.Reading{Quantity: "insulation", Unit: "MOhm", Limits: limit.Limits{Min: &least}, Repeat: 1}},
		{ID: "torque", Kind: procedure.KindDo},
		{ID: "look", Kind: procedure.KindConfirm},
		{ID: "serial", Kind: procedure.KindRecord, Record: &procedure.Record{What: procedure.RecordSerial}},
		{ID: "ready", Kind: procedure.KindHold, Sign: &procedure.Sign{Role: "quality", People: 1}},
		{ID: "watch", Kind: procedure.KindWitness, Sign: &procedure.Sign{Role: "technician", People: 1}},
		{ID: "lower", Kind: procedure.KindDo, Irreversible: true},
		{ID: "seat", Kind: procedure.KindRecord, Irreversible: true, Record: &procedure.Record{What: procedure.RecordSerial}},
		{ID: "parted", Kind: procedure.KindConfirm, Irreversible: true},
		{ID: "release", Kind: procedure.KindHold, Sign: &procedure.Sign{Role: "release-authority", People: 2}},
		{ID: "hand-over", Kind: procedure.KindDo, After: []string{"torque", "ready"}},
	}
}

func newHistory(steps []procedure.Step, lines []string) (*history, error) {
	h := &history{steps: steps, sets: map[clock.Lane]uint64{}, sites: map[string]*site{}}
	for _, name := range []string{"home", "stn", "ship"} {
		h.sites[name] = &site{knows: map[int]bool{}, heads: clock.Vector{}}
	}
	for _, line := range slices.Concat(base, lines) {
		if err := h.tell(strings.Fields(line)); err != nil {
			return nil, fmt.Errorf("line %q: %w", line, err)
		}
	}
	h.end()
	return h, nil
}

// end marks what is not here: last, as the authors had it, and only this reader
// has not.
func (h *history) end() {
	for _, name := range h.gone {
		first := h.events[h.find(name)].ctx.Of
		for j := range h.events {
			if dot := h.events[j].ctx.Of; dot.Lane == first.Lane && dot.Seq >= first.Seq {
				h.events[j].lost = true
			}
		}
	}
}

func (h *history) tell(words []string) error {
	switch {
	case len(words) == 2 && words[0] == "lost":
		if h.find(words[1]) < 0 {
			return fmt.Errorf("no event %q", words[1])
		}
		h.gone = append(h.gone, words[1])
		return nil
	case len(words) >= 3 && words[1] == "<":
		h.send(words[0], words[2], append(words, "")[3])
		return nil
	case len(words) < 4:
		return fmt.Errorf("too short")
	}
	e := event{name: words[0], person: words[2], verb: words[3], step: run.NoStep, of: -1}
	if h.find(e.name) >= 0 || h.sites[words[1]] == nil || !slices.Contains(people, e.person) {
		return fmt.Errorf("a name used twice, or no such site or person")
	}
	if err := h.understand(&e, append(words[4:], "", "")); err != nil {
		return err
	}
	if e.of >= 0 && !h.sites[words[1]].knows[e.of] {
		return fmt.Errorf("%s does not know of %s", words[1], words[4])
	}
	if e.verb != "fail" {
		h.write(words[1], false, e)
		return nil
	}
	e.bad, e.verb = true, "read"
	if h.steps[e.step].Kind == procedure.KindConfirm {
		e.verb = "no"
	}
	h.write(words[1], false, e)
	h.write(words[1], true, event{name: e.name + ".nc", person: e.person, verb: "nc", step: e.step, of: len(h.events) - 1})
	return nil
}

// send gives a site what another knows, or a part of it.
func (h *history) send(receiver, sender, part string) {
	to, from := h.sites[receiver], h.sites[sender]
	goes := func(lane clock.Lane) bool {
		return part == "" || part == "expedited" && lane.Class == clock.Expedited || part == "own" && lane.Site == siteID(sender)
	}
	for i := range from.knows {
		if goes(h.events[i].ctx.Of.Lane) {
			to.knows[i] = true
		}
	}
	for lane, seq := range from.heads {
		if goes(lane) {
			to.heads.Merge(clock.Vector{lane: seq})
		}
	}
}

func siteID(name string) clock.SiteID {
	return clock.SiteID(1 + slices.Index([]string{"home", "stn", "ship"}, name))
}

// understand reads what follows a verb.
func (h *history) understand(e *event, args []string) error {
	switch e.verb {
	case "dispose", "void", "udispose":
		if e.of, e.how = h.find(args[0]), args[1]; e.of < 0 {
			return fmt.Errorf("no event %q", args[0])
		}
		return nil
	case "grant", "revoke":
		e.whom, e.role = args[0], args[1]
		return nil
	case "withdraw", "unc":
		return nil
	case "recall":
		e.cal = args[0]
		return nil
	case "doubt":
		if e.of = h.find(args[0]); e.of < 0 || h.events[e.of].verb != "read" {
			return fmt.Errorf("no reading %q", args[0])
		}
		e.verb, e.step = "nc", h.events[e.of].step
		return nil
	case "tell":
		e.whom, e.how = args[0], args[1]
		if e.how == "-" {
			e.how = ""
		}
		return nil
	case "ustate":
		e.how, e.bad = args[0], args[0] != "accepted"
		return nil
	case "allow":
		return h.understandAllow(e, args)
	}
	e.step = slices.IndexFunc(h.steps, func(s procedure.Step) bool { return s.ID == args[0] })
	if e.step < 0 && args[0] != "-" {
		return fmt.Errorf("no step %q", args[0])
	}
	if isReviewVerb(e.verb) {
		return h.understandReview(e, args)
	}
	e.bad = args[1] == "bad" || e.verb == "no"
	e.value = args[1]
	if e.verb == "read" || e.verb == "fail" && h.steps[e.step].Reading != nil {
		return h.understandRead(e, args)
	}
	if e.verb == "go" || e.verb == "stop" {
		e.role = h.steps[e.step].Sign.Role
		if i := slices.Index(args, "as"); i >= 0 {
			e.role = args[i+1]
		}
		if args[1] != "as" {
			e.how = args[1]
		}
	}
	return nil
}

func (h *history) find(name string) int {
	return slices.IndexFunc(h.events, func(e event) bool { return e.name == name })
}

// write adds an event to what its site knows, in a change-set of its own or in the
// last one's.
func (h *history) write(at string, same bool, e event) {
	s := h.sites[at]
	lane := clock.Lane{Site: siteID(at)}
	if !slices.Contains([]string{"check", "record", "begin", "note", "grant", "ustate"}, e.verb) && (e.verb != "read" || e.bad || e.how == "narrow") {
		lane.Class = clock.Expedited
	}
	dot := clock.Dot{Lane: lane, Seq: h.sets[lane] + 1}
	if same {
		dot = h.events[len(h.events)-1].ctx.Of
		dot.Index++
	}
	h.sets[lane] = dot.Seq
	others := s.heads.Clone()
	delete(others, lane)
	e.ctx = clock.Context{Of: dot, Others: others}
	e.knows = map[int]bool{}
	for i := range s.knows {
		e.knows[i] = true
	}
	h.events = append(h.events, e)
	s.knows[len(h.events)-1] = true
	s.heads[lane] = dot.Seq
	if signed[e.verb] {
		h.sign(len(h.events) - 1)
	}
}

// signed are the verbs that take a signature to count. A stop is left unsigned: it
// counts whatever it carries.
var signed = map[string]bool{"go": true, "rgo": true, "waive": true, "allow": true}

func (h *history) sign(i int) {
	r, e := h.record(), &h.events[i]
	e.digest = r.EvidenceDigest(e.ctx)
	message := r.SignMessage(e.step, run.Go, e.role, e.digest)
	switch entry := h.entry(i); e.verb {
	case "rgo":
		message = r.DecideMessage(e.step, run.Go, e.role, entry.Text, e.digest)
	case "waive", "allow":
		message, _ = r.WaiveMessage(&entry)
	}
	e.signature = ed25519.Sign(keys[h.signer(i)], message)
	if e.how == "forged" {
		e.signature[0] ^= 1
	}
}

var kinds = map[string]*kind.Kind{
	"check": kind.StepCheck, "no": kind.StepCheck, "read": kind.StepReading, "record": kind.StepRecord, "begin": kind.StepBegin,
	"go": kind.StepSign, "stop": kind.StepSign, "note": kind.RunNote, "nc": kind.NCRaise, "dispose": kind.NCDispose, "void": kind.Void,
	"open": kind.ReviewOpen, "find": kind.ReviewCheck, "ask": kind.ReviewAsk, "answer": kind.ReviewAnswer, "waive": kind.ReviewWaive, "allow": kind.ReviewWaive,
	"rgo": kind.ReviewDecide, "rno": kind.ReviewDecide, "unc": kind.NCRaise, "udispose": kind.NCDispose,
}

// record builds what the program would have read from its log.
func (h *history) record() *run.Record {
	r := &run.Record{Procedure: &procedure.Procedure{Steps: h.steps, Inputs: h.inputs}, Facts: map[string]run.Facts{}, Run: clock.Dot{Lane: clock.Lane{Site: 92}, Seq: 1},
		Roles: map[clock.Dot]map[string]run.RoleStanding{}, Keys: map[clock.Dot]run.SigningKey{}}
	for _, name := range people {
		r.Keys[keyDot(name)] = run.SigningKey{Person: personDot(name), Public: keys[name].Public().(ed25519.PublicKey)}
	}
	for i := range h.events {
		e := &h.events[i]
		switch {
		case e.lost:
		case e.verb == "tell":
			facts := r.Facts[e.whom]
			if len(facts.Levels) == 0 {
				facts.Levels = make([][]run.Fact, 1)
			}
			facts.Levels[0] = append(facts.Levels[0], run.Fact{Dot: e.ctx.Of, Ctx: e.ctx, Text: e.how})
			r.Facts[e.whom] = facts
		case e.verb == "withdraw":
			r.Withdrawals = append(r.Withdrawals, run.Withdrawal{Dot: e.ctx.Of, Ctx: e.ctx, Why: e.name})
		case e.verb == "grant" || e.verb == "revoke":
			whom := personDot(e.whom)
			if r.Roles[whom] == nil {
				r.Roles[whom] = map[string]run.RoleStanding{}
			}
			r.Roles[whom][e.role] = append(r.Roles[whom][e.role], run.RoleChange{Dot: e.ctx.Of, Ctx: e.ctx, Granted: e.verb == "grant"})
		case e.verb == "recall":
			r.Recalls = append(r.Recalls, run.Recall{Dot: e.ctx.Of, Ctx: e.ctx, Calibration: calibrationDot(e.cal), Why: e.name})
		case e.verb == "ustate":
			r.Outside.States = append(r.Outside.States, run.UnitState{Dot: e.ctx.Of, Ctx: e.ctx, Unit: clock.Dot{Seq: 7}, Name: e.name, State: e.how, Ready: !e.bad})
		case e.verb == "unc" || e.verb == "udispose":
			r.Outside.NCs = append(r.Outside.NCs, h.entry(i))
		default:
			r.Entries = append(r.Entries, h.entry(i))
		}
	}
	slices.SortFunc(r.Entries, func(a, b run.Entry) int { return a.Dot.Compare(b.Dot) })
	return r
}

func (h *history) entry(i int) run.Entry {
	e := &h.events[i]
	out := run.Entry{Dot: e.ctx.Of, Ctx: e.ctx, At: clock.Stamp(i + 1), Person: personDot(e.person), Kind: kinds[e.verb], Step: e.step,
		Role: e.role, Digest: e.digest, Signature: e.signature, Text: e.name}
	binary.BigEndian.PutUint64(out.Hash[:], uint64(out.Dot.Site)<<56|uint64(out.Dot.Class)<<48|out.Dot.Seq)
	if e.of >= 0 {
		out.Ref, out.Awaited = h.events[e.of].ctx.Of, e.verb == "void" && h.events[e.of].lost
	}
	switch e.verb {
	case "read":
		out.Value = decimal.Decimal{Mantissa: 500}
		if e.bad {
			out.Value.Mantissa--
		}
		measured(&out, e)
		if value, err := decimal.Parse(e.value); err == nil {
			out.Value = value
		}
	case "no":
		out.Answer = 1
	case "stop":
		out.Verdict = run.Stop
		if e.how == "unknown" {
			out.Verdict = 7
		}
	case "dispose", "udispose":
		out.Disposition, _ = run.ParseDisposition(e.how)
	}
	h.reviewEntry(&out, e)
	if out.Kind == kind.StepSign || signed[e.verb] {
		out.Key = keyDot(h.signer(i))
		if e.how == "nokey" {
			out.Key.Seq += 1000
		}
	}
	return out
}

// verdicts says in words what the program makes of a history: NAME=standing for
// each sign-off, STEP=open or shut for each gate, STEP=done or undone, NAME=deed
// for each irreversible deed behind a shut gate, STEP.now=ready or blocked, and
// NAME.twice=twice for what was done by people who had not heard of each other.
func (h *history) verdicts() map[string]string {
	r := h.record()
	s := run.Evaluate(r)
	out := map[string]string{}
	for _, step := range s.Steps {
		reviewVerdicts(out, &step)
		out[step.Step.ID] = cmp.Or(map[bool]string{true: "done"}[step.Done], "undone")
		out[step.Step.ID+".now"] = cmp.Or(map[bool]string{true: "ready"}[len(step.Blocked) == 0], "blocked")
		if step.Gate == nil {
			continue
		}
		out[step.Step.ID] = cmp.Or(map[bool]string{true: "open"}[step.Gate.Open], "shut")
		for _, sign := range step.Gate.SignOffs {
			out[sign.Entry.Text] = string(sign.Standing)
		}
	}
	for i := range r.Entries {
		if e := &r.Entries[i]; e.Kind == kind.StepReading {
			out[e.Text+".counts"] = map[bool]string{true: "yes", false: "no"}[s.Judge(e).Counts()]
		}
	}
	for e := range r.DoneBehindShutGate() {
		out[e.Text] = "deed"
	}
	for _, list := range r.DoneTwice() {
		for _, e := range list {
			out[e.Text+".twice"] = "twice"
		}
	}
	return out
}

func mustTell(t *testing.T, steps []procedure.Step, text string) *history {
	t.Helper()
	h, err := newHistory(steps, nonEmpty(strings.Split(text, "\n")))
	if err != nil {
		t.Fatal(err)
	}
	return h
}

func nonEmpty(lines []string) []string {
	return slices.DeleteFunc(slices.Clone(lines), func(line string) bool { return strings.TrimSpace(line) == "" })
}
