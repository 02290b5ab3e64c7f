package procedure_test

import (
	"errors"
	"strconv"
	"strings"
	"testing"

	"pulk/checklist/limit"
	"pulk/checklist/procedure"
	"pulk/schema/decimal"
	"pulk/schema/fault"
)

func reading(t *testing.T, p *procedure.Procedure, id string) *procedure.Reading {
	t.Helper()
	n, ok := p.StepIndex(id)
	if !ok || p.Steps[n].Reading == nil {
		t.Fatalf("no reading %s", id)
	}
	return p.Steps[n].Reading
}

// The rule of the trade: double armour near shore, single further out, bare
// polyethylene below 1,000 m (common practice).
func TestArmourByDepth(t *testing.T) {
	p := load(t, "cable-checks.yaml")
	armour := reading(t, p, "20")
	for _, c := range []struct{ metres, layers string }{{"15", "2"}, {"199.9", "2"}, {"200", "1"}, {"450", "1"}, {"999", "1"}, {"1000", "0"}, {"3800", "0"}} {
		values := p.Examples()
		values["water_depth"] = *dec(c.metres)
		limits, worked, err := armour.LimitsAt(values)
		if err != nil || len(worked) != 1 {
			t.Fatalf("%s m: %v, %v", c.metres, worked, err)
		}
		for _, layers := range []string{"0", "1", "2"} {
			got := limits.Judge(*dec(layers), limit.Uncertainty{})
			if got.Good() != (layers == c.layers) {
				t.Errorf("%s layers at %s m: %s; want %s layers", layers, c.metres, got, c.layers)
			}
		}
	}
}

// Every limit of the example, with values beside those of the file.
func TestLimitsAt(t *testing.T) {
	p := load(t, "cable-checks.yaml")
	for _, c := range []struct{ step, input, value, want string }{
		{"40", "length", "20", "at most 6.3"},
		{"60", "temperature", "20", "at least 500"},
		{"60", "temperature", "32", "at least 250"},
		{"70", "after_a_minute", "750.5", "at least 1501"},
		{"90", "water_depth", "1000", "10.35 to 36"},
	} {
		values := p.Examples()
		values[c.input] = *dec(c.value)
		limits, _, err := reading(t, p, c.step).LimitsAt(values)
		if err != nil || limits.String() != c.want {
			t.Errorf("step %s with %s %s: %s, %v; want %s", c.step, c.input, c.value, limits, err, c.want)
		}
	}
}

// Limits that cannot be worked out judge nothing, whoever asks.
func TestLimitsThatAreNotThere(t *testing.T) {
	p := load(t, "cable-checks.yaml")
	armour := reading(t, p, "20")
	limits, _, err := armour.LimitsAt(map[string]decimal.Decimal{"near_shore": *dec("200"), "deep": *dec("1000")})
	if err == nil || !strings.Contains(err.Error(), "water_depth") {
		t.Errorf("%v; want what is missing", err)
	}
	for _, l := range []limit.Limits{limits, armour.Limits} {
		if l.None() || l.Judge(*dec("2"), limit.Uncertainty{}) != 0 {
			t.Errorf("%s judge %s; want nothing judged", l, l.Judge(*dec("2"), limit.Uncertainty{}))
		}
		if _, ok := l.Probability(2, limit.Uncertainty{Expanded: *dec("1"), Coverage: *dec("2")}); ok {
			t.Errorf("%s give a probability", l)
		}
	}
	values := p.Examples()
	values["water_depth"] = *dec("9900")
	var outside *fault.Outside
	if _, _, err := reading(t, p, "80").LimitsAt(values); !errors.As(err, &outside) {
		t.Errorf("%v; want the range", err)
	}
	values["water_depth"] = *dec("5000") // 0.9 × 5000 m × 11.5 N/m is over the working load
	if got, _, err := reading(t, p, "90").LimitsAt(values); err == nil || !strings.Contains(err.Error(), "min 51.75 is over max 36") {
		t.Errorf("%s, %v; want crossed limits refused", got, err)
	}
}

