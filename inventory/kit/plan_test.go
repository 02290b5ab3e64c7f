package kit

import (
	"bytes"
	"encoding/csv"
	"math"
	"testing"
	"time"

	"pulk/inventory/sparing"
)

var request = Request{From: time.Date(2027, 2, 15, 0, 0, 0, 0, time.UTC), Until: time.Date(2027, 11, 1, 0, 0, 0, 0, time.UTC),
	Target: 0.95, PriorFailures: 1, IntervalProbability: 0.9}

// The number of spares is the smallest whose negative-binomial probability reaches
// the target; checked here by plain summation of the textbook recurrence
// p(0) = (b/(b+t))^a, p(k+1) = p(k) (a+k)/(k+1) t/(b+t), which shares no code with
// package sparing (whose own tests hold the published values).
func TestSparesAgainstPlainSummation(t *testing.T) {
	part := Part{PartNumber: "WIN-003", Installed: 3, Failures: 4, UnitHoursSeen: 21000, PriorMTBFHours: 9000, Good: 1, MassGrams: 2500, LengthMM: 100, WidthMM: 200, HeightMM: 50}
	plan, err := Make(request, []Part{part})
	if err != nil || len(plan.Lines) != 1 {
		t.Fatalf("plan %+v, %v", plan, err)
	}
	line := plan.Lines[0]
	a, b := 1.0+4, 9000.0+21000
	exposure := 3 * plan.Hours
	p := math.Pow(b/(b+exposure), a)
	sum, k := p, int64(0)
	for sum < request.Target {
		p *= (a + float64(k)) / float64(k+1) * exposure / (b + exposure)
		k++
		sum += p
	}
	if line.Sufficient != k || line.Send != k-1 || math.Abs(line.OddsSent-sum) > 1e-9 {
		t.Errorf("sufficient %d, send %d, odds %v; plain summation gives %d, %d, %v", line.Sufficient, line.Send, line.OddsSent, k, k-1, sum)
	}
	if want := exposure * a / b; math.Abs(line.Expected-want) > 1e-9*want {
		t.Errorf("expected demand %v; a/b times exposure is %v", line.Expected, want)
	}
	if line.SendMassGrams != 2500*line.Send || math.Abs(line.SendLitres-float64(line.Send)) > 1e-9 {
		t.Errorf("mass %d g, volume %v L for %d pieces of 2500 g and 1 L", line.SendMassGrams, line.SendLitres, line.Send)
	}
}

func TestLines(t *testing.T) {
	for _, c := range []struct {
		name  string
		part  Part
		basis []Basis
		send  []int64
	}{
		{"nothing", Part{}, nil, nil},
		{"no_rate", Part{Installed: 2}, []Basis{NoRate}, []int64{0}},
		{"installed_an_hour_ago", Part{Installed: 2, UnitHoursSeen: 2}, []Basis{NoRate}, []int64{0}}, // once stopped the whole plan
		{"consumable", Part{Uses: []sparing.Use{{Runs: 30, PerRun: 2}}, Good: 10}, []Basis{Consumable}, []int64{50}},
		{"consumable_by_experience", Part{Uses: []sparing.Use{{Runs: 30, PerRun: 2}}, Experience: sparing.Experience{Planned: 100, Used: 125}}, []Basis{Consumable}, []int64{75}},
		{"both_share_the_stock", Part{Installed: 1, PriorMTBFHours: 100_000_000, Good: 3, Uses: []sparing.Use{{Runs: 1, PerRun: 5}}}, []Basis{Spare, Consumable}, []int64{0, 2}},
	} {
		plan, err := Make(request, []Part{c.part})
		if err != nil {
			t.Errorf("%s: %v", c.name, err)
			continue
		}
		if len(plan.Lines) != len(c.basis) {
			t.Errorf("%s: %d lines; want %d", c.name, len(plan.Lines), len(c.basis))
			continue
		}
		for i, line := range plan.Lines {
			if line.Basis != c.basis[i] || line.Send != c.send[i] {
				t.Errorf("%s: line %d is %s, send %d; want %s, %d", c.name, i, line.Basis, line.Send, c.basis[i], c.send[i])
			}
		}
	}
}

