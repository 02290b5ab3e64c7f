package packing

import (
	"bufio"
	"context"
	"flag"
	"fmt"
	"math/rand/v2"
	"os"
	"os/signal"
	"path/filepath"
	"slices"
	"strconv"
	"strings"
	"syscall"
	"testing"
	"time"
)

var (
	setsFlag      = flag.String("set", "BR1,BR4,BR7", "for the Published benchmark: sets, divided by commas; made8 invents some with 8 types")
	problemsFlag  = flag.String("problems", "1-2", "for the Published benchmark: problems, as 1-5 or 1,7")
	secondsFlag   = flag.Float64("seconds", 0, "for the Published benchmark: seconds an instance; 0 is by -rollouts")
	processorFlag = flag.Float64("processor", 0, "for the Published benchmark: seconds of processor time an instance, over all goroutines")
	rolloutsFlag  = flag.Int("rollouts", 300, "for the Published benchmark: trial packings a container")
	supportFlag   = flag.Float64("support", 0, "for the Published benchmark: share of each base that must be supported")
	folderFlag    = flag.String("folder", "../../testdata/checks/packing", "folder of the published instances")
	workersFlag   = flag.Int("workers", 2, "for the Published benchmark: goroutines")
	progressFlag  = flag.Bool("progress", false, "for the Published benchmark: tell on the standard error how far it is")
)

// problem is one published instance.
type problem struct {
	set       string
	number    int
	boxes     []Box
	container Container
}

// invent makes 50 instances with so many types of boxes, which fill a container just
// about. Constants of the search are chosen by these, so that published ones only judge.
func invent(set string, kinds int) []problem {
	var list []problem
	for number := 1; number <= 50; number++ {
		chance := rand.New(rand.NewPCG(uint64(kinds), uint64(number)))
		p := problem{set: set, number: number, container: Container{Size: [][3]int{{587, 233, 220}, {1203, 235, 239}, {120, 80, 100}}[chance.IntN(3)], Count: 1}}
		least := p.container.Size[0]
		for _, length := range p.container.Size {
			least = min(least, length)
		}
		room := 1
		for _, length := range p.container.Size {
			room *= length
		}
		for kind := range kinds {
			b := Box{ID: fmt.Sprint(kind + 1), Upright: [3]bool{chance.IntN(2) == 0, chance.IntN(2) == 0, true}}
			for side := range b.Size {
				b.Size[side] = least/10 + chance.IntN(least*2/5)
			}
			p.boxes = append(p.boxes, b)
		}
		for room > 0 {
			b := &p.boxes[chance.IntN(kinds)]
			b.Count++
			room -= b.Size[0] * b.Size[1] * b.Size[2]
		}
		p.boxes = slices.DeleteFunc(p.boxes, func(b Box) bool { return b.Count == 0 })
		list = append(list, p)
	}
	return list
}

// readProblems reads the instances of a set, as far as they are there; made8 and the like
// are invented, with 8 types of boxes.
func readProblems(t testing.TB, set string) []problem {
	t.Helper()
	if text, ok := strings.CutPrefix(set, "made"); ok {
		kinds, err := strconv.Atoi(text)
		if err != nil || kinds < 1 {
			t.Fatalf("set %s: like made8", set)
		}
		return invent(set, kinds)
	}
	names, err := filepath.Glob(filepath.Join(*folderFlag, set+"_*.txt"))
	if err != nil || len(names) == 0 {
		t.Fatalf("no file of set %s in %s", set, *folderFlag)
	}
	file, err := os.Open(names[0])
	if err != nil {
		t.Fatal(err)
	}
	defer file.Close()
	var lines [][]int
	for scan := bufio.NewScanner(file); scan.Scan(); {
		var line []int
		for _, word := range strings.Fields(scan.Text()) {
			n, err := strconv.Atoi(word)
			if err != nil {
				t.Fatalf("%s: %v", names[0], err)
			}
			line = append(line, n)
		}
		if len(line) > 0 {
			lines = append(lines, line)
		}
	}
	var list []problem
	for at := 1; at < len(lines); {
		size := lines[at+1]
		p := problem{set: set, number: lines[at][0], container: Container{Size: [3]int(size), Count: 1}}
		kinds, whole := lines[at+2][0], true
		for _, l := range lines[at+3 : at+3+kinds] {
			if len(l) != 8 { // a flag is missing in three problems of thpack9
				whole = false
				continue
			}
			p.boxes = append(p.boxes, Box{ID: fmt.Sprint(l[0]), Size: [3]int{l[1], l[3], l[5]}, Upright: [3]bool{l[2] == 1, l[4] == 1, l[6] == 1}, Count: l[7]})
		}
		if whole {
			list = append(list, p)
		}
		at += 3 + kinds
	}
	return list
}

// among says whether n is in a list such as "1-3,7".
func among(list string, n int) bool {
	for part := range strings.SplitSeq(list, ",") {
		low, high, ok := strings.Cut(part, "-")
		if !ok {
			high = low
		}
		a, _ := strconv.Atoi(low)
		b, _ := strconv.Atoi(high)
		if n >= a && n <= b {
			return true
		}
	}
	return false
}

