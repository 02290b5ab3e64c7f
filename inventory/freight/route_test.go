package freight

import (
	"encoding/csv"
	"fmt"
	"math"
	"math/rand/v2"
	"os"
	"regexp"
	"strconv"
	"testing"

	"pgregory.net/rapid"
)

// daily is departures on so many days on end, from day 0.
func daily(days int) []Day {
	var list []Day
	for d := range days {
		list = append(list, Day(d))
	}
	return list
}

// TestWeatherWindows: rows of testdata/checks/scheduling/weather_window_exact.csv, exact
// fractions with twelve decimals.
func TestWeatherWindows(t *testing.T) {
	file, err := os.Open("../../testdata/checks/scheduling/weather_window_exact.csv")
	if err != nil {
		t.Fatal(err)
	}
	defer file.Close()
	rows, err := csv.NewReader(file).ReadAll()
	if err != nil {
		t.Fatal(err)
	}
	independent := regexp.MustCompile(`^flyable probability per day ([0-9.]+)$`)
	markov := regexp.MustCompile(`^P\(good\|good\) ([0-9.]+); P\(bad\|bad\) ([0-9.]+)$`)
	within := regexp.MustCompile(`^probability (?:that|of at least) ([0-9]+) (?:flights are done|flyable days|consecutive good days occur) within ([0-9]+) days`)
	expected := regexp.MustCompile(`^expected days until ([0-9]+) flights are done$`)
	number := func(text string) float64 {
		n, err := strconv.ParseFloat(text, 64)
		if err != nil {
			t.Fatal(err)
		}
		return n
	}
	seen := 0
	for _, row := range rows[1:] {
		leg := Leg{WindowDays: 1, Trips: 1, Departures: daily(1000)}
		if m := independent.FindStringSubmatch(row[2]); m != nil {
			leg.Weather = Independent(1 - number(m[1]))
		} else if m := markov.FindStringSubmatch(row[2]); m != nil {
			leg.Weather = Weather{number(m[1]), number(m[2])}
		} else {
			t.Fatalf("%s: %q is not understood", row[0], row[2])
		}
		want := number(row[4])
		if m := expected.FindStringSubmatch(row[3]); m != nil {
			leg.Trips = int(number(m[1]))
			dist := Route{leg}.Forward(0)[1]
			got := 0.0
			for i, p := range dist.Chance {
				got += float64(i+1) * p
			}
			if math.Abs(got-want) > 1e-9 {
				t.Errorf("%s: %.12f days expected, want %.12f", row[0], got, want)
			}
			seen++
			continue
		}
		m := within.FindStringSubmatch(row[3])
		if m == nil {
			t.Fatalf("%s: %q is not understood", row[0], row[3])
		}
		n, days := int(number(m[1])), int(number(m[2]))
		if regexp.MustCompile("consecutive").MatchString(row[3]) {
			leg.WindowDays = n
		} else {
			leg.Trips = n
		}
		if got := (Route{leg}).Forward(0)[1].By(Day(days - 1)); math.Abs(got-want) > 1e-12 {
			t.Errorf("%s: %s, %s: %.12f, want %.12f", row[0], row[2], row[3], got, want)
		}
		if list := (Route{leg}).ShipBy(0, Day(days-1), 0); math.Abs(list[0].Best-want) > 1e-12 {
			t.Errorf("%s: worked back %.12f, want %.12f", row[0], list[0].Best, want)
		}
		seen++
	}
	if seen < 40 {
		t.Errorf("only %d rows were looked at", seen)
	}
}

