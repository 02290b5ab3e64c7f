package procedure_test

import (
	"fmt"
	"reflect"
	"slices"
	"strings"
	"testing"

	"pgregory.net/rapid"

	"pulk/checklist/limit"
	"pulk/checklist/procedure"
	"pulk/schema/decimal"
)

// What a reader of revision D of the lowering must learn, and nothing else.
func ExampleCompare() {
	a := mustParse("borehole-lowering.yaml")
	b := mustParse("borehole-lowering-d.yaml")
	for _, d := range procedure.Compare(a, b) {
		fmt.Println(d)
	}
	// Output:
	// the procedure: revision changed from "C" to "D"
	// step "75" added: reading, "Measure the depth of the water level below the collar plate with the marked line."
	// step "190": after changed from "70" to "75"
	// step "320": caution changed from "Tension that falls by 0.3 kN or more while lowering means that the string stands on something. Stop, raise 5 m, call the lead." to "Tension that falls by 0.2 kN or more while lowering means that the string stands on something. Stop at once, raise 10 m, call the lead."
	// step "340": limits changed from "7.45 to 8.25 kN" to "7.45 to 8.05 kN"
}

func dec(text string) *decimal.Decimal {
	d, err := decimal.Parse(text)
	if err != nil {
		panic(err)
	}
	return &d
}

// whole returns a procedure with every field set, fresh each time.
func whole() *procedure.Procedure {
	return &procedure.Procedure{
		ID: "p", Title: "T", Revision: "A",
		Hazards: []procedure.Hazard{{Name: "Ice", Caution: "Slow."}, {Name: "Cold", Caution: "Warm up."}},
		Tools:   []string{"hammer", "saw"},
		Parts:   []procedure.PartUse{{Part: "X-1", Quantity: 2}, {Part: "X-2", Quantity: 1}},
		Roles:   []string{"boss", "hand"},
		Steps: []procedure.Step{
			{ID: "1", Kind: procedure.KindDo, Text: "Go.", Cautions: []string{"Look."}, Role: "hand", Uses: []procedure.PartUse{{Part: "X-1", Quantity: 2}}},
			{ID: "2", Kind: procedure.KindReading, Text: "Measure.", After: []string{"1"},
				Reading: &procedure.Reading{Quantity: "load", Unit: "kN", Limits: limit.Limits{Min: dec("1"), Max: dec("4.1")}, Repeat: 1}},
			{ID: "3", Kind: procedure.KindRecord, Text: "Scan.", Record: &procedure.Record{What: "serial", Part: "X-2", Label: "it"}},
			{ID: "4", Kind: procedure.KindHold, Text: "Stop.", Sign: &procedure.Sign{Role: "boss", People: 1}},
			{ID: "5", Kind: procedure.KindWait, Text: "Wait.", WaitMinutes: 5},
			{ID: "6", Kind: procedure.KindDo, Text: "Let go."},
		},
	}
}

