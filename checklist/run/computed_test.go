package run_test

import (
	"slices"
	"strings"
	"testing"

	"pulk/checklist/procedure"
	"pulk/checklist/run"
	"pulk/schema/kind"
)

// A cable is measured, its loss judged by its length, and the pressure at its end by
// depth and latitude, before it is let go.
const cableFile = `
id: cable
title: Cable
revision: A
hazards: []
roles: [quality]
inputs:
  length: {step: length}
  deep: {step: depth}
  latitude: {place: latitude, unit: deg, example: -66.5}
  lost: {step: loss}
  height: {place: elevation, unit: m, example: 2}
steps:
  - {id: length, kind: reading, text: Read., reading: {quantity: length, unit: km, limits: {max: 50}, example: 10}}
  - {id: loss, kind: reading, text: Read., reading: {quantity: loss, unit: dB, limits: {max: {formula: 'value(0.25, "dB/km") * length'}}, example: 2.4}}
  - {id: margin, kind: reading, text: Read., reading: {quantity: margin, unit: dB, limits: {min: {formula: 'value(5, "dB") - lost'}}}}
  - {id: depth, kind: reading, text: Read., reading: {quantity: depth, unit: m, limits: none, example: 450, repeat: 2}}
  - {id: gauge, kind: reading, text: Read., reading: {quantity: pressure, unit: bar, limits: {expected: {formula: "sea_pressure(deep, latitude)"}, tolerance: 0.05}}}
  - {id: ready, kind: hold, text: Sign., sign: {role: quality, people: 1}}
  - {id: drop, kind: do, text: Let go., cautions: [It is gone.], irreversible: true}
  - {id: air, kind: reading, text: Read., reading: {quantity: air pressure, unit: hPa, limits: {expected: {formula: standard_pressure(height)}, tolerance: 60}}}
`

func cableHistory(t *testing.T, text string) *history {
	t.Helper()
	p, problems := procedure.Parse("cable", []byte(cableFile))
	if p == nil {
		t.Fatal(problems)
	}
	h, err := newHistory(p.Steps, nonEmpty(strings.Split(text, "\n")))
	if err != nil {
		t.Fatal(err)
	}
	h.inputs = p.Inputs
	return h
}

// good is a run up to its hold point, on one site.
const goodCable = `
	a0 stn ida tell latitude -66.5
	a1 stn ida read length 10
	a2 stn ida read loss 2.4
	a3 stn ida read depth 449
	a4 stn ida read depth 451
	a5 stn ida read gauge 45.5
	a9 stn ida read margin 2.6
`