// TestOwnRules: what a limit does not say of its rule is as it stands beside both, and
// limits that are worked out keep the rules they were written with.
func TestOwnRules(t *testing.T) {
	for _, c := range []struct{ limits, words, worked string }{
		{"{min: 1, max: {value: 5, rule: guarded}}", "at least 1; at most 5, guarded by U", ""},
		{"{min: {value: 1}, max: {value: 5}}", "1 to 5", ""},
		{"{min: {value: 1, rule: simple}, max: 5, rule: guarded, guard: 0.83}", "at least 1; at most 5, guarded by 0.83 U", ""},
		{"{min: {value: 1, guard: 0.5}, max: 5, rule: guarded, guard: 0.83}", "at least 1, guarded by 0.5 U; at most 5, guarded by 0.83 U", ""},
		{"{min: {value: 1, rule: non-binary}, max: 5, rule: guarded, guard: 0.83}", "at least 1, non-binary by U; at most 5, guarded by 0.83 U", ""},
		{"{max: {formula: 2 * load, rule: guarded}}", "at most 2 * load, guarded by U", "at most 6, guarded by U"},
		{"{min: {formula: load, guard: 2}, max: {formula: 2 * load, rule: simple}, rule: non-binary}",
			"at least load, non-binary by 2 U; at most 2 * load", "at least 3, non-binary by 2 U; at most 6"},
		{"{expected: {formula: load}, tolerance: 1, rule: guarded}", "expected load ± 1, guarded by U", "2 to 4, guarded by U"},
	} {
		text := "id: p\ntitle: T\nrevision: A\nhazards: []\ninputs: {load: {value: 3, unit: kN, source: by hand}}\nsteps:\n" +
			"  - {id: a, kind: reading, text: R., reading: {quantity: q, unit: kN, instrument: required, limits: " + c.limits + "}}\n"
		p, problems := procedure.Parse("own", []byte(text))
		if p == nil {
			t.Errorf("%s: %s", c.limits, render(problems))
			continue
		}
		r := reading(t, p, "a")
		limits, _, err := r.LimitsAt(p.Examples())
		if c.worked == "" {
			c.worked = c.words
		}
		if err != nil || r.Limits.String() != c.words || limits.String() != c.worked {
			t.Errorf("%s are %q and worked out %q, %v; want %q and %q", c.limits, r.Limits, limits, err, c.words, c.worked)
		}
	}
}

// TestRuleOfNoLimit: a rule for a limit that is not there asks for no instrument.
func TestRuleOfNoLimit(t *testing.T) {
	for _, limits := range []string{"{max: {formula: 2 * load, rule: simple}, rule: guarded}", "{min: {value: 1, rule: simple}, rule: guarded}"} {
		text := "id: p\ntitle: T\nrevision: A\nhazards: []\ninputs: {load: {value: 3, unit: kN, source: by hand}}\nsteps:\n" +
			"  - {id: a, kind: reading, text: R., reading: {quantity: q, unit: kN, limits: " + limits + "}}\n"
		p, problems := procedure.Parse("own", []byte(text))
		if p == nil {
			t.Errorf("%s: %s", limits, render(problems))
		} else if l := reading(t, p, "a").Limits; l.Uncertain() {
			t.Errorf("%s: an uncertainty counts", limits)
		}
	}
}

// A hostile file full of formulas is read in bounded time, and refused.
func TestManyFormulas(t *testing.T) {
	var b strings.Builder
	b.WriteString("id: p\ntitle: T\nrevision: A\nhazards: []\nsteps:\n")
	for i := range 900 {
		b.WriteString("  - {id: a" + strconv.Itoa(i) + ", kind: reading, text: R., reading: {quantity: q, unit: m, limits: {max: {formula: \"" + strings.Repeat("(", 30) + "1" + strings.Repeat(")", 30) + "\"}}}}\n")
	}
	p, problems := procedure.Parse("many", []byte(b.String()))
	if p != nil || !strings.Contains(render(problems), "the procedure has 900 formulas; expected at most 100") {
		t.Errorf("%d problems, none about the number of formulas", len(problems))
	}
}
