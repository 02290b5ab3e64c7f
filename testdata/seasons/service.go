package seasons

import (
	"fmt"
	"math"
	"time"
)

// planUnits makes every unit and plans how it comes to its place, when the
// slots are filled and cleared, and when what failed goes home.
func (w *world) planUnits() {
	for _, k := range kinds {
		counts := []int{k.opening, k.first, k.second}
		for batch, count := range counts {
			for range count {
				w.planArrival(w.newUnit(k, batch), batch)
			}
		}
	}
	w.planManning(records.from.AddDate(0, 0, 3), nil)
	for i := range calendar {
		w.planManning(calendar[i].drilling.AddDate(0, 0, -3), &calendar[i])
		w.planClearing(calendar[i])
	}
}

// newUnit makes the next unit of a kind. Its running life follows the
// exponential law, as parts do that fail by chance and not by age.
func (w *world) newUnit(k kind, batch int) *unit {
	number := 1
	for _, u := range w.units.units {
		if u.part == k.part {
			number++
		}
	}
	u := &unit{
		serial: fmt.Sprintf("%s%02d", k.prefix, number),
		part:   k.part,
		madeOn: day(2025+max(0, batch-1), 6, 1).AddDate(0, 0, -w.between(5, 300)),
		causes: k.causes,
	}
	if k.mtbfHours > 0 {
		u.lifeHours = -math.Log(1-w.rand.Float64()) * float64(k.mtbfHours)
	}
	w.units.units = append(w.units.units, u)
	return u
}

// planArrival brings a unit to the station: batch 0 lies there from the
// start, 1 and 2 come with the ship. Modules stop at the bench on their way.
func (w *world) planArrival(u *unit, batch int) {
	if batch == 0 {
		w.agenda.add(w.workingTime(records.from), func(at time.Time) { w.units.receive(at, u, firstPlace(u.part)) })
		return
	}
	s := calendar[batch-1]
	start := "home-store"
	if u.part == moduleItem {
		start = "home-bench"
	}
	w.agenda.add(w.workingTime(s.buying.AddDate(0, 0, w.between(0, 20))), func(at time.Time) {
		w.units.receive(at, u, start)
	})
	w.planVoyage(u, s)
}

// planVoyage carries a unit by ship, unless it failed before loading.
func (w *world) planVoyage(u *unit, s season) {
	hold, end := "ship-hold-1", "stn-store"
	switch u.part {
	case moduleItem:
		end = "stn-cold-store"
	case "STR-001":
		hold, end = "ship-hold-2", "stn-cold-store"
	case landingItem:
		hold, end = "ship-hold-2", "sc1-landing"
	}
	w.agenda.add(w.workingTime(s.loading.AddDate(0, 0, w.between(0, 2))), func(at time.Time) {
		if !u.failed {
			w.units.move(at, u, hold)
		}
	})
	w.agenda.add(w.workingTime(s.unloading.AddDate(0, 0, w.between(0, 4))), func(at time.Time) {
		if !u.failed {
			w.units.move(at, u, end)
		}
	})
}

// firstPlace returns where a unit that was there before the records lies: at
// its post when it has one, else in the warm store.
func firstPlace(part string) string {
	switch part {
	case "ELC-034":
		return "stn-lab"
	case "DRL-030", "WIN-019":
		return "drill-hut"
	case "PWR-001":
		return "generator-hut"
	}
	for _, p := range posts {
		if p.part == part {
			return p.place
		}
	}
	return "stn-store"
}

// planManning fills every empty post for which a spare lies at the station,
// 45 minutes each. Without a season, only the posts manned all year.
func (w *world) planManning(date time.Time, s *season) {
	for i := range posts {
		post := &posts[i]
		if s == nil && post.seasonal() {
			continue
		}
		at := date.AddDate(0, 0, i/16).Add(7*time.Hour + time.Duration(i%16)*45*time.Minute)
		w.agenda.add(at, func(at time.Time) { w.fill(at, post) })
	}
}

// fill puts a spare into an empty post whose assembly stands in its place.
func (w *world) fill(at time.Time, post *post) {
	assembly := w.units.find(post.assembly)
	if w.units.bySlot[post.key()] != nil || assembly == nil || assembly.place != post.place {
		return
	}
	u := w.units.spare(post.part)
	if u == nil {
		return
	}
	u.reserved = true
	if u.place != post.place {
		w.units.move(at, u, post.place)
		at = at.Add(40 * time.Minute)
	}
	w.agenda.add(at, func(at time.Time) { w.serve(at, u, post) })
}

// serve installs a unit and plans its failure, if it does not outlive its stay.
func (w *world) serve(at time.Time, u *unit, post *post) {
	w.units.install(at, u, post)
	if u.lifeHours == 0 {
		return
	}
	stay := u.installs
	failsAt := post.hourReached(at, u.lifeHours-u.meterHours).Add(time.Duration(w.between(1, 59)) * time.Minute)
	w.agenda.add(failsAt, func(at time.Time) {
		if u.post == post && u.installs == stay {
			w.fail(at, u)
		}
	})
}

// fail notes the failure. What hangs in a hole stays there; elsewhere the
// unit is taken out within hours, put in quarantine, and a spare takes over.
func (w *world) fail(at time.Time, u *unit) {
	w.units.fail(at, u, u.causes[w.rand.IntN(len(u.causes))], w.rand.IntN(10) < 7)
	if u.part == moduleItem {
		return
	}
	post := u.post
	out := at.Add(time.Duration(w.between(40, 400)) * time.Minute)
	w.agenda.add(out, func(at time.Time) {
		if u.post == post {
			w.units.remove(at, u)
		}
	})
	w.agenda.add(out.Add(20*time.Minute), func(at time.Time) { w.units.move(at, u, "stn-quarantine") })
	w.agenda.add(out.Add(time.Hour), func(at time.Time) {
		if !post.seasonal() || isDrilling(at) {
			w.fill(at, post)
		}
	})
}

// planClearing empties the seasonal posts when the drill stops and sends home
// what is in quarantine.
func (w *world) planClearing(s season) {
	for i := range posts {
		post := &posts[i]
		if !post.seasonal() {
			continue
		}
		w.agenda.add(w.workingTime(s.drillingEnds.AddDate(0, 0, w.between(0, 3))), func(at time.Time) {
			if u := w.units.bySlot[post.key()]; u != nil {
				w.units.remove(at, u)
			}
		})
	}
	w.agenda.add(s.closing.Add(9*time.Hour), func(at time.Time) {
		for _, u := range w.units.units {
			if u.place == "stn-quarantine" {
				w.units.move(at, u, "ship-hold-1")
				w.agenda.add(w.workingTime(s.closing.AddDate(0, 0, 60)), func(at time.Time) {
					w.units.move(at, u, "home-quarantine")
				})
			}
		}
	})
}
