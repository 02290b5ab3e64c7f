package choice

import (
	"bufio"
	"context"
	"encoding/csv"
	"flag"
	"fmt"
	"io"
	"math"
	"os"
	"path/filepath"
	"strconv"
	"strings"
	"testing"
	"time"
)

var checksDir = flag.String("checks", "", "folder of the whole published sets (knapsacks, life support); without it a few of each are run")

type knapsack struct {
	name    string
	problem Problem
	optimum float64 // as the file has it; 0 if not given
}

// readKnapsacks reads a file of the OR-Library's form: number of problems; for
// each n, m, optimum, n profits, m rows of n weights, m capacities.
func readKnapsacks(t testing.TB, path string) []knapsack {
	t.Helper()
	f, err := os.Open(path)
	if err != nil {
		t.Fatal(err)
	}
	defer f.Close()
	in := bufio.NewReader(f)
	number := func() float64 {
		var x float64
		if _, err := fmt.Fscan(in, &x); err != nil {
			t.Fatalf("%s: %v", path, err)
		}
		return x
	}
	list := make([]knapsack, int(number()))
	for q := range list {
		n, m := int(number()), int(number())
		k := knapsack{name: fmt.Sprintf("%d", q+1), optimum: number()}
		k.problem.Items = make([]Item, n)
		for i := range k.problem.Items {
			k.problem.Items[i].Options = []Option{{0, make([]float64, m)}, {number(), make([]float64, m)}}
		}
		for r := range m {
			for i := range k.problem.Items {
				k.problem.Items[i].Options[1].Use[r] = number()
			}
		}
		for range m {
			k.problem.Caps = append(k.problem.Caps, number())
		}
		list[q] = k
	}
	return list
}

// firstRows returns a knapsack with its first m constraints only.
func (k knapsack) firstRows(m int) knapsack {
	out := knapsack{name: k.name, problem: Problem{Caps: k.problem.Caps[:m]}}
	for _, item := range k.problem.Items {
		short := Item{}
		for _, o := range item.Options {
			short.Options = append(short.Options, Option{o.Value, o.Use[:m]})
		}
		out.problem.Items = append(out.problem.Items, short)
	}
	return out
}

// optima reads mknapcb_even.csv: by file and position, the column asked for.
func optima(t testing.TB, path, column string) map[string]float64 {
	t.Helper()
	f, err := os.Open(path)
	if err != nil {
		t.Fatal(err)
	}
	defer f.Close()
	records := csv.NewReader(f)
	head, err := records.Read()
	if err != nil {
		t.Fatal(err)
	}
	at := map[string]int{}
	for i, name := range head {
		at[name] = i
	}
	out := map[string]float64{}
	for {
		record, err := records.Read()
		if err == io.EOF {
			return out
		}
		if err != nil {
			t.Fatal(err)
		}
		if v, err := strconv.ParseFloat(record[at[column]], 64); err == nil {
			out[record[at["file"]]+" "+record[at["position_in_file"]]] = v
		}
	}
}

// here is the folder of the published sets that travel with the source; the
// larger knapsack files are only where -checks points.
const here = "../../testdata/checks/spares"

// source returns where a file of the sets is, or skips the test.
func source(t testing.TB, name string) string {
	t.Helper()
	for _, dir := range []string{here, *checksDir} {
		path := filepath.Join(dir, name)
		if _, err := os.Stat(path); err == nil && dir != "" {
			return path
		}
	}
	t.Skipf("%s is not here: give its folder by -checks", name)
	return ""
}

// TestKnapsackFiles solves the published multi-constraint knapsacks; optima are
// OR-Library's (mknap1) and those proven by CBC 2.10 at zero gap (see
// testdata/checks/spares/README.md).
func TestKnapsackFiles(t *testing.T) {
	tests := []struct {
		file, column string
		rows, first  int // constraints; how many problems without -checks
	}{
		{"mknap1.txt", "", 0, 7},
		{"mknapcb1_even.txt", "proven_optimum_first_3_constraints", 3, 8},
		{"mknapcb1_even.txt", "proven_optimum", 5, 1},
		{"mknapcb2_even.txt", "proven_optimum_first_3_constraints", 3, 15},
	}
	for _, test := range tests {
		t.Run(fmt.Sprintf("%s_%d", strings.TrimSuffix(test.file, ".txt"), test.rows), func(t *testing.T) {
			list := readKnapsacks(t, source(t, test.file))
			var want map[string]float64
			if test.column != "" {
				want = optima(t, source(t, "mknapcb_even.csv"), test.column)
			}
			if *checksDir == "" && len(list) > test.first {
				list = list[:test.first]
			}
			for _, k := range list {
				optimum := k.optimum
				if test.rows > 0 {
					k = k.firstRows(test.rows)
					optimum = want[test.file+" "+k.name]
				}
				if optimum == 0 {
					t.Fatalf("%s %s: no optimum in the files", test.file, k.name)
				}
				r, err := Best(context.Background(), k.problem, Settings{})
				if err != nil || !r.Proven || math.Abs(r.Value-optimum) > 1e-9*optimum {
					t.Errorf("%s %s, %d constraints: value %v, proven %v, error %v; want %v", test.file, k.name, test.rows, r.Value, r.Proven, err, optimum)
				}
			}
		})
	}
}

// cpuSeconds returns the processor time of this process, which another busy
// program on the machine does not lengthen as it does the time on the clock. It
// stays 0 where the system has no such figure.
var cpuSeconds = func(testing.TB) float64 { return 0 }

// benchmarkKnapsacks runs the problems of a file in turn.
func benchmarkKnapsacks(b *testing.B, file string, rows int, column string, limit time.Duration) {
	want := optima(b, source(b, "mknapcb_even.csv"), column)
	list := readKnapsacks(b, source(b, file))
	var nodes, proven, worstGap, solved float64
	busy := cpuSeconds(b)
	for b.Loop() {
		nodes, proven, worstGap, solved = 0, 0, 0, 0
		for _, k := range list {
			ctx, cancel := context.WithTimeout(context.Background(), limit)
			r, err := Best(ctx, k.firstRows(rows).problem, Settings{})
			cancel()
			if err != nil {
				b.Fatal(err)
			}
			solved++
			nodes += float64(r.Nodes)
			if r.Proven {
				proven++
			}
			worstGap = max(worstGap, 1-r.Value/want[file+" "+k.name])
		}
	}
	b.ReportMetric(b.Elapsed().Seconds()/float64(b.N)/solved, "s/problem")
	b.ReportMetric((cpuSeconds(b)-busy)/float64(b.N)/solved, "cpu-s/problem")
	b.ReportMetric(nodes/solved, "nodes/problem")
	b.ReportMetric(proven, "proven")
	b.ReportMetric(100*worstGap, "%off-worst")
	b.ReportMetric(0, "ns/op")
}

func BenchmarkKnapsack3x100(b *testing.B) {
	benchmarkKnapsacks(b, "mknapcb1_even.txt", 3, "proven_optimum_first_3_constraints", time.Minute)
}

func BenchmarkKnapsack3x250(b *testing.B) {
	benchmarkKnapsacks(b, "mknapcb2_even.txt", 3, "proven_optimum_first_3_constraints", time.Minute)
}

func BenchmarkKnapsack5x100(b *testing.B) {
	benchmarkKnapsacks(b, "mknapcb1_even.txt", 5, "proven_optimum", time.Minute)
}

// The last is not run to proof, but for a second.
func BenchmarkKnapsack10x100(b *testing.B) {
	benchmarkKnapsacks(b, "mknapcb4_even.txt", 10, "proven_optimum", time.Second)
}
