package choice

import (
	"context"
	"errors"
	"math"
	"testing"

	"pgregory.net/rapid"
)

// drawProblem draws a problem small enough to try every choice: whole figures
// or not, with ties, packs, zero uses and options that must not be taken.
func drawProblem(t *rapid.T) Problem {
	whole := rapid.Bool().Draw(t, "whole")
	figure := func(label string, most float64) float64 {
		if whole {
			return float64(rapid.IntRange(0, int(most)).Draw(t, label))
		}
		return rapid.Float64Range(0, most).Draw(t, label)
	}
	p := Problem{Caps: make([]float64, rapid.IntRange(1, 4).Draw(t, "resources"))}
	p.Items = make([]Item, rapid.IntRange(1, 6).Draw(t, "items"))
	for i := range p.Items {
		p.Items[i].Options = make([]Option, rapid.IntRange(1, 4).Draw(t, "options"))
		for j := range p.Items[i].Options {
			o := &p.Items[i].Options[j]
			o.Value = figure("value", 20) - 10
			if rapid.IntRange(0, 15).Draw(t, "never") == 0 {
				o.Value = math.Inf(-1)
			}
			for range p.Caps {
				o.Use = append(o.Use, figure("use", 10))
			}
		}
	}
	// Some items alike.
	for i := 1; i < len(p.Items); i++ {
		if rapid.IntRange(0, 3).Draw(t, "alike") == 0 {
			p.Items[i] = p.Items[rapid.IntRange(0, i-1).Draw(t, "as")]
		}
	}
	for r := range p.Caps {
		p.Caps[r] = figure("cap", 10*float64(len(p.Items)))
		if rapid.IntRange(0, 7).Draw(t, "uncapped") == 0 {
			p.Caps[r] = math.Inf(1)
		}
	}
	return p
}

// everyChoice calls try with each choice that keeps to all caps.
func everyChoice(p Problem, try func(chosen []int, value float64, use []float64)) {
	chosen := make([]int, len(p.Items))
	for {
		fits := !math.IsInf(p.value(chosen), -1)
		use := make([]float64, len(p.Caps))
		for r := range use {
			use[r] = p.use(chosen, r)
			fits = fits && use[r] <= p.Caps[r]*(1+rowSlack)
		}
		if fits {
			try(chosen, p.value(chosen), use)
		}
		i := 0
		for ; i < len(chosen); i++ {
			if chosen[i]++; chosen[i] < len(p.Items[i].Options) {
				break
			}
			chosen[i] = 0
		}
		if i == len(chosen) {
			return
		}
	}
}

// checkResult holds a result to its own problem.
func checkResult(t *rapid.T, p Problem, r Result, want float64) {
	t.Helper()
	if math.Abs(r.Objective-want) > 1e-9 {
		t.Errorf("objective %v, want %v (every choice tried)", r.Objective, want)
	}
	if !r.Proven || r.Gap != 0 || r.Bound != r.Objective {
		t.Errorf("proven %v, bound %v, gap %v for objective %v", r.Proven, r.Bound, r.Gap, r.Objective)
	}
	if got := p.value(r.Chosen); got != r.Value {
		t.Errorf("value %v said, %v chosen", r.Value, got)
	}
	for k := range p.Caps {
		if got := p.use(r.Chosen, k); got != r.Use[k] || got > p.Caps[k]*(1+rowSlack) {
			t.Errorf("resource %d: use %v said, %v chosen, cap %v", k, r.Use[k], got, p.Caps[k])
		}
	}
}

func TestBestAgainstEveryChoice(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		p := drawProblem(t)
		want := math.Inf(-1)
		everyChoice(p, func(_ []int, value float64, _ []float64) { want = max(want, value) })
		r, err := Best(context.Background(), p, Settings{})
		var none *NoneError
		if math.IsInf(want, -1) {
			if !errors.As(err, &none) || none.Unproven {
				t.Errorf("Best = %+v, error %v; no choice fits", r, err)
			}
			return
		}
		if err != nil {
			t.Fatalf("error %v, want value %v", err, want)
		}
		checkResult(t, p, r, want)
	})
}

func TestLeastAgainstEveryChoice(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		p := drawProblem(t)
		reach := float64(rapid.IntRange(-200, 200).Draw(t, "reach")) / 4
		k := rapid.IntRange(0, len(p.Caps)-1).Draw(t, "resource")
		want := math.Inf(1)
		everyChoice(p, func(_ []int, value float64, use []float64) {
			if value >= reach-reachSlack {
				want = min(want, use[k])
			}
		})
		r, err := Least(context.Background(), p, k, reach, Settings{})
		var none *NoneError
		if math.IsInf(want, 1) {
			if !errors.As(err, &none) || none.Unproven {
				t.Errorf("Least = %+v, error %v; no choice fits", r, err)
			}
			return
		}
		if err != nil {
			t.Fatalf("error %v, want use %v", err, want)
		}
		checkResult(t, p, r, want)
		if r.Value < reach-1e-9 {
			t.Errorf("value %v misses target %v", r.Value, reach)
		}
	})
}
