package sparing

import (
	"encoding/csv"
	"fmt"
	"math"
	"os"
	"strconv"
	"strings"
	"testing"

	"pgregory.net/rapid"
)

func spareRows(t *testing.T, name string) []map[string]string {
	t.Helper()
	f, err := os.Open("../../testdata/checks/spares/" + name)
	if err != nil {
		t.Fatal(err)
	}
	defer f.Close()
	records, err := csv.NewReader(f).ReadAll()
	if err != nil {
		t.Fatal(err)
	}
	var rows []map[string]string
	for _, record := range records[1:] {
		row := map[string]string{}
		for i, name := range records[0] {
			row[name] = record[i]
		}
		rows = append(rows, row)
	}
	return rows
}

func cell(t *testing.T, row map[string]string, column string) float64 {
	t.Helper()
	if row[column] == "" {
		return 0
	}
	v, err := strconv.ParseFloat(row[column], 64)
	if err != nil {
		t.Fatalf("column %s: %v", column, err)
	}
	return v
}

// TestPublishedRule: the spares that the authors of the life-support study
// published are those of an equal share of 0.99 for each unit installed, or the
// scheduled replacements where these are more (testdata/checks/spares/README.md).
func TestPublishedRule(t *testing.T) {
	components, published := spareRows(t, "life_support_70_components.csv"), spareRows(t, "life_support_70_published.csv")
	if len(components) != 70 || len(published) != 70 {
		t.Fatalf("%d components, %d published figures, want 70 of each", len(components), len(published))
	}
	installed := 0.0
	for _, row := range components {
		installed += cell(t, row, "quantity") * cell(t, row, "instances")
	}
	share, err := EqualShare(0.99, int64(installed))
	if err != nil || math.Abs(share-0.999935161226) > 1e-12 {
		t.Fatalf("share of %v units: %v, error %v", installed, share, err)
	}
	for i, row := range components {
		units := cell(t, row, "quantity") * cell(t, row, "instances")
		scheduled := int64(0)
		if life := cell(t, row, "life_limit_d"); life > 0 {
			scheduled = int64(units * math.Floor(19000.0/24/life))
		}
		demand := must[Poisson](t)(NewPoisson(19000 * units / cell(t, row, "mtbf_h")))
		stock, err := SmallestStock(demand, share)
		if err != nil {
			t.Fatal(err)
		}
		if got, want := max(stock, scheduled), int64(cell(t, published[i], "published_spares_mtbf_x1")); got != want || row["id"] != published[i]["id"] {
			t.Errorf("%s: %d spares (Poisson %d, scheduled %d), published %d", row["id"], got, stock, scheduled, want)
		}
	}
}

// TestDepot: one part, a depot and five equal bases (Sherbrooke, chapter 3;
// testdata/checks/spares/README.md).
func TestDepot(t *testing.T) {
	base := Base{Demand: 23.2, RepairedHere: 0.2, Repair: 0.01, OrderAndShip: 0.01}
	depot := Depot{Bases: []Base{base, base, base, base, base}, DepotRepair: 0.02531}
	rows := spareRows(t, "metric_depot_5_bases.csv")
	if len(rows) < 16 {
		t.Fatalf("%d rows", len(rows))
	}
	for _, row := range rows {
		got, err := depot.Split(int64(cell(t, row, "total_stock")))
		if err != nil {
			t.Fatal(err)
		}
		if got.DepotStock != int64(cell(t, row, "best_depot_stock")) || strings.Trim(fmt.Sprint(got.BaseStocks), "[]") != row["best_base_stocks"] {
			t.Errorf("%s pieces: %d at the depot, %v at the bases; want %v", row["total_stock"], got.DepotStock, got.BaseStocks, row)
		}
		for column, value := range map[string]float64{
			"depot_pipeline": got.DepotPipeline, "depot_backorders": got.DepotBackorders,
			"base_pipeline": got.BasePipelines[0], "total_base_backorders": got.BaseBackorders,
		} {
			if math.Abs(value-cell(t, row, column)) > 6e-9 {
				t.Errorf("%s pieces: %s %.9f, want %s", row["total_stock"], column, value, row[column])
			}
		}
	}
}

func TestGroupWithAllNeededIsPlainDemand(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		demand := drawDemand(t)
		if demand.Mean() > 100 {
			t.Skip("long")
		}
		units := rapid.Int64Range(1, 20).Draw(t, "units")
		_, short, err := Group{units, units, demand}.Odds(12)
		if err != nil {
			t.Fatal(err)
		}
		for s, got := range short {
			if want := demand.Survival(int64(s)); math.Abs(got-want) > 1e-9*want+1e-15 {
				t.Errorf("shortfall with %d spares %v, want P(X > %d) = %v", s, got, s, want)
			}
		}
	})
}

// TestGroupWithoutSparesIsBinomial: with no pool each unit lives to the end with
// probability exp(-λt), by itself.
func TestGroupWithoutSparesIsBinomial(t *testing.T) {
	for _, test := range []struct {
		units, needed int64
		each          float64 // λt
	}{{3, 2, 0.2}, {5, 3, 0.7}, {8, 1, 1.5}, {2, 0, 3}} {
		p := math.Exp(-test.each)
		want := 0.0
		for alive := test.needed; alive <= test.units; alive++ {
			choose := 1.0
			for i := range alive {
				choose *= float64(test.units-i) / float64(i+1)
			}
			want += choose * math.Pow(p, float64(alive)) * math.Pow(1-p, float64(test.units-alive))
		}
		demand := must[Poisson](t)(NewPoisson(float64(test.units) * test.each))
		odds, _, err := Group{test.units, test.needed, demand}.Odds(3)
		if err != nil || math.Abs(odds[0]-want) > 1e-12 {
			t.Errorf("%d of %d, λt %v: odds %v, error %v; the binomial gives %v", test.needed, test.units, test.each, odds, err, want)
		}
		for s := range odds[1:] {
			if odds[s+1] < odds[s] {
				t.Errorf("%d of %d: more spares make it worse: %v", test.needed, test.units, odds)
			}
		}
	}
}

func TestRepairedLimits(t *testing.T) {
	r := Repaired{FailuresPerHour: 0.001, Hours: 3000, Repairable: 0.6, TurnaroundHours: 400}
	odds, short, err := r.Odds(8)
	if err != nil {
		t.Fatal(err)
	}
	never := must[Poisson](t)(NewPoisson(3))
	atEnd := must[Poisson](t)(NewPoisson(0.001*0.4*3000 + 0.001*0.6*400*(1-math.Exp(-3000.0/400))))
	for s := range odds {
		if odds[s] < never.CDF(int64(s))-1e-12 || odds[s] > atEnd.CDF(int64(s))+1e-12 || math.Abs(odds[s]+short[s]-1) > 1e-12 {
			t.Errorf("%d spares: odds %v, not between those without repair %v and those of the last moment %v", s, odds[s], never.CDF(int64(s)), atEnd.CDF(int64(s)))
		}
	}
	if odds[0] != never.CDF(0) && math.Abs(odds[0]-never.CDF(0)) > 1e-14 {
		t.Errorf("without spares %v, want e^-3", odds[0])
	}
	for _, bad := range []Repaired{{FailuresPerHour: -1}, {Hours: math.NaN()}, {Repairable: 1.1}, {TurnaroundHours: -1}} {
		if _, _, err := bad.Odds(1); err == nil {
			t.Errorf("%+v is taken", bad)
		}
	}
}
