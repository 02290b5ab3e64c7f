package main

import (
	"fmt"
	"strings"
	"time"

	"pulk/checklist/limit"
	"pulk/schema/kind"
)

// dayLine is a line of a run's day, as both renderers show it: one entry, or several
// alike that one person made in a row.
type dayLine struct {
	From, To time.Time
	Person   string
	Mark     string // ok, FAIL, NO, STOP, VOID, or empty
	Text     string
	IDs      []string // the entries it tells of
}

// maxTogether bounds how many entries one line tells of.
const maxTogether = 24

// lines gathers what was done in a run: check-offs in a row, and good readings of
// one step, share a line as long as nothing about them needs a line of its own.
func (r *dayRun) lines() []dayLine {
	var lines []dayLine
	for i := 0; i < len(r.Events); {
		n := 1
		for i+n < len(r.Events) && n < maxTogether && together(&r.Events[i], &r.Events[i+n]) {
			n++
		}
		line := lineOf(r.Events[i : i+n])
		if last := len(lines) - 1; n == 1 && last >= 0 && opensFor(&r.Events[i], &lines[last]) {
			lines[last].Text += "; nonconformance " + r.Events[i].ID + " opened"
			lines[last].IDs = append(lines[last].IDs, r.Events[i].ID)
		} else {
			lines = append(lines, line)
		}
		i += n
	}
	return lines
}

// plainCheck reports whether an event is a check-off like any other.
func (e *dayEvent) plainCheck() bool {
	return e.Kind == kind.StepCheck.Name && !e.Bad && !e.Voided && !e.Irreversible
}

func together(first, next *dayEvent) bool {
	if first.Person != next.Person {
		return false
	}
	if first.plainCheck() {
		return next.plainCheck() && next.At.Sub(first.At) < time.Hour
	}
	if first.check != "" {
		return next.check != "" && first.Step == next.Step && !first.Bad && !next.Bad && setOf(first.ID) == setOf(next.ID)
	}
	return first.Reading != nil && next.Reading != nil && first.Step == next.Step && !first.Bad && !next.Bad && !first.Voided && !next.Voided &&
		first.Reading.Verdict == next.Reading.Verdict && first.Reading.Flag == next.Reading.Flag && first.Reading.Instrument == next.Reading.Instrument && first.Reading.Limits == next.Reading.Limits
}

// opensFor reports whether an event is the nonconformance that the failure told in a
// line opened by itself: both are of one change-set.
func opensFor(e *dayEvent, line *dayLine) bool {
	return e.Kind == kind.NCRaise.Name && (line.Mark == "FAIL" || line.Mark == "NO") && e.At.Equal(line.To) &&
		setOf(e.ID) == setOf(line.IDs[len(line.IDs)-1])
}

// setOf returns the change-set's part of an id.
func setOf(id string) string {
	set, _, _ := strings.Cut(id, ".")
	return set
}

func lineOf(events []dayEvent) dayLine {
	first, last := &events[0], &events[len(events)-1]
	line := dayLine{From: first.At, To: last.At, Person: first.Person, Mark: first.mark()}
	for i := range events {
		line.IDs = append(line.IDs, events[i].ID)
	}
	switch {
	case first.plainCheck():
		line.Text = stepsText(events) + " done"
	case len(events) > 1 && first.check != "":
		line.Text = "step " + first.Step + ": readiness, ok: " + checksText(events)
	case first.Reading != nil:
		line.Text = "step " + first.Step + ": " + readingText(events)
	case first.Step != "":
		line.Text = "step " + first.Step + ": " + first.Text
	default:
		line.Text = first.Text
	}
	if first.Voided {
		line.Text += " (voided since)"
	}
	return line
}

