package main

import (
	"fmt"
	"io"
	"slices"
	"strings"
	"unicode/utf8"
)

// dayText renders a report as plain text, at most tableWidth wide.
type dayText struct {
	*dayReport
	w io.Writer
}

func writeDayText(w io.Writer, r *dayReport) {
	t := dayText{r, w}
	t.head()
	t.needs()
	t.done()
	t.holds()
	t.ncs()
	t.signOffs()
	t.reviews()
	t.stock()
	t.units()
	t.others()
	t.attached()
	t.sites()
	t.counts()
}

func (t *dayText) head() {
	t.put("", fmt.Sprintf("%s: day report of %s", t.Campaign, t.Date))
	t.put("", fmt.Sprintf("Site %s (%s), made %s, state digest %s", t.Site, t.SiteName, t.fullMoment(t.MadeAt), t.StateDigest))
	t.put("", t.zoneText())
	if t.Remark != "" {
		t.put("", "Note: "+t.Remark+".")
	}
}

// put prints text after a prefix, its later lines under the first.
func (t *dayText) put(prefix, text string) { t.hang(prefix, utf8.RuneCountInString(prefix), text) }

// hang prints text after a prefix, its later lines indented.
func (t *dayText) hang(prefix string, indent int, text string) {
	lines := wrap(text, tableWidth-max(indent, utf8.RuneCountInString(prefix)))
	if indent < utf8.RuneCountInString(prefix) { // the first line is the shorter one
		first := lines[0]
		lines = append([]string{first}, wrap(strings.TrimPrefix(strings.Join(lines, " "), first), tableWidth-indent)...)
	}
	for i, line := range lines {
		if i > 0 {
			prefix = strings.Repeat(" ", indent)
		}
		if i == 0 || line != "" {
			fmt.Fprintln(t.w, strings.TrimRight(prefix+line, " "))
		}
	}
}

// item prints a line of a list that begins with a long prefix.
func (t *dayText) item(prefix, text string) { t.hang(prefix, 4, text) }

func (t *dayText) section(title string) {
	fmt.Fprintf(t.w, "\n%s\n%s\n", title, strings.Repeat("-", utf8.RuneCountInString(title)))
}

func (t *dayText) none(n int, text string) {
	if n == 0 {
		t.put("", text)
	}
}

func (t *dayText) attached() {
	if len(t.Attached) == 0 {
		return
	}
	t.section("Attached")
	for _, a := range t.Attached {
		t.item("", fmt.Sprintf("%s; %s; %s [%s]", a.Says(), a.AddedBy, a.Where(), a.ID))
	}
}

func (t *dayText) needs() {
	t.section("What needs someone now")
	n := &t.Needs
	t.none(len(n.Conflicts)+len(n.Gates)+len(n.NCs)+len(n.Questions)+len(n.Short), "Nothing.")
	for _, q := range n.Questions {
		t.item(map[bool]string{true: "!! ", false: "! "}[q.Urgent]+q.Mark()+": ", fmt.Sprintf("%s [%s; %s]", q.Text, q.ID, q.Behind()))
	}
	for _, c := range n.Conflicts {
		mark := "! conflict: "
		if c.Urgent {
			mark = "!! URGENT conflict: "
		}
		t.item(mark, c.What)
		for _, s := range c.Sides {
			text := fmt.Sprintf("%s; %s at %s, %s", s.What, s.Person, s.Site, t.fullMoment(s.At))
			if s.Knew != "" {
				text += "; " + s.Knew
			}
			t.put("     - ", text+" ["+s.Change+"]")
		}
		t.put("     next: ", c.Advice)
	}
	if more := n.moreOfConflicts(); more != "" {
		t.put("", more)
	}
	for _, h := range n.Gates {
		t.item("! gate shut again: ", fmt.Sprintf("%s point %s of run %s (%s): %s", h.Kind, h.Step, h.Run, h.Title, strings.Join(h.Waits, "; ")))
	}
	for _, nc := range n.NCs[:min(len(n.NCs), openShown)] {
		t.item("! "+nc.state()+" nonconformance: ", fmt.Sprintf("%s [%s; %s; raised %s by %s]", nc.Text, nc.ID, nc.about(), t.fullMoment(nc.RaisedAt), nc.RaisedBy))
	}
	if more := n.moreNCs(); more != "" {
		t.put("", more)
	}
	for _, s := range n.Short {
		mark := "! short: "
		if s.BelowZero {
			mark = "! BELOW ZERO: "
		}
		t.item(mark, fmt.Sprintf("%s %s: %s", s.Item, s.Name, s.said()))
	}
}

