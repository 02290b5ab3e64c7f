package run_test

import (
	"flag"
	"fmt"
	"math/rand/v2"
	"slices"
	"strings"
	"testing"

	"pulk/checklist/procedure"
)

var (
	histories = flag.Int("histories", 5000, "random histories to compare with the reference model")
	firstSeed = flag.Uint64("seed", 1, "seed of the first random history")
)

// shortSteps is a procedure that random histories often get to the end of.
func shortSteps() []procedure.Step {
	all := stepsOfString()
	all[0].Reading.Repeat = 2
	return []procedure.Step{all[0], all[3], all[4], all[1], all[5], all[7], all[9], all[6]}
}

// trialSteps has what cannot be undone answered yes or no, and measured.
func trialSteps() []procedure.Step {
	all := stepsOfString()
	burn := all[0]
	burn.ID, burn.Irreversible = "burn", true
	return []procedure.Step{all[2], all[4], all[8], burn, all[5], all[0], all[9], all[1]}
}

// randomHistory makes up a history of three sites. It is drawn so that a fair part
// of the sign-offs hold: people mostly sign after hearing of the others.
func randomHistory(seed uint64, steps []procedure.Step) (*history, []string) {
	rng := rand.New(rand.NewPCG(seed, 0))
	pick := func(list ...string) string { return list[rng.IntN(len(list))] }
	var lines, done, bad []string
	h, _ := newHistory(steps, nil)
	add := func(line string) string {
		name := fmt.Sprintf("e%d", len(lines))
		if h.tell(strings.Fields(name+" "+line)) == nil { // else the site does not know what it would be about
			lines = append(lines, name+" "+line)
		}
		return name
	}
	send := func(line string) {
		lines = append(lines, line)
		_ = h.tell(strings.Fields(line))
	}
	for range 4 + rng.IntN(14) {
		at := pick("home", "home", "stn", "stn", "ship")
		by := at + " " + pick(people...) + " "
		step := steps[rng.IntN(len(steps))]
		switch n := rng.IntN(40); {
		case n < 8:
			send(at + " < " + pick("home", "stn", "ship") + pick("", "", "", " expedited"))
		case n < 16:
			done = append(done, add(by+doing(rng, step)))
		case n < 19:
			if step.Reading != nil || step.Kind == procedure.KindConfirm {
				name := add(by + "fail " + step.ID)
				done, bad = append(done, name), append(bad, name+".nc")
			} else {
				bad = append(bad, add(by+"nc "+pick(step.ID, step.ID, "-")))
			}
		case n < 23 && len(bad) > 0:
			add(by + "dispose " + pick(bad...) + " " + pick("rework", "repair", "use-as-is", "use-as-is", "scrap", "of-a-newer-program"))
		case n < 26 && len(done) > 0:
			add(by + "void " + pick(done...))
		case n == 26 && rng.IntN(4) == 0:
			add(by + "withdraw")
		case n == 26:
			add(by + "grant tomas quality")
			role := pick("oskar quality", "lena quality", "mirre technician", "lena release-authority")
			for range 1 + rng.IntN(3) {
				add(by + pick("revoke ", "grant ") + role)
			}
		case n >= 27 && n < 30 && slices.ContainsFunc(steps, isLab):
			if name := add(by + "doubt " + pick(append(done, "none")...)); rng.IntN(2) == 0 {
				bad = append(bad, name)
			} else {
				add(by + "recall " + pick("A", "B", "B"))
			}
		case n == 27:
			done = append(done, add(by+"note "+step.ID))
		case n == 28 && len(done) > 0 && rng.IntN(2) == 0:
			send("lost " + pick(done...))
		case n > 28:
			done = append(done, add(signing(rng, at, steps)))
		}
	}
	h.end()
	return h, lines
}

func doing(rng *rand.Rand, step procedure.Step) string {
	switch step.Kind {
	case procedure.KindReading:
		if isLab(step) {
			return readingLine(rng, step)
		}
		if rng.IntN(8) == 0 {
			return "read " + step.ID + " bad"
		}
		return "read " + step.ID + " good"
	case procedure.KindRecord:
		return "record " + step.ID
	case procedure.KindConfirm:
		if rng.IntN(8) == 0 {
			return "no " + step.ID
		}
		return "check " + step.ID
	case procedure.KindDo:
		return "check " + step.ID
	}
	return "note " + step.ID
}

// signing is mostly a go by someone who may.
func signing(rng *rand.Rand, at string, steps []procedure.Step) string {
	gates := slices.DeleteFunc(slices.Clone(steps), func(s procedure.Step) bool { return s.Sign == nil })
	step := gates[rng.IntN(len(gates))]
	by := map[string][]string{"quality": {"oskar", "lena"}, "technician": {"mirre"}, "release-authority": {"lena", "oskar"}}[step.Sign.Role]
	person := by[rng.IntN(len(by))]
	switch rng.IntN(24) {
	case 0, 1:
		return at + " " + person + " stop " + step.ID + []string{"", " unknown"}[rng.IntN(2)]
	case 2:
		return at + " tomas go " + step.ID
	case 3:
		return at + " " + person + " go " + step.ID + " " + []string{"forged", "stolen", "nokey"}[rng.IntN(3)]
	case 4:
		return at + " " + person + " go " + step.ID + " as drill-engineer"
	}
	return at + " " + person + " go " + step.ID
}

