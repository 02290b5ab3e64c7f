package exposure

import (
	"encoding/csv"
	"fmt"
	"os"
	"strconv"
	"strings"
	"testing"
	"time"

	"pgregory.net/rapid"

	"pulk/testdata/checks/published"
)

func TestFrostbiteBands(t *testing.T) {
	checked := 0
	for _, row := range published.Read(t, "wind_chill.csv") {
		if row.Quantity != "frostbite_minutes_for_rounded_wind_chill" {
			continue
		}
		checked++
		band := Frostbite(row.Number(t, "wind_chill_c_rounded"))
		got := fmt.Sprintf("%d-%d", band.From, band.To)
		switch {
		case !band.Freezes():
			got = "none"
		case band.From == 0:
			got = fmt.Sprintf("<%d", band.To)
		}
		if got != row.Expected {
			t.Errorf("%s: Frostbite(%s) = %s; want %s (%s)", row.ID, row.Text(t, "wind_chill_c_rounded"), got, row.Expected, row.Source)
		}
	}
	if checked < 8 {
		t.Errorf("only %d rows were checked", checked)
	}
}

// The minutes formula, from memory, never says less than the band's shorter time, and
// where there is no band no less than half an hour.
func TestFrostbiteBandBesideTheFormula(t *testing.T) {
	checked := 0
	for _, row := range published.Read(t, "wind_chill.csv") {
		if row.Quantity != "minutes_to_frostbite_formula" {
			continue
		}
		minutes, err := strconv.ParseFloat(row.Expected, 64)
		if err != nil {
			t.Fatal(err)
		}
		o := JudgeOutdoors(Air{row.Number(t, "air_temp_c"), row.Number(t, "wind_kmh_10m") / 3.6}, true)
		checked++
		if least := float64(o.Band.From); minutes < least || !o.Band.Freezes() && minutes < 30 {
			t.Errorf("%s: %s, and the formula says %.1f minutes (%s)", row.ID, o.Band, minutes, row.HowObtained)
		}
	}
	if checked < 5 {
		t.Errorf("only %d rows were checked", checked)
	}
}

func TestWarmUpSchedule(t *testing.T) {
	f, err := os.Open("testdata/warmup.csv")
	if err != nil {
		t.Fatal(err)
	}
	defer f.Close()
	rows, err := csv.NewReader(f).ReadAll()
	if err != nil || len(rows) < 25 {
		t.Fatalf("%d rows, %v", len(rows), err)
	}
	for _, row := range rows[1:] {
		celsius, _ := strconv.ParseFloat(row[0], 64)
		wind, _ := strconv.ParseFloat(row[1], 64)
		p, ok := WarmUp(celsius, wind, true)
		got := strconv.Itoa(p.Minutes)
		switch {
		case p.Cease:
			got = "stop"
		case p.Minutes == 0:
			got = "normal"
		}
		if !ok || got != row[2] || row[3] != "" && strconv.Itoa(p.Breaks) != row[3] {
			t.Errorf("WarmUp(%s °C, %s km/h) = %s, %d breaks, %t; want %s, %s (%s)", row[0], row[1], got, p.Breaks, ok, row[2], row[3], row[4])
		}
	}
}

func TestWarmUpOutsideItsRange(t *testing.T) {
	for _, c := range []struct{ celsius, wind float64 }{{-25, 0}, {0, 10}, {-30, 32.1}, {-30, -1}, {12, 0}} {
		if p, ok := WarmUp(c.celsius, c.wind, true); ok {
			t.Errorf("WarmUp(%v, %v) = %v; the schedule has no such row or column", c.celsius, c.wind, p)
		}
	}
	// "One step lower for work with limited physical activity": -35 °C, no wind, light
	// work: 40 minutes and 4 breaks. Source: Saskatchewan Labour, note 1, seen.
	if p, ok := WarmUp(-35, 0, false); !ok || p.Minutes != 40 || p.Breaks != 4 {
		t.Errorf("light work at -35 °C: %v, %t; want 40 minutes, 4 breaks", p, ok)
	}
	if p, _ := WarmUp(-28.5, 12, true); p.Minutes != 55 { // the colder row, the stronger wind
		t.Errorf("between rows and columns: %v; want 55 minutes", p)
	}
}

// severity orders periods from mild to severe.
func severity(p Period) int {
	switch {
	case p.Cease:
		return 1000
	case p.Minutes == 0:
		return 0
	}
	return 500 - p.Minutes
}

// Colder air, a stronger wind or lighter work never allow more.
func TestColderNeverAllowsMore(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		celsius, wind := rapid.Float64Range(-70, 20).Draw(t, "celsius"), rapid.Float64Range(0, 9).Draw(t, "wind")
		heavy := rapid.Bool().Draw(t, "heavy")
		colder, stronger := celsius-rapid.Float64Range(0, 10).Draw(t, "colder"), min(9, wind+rapid.Float64Range(0, 5).Draw(t, "stronger"))
		mild, harsh := JudgeOutdoors(Air{celsius, wind}, heavy), JudgeOutdoors(Air{colder, stronger}, heavy)
		if len(mild.Stops) > 0 && len(harsh.Stops) == 0 {
			t.Fatalf("%.1f °C, %.1f m/s stops work (%v), %.1f °C, %.1f m/s does not", celsius, wind, mild.Stops, colder, stronger)
		}
		if mild.Schedule && harsh.Schedule && severity(mild.Period) > severity(harsh.Period) {
			t.Fatalf("%v at %.1f °C, %.1f m/s; %v at %.1f °C, %.1f m/s", mild.Period, celsius, wind, harsh.Period, colder, stronger)
		}
		if light := JudgeOutdoors(Air{celsius, wind}, false); len(mild.Stops) > 0 && heavy && len(light.Stops) == 0 {
			t.Fatalf("heavy work is stopped and light work is not")
		}
	})
}

