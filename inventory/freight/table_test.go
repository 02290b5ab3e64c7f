package freight

import (
	"os"
	"strings"
	"testing"
)

const legHead = "leg,from,to,mode,departs,season_from,season_until,cutoff_days,transit_days,cancel,good_after_good,bad_after_bad,retry_days,window_days,trips,trip_mass_grams,trip_volume_litres,trip_pieces,piece_mass_grams,door_wide_mm,door_high_mm,divisor_cm3_per_kg,charge_step_grams\n"

func TestParseLegs(t *testing.T) {
	source, err := os.ReadFile("../../testdata/freight/legs.csv")
	if err != nil {
		t.Fatal(err)
	}
	route, counted, faults, err := ParseLegs(source)
	if err != nil || len(faults) > 0 || len(route) != 3 {
		t.Fatalf("%v, %v, %d legs", err, faults, len(route))
	}
	air := route[2]
	if air.Limits.Grams != 1_800_000 || air.Limits.Divisor != AirDivisor || air.Weather != (Weather{0.8, 0.65}) || len(air.Departures) != 83 || air.WindowDays != 1 || counted[2] {
		t.Errorf("%+v", air)
	}
	if ship := route[1]; ship.RetryDays != 5 || ship.Transit != (Triangle{14, 17, 24}) || ship.Departures[0].String() != "2026-11-09" || ship.CutoffDays != 4 {
		t.Errorf("%+v", ship)
	}
	for name, c := range map[string]struct{ line, say string }{
		"a bad cell":            {"a,b,c,sea,2026-11-09,,,x,3,,,,,,,,,,,,,,", "cutoff_days"},
		"a bad probability":     {"a,b,c,sea,2026-11-09,,,,3,1.2,,,,,,,,,,,,,", "a probability from 0 to 1"},
		"no season":             {"a,b,c,air,daily,,,,3,,,,,,,,,,,,,,", "season_from and season_until"},
		"dates and a season":    {"a,b,c,air,2026-11-09,2026-11-01,2026-12-01,,3,,,,,,,,,,,,,,", "not both"},
		"weather told twice":    {"a,b,c,air,2026-11-09,,,,3,0.1,0.8,0.6,,,,,,,,,,,", "not both"},
		"half of a chain":       {"a,b,c,air,2026-11-09,,,,3,,0.8,,,,,,,,,,,,", "go together"},
		"half of a door":        {"a,b,c,air,2026-11-09,,,,3,,,,,,,,,,,1000,,,", "a width and a height"},
		"weather never changes": {"a,b,c,air,2026-11-09,,,,3,,1,1,,,,,,,,,,,", "never changes"},
		"twice":                 {"a,b,c,air,2026-11-09,,,,3,,,,,,,,,,,,,,\na,c,d,air,2026-12-09,,,,3,,,,,,,,,,,,,,", "leg"},
		"legs that do not meet": {"a,b,c,air,2026-11-09,,,,3,,,,,,,,,,,,,,\ne,x,d,air,2026-12-09,,,,3,,,,,,,,,,,,,,", "ends at c"},
		"nothing":               {"", "a route has a leg at least"},
	} {
		_, _, faults, err := ParseLegs([]byte(legHead + c.line))
		text := ""
		for _, f := range faults {
			text += f.String() + "\n"
		}
		if err != nil {
			text += err.Error()
		}
		if !strings.Contains(text, c.say) {
			t.Errorf("%s: %q, want %q", name, text, c.say)
		}
	}
}

// FuzzParseLegs: whatever is read is a route that can be worked with, in bounded time.
func FuzzParseLegs(f *testing.F) {
	source, err := os.ReadFile("../../testdata/freight/legs.csv")
	if err != nil {
		f.Fatal(err)
	}
	f.Add(source)
	f.Add([]byte(legHead + "a,b,c,air,daily,2026-11-01,2026-12-01,,0-3-9,,0.8,0.6,2,3,20,,,,,,,,"))
	f.Fuzz(func(t *testing.T, source []byte) {
		route, counted, faults, err := ParseLegs(source)
		if len(faults) > 0 || err != nil {
			return
		}
		if len(route) != len(counted) || route.Check() != nil {
			t.Fatalf("%+v", route)
		}
		if len(route) > 3 || route[0].Trips*route[0].WindowDays > 100 {
			return
		}
		first, last := route.span()
		if odds := route.Forward(first)[len(route)].By(last); odds < 0 || odds > 1+1e-9 {
			t.Fatalf("odds %g", odds)
		}
	})
}
