package main

import (
	"cmp"
	"fmt"
	"slices"
	"time"

	"pulk/checklist/crew"
	"pulk/checklist/run"
	"pulk/schema/kind"
	"pulk/sync/changelog"
	"pulk/sync/clock"
)

// dayBuilder reads a store into a dayReport.
type dayBuilder struct {
	tx       *changelog.Tx
	from, to time.Time // the day; to is left out
	report   *dayReport
	runs     *run.Reader
	states   map[clock.Dot]*run.State // of the runs read last
	people   map[clock.Dot]string
	words    map[clock.Dot]string
	voids    map[clock.Dot]bool // changes that something written that day voided
}

// buildDayReport tells of the UTC day that begins at day, from what is here at made.
// zone is where local time is taken from.
func buildDayReport(tx *changelog.Tx, day, made time.Time, zone *time.Location) (*dayReport, error) {
	self := tx.Self()
	made = made.UTC().Truncate(time.Second)
	b := &dayBuilder{tx: tx, from: day, to: day.Add(24 * time.Hour), runs: run.NewReader(tx), states: map[clock.Dot]*run.State{},
		people: map[clock.Dot]string{}, words: map[clock.Dot]string{}, voids: map[clock.Dot]bool{},
		report: &dayReport{Campaign: self.CampaignName, Site: self.Code, SiteName: self.Name, Date: day.Format(time.DateOnly), MadeAt: made, zone: zone,
			Needs: dayNeeds{Conflicts: []dayConflict{}, Gates: []dayHold{}, NCs: []dayNC{}, Questions: []askRow{}},
			Runs:  []dayRun{}, NotHere: []dayNotHere{}, Holds: []dayHold{}, NCs: []dayNC{}, SignOffs: []daySignOff{}, Reviews: []reviewDetail{}, Waivers: []waiverRow{}, Stock: []dayMovement{},
			Units: []dayUnitEvent{}, Due: []dayDue{}, Others: []dayOther{}, Attached: []dayAttached{}, Sites: []daySite{}, Late: []dayLate{}}}
	b.remark()
	digest, err := tx.Digest()
	if err != nil {
		return nil, err
	}
	b.report.StateDigest = digest.String()
	entries, err := b.entries()
	if err != nil {
		return nil, err
	}
	for _, fill := range []func([]changelog.Recorded) error{b.addCounts, b.addRuns, b.addWaivers, b.addNCs, b.addConflicts, b.addStock, b.addUnits, b.addOthers, b.addQuestions, b.addAttached, b.addSites, b.addLate} {
		if err := fill(entries); err != nil {
			return nil, err
		}
	}
	if err := b.addLevels(); err != nil {
		return nil, err
	}
	return b.report, nil
}

func (b *dayBuilder) remark() {
	switch made := b.report.MadeAt; {
	case made.Before(b.from):
		b.report.Remark = "this day has not begun: it begins " + b.from.Format("2006-01-02 15:04Z")
	case made.Before(b.to):
		b.report.Remark = fmt.Sprintf("the day is not over: %s of it are left", durationText(b.to.Sub(made)))
	}
}

// entries returns what was written that day, by time.
func (b *dayBuilder) entries() ([]changelog.Recorded, error) {
	var list []changelog.Recorded
	err := b.tx.EachBetween(clock.StampAt(b.from), clock.StampAt(b.to), func(r changelog.Recorded) error {
		list = append(list, r)
		if r.Kind == kind.Void {
			b.voids[r.Values[0].Ref] = true
		}
		return nil
	})
	slices.SortFunc(list, func(x, y changelog.Recorded) int {
		return cmp.Or(cmp.Compare(x.At, y.At), x.Dot.Compare(y.Dot))
	})
	return list, err
}

// inDay reports whether a stamp lies in the day.
func (b *dayBuilder) inDay(s clock.Stamp) bool {
	return s >= clock.StampAt(b.from) && s < clock.StampAt(b.to)
}

// second is a stamp as the report tells it.
func second(s clock.Stamp) time.Time { return s.Time().Truncate(time.Second) }