// mark returns the sign that stands before an event.
func (e *dayEvent) mark() string {
	switch {
	case e.Voided || e.Kind == kind.Void.Name:
		return "VOID"
	case e.Kind == kind.StepReading.Name && e.Bad:
		return "FAIL"
	case (e.Kind == kind.StepCheck.Name || e.Kind == kind.ReviewCheck.Name || e.Kind == kind.ReviewAnswer.Name) && e.Bad:
		return "NO"
	case (e.Kind == kind.StepSign.Name || e.Kind == kind.ReviewDecide.Name) && e.Bad:
		return "STOP"
	case e.Kind == kind.NCRaise.Name:
		return "NC"
	case e.Kind == kind.StepCheck.Name, e.Kind == kind.StepReading.Name && e.Reading.Verdict == "pass" && e.Reading.Flag == "", e.Kind == kind.StepRecord.Name:
		return "ok"
	case e.Kind == kind.StepSign.Name, e.Kind == kind.ReviewDecide.Name:
		return "GO"
	case e.Kind == kind.ReviewWaive.Name:
		return "WAIVE"
	}
	return ""
}

func checksText(events []dayEvent) string {
	var names []string
	for i := range events {
		names = append(names, events[i].check)
	}
	return strings.Join(names, ", ")
}

func stepsText(events []dayEvent) string {
	if len(events) == 1 {
		return "step " + events[0].Step
	}
	var ids []string
	for i := range events {
		ids = append(ids, events[i].Step)
	}
	return "steps " + strings.Join(ids, ", ")
}

// readingText says values with their unit, limits and verdict.
func readingText(events []dayEvent) string {
	r := events[0].Reading
	var values, typed []string
	for i := range events {
		values = append(values, events[i].Reading.Value)
		if events[i].Reading.Typed != "" {
			typed = append(typed, events[i].Reading.Typed)
		}
	}
	text := fmt.Sprintf("%s %s", r.Quantity, strings.Join(values, ", "))
	if r.Unit != "" {
		text += " " + r.Unit
	}
	if len(typed) > 0 {
		text += " (typed " + strings.Join(typed, ", ") + ")"
	}
	if r.Limits == "" {
		return text + ", not judged: its limits are not here yet"
	}
	text = fmt.Sprintf("%s (%s): %s", text, r.Limits, r.Verdict)
	if len(events) == 1 {
		text += r.measuredText()
	}
	if len(r.Worked) > 0 {
		text += ", " + strings.Join(r.Worked, "; ")
	}
	if r.Instrument != "" {
		text += ", with " + r.Instrument
	}
	if r.Flag != "" {
		text += "; does not count: " + r.Flag
	}
	return text
}

// measuredText says how sure a verdict is, where that is known.
func (r *dayReading) measuredText() string {
	if r.U == nil {
		return ""
	}
	text := fmt.Sprintf(", U = %s (k = %s)", *r.U, *r.Coverage)
	if r.Probability != nil {
		text += ", conforms with " + limit.Percent(*r.Probability)
	}
	return text
}

// about says in words what a nonconformance is about.
func (nc *dayNC) about() string {
	var parts []string
	if nc.Run != "" {
		text := "run " + nc.Run
		if nc.Step != "" {
			text += " step " + nc.Step
		}
		parts = append(parts, text)
	}
	if nc.Unit != "" {
		parts = append(parts, nc.Unit)
	}
	return strings.Join(parts, ", ")
}

// state says in words how a nonconformance stands.
func (nc *dayNC) state() string {
	switch {
	case nc.Contested:
		return "OPEN, decided in different ways"
	case nc.Open:
		return "OPEN"
	}
	return "decided: " + nc.Decisions[0].Disposition
}

// where says what a movement moved, from where to where.
func (m *dayMovement) where() string {
	item := m.Item
	if m.Lot != "" {
		item += " lot " + m.Lot
	}
	switch m.Kind {
	case "receive":
		return fmt.Sprintf("%d × %s to %s", m.Quantity, item, m.To)
	case "move":
		return fmt.Sprintf("%d × %s from %s to %s", m.Quantity, item, m.From, m.To)
	case "count":
		text := fmt.Sprintf("%d × %s at %s", m.Quantity, item, m.To)
		if m.Held != nil && *m.Held != m.Quantity {
			text += fmt.Sprintf(", %+d to what was held", m.Quantity-*m.Held)
		}
		return text
	}
	return fmt.Sprintf("%d × %s from %s", m.Quantity, item, m.From)
}