func TestCompare(t *testing.T) {
	for _, c := range []struct {
		name   string
		change func(*procedure.Procedure)
		want   []string
	}{
		{"nothing", func(*procedure.Procedure) {}, nil},
		{"title", func(p *procedure.Procedure) { p.Title = "U" }, []string{`the procedure: title changed from "T" to "U"`}},
		{"hazard_caution", func(p *procedure.Procedure) { p.Hazards[0].Caution = "Stop." }, []string{`hazard "Ice" changed from "Slow." to "Stop."`}},
		{"hazard_added", func(p *procedure.Procedure) {
			p.Hazards = append(p.Hazards, procedure.Hazard{Name: "Fire", Caution: "Out."})
		}, []string{`hazard "Fire" added: Out.`}},
		{"hazard_removed", func(p *procedure.Procedure) { p.Hazards = p.Hazards[1:] }, []string{`hazard "Ice" removed: Slow.`}},
		{"hazards_swapped", func(p *procedure.Procedure) { slices.Reverse(p.Hazards) }, []string{`hazards: order moved from "Ice, Cold" to "Cold, Ice"`}},
		{"tool_changed", func(p *procedure.Procedure) { p.Tools[1] = "axe" }, []string{`tools changed from "saw" to "axe"`}},
		{"tool_added", func(p *procedure.Procedure) { p.Tools = append(p.Tools, "axe") }, []string{`tools added: axe`}},
		{"tools_swapped", func(p *procedure.Procedure) { slices.Reverse(p.Tools) }, []string{`tools: order moved from "hammer; saw" to "saw; hammer"`}},
		{"part_quantity", func(p *procedure.Procedure) { p.Parts[0].Quantity = 3 }, []string{`part "X-1" changed from "2" to "3"`}},
		{"role_removed", func(p *procedure.Procedure) { p.Roles = p.Roles[:1] }, []string{`roles removed: hand`}},
		{"text", func(p *procedure.Procedure) { p.Steps[0].Text = "Run." }, []string{`step "1": text changed from "Go." to "Run."`}},
		{"caution_removed", func(p *procedure.Procedure) { p.Steps[0].Cautions = nil }, []string{`step "1": caution removed: Look.`}},
		{"role_freed", func(p *procedure.Procedure) { p.Steps[0].Role = "" }, []string{`step "1": role changed from "hand" to nothing`}},
		{"use", func(p *procedure.Procedure) { p.Steps[0].Uses[0].Quantity = 1 }, []string{`step "1": uses changed from "2 of X-1" to "1 of X-1"`}},
		{"limit_digits", func(p *procedure.Procedure) { p.Steps[1].Reading.Limits.Max = dec("4.10") }, []string{`step "2": limits changed from "1 to 4.1 kN" to "1 to 4.10 kN"`}},
		{"limit_gone", func(p *procedure.Procedure) { p.Steps[1].Reading.Limits = limit.Limits{} }, []string{`step "2": limits changed from "1 to 4.1 kN" to "no limits"`}},
		{"input", func(p *procedure.Procedure) { p.Inputs = []procedure.Input{{Name: "length", Step: "2"}} }, []string{`input "length" added: the reading of step "2"`}},
		{"formula", func(p *procedure.Procedure) { p.Steps[1].Reading.Limits = limit.Limits{Formula: "at most depth * 2"} },
			[]string{`step "2": limits changed from "1 to 4.1 kN" to "at most depth * 2"`}},
		{"example", func(p *procedure.Procedure) { p.Steps[1].Reading.Example = dec("2.5") }, []string{`step "2": example changed from nothing to "2.5"`}},
		{"rule", func(p *procedure.Procedure) { p.Steps[1].Reading.Limits.AtMin.Rule = limit.Guarded }, []string{`step "2": limits changed from "1 to 4.1 kN" to "at least 1 kN, guarded by U; at most 4.1 kN"`}},
		{"guard", func(p *procedure.Procedure) {
			p.Steps[1].Reading.Limits = p.Steps[1].Reading.Limits.By(limit.Decision{Rule: limit.NonBinary, Guard: dec("0.83")})
		}, []string{`step "2": limits changed from "1 to 4.1 kN" to "1 to 4.1 kN, non-binary by 0.83 U"`}},
		{"instrument", func(p *procedure.Procedure) { p.Steps[1].Reading.Instrument = &procedure.Instrument{Part: "TOL-004"} },
			[]string{`step "2": instrument changed from nothing to "a TOL-004 in calibration"`}},
		{"kind", func(p *procedure.Procedure) { p.Steps[4] = procedure.Step{ID: "5", Kind: "do", Text: "Wait."} },
			[]string{`step "5": kind changed from "wait" to "do"`, `step "5": minutes changed from "5" to nothing`}},
		{"people", func(p *procedure.Procedure) { p.Steps[3].Sign.People = 2 }, []string{`step "4": people who sign changed from "1" to "2"`}},
		{"review", func(p *procedure.Procedure) {
			p.Steps[3].Review = &procedure.Review{Roles: []string{"boss", "hand"}, WaiverRole: "boss", TransportDays: 3,
				Questions: []procedure.Question{{ID: "rested", Text: "Rested?", Role: "hand"}}}
		}, []string{`step "4": review by changed from nothing to "boss, hand"`, `step "4": review's waivers by changed from nothing to "boss"`,
			`step "4": days before the last transport changed from nothing to "3"`, `step "4": question of the review added: rested: Rested? (hand)`}},
		{"irreversible", func(p *procedure.Procedure) { p.Steps[5].Irreversible = true }, []string{`step "6": irreversible changed from "false" to "true"`}},
		{"removed_in_place", func(p *procedure.Procedure) {
			p.Steps = slices.Delete(p.Steps, 3, 5)
			p.Steps[3].Text = "Let it go."
		}, []string{`step "4" removed: hold, "Stop."`, `step "5" removed: wait, "Wait."`, `step "6": text changed from "Let go." to "Let it go."`}},
		{"one_moved_up", func(p *procedure.Procedure) {
			p.Steps = append([]procedure.Step{p.Steps[5]}, p.Steps[:5]...)
		},
			[]string{`step "6" moved from "after step \"5\"" to "the beginning"`}},
	} {
		t.Run(c.name, func(t *testing.T) {
			b := whole()
			c.change(b)
			var got []string
			for _, d := range procedure.Compare(whole(), b) {
				got = append(got, d.String())
			}
			if !slices.Equal(got, c.want) {
				t.Errorf("Compare gives\n%s\nwant\n%s", strings.Join(got, "\n"), strings.Join(c.want, "\n"))
			}
		})
	}
}

