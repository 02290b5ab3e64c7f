package run_test

import (
	"fmt"
	"math/rand/v2"
	"slices"
	"strings"
	"testing"

	"pulk/checklist/procedure"
)

// reviewSteps is a procedure with a review before its irreversible step, in which two
// people can each give the go of either role.
func reviewSteps() []procedure.Step {
	all := stepsOfString()
	ready := all[4]
	ready.Review = &procedure.Review{Roles: []string{"quality", "release-authority"}, WaiverRole: "release-authority",
		Questions: []procedure.Question{{ID: "rested", Role: "technician"}}}
	return []procedure.Step{all[0], ready, all[6], all[9]}
}

// randomReview makes up a history of three sites around one review.
func randomReview(seed uint64) (*history, []string) {
	rng := rand.New(rand.NewPCG(seed, 1))
	pick := func(list ...string) string { return list[rng.IntN(len(list))] }
	var lines, words, asked, waivers, bad, faults []string
	h, _ := newHistory(reviewSteps(), nil)
	tell := func(line string) bool {
		if h.tell(strings.Fields(line)) != nil { // else the site does not know what it would be about
			return false
		}
		lines = append(lines, line)
		return true
	}
	add := func(line string) string {
		name := fmt.Sprintf("e%d", len(lines))
		if !tell(name + " " + line) {
			return "nothing"
		}
		return name
	}
	meet := func() {
		for _, line := range []string{"home < stn", "stn < home", "ship < home", "home < ship"} {
			tell(line)
		}
	}
	wrong := func() string { return pick("", "", "", "", "", "", "", " forged", " stolen", " nokey") }
	add("home lena ustate accepted")
	add("stn ida read measure good")
	add("stn ida open ready")
	add("stn ida find ready units ok")
	meet()
	for range 6 + rng.IntN(16) {
		at := pick("home", "stn", "stn", "ship")
		by := at + " " + pick(people...) + " "
		line := pick(append([]string{"units", "units", "transport", "transport", "faults", "?rested"}, asked...)...)
		switch n := rng.IntN(64); {
		case n < 6:
			meet()
		case n < 9:
			tell(at + " < " + pick("home", "stn", "ship") + pick("", "", " expedited"))
		case n < 15 && line != "?rested" && !slices.Contains(asked, line):
			if name := add(by + "find ready " + line + " " + pick("ok", "ok", "bad", "bad", "unknown")); rng.IntN(8) == 0 {
				words = append(words, name) // that it cannot be voided
			}
		case n < 21:
			words = append(words, add(at+" "+pick("mirre", "mirre", "mirre", "ida")+" answer ready "+pick(append([]string{"?rested", "?rested"}, asked...)...)+" "+pick("yes", "yes", "yes", "no")))
		case n < 23:
			asked = append(asked, add(by+"ask ready"))
			words = append(words, asked[len(asked)-1])
		case n < 28:
			waivers = append(waivers, add(by+"waive ready "+line+wrong()))
			words = append(words, waivers[len(waivers)-1])
		case n < 35 && len(waivers) > 0:
			words = append(words, add(at+" "+pick("lena", "oskar", "lena", "oskar", "mirre")+" allow "+pick(waivers...)+pick(wrong(), wrong(), " as quality")))
		case n < 48:
			words = append(words, add(at+" "+pick("lena", "oskar", "lena", "oskar", "tomas")+" rgo ready "+pick("quality", "release-authority", "quality", "release-authority", "technician")+wrong()))
		case n < 50:
			words = append(words, add(by+"rno ready quality"))
		case n < 53 && len(words) > 0:
			add(by + "void " + pick(words...))
		case n < 55:
			add(by + "ustate " + pick("accepted", "failed"))
		case n == 55:
			faults = append(faults, add(by+"unc -"))
		case n == 56 && len(faults) > 0:
			add(by + "udispose " + pick(faults...) + " " + pick("rework", "use-as-is", "use-as-is", "scrap"))
		case n == 57:
			bad = append(bad, add(by+"fail measure")+".nc")
		case n == 58 && len(bad) > 0:
			add(by + "dispose " + pick(bad...) + " use-as-is")
		case n == 59:
			add(by + pick("revoke oskar quality", "grant tomas quality", "revoke lena release-authority", "grant oskar technician"))
		case n < 62:
			words = append(words, add(at+" "+pick("oskar", "lena")+" go ready"))
		case n == 62:
			add(by + "check lower")
		case len(words) > 0 && rng.IntN(2) == 0:
			tell("lost " + pick(words...))
		}
	}
	if rng.IntN(3) == 0 { // a fair part comes to a go
		meet()
		add("home mirre answer ready ?rested yes")
		for _, line := range append(slices.Clone(asked), "units", "transport") {
			verb := "answer ready " + line + " yes"
			if line == "units" || line == "transport" {
				verb = "find ready " + line + " ok"
			}
			add("home mirre " + verb)
		}
		add("home oskar rgo ready quality")
		add("home lena rgo ready release-authority")
		add("home lena go ready")
		if rng.IntN(2) == 0 {
			add("stn ida " + pick("ustate failed", "find ready units bad", "fail measure", "ask ready", "unc -", "answer ready ?rested no", "rno ready quality"))
		}
		meet()
		add("stn tomas check lower")
	}
	h.end()
	return h, lines
}

// TestReviewAgainstModel compares readiness reviews, and the gates that wait for them,
// with the reference model under random histories of three sites.
func TestReviewAgainstModel(t *testing.T) {
	tally := map[string]int{}
	n := *histories
	if testing.Short() {
		n = min(n, 1000)
	}
	for seed := *firstSeed; seed < *firstSeed+uint64(n); seed++ {
		h, lines := randomReview(seed)
		if why := disagreement(h, tally); why != "" {
			small, last := smallest(reviewSteps(), lines)
			if last != "" {
				why = last
			}
			t.Fatalf("seed %d: %s, in the history\n\t%s\nreplay: go test ./checklist/run -run TestReviewAgainstModel -histories 1 -seed %d", seed, why, strings.Join(small, "\n\t"), seed)
		}
	}
	t.Log("standings:", tally)
	if n < 1000 {
		return
	}
	for _, name := range []string{"holds", "overtaken", "reopened", "unsettled", "voided", "stop", "stop, answered", "no role", "signature invalid", "key not here yet",
		"evidence not all here", "wrong role", "review go", "review not", "line clear", "line not", "waiver granted", "waiver not", "ready open", "ready shut", "deed deed", "deed "} {
		if tally[name] == 0 {
			t.Errorf("no history of %d came to %q: the histories drawn show too little", n, name)
		}
	}
}