// BenchmarkPublished packs published instances and reports the mean share of the
// container that is filled, for each set, beside that of the simple heuristic. An
// interrupt ends it with the means of what was packed until then.
func BenchmarkPublished(b *testing.B) {
	ctx, cancel := signal.NotifyContext(context.Background(), os.Interrupt)
	defer cancel()
	for set := range strings.SplitSeq(*setsFlag, ",") {
		if ctx.Err() != nil {
			return
		}
		b.Run(set, func(b *testing.B) {
			for b.Loop() {
				benchmarkSet(ctx, b, set)
			}
		})
	}
}

// spent returns the processor time of this process so far, in seconds.
func spent() float64 {
	var u syscall.Rusage
	if err := syscall.Getrusage(syscall.RUSAGE_SELF, &u); err != nil {
		return 0
	}
	return float64(u.Utime.Sec+u.Stime.Sec) + float64(u.Utime.Usec+u.Stime.Usec)/1e6
}

// budget returns a context that ends when the flags say so, and which share of it is
// over; nil where it has no end.
func budget(parent context.Context) (context.Context, context.CancelFunc, func() float64) {
	switch {
	case *processorFlag > 0:
		ctx, cancel := context.WithCancel(parent)
		start := spent()
		used := func() float64 { return (spent() - start) / *processorFlag }
		go func() {
			for ctx.Err() == nil && used() < 1 {
				time.Sleep(2 * time.Millisecond)
			}
			cancel()
		}()
		return ctx, cancel, used
	case *secondsFlag > 0:
		start := time.Now()
		ctx, cancel := context.WithTimeout(parent, time.Duration(*secondsFlag*float64(time.Second)))
		return ctx, cancel, func() float64 { return time.Since(start).Seconds() / *secondsFlag }
	}
	ctx, cancel := context.WithCancel(parent)
	return ctx, cancel, nil
}

// tally sums up what was packed of a set.
type tally struct {
	filled, simple                         float64 // shares
	processor                              float64 // seconds
	loads, simpleLoads, rollouts, problems int
}

func (t *tally) add(r, plain Result) {
	t.filled += filled(r)
	t.simple += filled(plain)
	t.loads += len(r.Loads)
	t.simpleLoads += len(plain.Loads)
	t.rollouts += r.Rollouts
	t.problems++
}

// report gives the means; of nothing there are none.
func (t *tally) report(b *testing.B) {
	n := float64(t.problems)
	if n == 0 {
		return
	}
	b.ReportMetric(100*t.filled/n, "%filled")
	b.ReportMetric(100*t.simple/n, "%simple")
	b.ReportMetric(float64(t.loads)/n, "containers")
	b.ReportMetric(float64(t.simpleLoads)/n, "containers-simple")
	b.ReportMetric(float64(t.rollouts)/n, "rollouts")
	b.ReportMetric(t.processor/n, "cpu-s/problem")
	b.ReportMetric(n, "problems")
}

func benchmarkSet(ctx context.Context, b *testing.B, set string) {
	var all tally
	problems := slices.DeleteFunc(readProblems(b, set), func(p problem) bool { return !among(*problemsFlag, p.number) })
	for i, p := range problems {
		start := spent()
		r, plain := packChecked(ctx, b, p)
		if ctx.Err() != nil {
			// What is begun is no sample of what the time gives.
			b.Logf("interrupted in %s %d, %.3f %% so far: the means are those of the %d of %d problems before it", set, p.number, 100*filled(r), i, len(problems))
			break
		}
		b.Logf("%s %d: %.3f %%, %d containers, %d rollouts; simple %.3f %%, %d", set, p.number, 100*filled(r), len(r.Loads), r.Rollouts, 100*filled(plain), len(plain.Loads))
		all.add(r, plain)
		all.processor += spent() - start
		if *progressFlag {
			fmt.Fprintf(os.Stderr, "%s: %d of %d problems, %.3f %% in the mean\n", set, i+1, len(problems), 100*all.filled/float64(all.problems))
		}
	}
	all.report(b)
}

// packChecked packs a problem with and without search, and holds both to the checker.
func packChecked(ctx context.Context, b *testing.B, p problem) (r, plain Result) {
	if p.set == "thpack9" {
		p.container.Count = AsMany
	}
	options := Options{Support: *supportFlag, Workers: *workersFlag, Rollouts: *rolloutsFlag}
	if *secondsFlag > 0 || *processorFlag > 0 {
		options.Rollouts = 0
	}
	ctx, cancel, used := budget(ctx)
	defer cancel()
	options.Used = used
	containers := []Container{p.container}
	r, err := Pack(ctx, p.boxes, containers, options)
	if err != nil {
		b.Fatal(err)
	}
	plain = Simple(p.boxes, containers, options)
	for _, packed := range []Result{r, plain} {
		if err := plainCheck(p.boxes, containers, options, packed); err != nil {
			b.Fatalf("%s problem %d: %v", p.set, p.number, err)
		}
	}
	return r, plain
}

// filled returns the share of the first container that is filled.
func filled(r Result) float64 {
	if len(r.Loads) == 0 {
		return 0
	}
	return r.Loads[0].Utilisation
}