func (t *dayText) done() {
	t.section("What was done")
	t.none(len(t.Runs)+len(t.NotHere), "Nothing was written in any run that day.")
	for i := range t.Runs {
		r := &t.Runs[i]
		if i > 0 {
			fmt.Fprintln(t.w)
		}
		t.put("", fmt.Sprintf("Run %s: %s%s", r.ID, r.Title, onTarget(r)))
		t.put("  ", r.summary(t.dayReport))
		lines := r.lines()
		width := 0
		for _, line := range lines {
			width = max(width, utf8.RuneCountInString(line.Person))
		}
		for _, line := range lines {
			t.put(fmt.Sprintf("  %s  %-4s  %s  ", pad(t.span(line.From, line.To), t.timeWidth()), line.Mark, pad(line.Person, width)), line.Text)
		}
	}
	for _, missing := range t.NotHere {
		t.put("", missing.said())
	}
}

// timeWidth is that of a time as span writes it.
func (t *dayText) timeWidth() int {
	if t.showsLocal() {
		return len("15:04-15:04Z (15:04-15:04)")
	}
	return len("15:04-15:04Z")
}

func pad(text string, width int) string {
	return text + strings.Repeat(" ", max(0, width-utf8.RuneCountInString(text)))
}

// said says what is here of a run whose start is not.
func (m *dayNotHere) said() string {
	return fmt.Sprintf("Run %s: its start is not here yet; %s about it here already.", m.ID, plural(m.Entries, "entry is", "entries are"))
}

// openShown bounds how many open nonconformances are shown one by one.
const openShown = 40

// moreNCs says how many open nonconformances are not shown.
func (n *dayNeeds) moreNCs() string {
	if more := len(n.NCs) - openShown; more > 0 {
		return fmt.Sprintf("! and %s: pulk nc list --open", plural(more, "more open nonconformance", "more open nonconformances"))
	}
	return ""
}

// moreOfConflicts says how many conflicts are not told.
func (n *dayNeeds) moreOfConflicts() string {
	if n.MoreConflicts > 0 {
		return fmt.Sprintf("! and %s: pulk conflict list", plural(n.MoreConflicts, "more conflict", "more conflicts"))
	}
	return ""
}

func plural(n int, one, many string) string {
	if n == 1 {
		return "1 " + one
	}
	return fmt.Sprintf("%d %s", n, many)
}

func upperFirst(text string) string {
	return strings.ToUpper(text[:min(1, len(text))]) + text[min(1, len(text)):]
}

func onTarget(r *dayRun) string {
	if r.Target == "" {
		return ""
	}
	return ", on " + r.Target
}

// summary says how far a run is.
func (r *dayRun) summary(report *dayReport) string {
	if r.Procedure == "" {
		return fmt.Sprintf("its procedure is not here yet, so that nothing is judged; started %s by %s", report.fullMoment(r.StartedAt), r.StartedBy)
	}
	text := fmt.Sprintf("%s revision %s; %d of %d steps done, %s", r.Procedure, r.Revision, r.Done, r.Steps, r.State)
	if r.State == "open" && r.Next != "" {
		text += ", next is step " + r.Next
	}
	return text + fmt.Sprintf("; started %s by %s", report.fullMoment(r.StartedAt), r.StartedBy)
}

func (t *dayText) holds() {
	t.section("Holds that are shut")
	t.none(len(t.Holds), "No run that goes on waits at a hold or witness point.")
	for _, h := range t.Holds {
		t.item("", upperFirst(h.Kind)+fmt.Sprintf(" point %s of run %s (%s)%s", h.Step, h.Run, h.Title, later(h.Later)))
		for _, why := range h.Waits {
			t.put("  waits for: ", why)
		}
	}
}

func later(n int) string {
	switch n {
	case 0:
		return ""
	case 1:
		return "; 1 more gate of the run is shut behind it"
	}
	return fmt.Sprintf("; %d more gates of the run are shut behind it", n)
}

func (t *dayText) ncs() {
	t.section("Nonconformances raised or decided")
	t.none(len(t.NCs), "None that day.")
	for _, nc := range t.NCs {
		t.item(nc.ID+": ", fmt.Sprintf("%s [%s; raised %s by %s]", nc.Text, nc.about(), t.fullMoment(nc.RaisedAt), nc.RaisedBy))
		if nc.Open {
			t.put("  ", nc.state())
		}
		for _, d := range nc.Decisions {
			t.put("  ", fmt.Sprintf("%s, by %s %s: %s", d.Disposition, d.Person, t.fullMoment(d.At), d.Why))
		}
	}
}

func (t *dayText) signOffs() {
	t.section("Sign-offs")
	t.none(len(t.SignOffs), "None given and none fell that day.")
	for _, s := range t.SignOffs {
		t.item(s.Verdict+": ", fmt.Sprintf("step %s of run %s (%s), %s as %s, %s [%s]", s.Step, s.Run, s.Title, s.Person, s.Role, t.fullMoment(s.At), s.ID))
		t.put("  ", s.stands(t.dayReport))
	}
}

// stands says what a sign-off is worth.
func (s *daySignOff) stands(r *dayReport) string {
	text := strings.ToUpper(s.Standing)
	if s.Standing == "holds" {
		text = "holds"
	}
	if s.Because != "" {
		text += fmt.Sprintf(" by %s [%s, %s]", s.Because, s.By, r.fullMoment(*s.FellAt))
	}
	return text
}

