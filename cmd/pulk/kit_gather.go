package main

import (
	"cmp"
	"maps"
	"slices"
	"time"

	"pulk/checklist/procedure"
	"pulk/checklist/run"
	"pulk/inventory/kit"
	"pulk/inventory/sparing"
	"pulk/inventory/stock"
	"pulk/inventory/unit"
	"pulk/schema/fault"
	"pulk/sync/changelog"
	"pulk/sync/clock"
)

// kitScope says which part of the store a kit plan is about.
type kitScope struct {
	At          string   // location code; "" for everywhere
	Unreachable []string // location codes
	Planned     map[string]int64
	Stress      map[string]float64 // what an hour of service counts, by location code
	Now         time.Time
}

// gatherer collects what a kit plan needs to know. It is where checklist (what
// procedures use) and inventory (what there is) meet.
type gatherer struct {
	tx      *changelog.Tx
	request kit.Request
	scope   kitScope
	places  map[clock.Dot]*stock.Location
	parts   map[string]*kit.Part // by part number
	order   []string
	byItem  map[clock.Dot]*kit.Part
	due     []kit.Due
}

func gatherParts(tx *changelog.Tx, request kit.Request, scope kitScope) ([]kit.Part, []kit.Due, error) {
	g := &gatherer{tx: tx, request: request, scope: scope, places: map[clock.Dot]*stock.Location{}, parts: map[string]*kit.Part{}, byItem: map[clock.Dot]*kit.Part{}}
	for _, step := range []func() error{g.checkPlaces, g.items, g.levels, g.units, g.planned, g.experience, g.calibrations} {
		if err := step(); err != nil {
			return nil, nil, err
		}
	}
	var parts []kit.Part
	for _, number := range g.order {
		parts = append(parts, *g.parts[number])
	}
	return parts, g.due, nil
}

// calibrations collects the instruments here whose calibration ends before the latest
// delivery. One that ended before the time begins is overdue, and told as well.
func (g *gatherer) calibrations() error {
	list, err := unit.List(g.tx, unit.Filter{})
	if err != nil {
		return err
	}
	all, err := unit.AllCalibrations(g.tx)
	if err != nil {
		return err
	}
	for _, u := range list {
		standing := unit.Standing(all[u.ID])
		if standing == nil || !g.here(u.Place) || u.State == unit.Scrapped || standing.Due >= stock.Day(g.request.Latest()) {
			continue
		}
		due := kit.Due{Serial: u.Serial, Day: standing.Due}
		if part := g.byItem[u.Item]; part != nil {
			due.PartNumber, due.Name = part.PartNumber, part.Name
		}
		g.due = append(g.due, due)
	}
	slices.SortStableFunc(g.due, func(a, b kit.Due) int { return cmp.Compare(a.Day, b.Day) })
	return nil
}

func (g *gatherer) checkPlaces() error {
	list, err := stock.Locations(g.tx)
	if err != nil {
		return err
	}
	for _, l := range list {
		g.places[l.ID] = l
	}
	codes := append(slices.Sorted(maps.Keys(g.scope.Stress)), g.scope.Unreachable...)
	if g.scope.At != "" {
		codes = append([]string{g.scope.At}, codes...)
	}
	for _, code := range codes {
		if _, err := stock.FindLocation(g.tx, code); err != nil {
			return err
		}
	}
	return nil
}

// within reports whether a place is, or lies in, the location with a code.
func (g *gatherer) within(place clock.Dot, code string) bool {
	for range 64 { // a ring of locations ends here
		l := g.places[place]
		if l == nil {
			return false
		}
		if l.Code == code {
			return true
		}
		place = l.Parent
	}
	return false
}

func (g *gatherer) here(place clock.Dot) bool {
	return g.scope.At == "" || g.within(place, g.scope.At)
}

func (g *gatherer) reachable(place clock.Dot) bool {
	for _, code := range g.scope.Unreachable {
		if g.within(place, code) {
			return false
		}
	}
	return true
}

func (g *gatherer) items() error {
	list, err := stock.Items(g.tx)
	if err != nil {
		return err
	}
	for _, it := range list {
		if _, ok := g.parts[it.PartNumber]; ok {
			continue // two items with one part number: a conflict that is shown elsewhere
		}
		part := &kit.Part{PartNumber: it.PartNumber, Name: it.Name, UnitOfIssue: it.UnitOfIssue, Serialised: it.Serialised, MassGrams: it.MassGrams,
			LengthMM: it.LengthMM, WidthMM: it.WidthMM, HeightMM: it.HeightMM, PriorMTBFHours: it.PriorMTBFHours, PriceCents: it.PriceCents, ShelfLifeDays: it.ShelfLifeDays}
		g.parts[it.PartNumber], g.byItem[it.ID] = part, part
		g.order = append(g.order, it.PartNumber)
	}
	return nil
}

func (g *gatherer) levels() error {
	levels, err := stock.Levels(g.tx)
	if err != nil {
		return err
	}
	until := stock.Day(g.request.Latest())
	for _, l := range levels {
		part := g.byItem[l.Item.ID]
		if part != nil && !l.Quarantined && g.here(l.Location.ID) && (l.Expires == "" || l.Expires >= until) {
			part.Good += max(0, l.Quantity)
		}
	}
	return nil
}

