package review_test

import (
	"slices"
	"testing"
	"time"

	"pgregory.net/rapid"

	"pulk/checklist/procedure"
	"pulk/checklist/review"
	"pulk/sync/clock"
)

// good returns facts with which every check is ok.
func good() *review.Facts {
	return &review.Facts{
		Now: time.Date(2027, 1, 5, 8, 0, 0, 0, time.UTC), Form: &procedure.Review{TransportDays: 3}, Place: "hut",
		Units:    []review.Unit{{Name: "SM3-0107", State: "accepted", Ready: true}},
		NCs:      []review.NC{{ID: "stn-x4", Text: "scratch"}},
		Revision: review.Revision{Run: "C", Current: "C"},
		People:   []review.RoleNeed{{Role: "technician", People: 2, Held: []string{"mirre", "tomas"}}},
		Parts:    []review.PartNeed{{Part: "CLP-001", Need: 2, Have: 2, Known: true, Unit: "each"}},
		Last:     review.Transport{Day: "2027-01-09", Place: "stn"},
	}
}

// Each thing that is wrong makes its own check come out so, and leaves the others ok.
func TestChecks(t *testing.T) {
	for _, c := range []struct {
		name, check string
		change      func(f *review.Facts)
		outcome     review.Outcome
		facts       string
	}{
		{"step_open", "steps", func(f *review.Facts) { f.Open = []string{"10", "20"} }, review.NotOK, "not done: step 10, 20"},
		{"many_open", "steps", func(f *review.Facts) { f.Open = []string{"1", "2", "3", "4", "5", "6", "7"} }, review.NotOK, "not done: step 1, 2, 3, 4, 5 and 2 more"},
		{"unit_received", "units", func(f *review.Facts) { f.Units[0] = review.Unit{Name: "SM3-0107", State: "received"} }, review.NotOK, "SM3-0107 is received"},
		{"unit_contested", "units", func(f *review.Facts) { f.Units[0].Contested = true }, review.NotKnown, "sites disagree on SM3-0107"},
		{"unit_expired", "units", func(f *review.Facts) { f.Units[0].Expires = "2027-01-04" }, review.NotOK, "SM3-0107 expired 2027-01-04"},
		{"unit_last_day", "units", func(f *review.Facts) { f.Units[0].Expires = "2027-01-05" }, review.OK, "1 unit, accepted or released, in date"},
		{"no_target", "units", func(f *review.Facts) { f.Units = nil }, review.OK, "the run has no target"},
		{"slot_empty", "slots", func(f *review.Facts) { f.Slots = &review.Slots{Target: "STR-7", Filled: 6, Empty: []string{"7", "8"}} }, review.NotOK, "empty: slot 7, 8"},
		{"slot_deviates", "slots", func(f *review.Facts) {
			f.Slots = &review.Slots{Target: "STR-7", Filled: 7, Deviations: []string{"slot 3: SM3-0103 is in slot 4 too"}}
		}, review.NotOK, "slot 3: SM3-0103 is in slot 4 too"},
		{"plan_contested", "slots", func(f *review.Facts) { f.Slots = &review.Slots{Target: "STR-7", Contested: true} }, review.NotKnown, "sites took in different plans of STR-7"},
		{"slots_as_planned", "slots", func(f *review.Facts) { f.Slots = &review.Slots{Target: "STR-7", Filled: 8} }, review.OK, "8 slots of STR-7 as planned"},
		{"nc_open", "faults", func(f *review.Facts) { f.NCs[0].Open = true }, review.NotOK, "stn-x4 is open: scratch"},
		{"nc_scrap", "faults", func(f *review.Facts) { f.NCs[0].Scrap = true }, review.NotOK, "stn-x4 was decided scrap: scratch"},
		{"newer_revision", "revision", func(f *review.Facts) { f.Revision.Current = "D" }, review.NotOK, "the run is on revision C; the current one is D"},
		{"stays", "revision", func(f *review.Facts) { f.Revision.Current, f.Revision.Stays = "D", "ida said: D changes the title" }, review.OK, "on revision C beside D, as ida said: D changes the title"},
		{"withdrawn", "revision", func(f *review.Facts) { f.Revision.Withdrawn = "wrong load table" }, review.NotOK, "revision C was withdrawn: wrong load table"},
		{"two_texts", "revision", func(f *review.Facts) { f.Revision.Contested = "two different texts call themselves D" }, review.NotKnown, "two different texts call themselves D"},
		{"one_technician", "people", func(f *review.Facts) { f.People[0].Held = []string{"mirre"} }, review.NotOK, "technician: 1 of 2"},
		{"no_role_asked", "people", func(f *review.Facts) { f.People = nil }, review.OK, "the steps ahead ask for no role"},
		{"part_short", "parts", func(f *review.Facts) { f.Parts[0].Have = 1 }, review.NotOK, "CLP-001: 1 of 2 each"},
		{"part_below_zero", "parts", func(f *review.Facts) { f.Parts[0].Have = -3 }, review.NotOK, "CLP-001: 0 of 2 each"},
		{"part_unknown", "parts", func(f *review.Facts) { f.Parts[0].Known = false }, review.NotOK, "CLP-001 is not in the catalogue"},
		{"no_weather", "weather", func(f *review.Facts) { f.Outdoors = &review.Outdoors{Steps: []string{"30"}} }, review.NotKnown, "no weather that still counts is entered at hut"},
		{"good_weather", "weather", func(f *review.Facts) { f.Outdoors = &review.Outdoors{Steps: []string{"30"}, Weather: "-20 Cel"} }, review.OK, "-20 Cel: work outdoors is inside the limits (step 30)"},
		{"bad_weather", "weather", func(f *review.Facts) {
			f.Outdoors = &review.Outdoors{Steps: []string{"30"}, Weather: "-40 Cel", Stops: []string{"no work outdoors [schedule]"}}
		}, review.NotOK, "no work outdoors [schedule]"},
		{"cleared", "cleared", func(f *review.Facts) { f.Care = []review.CareNeed{{"30", true}} }, review.OK, "somebody with its role has what is asked for: step 30"},
		{"not_cleared", "cleared", func(f *review.Facts) { f.Care = []review.CareNeed{{"30", true}, {"40", false}} }, review.NotKnown, "not shown here that somebody may do step 40"},
		{"instrument_there", "instruments", func(f *review.Facts) {
			f.Instruments = []review.InstrumentNeed{{Part: "TOL-004", Steps: []string{"30"}, There: []review.Instrument{{"IT-1", "2027-01-05"}, {"IT-2", "2026-12-31"}}}}
		}, review.OK, "TOL-004 IT-1 in calibration"},
		{"instrument_overdue", "instruments", func(f *review.Facts) {
			f.Instruments = []review.InstrumentNeed{{Part: "TOL-004", Steps: []string{"30", "40"}, There: []review.Instrument{{"IT-1", "2027-01-04"}, {"IT-2", ""}}}}
		}, review.NotOK, "step 30, 40: no TOL-004 in calibration (IT-1 was due 2027-01-04, IT-2 has no calibration)"},
		{"any_instrument", "instruments", func(f *review.Facts) {
			f.Instruments = []review.InstrumentNeed{{Steps: []string{"30"}, There: []review.Instrument{{"MOD-1", ""}}}}
		}, review.NotOK, "step 30: no instrument in calibration"},
		{"flight_too_soon", "transport", func(f *review.Facts) { f.Last.Day = "2027-01-07" }, review.NotOK, "the last transport from stn leaves 2027-01-07; 3 days in hand are asked for"},
		{"flight_in_three_days", "transport", func(f *review.Facts) { f.Last.Day = "2027-01-08" }, review.NotOK, "the last transport from stn leaves 2027-01-08; 3 days in hand are asked for"},
		{"no_flight_told", "transport", func(f *review.Facts) { f.Last = review.Transport{} }, review.NotKnown, "no last transport from hut is told; 3 days in hand are asked for"},
		{"flights_differ", "transport", func(f *review.Facts) { f.Last = review.Transport{Place: "stn", Contested: true} }, review.NotKnown,
			"sites told different days for the last transport from stn; 3 days in hand are asked for"},
		{"question_open", "asked", func(f *review.Facts) { f.Asked = []string{"stn-x7 may we?"} }, review.NotOK, "open: stn-x7 may we?"},
	} {
		t.Run(c.name, func(t *testing.T) {
			f := good()
			c.change(f)
			for _, finding := range review.Evaluate(f) {
				switch {
				case finding.Name == c.check && (finding.Outcome != c.outcome || finding.Facts != c.facts):
					t.Errorf("%s: %s: %q; want %s: %q", finding.Name, finding.Outcome, finding.Facts, c.outcome, c.facts)
				case finding.Name != c.check && finding.Outcome != review.OK:
					t.Errorf("%s: %s: %q; nothing is wrong there", finding.Name, finding.Outcome, finding.Facts)
				case finding.Source == "":
					t.Errorf("%s does not say where its facts come from", finding.Name)
				}
			}
		})
	}
}