func TestJudgeOutdoors(t *testing.T) {
	for _, c := range []struct {
		name          string
		celsius, wind float64
		heavy         bool
		stop          string // in the text of a stop; "" none
		advice        string // in the text of an advice; "" none
	}{
		{"summer", 15, 3, true, "", ""},
		{"cool_calm", 4, 0, true, "", ""},
		{"mild", -10, 5, true, "", ""},
		{"frostbite_band", -20, 8, true, "", "10 to 30 minutes"},
		{"schedule", -30, 4, true, "", "at most 55 minutes"},
		{"schedule_light", -30, 4, false, "", "at most 40 minutes"},
		{"ceases", -40, 5, true, "ceases", ""},
		{"too_windy_for_the_schedule", -30, 9.5, true, "outside the schedule", ""},
		{"warmer_than_the_schedule_and_a_gale", -25, 18, true, "5 to 10 minutes", ""},
		{"storm", 0, 21, true, "wind of 21 m/s", ""},
		{"colder_than_the_index", -61, 2, true, "no figure", ""},
		{"strong_wind_warns", -16, 15, true, "", "sooner than that"},
	} {
		o := JudgeOutdoors(Air{c.celsius, c.wind}, c.heavy)
		stops, advice := "", ""
		for _, s := range o.Stops {
			stops += s.Text + "; "
			if s.Source == "" {
				t.Errorf("%s: a stop without a source", c.name)
			}
		}
		for _, a := range o.Advice {
			advice += a.Text + "; "
			if a.Source == "" || a.Range == "" {
				t.Errorf("%s: advice without a source or range", c.name)
			}
		}
		if (stops == "") != (c.stop == "") || !strings.Contains(stops, c.stop) || !strings.Contains(advice, c.advice) {
			t.Errorf("%s: stops %q, advice %q; want %q, %q", c.name, stops, advice, c.stop, c.advice)
		}
	}
}

func TestFastNights(t *testing.T) {
	checked := 0
	for _, row := range published.Read(t, "altitude.csv") {
		if row.Quantity != "nights_breaking_500m_rule_above_3000m" {
			continue
		}
		checked++
		var heights []float64
		for _, text := range strings.Split(row.Text(t, "sleeping_altitudes_m"), ">") {
			h, err := strconv.ParseFloat(text, 64)
			if err != nil {
				t.Fatal(err)
			}
			heights = append(heights, h)
		}
		// The rows count nights from the first height.
		got := []string{}
		for _, n := range FastNights(heights) {
			got = append(got, strconv.Itoa(n+1))
		}
		text := strings.Join(got, " ")
		if text == "" {
			text = "none"
		}
		if text != strings.NewReplacer(",", " ", ";", " ").Replace(row.Expected) {
			t.Errorf("%s: FastNights(%v) = %q; want %q (%s)", row.ID, heights, text, row.Expected, row.Source)
		}
	}
	if checked < 5 {
		t.Errorf("only %d rows were checked", checked)
	}
}

func TestRestAfter(t *testing.T) {
	start := time.Date(2027, 1, 5, 6, 0, 0, 0, time.UTC)
	day := func(n float64) time.Time { return start.Add(time.Duration(n * 24 * float64(time.Hour))) }
	for _, c := range []struct {
		name  string
		stays []Stay
		until float64 // days after the start; 0 none
		stop  bool
	}{
		{"nobody", nil, 0, false},
		{"low", []Stay{{2400, day(0)}}, 0, false},
		{"plateau", []Stay{{3200, day(0)}}, 3, false},
		{"higher_plateau", []Stay{{4100, day(0)}}, 4, false},
		{"too_high", []Stay{{5600, day(0)}}, 0, true},
		{"from_the_shore", []Stay{{10, day(-9)}, {3200, day(0)}}, 3, false},
		{"a_little_higher_after_rest", []Stay{{3000, day(-9)}, {3400, day(0)}}, 0, false},
		{"a_little_higher_before_the_rest_is_over", []Stay{{3000, day(-1)}, {3400, day(0)}}, 3, false},
		{"much_higher_after_rest", []Stay{{2800, day(-9)}, {4000, day(0)}}, 4, false},
		{"down_from_where_there_is_no_figure", []Stay{{5600, day(-9)}, {5400, day(0)}}, 5, false},
		{"lower_before_the_rest_is_over", []Stay{{5200, day(-1)}, {3100, day(0)}}, 4, false},
		{"down_and_up", []Stay{{3200, day(-20)}, {50, day(-10)}, {3200, day(0)}}, 3, false},
	} {
		rest := RestAfter(c.stays)
		got := 0.0
		if !rest.Until.IsZero() {
			got = rest.Until.Sub(start).Hours() / 24
		}
		if got != c.until || (len(rest.Stops) > 0) != c.stop {
			t.Errorf("%s: rest until day %.1f, stops %v; want %.1f, stop %t (common practice)", c.name, got, rest.Stops, c.until, c.stop)
		}
		if c.stop && rest.Over(day(100)) {
			t.Errorf("%s: heavy work is allowed where there is no figure", c.name)
		}
		if c.until > 0 && (rest.Over(day(c.until-0.01)) || !rest.Over(day(c.until))) {
			t.Errorf("%s: the rest does not end when it ends", c.name)
		}
	}
	fast := RestAfter([]Stay{{3000, day(-1)}, {3900, day(0)}})
	if len(fast.Advice) == 0 || !strings.Contains(fast.Advice[0].Text, "900 m higher") {
		t.Errorf("900 m in a night: %v", fast.Advice)
	}
}