func (g *gatherer) units() error {
	list, err := unit.List(g.tx, unit.Filter{})
	if err != nil {
		return err
	}
	events := map[clock.Dot][]unit.Event{}
	for _, u := range list {
		if events[u.ID], err = unit.Events(g.tx, u.ID); err != nil {
			return err
		}
	}
	hours := func(u clock.Dot, until time.Time) float64 { return unit.ServiceHours(events[u], until) }
	if len(g.scope.Stress) > 0 {
		hours = func(u clock.Dot, until time.Time) float64 {
			return unit.StressedHours(events, u, until, g.stress)
		}
	}
	record := map[*kit.Part][]clock.Dot{}
	for _, u := range list {
		if part := g.byItem[u.Item]; part != nil {
			record[part] = append(record[part], u.ID)
			part.UnitHoursSeen += hours(u.ID, g.scope.Now)
			g.unit(part, u, events[u.ID])
		}
	}
	for part, units := range record {
		if part.Installed > 0 {
			part.Stress /= float64(part.Installed)
		}
		if part.Failures >= sparing.TrendFailuresMin {
			part.FailureHours = failureHours(units, events, hours)
		}
	}
	return nil
}

// unit counts one unit of a part.
func (g *gatherer) unit(part *kit.Part, u *unit.Unit, events []unit.Event) {
	age := 0.0
	for _, run := range unit.Runs(events, g.scope.Now) {
		part.Lives = append(part.Lives, sparing.Life{Hours: run.Hours, Failed: run.Failed})
		if age = run.Hours; run.Failed {
			age = 0
		}
	}
	part.Failures += unit.FailuresInService(events)
	fit := u.State != unit.Failed && u.State != unit.Scrapped && u.State != unit.Quarantined
	switch {
	case !fit || !g.here(u.Place):
	case !u.Installed():
		part.Good++
	case g.reachable(u.Place):
		part.Installed++
		part.AgesHours = append(part.AgesHours, age)
		part.Stress += g.stress(u.Place)
	}
}

// stress is what an hour of service at a place counts: as told of the place, or of the
// nearest around it.
func (g *gatherer) stress(place clock.Dot) float64 {
	for range 64 { // a ring of locations ends here
		l := g.places[place]
		if l == nil {
			break
		}
		if factor, ok := g.scope.Stress[l.Code]; ok {
			return factor
		}
		place = l.Parent
	}
	return 1
}

// failureHours are the hours of service of all units of a kind together until each
// failure of one.
func failureHours(units []clock.Dot, events map[clock.Dot][]unit.Event, hours func(clock.Dot, time.Time) float64) []float64 {
	var list []float64
	for _, u := range units {
		for _, at := range unit.FailureTimes(events[u]) {
			sum := 0.0
			for _, other := range units {
				sum += hours(other, at)
			}
			list = append(list, sum)
		}
	}
	slices.Sort(list)
	return list
}

func (g *gatherer) planned() error {
	for name, runs := range g.scope.Planned {
		revision, err := procedure.Find(g.tx, name)
		if err != nil {
			return err
		}
		p, err := procedure.Load(g.tx, revision.ID)
		if err != nil {
			return err
		}
		if p == nil {
			return fault.Hint("it comes with the next bundle", "the text of procedure %s is not here yet", name)
		}
		for _, use := range p.Parts {
			part := g.parts[use.Part]
			if part == nil {
				return fault.Hint("import a catalogue that has it: pulk item import", "procedure %s uses part %s, which is not in the catalogue", name, use.Part)
			}
			if !part.Serialised {
				part.Uses = append(part.Uses, sparing.Use{Runs: runs, PerRun: use.Quantity})
			}
		}
	}
	return nil
}

// experience compares what past runs took from stock with what their procedures
// list. Runs for which nothing was issued at all are left out: their use was not
// recorded.
func (g *gatherer) experience() error {
	runs, err := run.List(g.tx)
	if err != nil {
		return err
	}
	lists := map[clock.Dot]*procedure.Procedure{}
	for _, r := range runs {
		issued, err := stock.MovementsFor(g.tx, r.ID)
		if err != nil {
			return err
		}
		used := map[clock.Dot]int64{}
		for _, m := range issued {
			if m.Voided.IsZero() {
				used[m.Item] += m.Quantity
			}
		}
		if len(used) == 0 {
			continue
		}
		p, ok := lists[r.Revision]
		if !ok {
			if p, err = procedure.Load(g.tx, r.Revision); err != nil {
				return err
			}
			lists[r.Revision] = p
		}
		g.learn(p, used)
	}
	return nil
}

func (g *gatherer) learn(p *procedure.Procedure, used map[clock.Dot]int64) {
	if p == nil {
		return
	}
	planned, took := map[*kit.Part]int64{}, map[*kit.Part]int64{}
	for _, use := range p.Parts {
		if part := g.parts[use.Part]; part != nil {
			planned[part] += use.Quantity
		}
	}
	for item, n := range used {
		if part := g.byItem[item]; part != nil {
			took[part] += n
		}
	}
	for part, n := range planned {
		part.Experience.Planned += n
		part.Experience.Used += took[part]
		part.PastRuns = append(part.PastRuns, sparing.RunUse{Planned: n, Used: took[part]})
	}
}
