package choice

import (
	"context"
	"errors"
	"math"
	"reflect"
	"runtime"
	"strings"
	"testing"
)

// TestSameAnswerOnAnyMachine: the number of processors changes nothing, not even
// in a search that is stopped after so many nodes.
func TestSameAnswerOnAnyMachine(t *testing.T) {
	list := readKnapsacks(t, source(t, "mknapcb1_even.txt"))
	for _, k := range list[:2] {
		for _, nodes := range []int64{0, 3000} {
			problem := k.firstRows(3).problem
			many, err := Best(context.Background(), problem, Settings{MaxNodes: nodes})
			if err != nil {
				t.Fatal(err)
			}
			before := runtime.GOMAXPROCS(1)
			one, err := Best(context.Background(), problem, Settings{MaxNodes: nodes})
			runtime.GOMAXPROCS(before)
			if err != nil || !reflect.DeepEqual(one, many) {
				t.Errorf("problem %s, %d nodes: %+v on one processor, %+v on %d", k.name, nodes, one, many, before)
			}
		}
	}
}

// TestInterrupted: the context ends the search; what it has by then keeps to the
// caps, and its bound holds.
func TestInterrupted(t *testing.T) {
	k := readKnapsacks(t, source(t, "mknapcb1_even.txt"))[0]
	want := optima(t, source(t, "mknapcb_even.csv"), "proven_optimum")["mknapcb1_even.txt 1"]
	ctx, cancel := context.WithCancel(context.Background())
	told := 0
	r, err := Best(ctx, k.problem, Settings{Progress: func(p Progress) {
		if told++; told == 3 {
			cancel()
		}
		if p.Found && p.Value > want || p.Bound < want {
			t.Errorf("progress %+v, but the optimum is %v", p, want)
		}
	}})
	if err != nil || r.Proven || told != 3 {
		t.Fatalf("stopped at the third word of progress: told %d times, proven %v, error %v", told, r.Proven, err)
	}
	if r.Value > want || r.Bound < want || r.Value < 0.97*want || math.Abs(r.Gap-(r.Bound-r.Value)/r.Value) > 1e-15 {
		t.Errorf("value %v, bound %v, gap %v; the optimum is %v", r.Value, r.Bound, r.Gap, want)
	}
	// From that answer on, the proof is quicker or at least no worse.
	again, err := Best(context.Background(), k.firstRows(5).problem, Settings{Start: r.Chosen, MaxNodes: 100})
	if err != nil || again.Value < r.Value {
		t.Errorf("started from value %v it gives %v, error %v", r.Value, again.Value, err)
	}
	ctx, cancel = context.WithCancel(context.Background())
	cancel()
	var none *NoneError
	if r, err := Best(ctx, k.problem, Settings{}); !errors.As(err, &none) || !none.Unproven {
		t.Errorf("with the context over from the start: %+v, error %v", r, err)
	}
}

func TestGapEndsTheSearch(t *testing.T) {
	k := readKnapsacks(t, source(t, "mknapcb1_even.txt"))[0]
	r, err := Best(context.Background(), k.problem, Settings{Gap: 0.02})
	if err != nil || r.Gap > 0.02 || r.Proven || r.Nodes > 5000 {
		t.Errorf("gap %v after %d nodes, proven %v, error %v; asked for 2 %%", r.Gap, r.Nodes, r.Proven, err)
	}
}

func TestNothingFits(t *testing.T) {
	item := func(name string, uses ...float64) Item {
		out := Item{Name: name}
		for j, use := range uses {
			out.Options = append(out.Options, Option{float64(j), []float64{use, 1}})
		}
		return out
	}
	tests := []struct {
		name    string
		problem Problem
		say     string
	}{
		{"cap", Problem{[]Item{item("pump", 4, 5), item("fan", 3)}, []float64{6, 9}}, "cap 1 is too low: even the smallest options use 7"},
		{"second_cap", Problem{[]Item{item("pump", 4, 5), item("fan", 3)}, []float64{60, 1}}, "cap 2 is too low: even the smallest options use 2"},
		{"never", Problem{[]Item{{Name: "pump", Options: []Option{{math.Inf(-1), []float64{0}}}}}, []float64{6}}, "pump: none of its options"},
		{"both_caps", Problem{[]Item{{Options: []Option{{0, []float64{1, 9}}, {0, []float64{9, 1}}}}}, []float64{8, 8}}, "item 1: none of its options"},
	}
	for _, test := range tests {
		var none *NoneError
		if _, err := Best(context.Background(), test.problem, Settings{}); !errors.As(err, &none) || !strings.Contains(err.Error(), test.say) {
			t.Errorf("%s: error %v, want %q", test.name, err, test.say)
		}
	}
	p := Problem{[]Item{item("pump", 4, 5, 6)}, []float64{5, 1}}
	var none *NoneError
	if _, err := Least(context.Background(), p, 0, 3, Settings{}); !errors.As(err, &none) || !none.TooHigh || none.Reach != 2 {
		t.Errorf("a target of 3 where options have 2 at most: error %v", err)
	}
	if _, err := Least(context.Background(), p, 0, 2, Settings{}); !errors.As(err, &none) {
		t.Errorf("a target of 2 with a cap that leaves 1: error %v", err)
	}
	if r, err := Least(context.Background(), p, 0, 1, Settings{}); err != nil || r.Use[0] != 5 {
		t.Errorf("a target of 1: %+v, error %v", r, err)
	}
}

func TestEmptyProblem(t *testing.T) {
	r, err := Best(context.Background(), Problem{Caps: []float64{1}}, Settings{})
	if err != nil || !r.Proven || r.Value != 0 || len(r.Chosen) != 0 {
		t.Errorf("nothing to choose: %+v, error %v", r, err)
	}
	for name, p := range map[string]Problem{
		"no_options": {Items: []Item{{}}},
		"uses":       {Items: []Item{{Options: []Option{{0, nil}}}}, Caps: []float64{1}},
		"value":      {Items: []Item{{Options: []Option{{math.NaN(), nil}}}}},
		"infinite":   {Items: []Item{{Options: []Option{{math.Inf(1), nil}}}}},
		"use":        {Items: []Item{{Options: []Option{{0, []float64{-1}}}}}, Caps: []float64{1}},
		"cap":        {Caps: []float64{math.NaN()}},
	} {
		if _, err := Best(context.Background(), p, Settings{}); !errors.Is(err, errShape) {
			t.Errorf("%s: error %v", name, err)
		}
	}
}

// TestMultiples: uses that are all multiples of 4 cannot use up a cap of 11, and
// a relaxation that knows has a tighter bound.
func TestMultiples(t *testing.T) {
	m := newModel(2)
	uses := [][]float64{{0, 4}, {3, 11}}
	for i := range uses {
		m.add(i, 0, 0)
		m.add(i, 1, 1.5)
	}
	m.limit(0, 14, func(i, j int) float64 { return uses[i][j] })
	table, none := m.reduce()
	if none != nil || !reflect.DeepEqual(table.use, []float64{0, 0.5, 0, 1}) {
		t.Errorf("uses %v, want shares of 8: 11 is left and all go by 4 (%v)", table.use, none)
	}
}