// disagreement says where the program and the model differ on a history, and
// counts the standings that the program gave.
func disagreement(h *history, tally map[string]int) string {
	got, m := h.verdicts(), newModel(h)
	for n, step := range h.steps {
		want := "undone"
		switch done := m.done(n, m.here); {
		case done && step.Sign != nil:
			want = "open"
		case done:
			want = "done"
		case step.Sign != nil:
			want = "shut"
		}
		tally[step.ID+" "+want]++
		if got[step.ID] != want {
			return fmt.Sprintf("step %s is %s; the model says %s", step.ID, got[step.ID], want)
		}
	}
	for n, step := range h.steps {
		tally["now "+got[step.ID+".now"]]++
		if blocked := got[step.ID+".now"] == "blocked"; blocked != m.blocked(n) {
			return fmt.Sprintf("step %s blocked: %t; the model says %t", step.ID, blocked, !blocked)
		}
	}
	if why := m.reviewDisagrees(got, tally); why != "" {
		return why
	}
	for i, e := range h.events {
		if e.verb == "read" && m.here[i] {
			counts := map[bool]string{true: "yes", false: "no"}[!e.bad && !m.worthless(i, m.here)]
			tally["read "+e.how+" "+counts]++
			if got[e.name+".counts"] != counts {
				return fmt.Sprintf("reading %s counts: %s; the model says %s", e.name, got[e.name+".counts"], counts)
			}
		}
		if twice := got[e.name+".twice"] != ""; m.here[i] && twice != m.twice(i) {
			return fmt.Sprintf("%s done twice: %t; the model says %t", e.name, twice, !twice)
		}
		if why := m.disagrees(i, e, got[e.name], tally); why != "" {
			return why
		}
	}
	return ""
}

func (m *model) disagrees(i int, e event, got string, tally map[string]int) string {
	if !m.here[i] {
		return ""
	}
	switch {
	case e.verb == "stop" || e.verb == "rno":
		want := map[string]bool{}
		answered := m.all(m.here, func(g int, other event) bool {
			return other.verb == map[string]string{"stop": "go", "rno": "rgo"}[e.verb] && other.step == e.step && other.knows[i] && !m.isVoided(g, m.here)
		})
		want["stop"], want["stop, answered"] = len(answered) == 0, len(answered) > 0
		if m.isVoided(i, m.here) {
			want = map[string]bool{"voided": true}
		}
		tally[got]++
		if !want[got] {
			return fmt.Sprintf("stop %s is %q; the model says %v", e.name, got, want)
		}
	case e.verb == "waive":
		if want := m.waiverWord(i); got != want {
			return fmt.Sprintf("waiver %s is %q; the model says %q", e.name, got, want)
		}
		tally["waiver "+got]++
	case e.verb == "go" || e.verb == "rgo":
		faults := m.faults(i, m.here)
		tally[got]++
		told := got == "holds" && len(faults) == 0 || faults[got]
		first := !(got == "reopened" && faults["overtaken"]) && !(got == "unsettled" && (faults["overtaken"] || faults["reopened"]))
		if !told || !first {
			return fmt.Sprintf("go %s is %q; the model finds %v", e.name, got, faults)
		}
	case e.step >= 0 && m.steps[e.step].Irreversible && slices.Contains([]string{"check", "no", "read", "record"}, e.verb) && !m.isVoided(i, m.here):
		want := map[bool]string{true: "deed"}[m.wrongDeed(i)]
		tally["deed "+want]++
		if got != want {
			return fmt.Sprintf("%s at step %s is %q; the model says %q", e.name, m.steps[e.step].ID, got, want)
		}
	}
	return ""
}

// smallest drops lines from a history for as long as program and model differ.
func smallest(steps []procedure.Step, lines []string) ([]string, string) {
	why := ""
	for i := 0; i < len(lines); {
		fewer := slices.Delete(slices.Clone(lines), i, i+1)
		h, err := newHistory(steps, fewer)
		if err != nil {
			i++
			continue
		}
		if differs := disagreement(h, map[string]int{}); differs != "" {
			lines, why, i = fewer, differs, 0
			continue
		}
		i++
	}
	return lines, why
}

func TestStandingAgainstModel(t *testing.T) {
	tally := map[string]int{}
	n := *histories
	if testing.Short() {
		n = min(n, 2000)
	}
	for seed := *firstSeed; seed < *firstSeed+uint64(n); seed++ {
		steps := [][]procedure.Step{stepsOfString(), shortSteps(), trialSteps(), labSteps()}[seed%4]
		h, lines := randomHistory(seed, steps)
		if why := disagreement(h, tally); why != "" {
			small, last := smallest(steps, lines)
			if last != "" {
				why = last
			}
			t.Fatalf("seed %d: %s, in the history\n\t%s\nreplay: go test ./checklist/run -run TestStandingAgainstModel -histories 1 -seed %d", seed, why, strings.Join(small, "\n\t"), seed)
		}
	}
	t.Log("standings:", tally)
	if n < 1000 {
		return
	}
	for _, name := range []string{"holds", "overtaken", "reopened", "unsettled", "voided", "stop", "stop, answered", "no role", "signature invalid",
		"key not here yet", "evidence not all here", "wrong role", "ready open", "watch open", "release open", "deed deed", "deed ",
		"read good yes", "read good no", "read narrow yes", "read narrow no", "read wide no", "read flagged no", "read nocal no", "read unsaid no", "read unsure no"} {
		if tally[name] == 0 {
			t.Errorf("no history of %d came to %q: the histories drawn show too little", n, name)
		}
	}
}
