package main

import (
	"cmp"
	"fmt"
	"maps"
	"slices"
	"strings"
	"time"

	"pulk/checklist/ask"
	"pulk/checklist/conditions"
	"pulk/checklist/crew"
	"pulk/checklist/procedure"
	"pulk/checklist/review"
	"pulk/checklist/run"
	"pulk/inventory/assembly"
	"pulk/inventory/stock"
	"pulk/inventory/unit"
	"pulk/sync/changelog"
	"pulk/sync/clock"
)

// reviewGatherer reads what the checks of a readiness review look at: what this store
// has of it, now.
type reviewGatherer struct {
	tx    *changelog.Tx
	state *run.State
	step  int // the hold point
	units []clock.Dot
	place clock.Dot // where the run is, or none
	facts *review.Facts
}

// gatherReview works the checks of the review of a hold point out.
func gatherReview(tx *changelog.Tx, s *run.State, step int, now time.Time) ([]review.Finding, error) {
	g := &reviewGatherer{tx: tx, state: s, step: step, facts: &review.Facts{Now: now, Form: s.Steps[step].Step.Review}}
	for m := range step {
		if !s.Steps[m].Done {
			g.facts.Open = append(g.facts.Open, s.Steps[m].Step.ID)
		}
	}
	for _, gather := range []func() error{g.addUnits, g.addPlace, g.addSlots, g.addFaults, g.addRevision, g.addPeople, g.addWeather, g.addCare, g.addParts, g.addInstruments, g.addAsked} {
		if err := gather(); err != nil {
			return nil, err
		}
	}
	return review.Evaluate(g.facts), nil
}

func (g *reviewGatherer) addUnits() error {
	var err error
	if g.units, err = run.UnitsOf(g.tx, g.state.Record); err != nil {
		return err
	}
	for _, id := range g.units {
		u, err := unit.ByID(g.tx, id)
		if err != nil {
			return err
		}
		if u == nil {
			g.facts.Units = append(g.facts.Units, review.Unit{Name: g.tx.Name(id), State: "not here yet"})
			continue
		}
		row := review.Unit{Name: u.Serial, State: u.State, Ready: run.Ready(u.State), Contested: len(u.Contested) > 0}
		if u.Lot != "" {
			if row.Expires, err = lotExpiry(g.tx, u.Item, u.Lot); err != nil {
				return err
			}
		}
		g.facts.Units = append(g.facts.Units, row)
	}
	return nil
}

// addSlots compares the target with its plan, if it has one.
func (g *reviewGatherer) addSlots() error {
	if g.state.Target.IsZero() {
		return nil
	}
	u, err := unit.ByID(g.tx, g.state.Target)
	if u == nil || err != nil {
		return err
	}
	a, err := assembly.Load(g.tx, u)
	if err != nil || a.Plan == nil && !a.PlanContested {
		return err
	}
	ahead := map[string]bool{}
	for _, step := range g.ahead() {
		if step.Record != nil {
			ahead[step.Record.Slot] = true
		}
	}
	s := &review.Slots{Target: u.Serial, Contested: a.PlanContested}
	for i := range a.Positions {
		p := &a.Positions[i]
		switch {
		case len(p.Units) > 0 && len(p.Deviations) == 0:
			s.Filled++
		case len(p.Units) > 0:
			s.Deviations = append(s.Deviations, "slot "+p.Slot.Name+": "+strings.Join(p.Deviations, "; "))
		case p.Planned && !ahead[p.Slot.Name]:
			s.Empty = append(s.Empty, p.Slot.Name)
		}
	}
	g.facts.Slots = s
	return nil
}

// lotExpiry returns the last good day of a lot of an item; empty where it has none.
func lotExpiry(tx *changelog.Tx, item clock.Dot, lot string) (string, error) {
	it, err := stock.ItemByID(tx, item)
	if err != nil || it == nil {
		return "", err
	}
	return it.LotExpiry[lot], nil
}

// addPlace finds where the run is: where it says, or where its target lies.
func (g *reviewGatherer) addPlace() error {
	g.place = g.state.Location
	if g.place.IsZero() && !g.state.Target.IsZero() {
		u, err := unit.ByID(g.tx, g.state.Target)
		if err != nil {
			return err
		}
		if u != nil {
			g.place = u.Place
		}
	}
	if g.place.IsZero() {
		return nil
	}
	var err error
	if g.facts.Place, err = stock.LocationLabel(g.tx, g.place); err != nil {
		return err
	}
	last, err := stock.LastTransportFrom(g.tx, g.place)
	g.facts.Last = review.Transport{Day: last.Day, Contested: last.Contested}
	if last.Place != nil {
		g.facts.Last.Place = last.Place.Code
	}
	return err
}

