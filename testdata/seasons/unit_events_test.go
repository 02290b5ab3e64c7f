package seasons_test

import (
	"strconv"
	"strings"
	"testing"
)

// unitState is what a plain reader of unit_events.csv knows of one unit.
type unitState struct {
	place, slot string
	received    bool
	failed      bool
}

// yard is every unit's state while the file is read from the top.
type yard struct {
	units  map[string]*unitState
	inSlot map[string]string // slot → serial
}

func TestUnitEventsTellOneStoryPerUnit(t *testing.T) {
	y := yard{map[string]*unitState{}, map[string]string{}}
	madeOn := map[string]string{}
	for _, u := range rows(t, "units.csv") {
		y.units[u["serial"]] = &unitState{}
		madeOn[u["serial"]] = u["made_on"]
	}
	for i, e := range rows(t, "unit_events.csv") {
		if complaint := y.take(e); complaint != "" {
			t.Errorf("unit_events.csv:%d: %s %s at %s: %s", i+2, e["event"], e["serial"], e["at"], complaint)
		}
		if e["at"][:10] < madeOn[e["serial"]] {
			t.Errorf("unit_events.csv:%d: %s was made on %s", i+2, e["serial"], madeOn[e["serial"]])
		}
	}
}

// take applies one event and returns what is wrong with it, or "".
func (y *yard) take(e map[string]string) string {
	u := y.units[e["serial"]]
	if u == nil {
		return "no such unit"
	}
	if u.received == (e["event"] == "receive") {
		return "is received once, before anything else"
	}
	if e["hours"] != "" && e["event"] != "fail" {
		return "only a failure carries hours"
	}
	switch e["event"] {
	case "receive":
		u.received, u.place = true, e["place"]
	case "move":
		return y.move(e["serial"], u, e["place"])
	case "install":
		return y.install(e, u)
	case "remove":
		return y.remove(e, u)
	case "fail":
		return failure(e, u)
	default:
		return "is no event"
	}
	return ""
}

// move takes along what is installed in the unit.
func (y *yard) move(serial string, u *unitState, place string) string {
	if u.slot != "" {
		return "moves while it sits in " + u.slot
	}
	if u.place == place {
		return "is there already"
	}
	u.place = place
	for slot, inner := range y.inSlot {
		if strings.HasPrefix(slot, serial+"/") {
			y.units[inner].place = place
		}
	}
	return ""
}

func (y *yard) install(e map[string]string, u *unitState) string {
	assembly, _, ok := strings.Cut(e["detail"], "/")
	parent := y.units[assembly]
	switch {
	case !ok || parent == nil || !parent.received:
		return "no assembly " + e["detail"]
	case u.failed:
		return "had failed before"
	case u.slot != "":
		return "sits in " + u.slot
	case y.inSlot[e["detail"]] != "":
		return y.inSlot[e["detail"]] + " sits there"
	case u.place != e["place"] || parent.place != e["place"]:
		return "unit is in " + u.place + ", assembly in " + parent.place
	}
	u.slot = e["detail"]
	y.inSlot[u.slot] = e["serial"]
	return ""
}

func (y *yard) remove(e map[string]string, u *unitState) string {
	if u.slot == "" || u.slot != e["detail"] || u.place != e["place"] {
		return "sits in " + u.slot + " in " + u.place
	}
	delete(y.inSlot, u.slot)
	u.slot = ""
	return ""
}

func failure(e map[string]string, u *unitState) string {
	if u.failed || u.place != e["place"] || e["detail"] == "" {
		return "had failed, is elsewhere, or nobody says how"
	}
	u.failed = true
	if e["hours"] == "" {
		return ""
	}
	hours, err := strconv.Atoi(e["hours"])
	if err != nil || hours < 0 || u.slot == "" {
		return "hours " + e["hours"]
	}
	const hoursFromFirstDayToLast = 595 * 24
	if hours > hoursFromFirstDayToLast {
		return "ran longer than the records last"
	}
	return ""
}

// A rate estimate needs failures on many kinds of item, and all of them
// inside the time that the units were in service.
func TestFailuresSpreadOverManyItems(t *testing.T) {
	item := map[string]string{}
	for _, u := range rows(t, "units.csv") {
		item[u["serial"]] = u["part_number"]
	}
	failures, metered, perItem := 0, 0, map[string]int{}
	for _, e := range rows(t, "unit_events.csv") {
		if e["event"] != "fail" {
			continue
		}
		failures++
		perItem[item[e["serial"]]]++
		if e["hours"] != "" {
			metered++
		}
	}
	if failures < 25 || failures > 45 || len(perItem) < 12 {
		t.Errorf("%d failures on %d items, want about 35 on a dozen or more", failures, len(perItem))
	}
	if metered == 0 || metered == failures {
		t.Errorf("%d of %d failures carry hours, want some and not all", metered, failures)
	}
}