func TestTriangle(t *testing.T) {
	for _, c := range []struct {
		in   Triangle
		want []float64
	}{
		{Triangle{3, 3, 3}, []float64{1}},
		// Symmetric, from 0.5 to 3.5 with the mode at 2: half the square of a third of 3/2
		// lies below 1.5. By hand: (1/(3*1.5)) = 2/9 on each side.
		{Triangle{1, 2, 3}, []float64{2. / 9, 5. / 9, 2. / 9}},
	} {
		got := c.in.Chances()
		for i := range c.want {
			if math.Abs(got[i]-c.want[i]) > 1e-12 {
				t.Errorf("%v: %v, want %v", c.in, got, c.want)
			}
		}
	}
	rapid.Check(t, func(t *rapid.T) {
		least := rapid.IntRange(0, 20).Draw(t, "least")
		likely := least + rapid.IntRange(0, 20).Draw(t, "likely")
		most := likely + rapid.IntRange(0, 20).Draw(t, "most")
		sum := 0.0
		for _, p := range (Triangle{least, likely, most}).Chances() {
			if p < 0 {
				t.Fatal("a chance below 0")
			}
			sum += p
		}
		if !nearly(sum) {
			t.Fatalf("chances sum up to %g", sum)
		}
	})
}

// drawLeg is some leg of a small route.
func drawLeg(t *rapid.T, name string) Leg {
	l := Leg{Code: name, From: name, To: name + "'", WindowDays: rapid.IntRange(1, 3).Draw(t, "window"), Trips: rapid.IntRange(1, 3).Draw(t, "trips"), CutoffDays: rapid.IntRange(0, 3).Draw(t, "cutoff"), RetryDays: rapid.IntRange(0, 3).Draw(t, "retry")}
	least := rapid.IntRange(0, 3).Draw(t, "least")
	likely := least + rapid.IntRange(0, 2).Draw(t, "likely")
	l.Transit = Triangle{least, likely, likely + rapid.IntRange(0, 2).Draw(t, "most")}
	l.Weather = Weather{float64(rapid.IntRange(0, 10).Draw(t, "good")) / 10, float64(rapid.IntRange(0, 9).Draw(t, "bad")) / 10}
	day := Day(rapid.IntRange(0, 5).Draw(t, "first"))
	for range rapid.IntRange(1, 8).Draw(t, "departures") {
		l.Departures = append(l.Departures, day)
		day += Day(rapid.IntRange(1, 9).Draw(t, "gap"))
	}
	return l
}

func drawRoute(t *rapid.T) Route {
	var r Route
	for i := range rapid.IntRange(1, 3).Draw(t, "legs") {
		l := drawLeg(t, fmt.Sprint(i))
		l.From, l.To = fmt.Sprint(i), fmt.Sprint(i+1)
		r = append(r, l)
	}
	return r
}

// enumerate goes through every course of the weather of one leg, and returns the chance of
// each day on which its last trip is over: no part of Forward is in it.
func enumerate(l Leg, ready Day) map[Day]float64 {
	out := map[Day]float64{}
	first := -1
	for i, d := range l.Departures {
		if d-Day(l.CutoffDays) >= ready {
			first = i
			break
		}
	}
	if first < 0 {
		return out
	}
	leaves := l.Departures[first:]
	last := leaves[len(leaves)-1] + Day(l.RetryDays+l.WindowDays-1)
	var walk func(day Day, good bool, p float64, run, trips int)
	walk = func(day Day, good bool, p float64, run, trips int) {
		if p == 0 {
			return
		}
		goes := false
		for _, d := range leaves {
			goes = goes || d <= day && day < d+Day(l.RetryDays+l.WindowDays)
		}
		if run++; !goes || !good {
			run = 0
		}
		if run == l.WindowDays {
			run = 0
			if trips++; trips == l.Trips {
				out[day] += p
				return
			}
		}
		if day == last {
			return
		}
		toGood := 1 - l.Weather.BadAfterBad
		if good {
			toGood = l.Weather.GoodAfterGood
		}
		walk(day+1, true, p*toGood, run, trips)
		walk(day+1, false, p*(1-toGood), run, trips)
	}
	walk(leaves[0], true, l.Weather.Good(), 0, 0)
	walk(leaves[0], false, 1-l.Weather.Good(), 0, 0)
	return out
}