// addFaults lists the nonconformances of the run, and those of its units elsewhere.
func (g *reviewGatherer) addFaults() error {
	told := map[clock.Dot]bool{}
	add := func(nc run.NC) {
		if !told[nc.Entry.Dot] {
			told[nc.Entry.Dot] = true
			g.facts.NCs = append(g.facts.NCs, review.NC{ID: g.tx.Name(nc.Entry.Dot), Text: nc.Entry.Text, Open: nc.Open, Scrap: nc.Disposition == run.Scrapped})
		}
	}
	for _, nc := range g.state.NCs {
		add(nc)
	}
	for _, id := range g.units {
		list, err := run.NonconformancesOf(g.tx, id)
		if err != nil {
			return err
		}
		for _, nc := range list {
			add(nc.NC)
		}
	}
	return nil
}

func (g *reviewGatherer) addRevision() error {
	p, r := g.state.Procedure, &g.facts.Revision
	r.Run, r.Current = p.Revision, p.Revision
	if len(g.state.Withdrawals) > 0 {
		r.Withdrawn = g.state.Withdrawals[0].Why
	}
	if len(g.state.Contested) > 0 {
		r.Contested = "the run was moved to several revisions by people who had not heard of each other"
	}
	offer, err := run.Offered(g.tx, g.state)
	if err != nil || offer == nil {
		return err
	}
	r.Current = offer.Revision.Revision
	if offer.Stay != nil {
		person, err := crew.Label(g.tx, offer.Stay.Person)
		r.Stays = person + " said: " + offer.Stay.Text
		return err
	}
	return nil
}

// ahead returns the steps from the hold point on that are not done.
func (g *reviewGatherer) ahead() []*procedure.Step {
	var list []*procedure.Step
	for n := g.step; n < len(g.state.Steps); n++ {
		if !g.state.Steps[n].Done {
			list = append(list, g.state.Steps[n].Step)
		}
	}
	return list
}

func (g *reviewGatherer) addPeople() error {
	need := map[string]int{}
	for _, step := range g.ahead() {
		if step.Role != "" {
			need[step.Role] = max(need[step.Role], 1)
		}
		if step.Sign != nil {
			need[step.Sign.Role] = max(need[step.Sign.Role], step.Sign.People)
		}
	}
	persons, err := crew.List(g.tx)
	if err != nil {
		return err
	}
	for _, role := range slices.Sorted(maps.Keys(need)) {
		row := review.RoleNeed{Role: role, People: need[role]}
		for _, p := range persons {
			if p.Has(role) {
				row.Held = append(row.Held, p.Code)
			}
		}
		g.facts.People = append(g.facts.People, row)
	}
	return nil
}

// addWeather asks what the weather that counts at the place says to the steps ahead.
func (g *reviewGatherer) addWeather() error {
	for _, step := range g.ahead() {
		if !step.Outdoor {
			continue
		}
		if g.facts.Outdoors == nil {
			g.facts.Outdoors = &review.Outdoors{}
		}
		o := g.facts.Outdoors
		o.Steps = append(o.Steps, step.ID)
		if g.place.IsZero() {
			continue
		}
		j, err := conditions.JudgePlace(g.tx, conditions.Ask{Step: step, Location: g.place, Now: g.facts.Now})
		if err != nil {
			return err
		}
		if w := j.Allowed.Weather; w != nil {
			o.Weather, o.Until = fmt.Sprintf("%s Cel, wind %s m/s", w.Celsius, w.MetresPerSecond), w.Until()
			for _, reason := range j.Reasons() {
				if !slices.Contains(o.Stops, reason) {
					o.Stops = append(o.Stops, reason)
				}
			}
		}
	}
	return nil
}

// addCare asks, for each step ahead that is heavy or needs clearances, whether somebody
// with its role may do it. Who that is is not told.
func (g *reviewGatherer) addCare() error {
	persons, err := crew.List(g.tx)
	if err != nil {
		return err
	}
	for _, step := range g.ahead() {
		indoors := *step // the weather is another check's
		indoors.Outdoor = false
		if !conditions.Asked(&indoors) {
			continue
		}
		role := step.Role
		if step.Sign != nil {
			role = step.Sign.Role
		}
		need := review.CareNeed{Step: step.ID}
		for _, p := range persons {
			if need.Shown || role != "" && !p.Has(role) {
				continue
			}
			j, err := conditions.Judge(g.tx, conditions.Ask{Step: &indoors, Location: g.place, Person: p, Now: g.facts.Now})
			if err != nil {
				return err
			}
			need.Shown = len(j.Stops) == 0
		}
		g.facts.Care = append(g.facts.Care, need)
	}
	return nil
}