// said says how a short line of stock stands.
func (s *dayShort) said() string {
	place := "in all places together"
	if s.Place != "" {
		place = "at " + s.Place
	}
	if s.BelowZero {
		return fmt.Sprintf("%d %s %s: more was drawn than was there; count it", s.Have, s.Unit, place)
	}
	return fmt.Sprintf("%d %s %s, minimum %d", s.Have, s.Unit, place, s.Minimum)
}

// said says when a lot expires.
func (x *dayExpiry) said() string {
	when := fmt.Sprintf("expires %s, in %d days", x.Expires, x.Days)
	switch {
	case x.Days < 0:
		when = fmt.Sprintf("EXPIRED %s, %d days ago", x.Expires, -x.Days)
	case x.Days == 0:
		when = "expires today"
	}
	return fmt.Sprintf("%d %s at %s, %s", x.Quantity, x.Unit, x.Place, when)
}

// clockOff returns what to say of a site's clock; nothing where it may be right.
func (s *daySite) clockOff() string {
	switch off := timeSeconds(s.SkewSeconds); {
	case off > clockTolerance:
		return fmt.Sprintf("its clock stood %s ahead of ours: one of the two is wrong", durationText(off))
	case off < -clockTolerance:
		return fmt.Sprintf("its clock stood at least %s behind ours: one of the two is wrong", durationText(-off))
	}
	return ""
}

// durationText says a duration in its two largest units: "3 d 4 h", "25 min".
func durationText(d time.Duration) string {
	sign := ""
	if d < 0 {
		sign, d = "−", -d
	}
	days, hours, minutes := int(d/(24*time.Hour)), int(d/time.Hour)%24, int(d/time.Minute)%60
	switch {
	case days > 0 && hours > 0:
		return fmt.Sprintf("%s%d d %d h", sign, days, hours)
	case days > 0:
		return fmt.Sprintf("%s%d d", sign, days)
	case hours > 0 && minutes > 0:
		return fmt.Sprintf("%s%d h %d min", sign, hours, minutes)
	case hours > 0:
		return fmt.Sprintf("%s%d h", sign, hours)
	case minutes > 0:
		return fmt.Sprintf("%s%d min", sign, minutes)
	}
	return fmt.Sprintf("%s%d s", sign, int(d/time.Second))
}

// moment returns a time of the day in UTC with the local time beside.
func (r *dayReport) moment(t time.Time) string {
	text := t.UTC().Format("15:04Z")
	if r.showsLocal() {
		text += t.In(r.zone).Format(" (15:04)")
	}
	return text
}

// fullMoment is moment with the date, for what may be of another day.
func (r *dayReport) fullMoment(t time.Time) string {
	return t.UTC().Format("2006-01-02 ") + r.moment(t)
}

// span is moment from one time to another.
func (r *dayReport) span(from, to time.Time) string {
	if from.Truncate(time.Minute).Equal(to.Truncate(time.Minute)) {
		return r.moment(from)
	}
	text := from.UTC().Format("15:04") + "–" + to.UTC().Format("15:04Z")
	if r.showsLocal() {
		text += from.In(r.zone).Format(" (15:04–") + to.In(r.zone).Format("15:04)")
	}
	return text
}

// showsLocal reports whether local time differs from UTC.
func (r *dayReport) showsLocal() bool {
	if r.zone == nil {
		return false
	}
	_, offset := r.MadeAt.In(r.zone).Zone()
	return offset != 0
}

// zoneText says what the times mean.
func (r *dayReport) zoneText() string {
	if !r.showsLocal() {
		return "Times are UTC, which is local time here."
	}
	return "Times are UTC (Z), with local time (UTC" + r.MadeAt.In(r.zone).Format("-07:00") + ") in brackets."
}

// age returns how old the newest change of a site is that is here.
func (s *daySite) age() string { return durationText(timeSeconds(s.AgeSeconds)) }

func timeSeconds(n int64) time.Duration { return time.Duration(n) * time.Second }