// TestForwardAgainstEnumeration holds one leg against every course that its weather can
// take.
func TestForwardAgainstEnumeration(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		l := drawLeg(t, "a")
		l.Transit = Triangle{}
		for len(l.Departures) > 1 && l.Departures[len(l.Departures)-1]-l.Departures[0] > 11 {
			l.Departures = l.Departures[:len(l.Departures)-1]
		}
		ready := Day(rapid.IntRange(-2, 8).Draw(t, "ready"))
		want := enumerate(l, ready)
		got := Route{l}.Forward(ready)[1]
		sum := 0.0
		for i, p := range got.Chance {
			if day := ready + Day(i); math.Abs(p-want[day]) > 1e-12 {
				t.Fatalf("on day %d %g, by enumeration %g: %+v", day, p, want[day], l)
			}
			sum += p
		}
		if !nearly(sum + got.Never) {
			t.Fatalf("chances sum up to %g", sum+got.Never)
		}
	})
}

// TestRouteProperties: who is ready earlier is never in time less often, working back says
// the same as working forward, and more cancellations never help.
func TestRouteProperties(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		r := drawRoute(t)
		if err := r.Check(); err != nil {
			t.Fatal(err)
		}
		needed := Day(rapid.IntRange(0, 60).Draw(t, "needed"))
		before := math.Inf(1)
		for ready := Day(-2); ready <= min(needed, 20); ready++ {
			odds := r.Forward(ready)[len(r)].By(needed)
			if odds > before+1e-12 {
				t.Fatalf("ready on day %d %g, a day earlier %g", ready, odds, before)
			}
			before = odds
			back := r.ShipBy(ready, needed, 0)
			if math.Abs(back[0].Best-odds) > 1e-12 {
				t.Fatalf("ready on day %d: forward %g, back %g", ready, odds, back[0].Best)
			}
		}
		wanted := rapid.Float64Range(0.01, 0.99).Draw(t, "odds")
		if d := r.ShipBy(-2, needed, wanted)[0]; d.Days {
			if odds := r.Forward(d.By)[len(r)].By(needed); odds < wanted-1e-9 || math.Abs(odds-d.Odds) > 1e-9 {
				t.Fatalf("by day %d: %g, wanted %g", d.By, odds, wanted)
			}
			if d.By < needed {
				if odds := r.Forward(d.By + 1)[len(r)].By(needed); odds >= wanted+1e-9 {
					t.Fatalf("a day later it is %g still", odds)
				}
			}
		} else if d.Best >= wanted {
			t.Fatalf("no day is said to suffice, the best is %g", d.Best)
		}
		for _, risk := range r.Risks(-2, needed) {
			if risk.Cost < -1e-12 {
				t.Fatalf("without cancellations %s is worse by %g", risk.Leg.Code, risk.Cost)
			}
		}
	})
}

// TestPlayAgrees plays routes and holds what was seen against Forward, within five
// standard errors.
func TestPlayAgrees(t *testing.T) {
	rng := rand.New(rand.NewPCG(3, 1))
	const trials = 20_000
	rapid.Check(t, func(t *rapid.T) {
		if rapid.IntRange(0, 4).Draw(t, "skip") > 0 {
			return // one in five: playing takes its time
		}
		r := drawRoute(t)
		needed := Day(rapid.IntRange(0, 40).Draw(t, "needed"))
		dist := r.Forward(0)[len(r)]
		played := r.Play(0, needed, trials, rng.Float64)
		for _, c := range []struct {
			name       string
			seen       float64
			calculated float64
		}{{"in time", played.Odds(), dist.By(needed)}, {"never", float64(played.Never) / trials, dist.Never}} {
			error := math.Sqrt(c.calculated*(1-c.calculated)/trials) + 1e-9
			if math.Abs(c.seen-c.calculated) > 5*error {
				t.Fatalf("%s: played %g, calculated %g ± %g", c.name, c.seen, c.calculated, error)
			}
		}
	})
}