func TestRefusals(t *testing.T) {
	for _, change := range []func(*Request){
		func(r *Request) { r.Until = r.From },
		func(r *Request) { r.Target = 1 },
		func(r *Request) { r.Target = math.NaN() },
		func(r *Request) { r.PriorFailures = 0 },
	} {
		bad := request
		change(&bad)
		if plan, err := Make(bad, nil); err == nil {
			t.Errorf("Make(%+v) = %+v; want an error", bad, plan)
		}
	}
}

func TestCSVKeepsTextFromBeingAFormula(t *testing.T) {
	plan, err := Make(request, []Part{{PartNumber: "=cmd()", Name: "@x", Uses: []sparing.Use{{Runs: 1, PerRun: 1}}}})
	if err != nil {
		t.Fatal(err)
	}
	var buf bytes.Buffer
	if err := plan.WriteCSV(&buf); err != nil {
		t.Fatal(err)
	}
	rows, err := csv.NewReader(&buf).ReadAll()
	if err != nil || len(rows) != 2 || rows[1][0] != "'=cmd()" || rows[1][1] != "'@x" || len(rows[1]) != len(columns) {
		t.Errorf("rows %q, %v", rows, err)
	}
}

// TestTrend: failures that crowd at the end of the record are warned of, those at its
// start the other way, and evenly spread ones not.
func TestTrend(t *testing.T) {
	for _, c := range []struct {
		hours             []float64
		worsens, improves bool
		known             bool
	}{
		{[]float64{9000, 9300, 9700, 9900}, true, false, true},
		{[]float64{100, 200, 500, 900}, false, true, true},
		{[]float64{2000, 4000, 6000, 8000}, false, false, true},
		{[]float64{9000, 9300, 9700}, false, false, false},
		{[]float64{9000, 9300, 9700, 12_000}, false, false, false}, // a meter was set back: nothing is said
	} {
		plan, err := Make(request, []Part{{PartNumber: "PMP", Installed: 3, Failures: int64(len(c.hours)), UnitHoursSeen: 10_000, FailureHours: c.hours}})
		if err != nil {
			t.Fatal(err)
		}
		if l := plan.Lines[0]; l.Worsens() != c.worsens || l.Improves() != c.improves || (l.Trend != nil) != c.known {
			t.Errorf("%v: worsens %t, improves %t, trend %+v", c.hours, l.Worsens(), l.Improves(), l.Trend)
		}
	}
}

// TestLikeness: a part that is like another has its rate, with the weight that is
// given but no more than the other's own.
func TestLikeness(t *testing.T) {
	known := Part{PartNumber: "OLD", Installed: 1, PriorMTBFHours: 10_000, Failures: 3, UnitHoursSeen: 30_000} // 4 failures in 40,000 h
	for _, c := range []struct{ asked, weighs float64 }{{1, 1}, {0.5, 0.5}, {100, 4}} {
		prior, err := known.LikenessTo(c.asked, 1)
		if err != nil || prior.Like != "OLD" || math.Abs(prior.MTBFHours-10_000) > 1e-6 || prior.Failures != c.weighs {
			t.Errorf("%g asked: %+v, %v; want 10,000 h that weigh %g", c.asked, prior, err, c.weighs)
		}
	}
	prior, err := known.LikenessTo(2, 1)
	if err != nil {
		t.Fatal(err)
	}
	alike, sheet := Part{PartNumber: "NEW", Installed: 3, PriorMTBFHours: 500, Prior: prior}, Part{PartNumber: "NEW", Installed: 3, PriorMTBFHours: 10_000}
	heavy := request
	heavy.PriorFailures = 2
	a, err := Make(request, []Part{alike})
	if err != nil {
		t.Fatal(err)
	}
	b, err := Make(heavy, []Part{sheet})
	if err != nil {
		t.Fatal(err)
	}
	if a.Lines[0].Send != b.Lines[0].Send || math.Abs(a.Lines[0].OddsSent-b.Lines[0].OddsSent) > 1e-12 {
		t.Errorf("like another: %d, %v; by a datasheet that says the same: %d, %v", a.Lines[0].Send, a.Lines[0].OddsSent, b.Lines[0].Send, b.Lines[0].OddsSent)
	}
	if _, err := (&Part{PartNumber: "NONE"}).LikenessTo(1, 1); err == nil {
		t.Error("a likeness to what nobody knows is taken")
	}
}
