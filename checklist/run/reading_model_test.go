package run_test

import (
	"fmt"
	"math/rand/v2"
	"slices"
	"strings"
	"testing"

	"pulk/checklist/limit"
	"pulk/checklist/procedure"
	"pulk/checklist/run"
	"pulk/schema/decimal"
	"pulk/sync/clock"
)

// Readings with an instrument are told as: read STEP HOW [cal NAME], fail STEP …,
// recall NAME (the calibration must not be relied on) and doubt READING (a
// nonconformance about it). The limit of such a reading is at least 500, and U is 10.
// HOW is what the author measured and knew; where U does not count, less is told:
var howRead = map[string]struct {
	value   int64
	without string // what it was taken without
}{
	"good":    {value: 510},
	"narrow":  {value: 509}, // inside by less than U
	"wide":    {value: 499}, // outside by less than U
	"bad":     {value: 480},
	"flagged": {value: 510, without: "date"},        // the instrument was due before
	"nocal":   {value: 510, without: "calibration"}, // it has none
	"unsaid":  {value: 510, without: "instrument"},
	"unsure":  {value: 510, without: "uncertainty"}, // the certificate states none
}

// lab makes a reading step one that is read with an instrument.
func lab(step procedure.Step) procedure.Step {
	reading := *step.Reading
	reading.Limits.AtMin.Rule, reading.Instrument = limit.NonBinary, &procedure.Instrument{}
	step.Reading = &reading
	return step
}

func isLab(step procedure.Step) bool { return step.Reading != nil && step.Reading.Instrument != nil }

// labSteps has readings with instruments before a hold, behind it, and where they
// cannot be undone.
func labSteps() []procedure.Step {
	all := stepsOfString()
	weigh, again, burn := lab(all[0]), lab(all[0]), lab(all[0])
	again.ID, again.Reading.Repeat, again.Reading.Limits.AtMin.Rule = "again", 2, limit.Simple
	burn.ID, burn.Irreversible = "burn", true
	return []procedure.Step{weigh, all[1], all[4], burn, again, all[5], all[6], all[9]}
}

// understandRead reads what follows read or fail, for a step with an instrument.
func (h *history) understandRead(e *event, args []string) error {
	if !isLab(h.steps[e.step]) {
		if _, other := howRead[args[1]]; other && args[1] != "good" && args[1] != "bad" {
			return fmt.Errorf("step %s is read without an instrument", args[0])
		}
		return nil
	}
	if e.how = args[1]; e.verb == "fail" && e.how == "" {
		e.how = "bad"
	}
	how, known := howRead[e.how]
	simple := h.steps[e.step].Reading.Limits.AtMin.Rule == limit.Simple
	if !known || simple && slices.Contains([]string{"narrow", "wide", "unsure"}, e.how) {
		return fmt.Errorf("nothing is read %q", e.how)
	}
	e.bad, e.cal = how.value < 500, "A"
	if i := slices.Index(args, "cal"); i >= 0 {
		e.cal = args[i+1]
	}
	if how.without == "calibration" || how.without == "instrument" {
		e.cal = ""
	}
	return nil
}

func calibrationDot(name string) clock.Dot {
	return clock.Dot{Lane: clock.Lane{Site: 93}, Seq: uint64(name[0])}
}

// measured fills in what the program would have read of such a reading. The time of
// all histories is in 1970.
func measured(out *run.Entry, e *event) {
	how, lab := howRead[e.how]
	if !lab {
		return
	}
	out.Measured = run.Measured{Value: decimal.Decimal{Mantissa: how.value}, Instrument: clock.Dot{Lane: clock.Lane{Site: 94}, Seq: 1}, Due: "1970-01-01",
		U: limit.Uncertainty{Expanded: decimal.Decimal{Mantissa: 10}, Coverage: decimal.Decimal{Mantissa: 2}}}
	if e.cal != "" {
		out.Calibration = calibrationDot(e.cal)
	}
	switch how.without {
	case "date":
		out.Due = "1969-12-31"
	case "calibration":
		out.Due, out.U = "", limit.Uncertainty{}
	case "instrument":
		out.Measured = run.Measured{Value: out.Value}
	case "uncertainty":
		out.U = limit.Uncertainty{}
	}
}

// A reading is worth nothing if it was taken without what it takes, or with a
// calibration that somebody says is not to be relied on.
func (m *model) worthless(i int, in map[int]bool) bool {
	e := m.events[i]
	if e.verb != "read" {
		return false
	}
	recalled := m.all(in, func(_ int, r event) bool { return r.verb == "recall" && e.cal != "" && r.cal == e.cal })
	return howRead[e.how].without != "" || len(recalled) > 0
}

// A conditional pass speaks against going on at the holds after it until whoever signs
// has seen it.
func (m *model) risky(i, hold int, in map[int]bool) bool {
	e := m.events[i]
	return e.how == "narrow" && e.step < hold && !m.worthless(i, in)
}

// A recall speaks against going on if a reading carries the calibration, until the
// steps of those before the hold are done otherwise.
func (m *model) adverseRecall(i, hold int, in map[int]bool) (bool, func(map[int]bool) bool) {
	carrying := m.all(in, func(j int, e event) bool {
		return e.verb == "read" && e.cal == m.events[i].cal && e.cal != "" && !m.isVoided(j, in)
	})
	return len(carrying) > 0, func(in map[int]bool) bool {
		for _, j := range carrying {
			if step := m.events[j].step; step < hold && !m.done(step, in) {
				return false
			}
		}
		return true
	}
}