// Without a place nobody can say what lies there, or when the flight leaves.
func TestChecksWithoutAPlace(t *testing.T) {
	f := good()
	f.Place = ""
	f.Instruments = []review.InstrumentNeed{{Part: "TOL-004", Steps: []string{"30"}}}
	for _, finding := range review.Evaluate(f) {
		want := review.OK
		if finding.Name == "instruments" || finding.Name == "parts" || finding.Name == "transport" {
			want = review.NotKnown
		}
		if finding.Outcome != want {
			t.Errorf("%s: %s: %q; want %s", finding.Name, finding.Outcome, finding.Facts, want)
		}
	}
	f.Parts, f.Form.TransportDays, f.Instruments = nil, 0, nil
	for _, finding := range review.Evaluate(f) {
		if finding.Outcome != review.OK {
			t.Errorf("%s: %s: %q; nothing asks for a place", finding.Name, finding.Outcome, finding.Facts)
		}
	}
}

// What is ok now says until when; and one minute later it is not ok.
func TestChecksSayUntilWhen(t *testing.T) {
	for _, c := range []struct {
		check, until string
		change       func(f *review.Facts)
	}{
		{"transport", "2027-01-06T00:00:00Z", func(f *review.Facts) {}},
		{"weather", "2027-01-05T09:30:00Z", func(f *review.Facts) {
			f.Outdoors = &review.Outdoors{Steps: []string{"30"}, Weather: "-20 Cel", Until: f.Now.Add(90 * time.Minute)}
		}},
		{"instruments", "2027-01-21T00:00:00Z", func(f *review.Facts) {
			f.Instruments = []review.InstrumentNeed{{Steps: []string{"30"}, There: []review.Instrument{{"A", "2027-01-08"}, {"B", "2027-01-20"}}}}
		}},
		{"units", "2027-03-02T00:00:00Z", func(f *review.Facts) { f.Units[0].Expires = "2027-03-01" }},
	} {
		f := good()
		c.change(f)
		at := func(now time.Time) review.Finding {
			f.Now = now
			list := review.Evaluate(f)
			return list[slices.IndexFunc(list, func(x review.Finding) bool { return x.Name == c.check })]
		}
		finding := at(f.Now)
		if got := finding.Until.Format(time.RFC3339); got != c.until || finding.Outcome != review.OK {
			t.Fatalf("%s: %s until %s; want ok until %s", c.check, finding.Outcome, got, c.until)
		}
		if late := at(finding.Until.Add(time.Minute)); late.Outcome == review.OK {
			t.Errorf("%s: %s a minute after it ran out", c.check, late.Outcome)
		}
	}
}

