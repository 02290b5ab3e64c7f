package unit_test

import (
	"math"
	"testing"
	"time"

	"pulk/inventory/unit"
	"pulk/schema/kind"
	"pulk/sync/clock"
)

var start = time.Date(2027, 1, 5, 0, 0, 0, 0, time.UTC)

// tickHours is how far two stamps, read in ticks, may move a time between them.
const tickHours = 2 * float64(clock.Tick) / float64(time.Hour)

func at(hours float64) clock.Stamp {
	return clock.Stamp(start.Add(time.Duration(hours*float64(time.Hour))).UnixMilli()) << 16 // finer than clock.Tick
}

func TestServiceHours(t *testing.T) {
	str, hub := clock.Dot{Lane: clock.Lane{Site: 1}, Seq: 1}, clock.Dot{Lane: clock.Lane{Site: 1}, Seq: 2}
	shelf := clock.Dot{Lane: clock.Lane{Site: 1}, Seq: 3}
	add := func(h float64) unit.Event { return unit.Event{At: at(h), Kind: kind.UnitAdd, State: "received"} }
	install := func(h float64, into clock.Dot) unit.Event {
		return unit.Event{At: at(h), Kind: kind.UnitInstall, Assembly: into}
	}
	remove := func(h float64) unit.Event { return unit.Event{At: at(h), Kind: kind.UnitRemove, To: shelf} }
	fail := func(h float64, meter int64) unit.Event {
		return unit.Event{At: at(h), Kind: kind.UnitFail, Hours: meter, State: "failed"}
	}
	state := func(h float64, s string) unit.Event { return unit.Event{At: at(h), Kind: kind.AssignText, State: s} }
	place := func(h float64, to clock.Dot) unit.Event { return unit.Event{At: at(h), Kind: kind.AssignRef, To: to} }
	part := install(0, str)
	part.Part = true
	for _, test := range []struct {
		name   string
		events []unit.Event
		now    float64
		want   float64 // worked out by hand
	}{
		{"nothing_known", nil, 100, 0},
		{"on_the_shelf", []unit.Event{add(0)}, 100, 0},
		{"installed_at_10_now_100", []unit.Event{add(0), install(10, str)}, 100, 90},
		{"removed_at_50", []unit.Event{add(0), install(10, str), remove(50)}, 100, 40},
		{"twice_installed_40_and_15", []unit.Event{install(10, str), remove(50), install(60, hub), remove(75)}, 100, 55},
		{"failed_at_30_meter_unknown", []unit.Event{install(10, str), fail(30, unit.UnknownHours)}, 100, 20},
		{"failed_at_30_meter_says_312", []unit.Event{install(10, str), fail(30, 312)}, 100, 312},
		{"meter_says_0", []unit.Event{install(10, str), fail(30, 0)}, 100, 0},
		{"meter_312_removed_mended_installed_70_to_100", []unit.Event{install(10, str), fail(30, 312), remove(40), state(50, "accepted"), install(70, str)}, 100, 342},
		{"mended_in_place_20_and_40", []unit.Event{install(10, str), fail(30, unit.UnknownHours), state(60, "accepted")}, 100, 60},
		{"failed_and_never_mended_though_installed", []unit.Event{install(10, str), fail(30, unit.UnknownHours), remove(40), install(50, str)}, 100, 20},
		{"quarantine_does_not_stop_it", []unit.Event{install(10, str), state(20, "quarantined")}, 100, 90},
		{"scrapped_stops_it", []unit.Event{install(10, str), state(20, "scrapped")}, 100, 10},
		{"settled_to_a_shelf", []unit.Event{install(10, str), place(30, shelf)}, 100, 20},
		{"settled_to_the_first_assembly", []unit.Event{install(10, str), install(12, hub), place(30, str)}, 100, 90},
		{"what_went_into_it_does_not_count", []unit.Event{part}, 100, 0},
		{"later_than_now_does_not_count", []unit.Event{install(10, str), remove(150)}, 100, 90},
		{"installed_later_than_now", []unit.Event{install(150, str)}, 100, 0},
		{"half_an_hour", []unit.Event{install(1, str), remove(1.5)}, 100, 0.5},
	} {
		t.Run(test.name, func(t *testing.T) {
			if got := unit.ServiceHours(test.events, at(test.now).Time()); math.Abs(got-test.want) > tickHours {
				t.Errorf("ServiceHours = %v, want %v", got, test.want)
			}
		})
	}
}
