package seasons

import (
	"fmt"
	"strconv"
	"time"
)

// The procedures carried out, by the id of their files.
const (
	moduleAcceptance = "module-acceptance"
	boreholeLowering = "borehole-lowering"
	cableLanding     = "cable-landing"
	powerUp          = "power-up"
)

var procedures = []string{moduleAcceptance, boreholeLowering, cableLanding, powerUp}

const (
	moduleItem  = "SM3-001"
	landingItem = "CAB-024"
)

const (
	holesPerSeason   = 3
	modulesPerString = 8
)

// runsPerSeason is the usual number of runs, from which supplies follow.
var runsPerSeason = map[string]int{
	moduleAcceptance: modulesPerSeason + 1,
	boreholeLowering: holesPerSeason,
	cableLanding:     1,
	powerUp:          holesPerSeason + 1,
}

// run is one carrying-out of a procedure on one unit.
type run struct {
	id, procedure, target string
	started               time.Time
	person                string
	finished              time.Time // zero = left unfinished
}

// planRuns plans both seasons' runs.
func (w *world) planRuns() {
	for i, s := range calendar {
		w.planAcceptance(i, s)
		w.planRun(cableLanding, fmt.Sprintf("SC1-%02d", i+1), "piet", s.unloading.AddDate(0, 0, 7).Add(6*time.Hour), 58*time.Hour)
		for j, offset := range []int{16, 33, 52} {
			hole := holesPerSeason*i + j + 1
			date := s.drilling.AddDate(0, 0, offset+w.between(0, 4))
			w.planLowering(hole, date)
			w.planPowerUp(hole, date.AddDate(0, 0, 4).Add(9*time.Hour))
		}
	}
	// After a winter storm the first hub is powered up once more.
	w.planPowerUp(1, day(2026, 6, 21).Add(10*time.Hour))
}

// planAcceptance tests a season's modules one after another. Two are refused
// and go to quarantine; one run is broken off and done again the next day.
func (w *world) planAcceptance(seasonIndex int, s season) {
	const brokenOff = 12
	refused := map[int]bool{7 + 4*seasonIndex: true, 22 + seasonIndex: true}
	for i := range modulesPerSeason {
		serial := fmt.Sprintf("SM3-01%02d", seasonIndex*modulesPerSeason+i+1)
		start := s.accepting.AddDate(0, 0, i*3/2).Add(7*time.Hour + time.Duration(w.between(0, 90))*time.Minute)
		length := time.Duration(w.between(270, 480)) * time.Minute
		if i == brokenOff {
			w.planRun(moduleAcceptance, serial, "oskar", start, 0)
			start = start.AddDate(0, 0, 1)
		}
		w.planRun(moduleAcceptance, serial, "oskar", start, length)
		if refused[i] {
			w.agenda.add(start.Add(length), func(at time.Time) { w.refuse(at, w.units.find(serial)) })
		}
	}
}

func (w *world) refuse(at time.Time, u *unit) {
	w.units.fail(at, u, "acceptance reading outside its limits", false)
	w.agenda.add(at.Add(25*time.Minute), func(at time.Time) { w.units.move(at, u, "home-quarantine") })
}

// planRun plans one run and what it uses up. A length of zero means that
// it is never finished.
func (w *world) planRun(procedure, target, person string, start time.Time, length time.Duration) {
	w.agenda.add(start, func(at time.Time) {
		r := run{id: fmt.Sprintf("R%02d-%03d", seasonYear(at), w.runsInYear(at)+1),
			procedure: procedure, target: target, started: at, person: person}
		if length > 0 {
			r.finished = at.Add(length)
		}
		w.runs = append(w.runs, r)
		w.agenda.add(at.Add(50*time.Minute), func(at time.Time) { w.useUp(at, r) })
	})
}

// seasonYear returns the two digits of the year in which t's season began.
func seasonYear(t time.Time) int { return t.AddDate(0, -6, 0).Year() % 100 }

func (w *world) runsInYear(t time.Time) int {
	n := 0
	for _, r := range w.runs {
		if seasonYear(r.started) == seasonYear(t) {
			n++
		}
	}
	return n
}

func (w *world) useUp(at time.Time, r run) {
	for i, p := range consumables[r.procedure].parts {
		place := placeOfUse(r.procedure, w.catalogue.byPart[p.number])
		w.agenda.add(at.Add(time.Duration(i)*3*time.Minute), func(at time.Time) {
			w.stock.draw(at, p.number, place, "", p.quantity, "issue", r.id)
		})
	}
}

// planLowering brings a string and its modules to the drill hut the day before
// and lowers it: modules go on one by one, deepest first, then the string goes
// down with them.
func (w *world) planLowering(hole int, date time.Time) {
	start := date.Add(6 * time.Hour)
	str := fmt.Sprintf("STG-%02d", hole)
	person := []string{"ida", "tomas"}[hole%2]
	w.agenda.add(start.Add(-16*time.Hour), func(at time.Time) {
		w.units.move(at, w.units.find(str), "drill-hut")
		for i := range modulesPerString {
			u := w.units.spare(moduleItem)
			u.reserved = true
			w.agenda.add(at.Add(time.Duration(2*i+5)*time.Minute), func(at time.Time) { w.units.move(at, u, "drill-hut") })
			post := &post{str, fmt.Sprintf("m%02d", i+1), moduleItem, "", 24, 24}
			w.agenda.add(start.Add(time.Duration(90+25*i)*time.Minute), func(at time.Time) { w.serve(at, u, post) })
		}
	})
	w.planRun(boreholeLowering, str, person, start, 21*time.Hour)
	w.agenda.add(start.Add(17*time.Hour), func(at time.Time) {
		w.units.move(at, w.units.find(str), fmt.Sprintf("hole-%d", hole))
	})
}

// planPowerUp brings a string's hub to the drill hut the evening before, puts
// its boards and battery in and powers it up.
func (w *world) planPowerUp(hole int, start time.Time) {
	hub := fmt.Sprintf("SH1-%02d", hole)
	w.agenda.add(start.Add(-14*time.Hour), func(at time.Time) {
		if u := w.units.find(hub); u.place != "drill-hut" {
			w.units.move(at, u, "drill-hut")
		}
	})
	w.planRun(powerUp, hub, "mirre", start, time.Duration(w.between(5, 9))*time.Hour)
	for i := range posts {
		if post := &posts[i]; post.assembly == hub {
			w.agenda.add(start.Add(time.Hour+time.Duration(i)*time.Minute), func(at time.Time) { w.fill(at, post) })
		}
	}
}

func runRows(runs []run) [][]string {
	rows := [][]string{{"run", "procedure", "target_serial", "started_at", "person", "finished_at"}}
	for _, r := range runs {
		finished := ""
		if !r.finished.IsZero() {
			finished = stamp(r.finished)
		}
		rows = append(rows, []string{r.id, r.procedure, r.target, stamp(r.started), r.person, finished})
	}
	return rows
}

// plannedRunRows are the runs intended for the season after the records.
func plannedRunRows() [][]string {
	rows := [][]string{{"procedure", "runs"}}
	for _, plan := range []struct {
		procedure string
		runs      int
	}{{moduleAcceptance, 30}, {boreholeLowering, 3}, {cableLanding, 1}, {powerUp, 4}} {
		rows = append(rows, []string{plan.procedure, strconv.Itoa(plan.runs)})
	}
	return rows
}