// The words of a check do not change while only the clock runs: a waiver covers words.
func TestFindingsStandStill(t *testing.T) {
	f := good()
	f.Last.Day = "2027-01-06"
	before := review.Evaluate(f)
	f.Now = f.Now.Add(7 * time.Hour)
	for i, finding := range review.Evaluate(f) {
		if finding != before[i] {
			t.Errorf("%s was %+v and is %+v seven hours later", finding.Name, before[i], finding)
		}
	}
}

// Missing agrees with trying every way to give each role a person of its own.
func TestMissing(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		roles := rapid.SliceOfNDistinct(rapid.SampledFrom([]string{"a", "b", "c", "d"}), 1, 4, func(r string) string { return r }).Draw(t, "roles")
		goes := rapid.SliceOfN(rapid.Custom(func(t *rapid.T) review.Go {
			return review.Go{Role: rapid.SampledFrom([]string{"a", "b", "c", "d"}).Draw(t, "role"), Person: clock.Dot{Seq: rapid.Uint64Range(1, 4).Draw(t, "person")}}
		}), 0, 8).Draw(t, "goes")
		most := 0
		var try func(i int, taken map[clock.Dot]bool, n int)
		try = func(i int, taken map[clock.Dot]bool, n int) {
			most = max(most, n)
			if i == len(roles) {
				return
			}
			try(i+1, taken, n)
			for _, g := range goes {
				if g.Role == roles[i] && !taken[g.Person] {
					taken[g.Person] = true
					try(i+1, taken, n+1)
					taken[g.Person] = false
				}
			}
		}
		try(0, map[clock.Dot]bool{}, 0)
		if got := review.Missing(roles, goes); len(got) != len(roles)-most {
			t.Fatalf("Missing(%v, %v) = %v; %d roles can have a go", roles, goes, got, most)
		}
	})
}