func (g *reviewGatherer) addParts() error {
	need := map[string]int64{}
	for _, step := range g.ahead() {
		for _, use := range step.Uses {
			need[use.Part] += use.Quantity
		}
	}
	if len(need) == 0 || g.place.IsZero() {
		for part := range need {
			g.facts.Parts = append(g.facts.Parts, review.PartNeed{Part: part, Need: need[part]})
		}
		return nil
	}
	levels, err := stock.Levels(g.tx)
	if err != nil {
		return err
	}
	within, err := g.placesWithin()
	if err != nil {
		return err
	}
	items, err := stock.Items(g.tx)
	if err != nil {
		return err
	}
	for _, part := range slices.Sorted(maps.Keys(need)) {
		row := review.PartNeed{Part: part, Need: need[part]}
		for _, it := range items {
			if it.PartNumber != part {
				continue
			}
			row.Known, row.Unit = true, it.UnitOfIssue
			if it.Serialised {
				err = g.countUnits(&row, it, within)
			} else {
				g.countStock(&row, it, levels, within)
			}
			if err != nil {
				return err
			}
		}
		g.facts.Parts = append(g.facts.Parts, row)
	}
	return nil
}

// placesWithin returns the run's place and all within it.
func (g *reviewGatherer) placesWithin() (map[clock.Dot]bool, error) {
	places, err := stock.Locations(g.tx)
	return stock.Within(places, g.place), err
}

// countUnits counts the units of a serialised item that lie there and may be used:
// those that the run has in its own target already do not count.
func (g *reviewGatherer) countUnits(row *review.PartNeed, it *stock.Item, within map[clock.Dot]bool) error {
	list, err := unit.List(g.tx, unit.Filter{Item: it.ID})
	for _, u := range list {
		if within[u.Place] && !u.Installed() && run.Ready(u.State) {
			row.Have++
		}
	}
	return err
}

// countStock counts what lies there in date and in no quarantine, and until when that is enough.
func (g *reviewGatherer) countStock(row *review.PartNeed, it *stock.Item, levels []stock.Level, within map[clock.Dot]bool) {
	day := stock.Day(g.facts.Now)
	var lots []stock.Level
	for _, l := range levels {
		if l.Item.ID == it.ID && within[l.Location.ID] && !l.Quarantined && (l.Expires == "" || l.Expires >= day) {
			lots = append(lots, l)
			row.Have += l.Quantity
		}
	}
	slices.SortStableFunc(lots, func(a, b stock.Level) int { return cmp.Compare(a.Expires, b.Expires) })
	left := row.Have
	for _, l := range lots {
		if l.Expires == "" {
			continue
		}
		if left -= l.Quantity; left < row.Need {
			row.Expires = l.Expires
			return
		}
	}
}

// addInstruments lists, for each instrument that steps ahead measure with, those that
// lie there.
func (g *reviewGatherer) addInstruments() error {
	for _, step := range g.ahead() {
		if step.Reading == nil || step.Reading.Instrument == nil {
			continue
		}
		part := step.Reading.Instrument.Part
		i := slices.IndexFunc(g.facts.Instruments, func(n review.InstrumentNeed) bool { return n.Part == part })
		if i < 0 {
			i = len(g.facts.Instruments)
			g.facts.Instruments = append(g.facts.Instruments, review.InstrumentNeed{Part: part})
		}
		g.facts.Instruments[i].Steps = append(g.facts.Instruments[i].Steps, step.ID)
	}
	if len(g.facts.Instruments) == 0 || g.place.IsZero() {
		return nil
	}
	within, err := g.placesWithin()
	if err != nil {
		return err
	}
	calibrations, err := unit.AllCalibrations(g.tx)
	if err != nil {
		return err
	}
	list, err := unit.List(g.tx, unit.Filter{})
	if err != nil {
		return err
	}
	for _, u := range list {
		if !within[u.Place] || slices.Contains([]string{unit.Failed, unit.Quarantined, unit.Scrapped}, u.State) {
			continue
		}
		part, err := partOf(g.tx, u.Item)
		if err != nil {
			return err
		}
		instrument := review.Instrument{Name: u.Serial}
		if c := unit.Standing(calibrations[u.ID]); c != nil {
			instrument.Due = c.Due
		}
		for i := range g.facts.Instruments {
			if need := &g.facts.Instruments[i]; need.Part == part || need.Part == "" && instrument.Due != "" {
				need.There = append(need.There, instrument)
			}
		}
	}
	return nil
}

func (g *reviewGatherer) addAsked() error {
	questions, err := ask.List(g.tx)
	if err != nil {
		return err
	}
	about := map[clock.Dot]bool{g.state.Run: true}
	for _, id := range g.units {
		about[id] = true
	}
	for _, nc := range g.state.NCs {
		about[nc.Entry.Dot] = true
	}
	for _, q := range questions {
		if q.Here && q.Urgent && len(q.Answers) == 0 && about[q.About] {
			g.facts.Asked = append(g.facts.Asked, fmt.Sprintf("%s %s", g.tx.Name(q.ID), q.Text))
		}
	}
	return nil
}
