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

var (
	str   = clock.Dot{Lane: clock.Lane{Site: 1}, Seq: 1}
	hub   = clock.Dot{Lane: clock.Lane{Site: 1}, Seq: 2}
	shelf = clock.Dot{Lane: clock.Lane{Site: 1}, Seq: 3}
)

func added(h float64) unit.Event { return unit.Event{At: at(h), Kind: kind.UnitAdd, State: "received"} }

func install(h float64, into clock.Dot) unit.Event {
	return unit.Event{At: at(h), Kind: kind.UnitInstall, Assembly: into}
}

func remove(h float64) unit.Event { return unit.Event{At: at(h), Kind: kind.UnitRemove, To: shelf} }

func fail(h float64, meter int64) unit.Event {
	return unit.Event{At: at(h), Kind: kind.UnitFail, Hours: meter, State: "failed"}
}

func state(h float64, s string) unit.Event {
	return unit.Event{At: at(h), Kind: kind.AssignText, State: s}
}

func place(h float64, to clock.Dot) unit.Event {
	return unit.Event{At: at(h), Kind: kind.AssignRef, To: to}
}

func TestServiceHours(t *testing.T) {
	part := install(0, str)
	part.Part = true
	for _, test := range []struct {
		name   string
		events []unit.Event
		now    float64
		want   float64 // worked out by hand
	}{
		{"nothing_known", nil, 100, 0},
		{"on_the_shelf", []unit.Event{added(0)}, 100, 0},
		{"installed_at_10_now_100", []unit.Event{added(0), install(10, str)}, 100, 90},
		{"removed_at_50", []unit.Event{added(0), install(10, str), remove(50)}, 100, 40},
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

func TestFailuresInService(t *testing.T) {
	for _, test := range []struct {
		name   string
		events []unit.Event
		want   int64
	}{
		{"never", nil, 0},
		{"on_the_bench", []unit.Event{fail(5, unit.UnknownHours)}, 0},
		{"on_the_bench_with_a_meter", []unit.Event{fail(5, 117)}, 1},
		{"installed", []unit.Event{install(10, str), fail(30, unit.UnknownHours)}, 1},
		{"told_twice", []unit.Event{install(10, str), fail(30, unit.UnknownHours), fail(31, unit.UnknownHours)}, 1},
		{"mended_and_failed_again", []unit.Event{install(10, str), fail(30, unit.UnknownHours), state(40, "accepted"), fail(50, unit.UnknownHours)}, 2},
	} {
		if got := unit.FailuresInService(test.events); got != test.want {
			t.Errorf("%s: %d failures in service, want %d", test.name, got, test.want)
		}
	}
}

func TestRuns(t *testing.T) {
	for _, test := range []struct {
		name   string
		events []unit.Event
		want   []unit.Run // by hand
	}{
		{"never in service", []unit.Event{added(0)}, nil},
		{"runs on", []unit.Event{added(0), install(10, str)}, []unit.Run{{Hours: 90}}},
		{"failed", []unit.Event{install(10, str), fail(30, unit.UnknownHours)}, []unit.Run{{Hours: 20, Failed: true}}},
		{"failed, by its meter", []unit.Event{install(10, str), fail(30, 312)}, []unit.Run{{Hours: 312, Failed: true}}},
		{"mended, and runs on", []unit.Event{install(10, str), fail(30, unit.UnknownHours), state(60, "accepted")}, []unit.Run{{Hours: 20, Failed: true}, {Hours: 40}}},
		{"taken out whole and put back", []unit.Event{install(10, str), remove(30), install(70, hub)}, []unit.Run{{Hours: 50}}},
		{"failed twice", []unit.Event{install(10, str), fail(30, unit.UnknownHours), state(40, "accepted"), fail(55, unit.UnknownHours)}, []unit.Run{{Hours: 20, Failed: true}, {Hours: 15, Failed: true}}},
		{"failed on the bench", []unit.Event{added(0), fail(5, unit.UnknownHours)}, nil},
	} {
		got := unit.Runs(test.events, at(100).Time())
		same := len(got) == len(test.want)
		for i := 0; same && i < len(got); i++ {
			same = got[i].Failed == test.want[i].Failed && math.Abs(got[i].Hours-test.want[i].Hours) < tickHours
		}
		if !same {
			t.Errorf("%s: %v, want %v", test.name, got, test.want)
		}
	}
}

func TestPlaceAt(t *testing.T) {
	u, lab := clock.Dot{Lane: clock.Lane{Site: 1}, Seq: 9}, clock.Dot{Lane: clock.Lane{Site: 1}, Seq: 10}
	move := func(h float64, to clock.Dot) unit.Event {
		return unit.Event{At: at(h), Kind: kind.UnitMove, To: to}
	}
	events := map[clock.Dot][]unit.Event{
		u:   {{At: at(0), Kind: kind.UnitAdd, To: lab}, install(10, str), remove(60)},
		str: {{At: at(0), Kind: kind.UnitAdd, To: lab}, move(40, hub)},
	}
	for _, test := range []struct {
		hours float64
		want  clock.Dot
	}{{5, lab}, {20, lab}, {50, hub}, {70, shelf}, {-1, clock.Dot{}}} {
		if got := unit.PlaceAt(events, u, at(test.hours).Time()); got != test.want {
			t.Errorf("after %g h: %v, want %v", test.hours, got, test.want)
		}
	}
	ring := map[clock.Dot][]unit.Event{u: {install(1, str)}, str: {install(1, u)}}
	if got := unit.PlaceAt(ring, u, at(5).Time()); !got.IsZero() {
		t.Errorf("two in each other lie at %v", got)
	}
}

func TestStressedHours(t *testing.T) {
	u := clock.Dot{Lane: clock.Lane{Site: 1}, Seq: 9}
	lab, hole := clock.Dot{Lane: clock.Lane{Site: 1}, Seq: 10}, clock.Dot{Lane: clock.Lane{Site: 1}, Seq: 11}
	stress := func(place clock.Dot) float64 {
		if place == hole {
			return 3
		}
		return 1
	}
	add := func(h float64, to clock.Dot) unit.Event {
		return unit.Event{At: at(h), Kind: kind.UnitAdd, To: to}
	}
	move := func(h float64, to clock.Dot) unit.Event {
		return unit.Event{At: at(h), Kind: kind.UnitMove, To: to}
	}
	for _, test := range []struct {
		name      string
		own, hubs []unit.Event
		want      float64 // by hand
	}{
		{"never in service", []unit.Event{add(0, hole)}, nil, 0},
		{"all the time in the lab", []unit.Event{add(0, lab), install(10, hub)}, []unit.Event{add(0, lab)}, 90},
		{"its assembly goes down at 40", []unit.Event{add(0, lab), install(10, hub)}, []unit.Event{add(0, lab), move(40, hole)}, 30 + 3*60},
		{"and comes up at 70", []unit.Event{add(0, lab), install(10, hub)}, []unit.Event{add(0, lab), move(40, hole), move(70, lab)}, 30 + 3*30 + 30},
		{"fails down there at 60", []unit.Event{add(0, lab), install(10, hub), fail(60, unit.UnknownHours)}, []unit.Event{add(0, lab), move(40, hole)}, 30 + 3*20},
		{"moves after now", []unit.Event{add(0, lab), install(10, hub)}, []unit.Event{add(0, lab), move(140, hole)}, 90},
	} {
		events := map[clock.Dot][]unit.Event{u: test.own, hub: test.hubs}
		if got := unit.StressedHours(events, u, at(100).Time(), stress); math.Abs(got-test.want) > 6*tickHours {
			t.Errorf("%s: %v h, want %v", test.name, got, test.want)
		}
		even := func(clock.Dot) float64 { return 1 }
		if got, want := unit.StressedHours(events, u, at(100).Time(), even), unit.ServiceHours(test.own, at(100).Time()); math.Abs(got-want) > 6*tickHours {
			t.Errorf("%s: without stress %v h; ServiceHours has %v", test.name, got, want)
		}
	}
}