// person returns a person's code.
func (b *dayBuilder) person(id clock.Dot) (string, error) {
	if label, known := b.people[id]; known {
		return label, nil
	}
	label, err := crew.Label(b.tx, id)
	b.people[id] = label
	return label, err
}

// describe names an entity; nothing for none.
func (b *dayBuilder) describe(id clock.Dot) (string, error) {
	if id.IsZero() {
		return "", nil
	}
	if text, known := b.words[id]; known {
		return text, nil
	}
	text, err := b.tx.Describe(id)
	b.words[id] = text
	return text, err
}

func (b *dayBuilder) addCounts(entries []changelog.Recorded) error {
	n := &b.report.Counts
	n.People, n.Sites = []string{}, map[string]int{}
	of := map[*kind.Kind]*int{kind.StepCheck: &n.Checks, kind.StepReading: &n.Readings, kind.StepMeasure: &n.Readings, kind.StepRecord: &n.Records, kind.RunNote: &n.Notes,
		kind.StepSign: &n.SignOffs, kind.Void: &n.Voids, kind.NCRaise: &n.Raised, kind.NCDispose: &n.Decided}
	for _, e := range entries {
		n.Changes++
		n.Sites[b.siteCode(e.Dot.Site)]++
		count := &n.Others
		if of[e.Kind] != nil {
			count = of[e.Kind]
		} else if movementKinds[e.Kind] != "" {
			count = &n.Movements
		} else if unitKinds[e.Kind] != "" {
			count = &n.Units
		}
		*count++
		if e.Person.IsZero() {
			continue
		}
		person, err := b.person(e.Person)
		if err != nil {
			return err
		}
		if !slices.Contains(n.People, person) {
			n.People = append(n.People, person)
		}
	}
	slices.Sort(n.People)
	return nil
}

func (b *dayBuilder) siteCode(id clock.SiteID) string {
	site, found, err := b.tx.SiteByID(id)
	if err != nil || !found {
		return fmt.Sprintf("%08x", uint32(id))
	}
	return site.Code
}

func (b *dayBuilder) addConflicts([]changelog.Recorded) error {
	list, all, err := b.tx.FirstConflicts(reportConflicts)
	if err != nil {
		return err
	}
	b.report.Needs.MoreConflicts = all - len(list)
	for _, c := range list {
		row := dayConflict{ID: c.ID, Urgent: c.Urgent, What: c.What, Advice: c.Advice, Sides: []daySide{}}
		for _, side := range c.Sides {
			info, err := b.tx.Info(side.Dot)
			if err != nil {
				return err
			}
			person, err := b.person(info.Person)
			if err != nil {
				return err
			}
			knew, err := knewOf(b.tx, side.Dot, c.Sides)
			if err != nil {
				return err
			}
			row.Sides = append(row.Sides, daySide{side.What, person, b.siteCode(side.Dot.Site), second(info.At), knew, b.tx.Name(side.Dot)})
		}
		b.report.Needs.Conflicts = append(b.report.Needs.Conflicts, row)
	}
	return nil
}

// addOthers tells what is none of the other sections' and worth a line.
func (b *dayBuilder) addOthers(entries []changelog.Recorded) error {
	for _, e := range entries {
		var text string
		var err error
		switch e.Kind {
		case kind.RevisionImport:
			text = fmt.Sprintf("procedure %s revision %s imported: %s", e.Values[0].Text, e.Values[1].Text, e.Values[2].Text)
		case kind.RevisionWithdraw:
			var what string
			what, err = b.describe(e.Values[0].Ref)
			text = what + " WITHDRAWN: " + e.Values[1].Text
		case kind.PersonAdd:
			text = fmt.Sprintf("person %s (%s) added", e.Values[0].Text, e.Values[1].Text)
		case kind.SiteAdd:
			text = fmt.Sprintf("site %s (%s) begins", e.Values[1].Text, e.Values[2].Text)
		}
		if err != nil {
			return err
		}
		if text == "" {
			continue
		}
		person, err := b.person(e.Person)
		if err != nil {
			return err
		}
		b.report.Others = append(b.report.Others, dayOther{b.tx.Name(e.Dot), second(e.At), person, text})
	}
	return nil
}