// Each story with the verdicts that follow; see history.verdicts. what is part of what
// the tool says about a step, or of why a gate is shut.
func TestComputedLimits(t *testing.T) {
	for _, c := range []struct{ name, story, want, step, what string }{
		{"good", goodCable + "g stn oskar go ready", "loss=done gauge=done ready=open drop.now=ready", "", ""},
		{"needs_the_reading", "a0 stn ida tell latitude -66.5", "loss=undone loss.now=blocked", "loss", "needs the reading of step length first"},
		{"needs_both_values", "a0 stn ida tell latitude -66.5\na3 stn ida read depth 449", "gauge.now=blocked", "gauge", "needs the reading of step depth first"},
		{"needs_the_place", "a3 stn ida read depth 449\na4 stn ida read depth 451", "gauge.now=blocked", "gauge", "needs the latitude of the place: it is not told yet"},
		{"outside_a_function", "a0 stn ida tell latitude -66.5\na3 stn ida read depth 20000\na4 stn ida read depth 20000", "gauge.now=blocked", "gauge", "depth 20000 m is outside 0 to"},
		{"fails", "a1 stn ida read length 10\na2 stn ida read loss 2.6", "loss=undone", "", ""},
		{"an_input_voided", goodCable + "v stn ida void a1", "length=undone loss=undone loss.now=blocked", "loss", "needs the reading of step length first"},
		{"an_input_voided_and_read_again", goodCable + "v stn ida void a1\na6 stn ida read length 11", "length=done loss=undone loss.now=ready", "loss", "it stood on the reading 10 of step length, which was voided: v"},
		{"and_the_reading_too", goodCable + "v stn ida void a1\na6 stn ida read length 11\na7 stn ida read loss 2.4\na8 stn ida read margin 2.6\ng stn oskar go ready", "loss=done ready=open", "", ""},
		{"an_input_read_once_more", goodCable + "a6 stn ida read length 9", "length=done loss=done", "", ""},
		{"later_readings_stand_on_the_later_input", goodCable + "a6 stn ida read length 9\na7 stn ida read loss 2.3", "loss=undone", "", ""},
		{"an_input_to_be_done_again", goodCable + "n stn ida nc length\nd stn ida dispose n rework", "length=undone loss=undone", "loss", "needs the reading of step length first"},
		{"voided_after_the_signature", goodCable + "g stn oskar go ready\nv stn ida void a1", "g=reopened ready=shut drop.now=blocked", "", ""},
		{"voided_across_the_signature", goodCable + "home < stn\ng stn oskar go ready\nv home lena void a1", "g=overtaken ready=shut", "", ""},
		{"a_go_without_the_input_of_what_was_read_again", strings.Replace(goodCable, "a1 stn ida read length 10", "a1 ship ida read length 10\nstn < ship", 1) +
			"v stn ida void a2\na6 stn ida read loss 2.4\na7 stn ida read margin 2.6\nhome < stn own\ng home oskar go ready", "length=done loss=done g=unsettled ready=shut", "", ""},
		{"a_go_with_it", strings.Replace(goodCable, "a1 stn ida read length 10", "a1 ship ida read length 10\nstn < ship", 1) +
			"v stn ida void a2\na6 stn ida read loss 2.4\na7 stn ida read margin 2.6\nhome < stn\ng home oskar go ready", "loss=done g=holds ready=open", "", ""},
		{"voided_and_read_again_elsewhere", goodCable + "home < stn\ng stn oskar go ready\nstn < home\nv stn ida void a1\na6 stn ida read length 10\nh stn oskar go ready", "loss=undone ready=shut", "ready", "step loss: 2.4 does not count: it stood on the reading 10"},
		{"an_input_that_fails_now", "a1 stn ida read length 10\na6 stn ida read length 60", "length=undone loss.now=blocked", "loss", "needs the reading of step length first"},
		{"taken_before_both_values_were_there", "a0 stn ida tell latitude -66.5\na3 stn ida read depth 449\na5 stn ida read gauge 45.5\na4 stn ida read depth 451", "gauge=undone gauge.now=ready", "gauge", "needs the reading of step depth first"},
		{"a_voided_value_is_left_out", "a0 stn ida tell latitude -66.5\na3 stn ida read depth 449\na4 stn ida read depth 451\na6 stn ida read depth 900\nv stn ida void a6\na5 stn ida read gauge 45.5", "gauge=done", "", ""},
		{"and_before_it_is_used", "a0 stn ida tell latitude -66.5\na3 stn ida read depth 449\na4 stn ida read depth 451\na6 stn ida read depth 900\nv stn ida void a6", "gauge.now=ready", "", ""},
		{"an_input_used_as_it_is", "f stn ida fail length\nd stn ida dispose f.nc use-as-is\na2 stn ida read loss 100", "loss=done", "", ""},
		{"what_stood_on_what_stood_on_it", goodCable + "v stn ida void a1", "margin=undone", "margin", "it stood on the reading 2.4 of step loss, which does not count any more"},
		{"a_go_that_knew_the_wrong_place", "t0 stn ida tell latitude 0\n" + strings.Replace(goodCable, "a0 stn ida tell latitude -66.5", "", 1) + "v stn ida void a5\na6 stn ida read gauge 45.5\ng stn oskar go ready\nt1 stn ida tell latitude -66.5", "gauge=done g=unsettled ready=shut", "", ""},
		{"a_go_before_a_place_was_corrected", goodCable + "v stn ida void a5\na6 stn ida read gauge 45.5\ng stn oskar go ready\nt1 stn ida tell latitude -66.6", "gauge=done g=holds ready=open", "", ""},
		{"the_place_corrected_much", goodCable + "g stn oskar go ready\nt1 stn ida tell latitude 0", "gauge=undone g=unsettled ready=shut", "ready", "step gauge: pressure 45.5 bar is outside its limits"},
		{"unjudged_after_the_gate", goodCable + "e stn ida tell height 2\ng stn oskar go ready\na8 stn ida read air 1000\nb0 home lena tell height 3", "air=undone g=holds ready=open", "air", "sites disagree about it"},
		{"the_place_taken_back_after_the_deed", goodCable + "g stn oskar go ready\nx stn ida check drop\na6 stn ida tell latitude -", "ready=shut x=", "", ""},
		{"an_input_read_by_someone_who_did_not_know_that_it_is_done_again", "n home lena nc length\nd home lena dispose n rework\na6 home lena read length 11\na7 stn ida read length 12", "length=done loss.now=ready", "", ""},
		{"the_place_corrected_a_little", goodCable + "g stn oskar go ready\na6 stn ida tell latitude -66.6", "gauge=done g=holds ready=open", "", ""},
		{"the_place_taken_back", goodCable + "g stn oskar go ready\na6 stn ida tell latitude -", "gauge=undone g=unsettled ready=shut drop.now=blocked", "ready", "needs the latitude of the place"},
		{"sites_disagree_about_the_place", goodCable + "g stn oskar go ready\nb0 home lena tell latitude -66.7", "gauge=undone g=unsettled ready=shut", "ready", "sites disagree about it, [-66.5 -66.7]: settle that first"},
		{"and_settle_it", goodCable + "b0 home lena tell latitude -66.7\nstn < home\na6 stn ida tell latitude -66.5\ng stn oskar go ready", "gauge=done ready=open", "", ""},
		{"done_behind_a_gate_that_the_place_shut", goodCable + "g stn oskar go ready\nx stn ida check drop\nb0 home lena tell latitude -66.7", "x=deed", "", ""},
	} {
		t.Run(c.name, func(t *testing.T) {
			h := cableHistory(t, c.story)
			got := h.verdicts()
			for _, word := range strings.Fields(c.want) {
				name, want, _ := strings.Cut(word, "=")
				if got[name] != want {
					t.Errorf("%s is %q; want %q", name, got[name], want)
				}
			}
			if c.step != "" && !strings.Contains(said(t, h, c.step), c.what) {
				t.Errorf("of step %s it says %q; want %q", c.step, said(t, h, c.step), c.what)
			}
		})
	}
}