// Compare is empty exactly for equal procedures: nothing that a reader should
// know slips through, whichever field it is.
func TestCompareMissesNothing(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		a, b := randomProcedure(t, "a"), randomProcedure(t, "b")
		if rapid.Bool().Draw(t, "equal") {
			b = a
		}
		if got, want := len(procedure.Compare(a, b)) == 0, reflect.DeepEqual(a, b); got != want {
			t.Fatalf("Compare empty %t; want %t\na %+v\nb %+v", got, want, a, b)
		}
	})
}

// randomProcedure keeps the rules that Compare leans on: unique step ids,
// hazard names and parts; lists that are not there are nil.
func randomProcedure(t *rapid.T, label string) *procedure.Procedure {
	word := rapid.SampledFrom([]string{"x", "y"})
	words := func(name string) []string {
		if list := rapid.SliceOfNDistinct(word, 0, 2, rapid.ID[string]).Draw(t, label+name); len(list) > 0 {
			return list
		}
		return nil
	}
	p := &procedure.Procedure{ID: "p", Title: word.Draw(t, label), Tools: words("tools"), Roles: words("roles")}
	for _, id := range rapid.Permutation([]string{"1", "2", "3"}).Draw(t, label+"ids")[:rapid.IntRange(1, 3).Draw(t, label+"count")] {
		s := procedure.Step{ID: id, Kind: procedure.KindDo, Text: word.Draw(t, label), Cautions: words("cautions"), After: words("after")}
		switch rapid.IntRange(0, 3).Draw(t, label+"kind") {
		case 1:
			s.Kind, s.Sign = procedure.KindHold, &procedure.Sign{Role: word.Draw(t, label), People: rapid.IntRange(1, 2).Draw(t, label)}
		case 2:
			s.Kind, s.Reading = procedure.KindReading, &procedure.Reading{Quantity: "q", Unit: word.Draw(t, label), Repeat: rapid.IntRange(1, 2).Draw(t, label)}
			if rapid.Bool().Draw(t, label+"limits") {
				s.Reading.Limits = limit.Limits{Min: dec("1"), AtMin: limit.Decision{Rule: limit.Rule(rapid.IntRange(0, 2).Draw(t, label+"rule"))}}
				s.Reading.Instrument = rapid.SampledFrom([]*procedure.Instrument{nil, {}, {Part: "x"}}).Draw(t, label+"instrument")
			}
		case 3:
			s.Kind, s.Record = procedure.KindRecord, &procedure.Record{What: word.Draw(t, label), Part: word.Draw(t, label), Label: word.Draw(t, label)}
		}
		p.Steps = append(p.Steps, s)
	}
	return p
}