// readingLine draws what is done at a step that is read with an instrument.
func readingLine(rng *rand.Rand, step procedure.Step) string {
	how := []string{"good", "good", "good", "good", "narrow", "narrow", "wide", "bad", "flagged", "nocal", "unsaid", "unsure"}
	return "read " + step.ID + " " + how[rng.IntN(len(how))] + " cal " + []string{"A", "A", "B"}[rng.IntN(3)]
}

// Each rule of what a reading is worth, in a history of its own.
func TestReadingRules(t *testing.T) {
	for _, c := range []struct{ name, story, want string }{
		{"good_counts", "a stn ida read measure good", "measure=done a.counts=yes"},
		{"bad_shuts", "a stn ida fail measure bad\ng home oskar go ready", "measure=undone ready=shut a.counts=no"},
		{"conditional_fail_shuts", "a stn ida fail measure wide\nhome < stn\ng home oskar go ready", "measure=undone ready=shut g=unsettled"},
		{"conditional_fail_used_as_it_is", "a stn ida fail measure wide\nd stn lena dispose a.nc use-as-is\nhome < stn\ng home oskar go ready", "measure=done ready=open"},
		{"conditional_pass_seen", "a stn ida read measure narrow\nhome < stn\ng home oskar go ready", "measure=done ready=open g=holds"},
		{"conditional_pass_unseen", "a stn ida read measure narrow\ng home oskar go ready", "measure=done ready=shut g=overtaken"},
		{"conditional_pass_later", "g home oskar go ready\nstn < home\na stn ida read measure narrow", "measure=done ready=shut g=reopened"},
		{"conditional_pass_signed_again", "g home oskar go ready\nstn < home\na stn ida read measure narrow\nhome < stn\nh home oskar go ready", "ready=open g=reopened h=holds"},
		{"conditional_pass_behind_the_hold", "g home oskar go ready\nstn < home\na stn ida read burn narrow", "ready=open g=holds"},
		{"conditional_pass_voided", "a stn ida read measure narrow\nv stn ida void a\nb stn ida read measure good\nhome < stn\ng home oskar go ready", "measure=done ready=open g=holds"},
		{"flagged_does_not_count", "a stn ida read measure flagged\nhome < stn\ng home oskar go ready", "measure=undone a.counts=no g=holds"},
		{"without_calibration_does_not_count", "a stn ida read measure nocal", "measure=undone"},
		{"without_instrument_does_not_count", "a stn ida read measure unsaid", "measure=undone"},
		{"without_instrument_nor_rule", "a stn ida read again unsaid\nb stn ida read again unsaid", "again=undone a.counts=no"},
		{"twice_with_an_instrument", "a stn ida read again good\nb stn ida read again good", "again=done"},
		{"without_uncertainty_does_not_count", "a stn ida read measure unsure", "measure=undone"},
		{"flagged_then_good", "a stn ida read measure flagged\nb stn ida read measure good", "measure=done"},
		{"flagged_used_as_it_is", "a stn ida read measure flagged\nn stn ida doubt a\nd stn lena dispose n use-as-is", "measure=done a.counts=no"},
		{"flagged_doubted", "a stn ida read measure flagged\nn stn ida doubt a\nhome < stn\ng home oskar go ready", "measure=undone ready=shut g=unsettled"},
		{"flagged_reworked", "a stn ida read measure flagged\nn stn ida doubt a\nd stn lena dispose n rework\nb stn ida read measure good", "measure=done"},
		{"recalled", "a stn ida read measure good\nhome < stn\ng home oskar go ready\nr home lena recall A", "measure=undone ready=shut g=reopened a.counts=no"},
		{"recalled_and_signed_all_the_same", "a stn ida read measure good\nr stn lena recall A\nhome < stn\ng home oskar go ready", "ready=shut g=unsettled"},
		{"recalled_after_the_deed", "a stn ida fail measure bad\nd stn lena dispose a.nc rework\nb stn ida read measure good\nhome < stn\ng home oskar go ready\nc home ida read burn good cal B\nr home lena recall A", "ready=shut c="},
		{"recalled_behind_the_hold", "g home oskar go ready\nstn < home\na stn ida read again good\nr stn lena recall A\nhome < stn\nh home oskar go ready", "ready=open h=holds"},
		{"recalled_unseen", "a stn ida read measure good\nhome < stn\nr stn lena recall A\ng home oskar go ready", "ready=shut g=overtaken"},
		{"recalled_and_read_again", "a stn ida read measure good\nr stn lena recall A\nb stn ida read measure good cal B\nhome < stn\ng home oskar go ready", "measure=done ready=open g=holds"},
		{"another_is_recalled", "a stn ida read measure good cal B\nhome < stn\ng home oskar go ready\nr home lena recall A", "measure=done ready=open g=holds"},
		{"recalled_what_fails_still_fails", "a stn ida fail measure bad\nr stn lena recall A", "measure=undone a.counts=no"},
		{"irreversible_behind_unseen_risk", "a stn ida read measure narrow\ng home oskar go ready\nc home ida read burn good", "c=deed"},
	} {
		t.Run(c.name, func(t *testing.T) {
			h := mustTell(t, labSteps(), c.story)
			got := h.verdicts()
			for _, want := range strings.Fields(c.want) {
				name, value, _ := strings.Cut(want, "=")
				if got[name] != value {
					t.Errorf("%s is %q; want %q, in\n%s", name, got[name], value, c.story)
				}
			}
			if why := disagreement(h, map[string]int{}); why != "" {
				t.Errorf("the model differs: %s", why)
			}
		})
	}
}