func TestParse(t *testing.T) {
	from, _ := ParseDay("2026-11-01")
	until, _ := ParseDay("2026-11-15")
	for text, want := range map[string]string{
		"2026-11-20 2026-11-03 2026-11-03": "[2026-11-03 2026-11-20]",
		"sun":                              "[2026-11-01 2026-11-08 2026-11-15]",
		"Mon thu":                          "[2026-11-02 2026-11-05 2026-11-09 2026-11-12]",
	} {
		list, err := ParseDepartures(text, from, until)
		if err != nil || fmt.Sprint(list) != want {
			t.Errorf("%q: %v, %v", text, list, err)
		}
	}
	if list, err := ParseDepartures("daily", from, until); err != nil || len(list) != 15 {
		t.Errorf("daily: %v, %v", list, err)
	}
	for _, bad := range []string{"", "someday", "daily mon", "2026-13-01", "2026-11-01 mon"} {
		if list, err := ParseDepartures(bad, from, until); err == nil {
			t.Errorf("%q is read as %v", bad, list)
		}
	}
	if _, err := ParseDepartures("daily", until, from); err == nil {
		t.Error("a season that ends before it begins")
	}
	for text, want := range map[string]Triangle{"3": {3, 3, 3}, "2-3-6": {2, 3, 6}, "0": {}} {
		if got, err := ParseTransit(text); err != nil || got != want {
			t.Errorf("%q: %v, %v", text, got, err)
		}
	}
	for _, bad := range []string{"", "3-2-6", "-1", "1-2", "1-2-3-4", "x", "2000"} {
		if got, err := ParseTransit(bad); err == nil {
			t.Errorf("%q is read as %v", bad, got)
		}
	}
}

// TestCheck goes through what a route cannot be.
func TestCheck(t *testing.T) {
	good := Leg{Code: "a", From: "home", To: "port", Departures: daily(3), WindowDays: 1, Trips: 1, Weather: Independent(0.5)}
	if err := (Route{good}).Check(); err != nil {
		t.Fatal(err)
	}
	for name, spoil := range map[string]func(*Leg){
		"no departure":   func(l *Leg) { l.Departures = nil },
		"out of order":   func(l *Leg) { l.Departures = []Day{3, 1} },
		"too far apart":  func(l *Leg) { l.Departures = []Day{0, 2000} },
		"cut-off":        func(l *Leg) { l.CutoffDays = -1 },
		"transit":        func(l *Leg) { l.Transit = Triangle{3, 2, 4} },
		"probability":    func(l *Leg) { l.Weather.BadAfterBad = 1.5 },
		"never changes":  func(l *Leg) { l.Weather = Weather{1, 1} },
		"no trip":        func(l *Leg) { l.Trips = 0 },
		"no window":      func(l *Leg) { l.WindowDays = 0 },
		"not a number":   func(l *Leg) { l.Weather.GoodAfterGood = math.NaN() },
		"too many trips": func(l *Leg) { l.Trips = 1000 },
	} {
		l := good
		spoil(&l)
		if (Route{l}).Check() == nil {
			t.Errorf("%s: taken", name)
		}
	}
	other := good
	other.From, other.To = "harbour", "site"
	if (Route{good, other}).Check() == nil {
		t.Error("legs that do not meet were taken")
	}
	if (Route{}).Check() == nil {
		t.Error("no legs were taken")
	}
}

// BenchmarkForward is a season of daily flights after a ship, worked out, and played.
func BenchmarkForward(b *testing.B) {
	ship := Leg{Code: "sea", Departures: []Day{0, 30, 60}, Weather: Independent(0.1), WindowDays: 1, Trips: 1, RetryDays: 5, Transit: Triangle{8, 10, 15}}
	plane := Leg{Code: "air", Departures: daily(150), Weather: Weather{0.8, 0.6}, WindowDays: 1, Trips: 12}
	r := Route{ship, plane}
	b.Run("exact", func(b *testing.B) {
		for b.Loop() {
			r.Forward(0)
		}
	})
	b.Run("played 10,000", func(b *testing.B) {
		rng := rand.New(rand.NewPCG(1, 1))
		for b.Loop() {
			r.Play(0, 100, 10_000, rng.Float64)
		}
	})
}
