package choice

import (
	"context"
	"fmt"
	"math"
	"strings"
	"testing"

	"pgregory.net/rapid"

	"pulk/inventory/sparing"
)

// kettelle is the example of Barlow and Proschan (1975) for some of its parts:
// mean demand in the pipeline is rate times repair time. A part's options are
// its stock; value is what the measure says.
func kettelle(t *testing.T, units, measure string) Problem {
	t.Helper()
	parts := map[string]struct{ rate, repair, cost float64 }{
		"U1": {0.01, 100, 200}, "U2": {0.02, 150, 100}, "U3": {0.03, 60, 300}, "U4": {0.01, 200, 250},
	}
	p := Problem{Caps: []float64{math.Inf(1)}}
	for _, unit := range strings.Fields(units) {
		part, ok := parts[unit]
		if !ok {
			t.Fatalf("no part %s", unit)
		}
		demand, err := sparing.NewPoisson(part.rate * part.repair)
		if err != nil {
			t.Fatal(err)
		}
		item := Item{Name: unit}
		for stock := range int64(25) {
			value := math.Log(demand.CDF(stock))
			if measure != "probability_no_shortage" {
				value = -sparing.ExpectedShort(demand, stock)
			}
			item.Options = append(item.Options, Option{value, []float64{float64(stock) * part.cost}})
		}
		p.Items = append(p.Items, item)
	}
	return p
}

// TestKettelleFrontier: the file lists all undominated stocks up to some cost.
func TestKettelleFrontier(t *testing.T) {
	groups := map[string][]map[string]string{}
	for _, row := range lifeSupport(t, "kettelle_frontier.csv") {
		key := row["units"] + ":" + row["measure"]
		groups[key] = append(groups[key], row)
	}
	if len(groups) < 3 {
		t.Fatalf("%d frontiers in the file", len(groups))
	}
	for key, rows := range groups {
		units, measure, _ := strings.Cut(key, ":")
		p := kettelle(t, units, measure)
		p.Caps[0] = number(t, rows[len(rows)-1], "cost", 0)
		points, err := Frontier(p, 0, 10000)
		if err != nil {
			t.Fatal(err)
		}
		if len(points) != len(rows) {
			t.Errorf("%s: %d points, the file has %d", key, len(points), len(rows))
			continue
		}
		for k, row := range rows {
			value := points[k].Value
			if measure == "probability_no_shortage" {
				value = math.Exp(value)
			} else {
				value = -value
			}
			stock := strings.Trim(fmt.Sprint(points[k].Chosen), "[]")
			if points[k].Use != number(t, row, "cost", 0) || math.Abs(value-number(t, row, "value", 0)) > 6e-11 || stock != row["stock"] {
				t.Errorf("%s: point %d: cost %v, stock %s, value %.10f; want %v", key, k, points[k].Use, stock, value, row)
			}
		}
	}
}

func TestFrontierAgainstEveryChoice(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		p := drawProblem(t)
		for r := 1; r < len(p.Caps); r++ {
			p.Caps[r] = math.Inf(1)
		}
		type pair struct{ use, value float64 }
		var all []pair
		everyChoice(p, func(_ []int, value float64, use []float64) { all = append(all, pair{use[0], value}) })
		points, err := Frontier(p, 0, 1e6)
		if (err != nil) != (len(all) == 0) {
			t.Fatalf("error %v with %d choices", err, len(all))
		}
		for k, point := range points {
			if k > 0 && (point.Use <= points[k-1].Use || point.Value <= points[k-1].Value) {
				t.Errorf("point %d (%v, %v) does not rise from (%v, %v)", k, point.Use, point.Value, points[k-1].Use, points[k-1].Value)
			}
		}
		for _, c := range all {
			better := false
			for _, point := range points {
				better = better || point.Use <= c.use+1e-9 && point.Value >= c.value-1e-9
			}
			if !better {
				t.Errorf("choice of use %v and value %v is dominated by no point", c.use, c.value)
			}
		}
	})
}

// TestCurve: each point is the best under its own cap, and the points are those
// of the frontier where one cap is all there is.
func TestCurve(t *testing.T) {
	p := kettelle(t, "U1 U2 U3 U4", "probability_no_shortage")
	points, err := Curve(context.Background(), p, 0, []float64{3000, 0, 1550, 900}, Settings{})
	if err != nil || len(points) != 4 {
		t.Fatalf("%d points, error %v", len(points), err)
	}
	p.Caps[0] = 3000
	front, err := Frontier(p, 0, 10000)
	if err != nil {
		t.Fatal(err)
	}
	for k, limit := range []float64{0, 900, 1550, 3000} {
		want := math.Inf(-1)
		for _, point := range front {
			if point.Use <= limit {
				want = point.Value
			}
		}
		if points[k].Cap != limit || !points[k].Proven || math.Abs(points[k].Value-want) > 1e-12 {
			t.Errorf("cap %v: %+v, the frontier has %v", limit, points[k], want)
		}
	}
	p.Items[0].Options = p.Items[0].Options[1:] // one piece at least: 200
	points, err = Curve(context.Background(), p, 0, []float64{100, 200}, Settings{})
	if err != nil || points[0].None == nil || points[0].None.Least != 200 || points[1].None != nil {
		t.Errorf("with a cap too low: %+v, error %v", points, err)
	}
}