func (t *dayText) stock() {
	t.section("Stock")
	t.none(len(t.Stock), "No movements that day.")
	for _, m := range t.Stock {
		t.put(fmt.Sprintf("%s  %-7s  ", t.moment(m.At), m.Kind), m.line())
	}
	t.none(len(t.Expiring), t.expiresNothing())
	for _, x := range t.Expiring {
		t.item("expiry: ", strings.TrimSpace(x.Item+" "+x.Name)+" lot "+x.Lot+": "+x.said())
	}
}

// expiresNothing says that no lot is near its end, if that is known.
func (r *dayReport) expiresNothing() string {
	if r.Expiring == nil {
		return "What runs short or expires is not worked out in this report."
	}
	return fmt.Sprintf("Nothing that is here expires within %d days.", expiryDays)
}

// line says a movement in words.
func (m *dayMovement) line() string {
	text := m.where()
	if m.Note != "" {
		text += "; " + m.Note
	}
	if m.Voided {
		text += " (VOIDED since)"
	}
	return text + " (" + m.Person + ")"
}

func (t *dayText) units() {
	t.section("Units")
	t.none(len(t.Units), "Nothing happened to units that day.")
	for _, u := range t.Units {
		t.put(t.moment(u.At)+"  ", fmt.Sprintf("%s: %s (%s)", u.Unit, u.Text, u.Person))
	}
	for i := range t.Due {
		t.item("due: ", t.Due[i].Unit+": "+t.Due[i].said())
	}
}

func (t *dayText) others() {
	if len(t.Others) == 0 {
		return
	}
	t.section("Also")
	for _, o := range t.Others {
		t.put(t.moment(o.At)+"  ", o.Text+" ("+o.Person+")")
	}
}

func (t *dayText) sites() {
	t.section("Other sites")
	t.none(len(t.Sites), "No other site is known here.")
	for _, s := range t.Sites {
		t.item(s.Code+": ", strings.Join(s.told(t.dayReport), "; "))
	}
	for _, l := range t.Late {
		t.item("came late: ", fmt.Sprintf("%s of %s reached this site on this day: see pulk report day --date %s", plural(l.Changes, "change", "changes"), l.Date, l.Date))
	}
}

// told says how far a site is, in words.
func (s *daySite) told(r *dayReport) []string {
	var parts []string
	if !s.Trusted {
		parts = append(parts, "NOT TRUSTED here yet")
	}
	if s.NewestAt == nil {
		parts = append(parts, "nothing of it is here")
	} else {
		parts = append(parts, fmt.Sprintf("newest of it here was written %s, %s before this report (%s)", r.fullMoment(*s.NewestAt), s.age(), plural(int(s.Here), "change-set", "change-sets")))
	}
	if s.HeardAt == nil {
		parts = append(parts, "no bundle of it was ever taken here")
	} else {
		parts = append(parts, "last bundle taken "+r.fullMoment(*s.HeardAt))
	}
	parts = append(parts, plural(int(s.Waiting), "change-set waits here for it", "change-sets wait here for it"))
	if s.Lacking > 0 {
		parts = append(parts, fmt.Sprintf("it has %d that are not here", s.Lacking))
	}
	for _, gap := range s.Gaps {
		parts = append(parts, "MISSING "+gap)
	}
	if off := s.clockOff(); off != "" {
		parts = append(parts, "CLOCK: "+off)
	}
	return parts
}

func (t *dayText) counts() {
	t.section("Counts of the day")
	n := &t.Counts
	people := "nobody"
	if len(n.People) > 0 {
		people = strings.Join(n.People, ", ")
	}
	t.put("", fmt.Sprintf("%s by %s: %s.", plural(n.Changes, "change", "changes"), people, strings.Join(n.told(), ", ")))
	var sites []string
	for code, count := range n.Sites {
		sites = append(sites, fmt.Sprintf("%s %d", code, count))
	}
	slices.Sort(sites)
	if len(sites) > 0 {
		t.put("", "Written at: "+strings.Join(sites, ", ")+".")
	}
}

// told lists the counts in words.
func (n *dayCounts) told() []string {
	return []string{
		plural(n.Checks, "check", "checks"), fmt.Sprintf("%s (%d outside limits)", plural(n.Readings, "reading", "readings"), n.Failed),
		plural(n.Records, "record", "records"), plural(n.Notes, "note", "notes"), plural(n.SignOffs, "sign-off", "sign-offs"),
		plural(n.Voids, "void", "voids"), plural(n.Raised, "nonconformance raised", "nonconformances raised"), fmt.Sprintf("%d decided", n.Decided),
		plural(n.Movements, "movement", "movements"), plural(n.Units, "change of units", "changes of units"), plural(n.Others, "other", "others"),
	}
}