// said is all that the program says about a step: why it is blocked or shut, and why
// its readings do not count.
func said(t *testing.T, h *history, id string) string {
	t.Helper()
	s := run.Evaluate(h.record())
	n, ok := s.StepByID(id)
	if !ok {
		t.Fatalf("no step %s", id)
	}
	words := slices.Clone(s.Steps[n].Blocked)
	if s.Steps[n].Gate != nil {
		words = append(words, s.Steps[n].Gate.Shut...)
	}
	for _, e := range s.Steps[n].Entries {
		if e.Kind == kind.StepReading {
			words = append(words, s.Judge(e).Flag)
		}
	}
	return strings.Join(words, "; ")
}

// The limits are told with their arithmetic and where the values are from.
func TestBounds(t *testing.T) {
	s := run.Evaluate(cableHistory(t, goodCable).record())
	b := s.Bounds(4)
	if b.Why != "" || len(b.Worked) != 1 || b.Worked[0].String() != "expected = sea_pressure(450 m, -66.5 deg) = 455.002 dbar = 45.5002 bar" {
		t.Errorf("%+v", b)
	}
	if want := []string{"deep 450.00 m (step depth)", "latitude -66.5 deg (the place)"}; !slices.Equal(b.From, want) {
		t.Errorf("%q; want %q", b.From, want)
	}
	if b.String() != "45.4502 to 45.5502" {
		t.Errorf("limits %s", b)
	}
}
