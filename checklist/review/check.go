package review

import (
	"fmt"
	"slices"
	"strings"
	"time"

	"pulk/checklist/procedure"
)

// Check is one thing that must be true, as far as data can tell. Evaluate takes the
// facts as a site has them and says how it came out, in words that do not change while
// what they tell of does not: a text with the minutes left would be another fact each
// minute, and nobody could waive it.
type Check interface {
	// Name is what people type and what travels; it stays.
	Name() string
	// About says in a few words what the check asks.
	About() string
	Evaluate(f *Facts) Finding
}

// Finding is how a check came out.
type Finding struct {
	Name    string
	Outcome Outcome
	Facts   string
	Source  string    // where the facts come from, in words
	Until   time.Time // how long it may be relied on; zero where time changes nothing
}

// Same reports whether two findings say the same.
func (f Finding) Same(fact Fact) bool {
	return f.Name == fact.Key.Name && f.Outcome == fact.Outcome && f.Facts == fact.Text && f.Source == fact.Source && f.Until.Equal(fact.Until)
}

// Facts is what a site knows when checks are worked out. Each check reads its own part
// of it; a new check adds a field, and a line to [Checks].
type Facts struct {
	Now      time.Time
	Form     *procedure.Review
	Units    []Unit   // the run's target and what is installed in it
	NCs      []NC     // of the run and of those units
	Open     []string // ids of steps before the hold point that are not done
	Revision Revision
	People   []RoleNeed // what the steps from the hold point on ask for
	Parts    []PartNeed // the same
	Outdoors *Outdoors  // nil where no step ahead is outdoors
	Care     []CareNeed // the same, of those that ask for rest or clearances
	// Instruments are what the steps from the hold point on measure with.
	Instruments []InstrumentNeed
	Slots       *Slots // of the run's target; nil where it has no plan
	Place       string // where the run is, a location's code; empty where the run names none
	Last        Transport
	Asked       []string // urgent questions about the run or its units that nobody has answered
}

// Evaluate works all checks out.
func Evaluate(f *Facts) []Finding {
	var list []Finding
	for _, check := range Checks() {
		list = append(list, check.Evaluate(f))
	}
	return list
}

// Checks returns every check, in the order in which a review shows them.
func Checks() []Check { return checks }

// CheckByName returns a check; nil for one that this program does not know.
func CheckByName(name string) Check {
	for _, check := range checks {
		if check.Name() == name {
			return check
		}
	}
	return nil
}

var checks = []Check{
	check{"steps", "every step before the hold point is done", steps},
	check{"units", "the target and all that is installed in it is accepted and in date", units},
	check{"slots", "every slot of the target that no step ahead fills is as planned", slots},
	check{"faults", "every nonconformance of the run and of its units is disposed of", faults},
	check{"revision", "the run is on the current revision of its procedure, or it was said why it stays", revision},
	check{"people", "people hold the roles that the steps ahead ask for", people},
	check{"cleared", "somebody with its role may do each step ahead: rest, trainings, clearances", cleared},
	check{"weather", "the weather allows the steps ahead that are outdoors", weather},
	check{"parts", "what the steps ahead use lies at the place, in date", parts},
	check{"instruments", "what the steps ahead measure with lies at the place, in calibration", instruments},
	check{"transport", "time is left before the last transport", transport},
	check{"asked", "no urgent question about the run or its units is open", asked},
}

// NotWaived lists the checks that no waiver covers: a fault is disposed of, with a
// reason, by who may (pulk nc dispose), and a step is done.
func NotWaived(name string) (hint string, ok bool) {
	hint, ok = map[string]string{
		"steps":  "do the steps; what shows otherwise is a nonconformance, and disposed of: pulk nc raise, pulk nc dispose",
		"faults": "dispose of each: pulk nc dispose; use-as-is is the way to go on with a fault",
	}[name]
	return hint, ok
}

// check is a check that is told by a function.
type check struct {
	name, about string
	evaluate    func(f *Facts) Finding
}

func (c check) Name() string  { return c.name }
func (c check) About() string { return c.about }

func (c check) Evaluate(f *Facts) Finding {
	finding := c.evaluate(f)
	finding.Name = c.name
	return finding
}

// bad says what is wrong, if anything is; else good.
func bad(wrong []string, good, source string) Finding {
	if len(wrong) > 0 {
		return Finding{Outcome: NotOK, Facts: strings.Join(wrong, "; "), Source: source}
	}
	return Finding{Outcome: OK, Facts: good, Source: source}
}

func steps(f *Facts) Finding {
	const source = "the run's record"
	if len(f.Open) == 0 {
		return bad(nil, "all done", source)
	}
	return bad([]string{"not done: step " + few(f.Open)}, "", source)
}

// few names at most five things.
func few(list []string) string {
	const most = 5
	if len(list) <= most {
		return strings.Join(list, ", ")
	}
	return fmt.Sprintf("%s and %d more", strings.Join(list[:most], ", "), len(list)-most)
}

// plural says a number of things.
func plural(n int, one, many string) string {
	if n == 1 {
		return "1 " + one
	}
	return fmt.Sprintf("%d %s", n, many)
}

func asked(f *Facts) Finding {
	var wrong []string
	if len(f.Asked) > 0 {
		wrong = append(wrong, "open: "+few(f.Asked))
	}
	return bad(wrong, "none open", "pulk ask list")
}

// Revision is how the run's revision stands.
type Revision struct {
	Run     string // that of the run
	Current string // the latest one that is here and was not withdrawn; empty where there is none
	// Contested says why no current revision can be named, or is empty.
	Contested string
	Withdrawn string // why the run's was withdrawn; empty if it was not
	Stays     string // who said that the run stays where it is though the current one is here, and why; or empty
}

func revision(f *Facts) Finding {
	r, source := f.Revision, "the revisions that are here"
	switch {
	case r.Withdrawn != "":
		return bad([]string{"revision " + r.Run + " was withdrawn: " + r.Withdrawn}, "", source)
	case r.Contested != "":
		return Finding{Outcome: NotKnown, Facts: r.Contested, Source: source}
	case r.Run != r.Current && r.Stays != "":
		return bad(nil, fmt.Sprintf("on revision %s beside %s, as %s", r.Run, r.Current, r.Stays), source)
	case r.Run != r.Current:
		return bad([]string{fmt.Sprintf("the run is on revision %s; the current one is %s", r.Run, r.Current)}, "", source)
	}
	return bad(nil, "on revision "+r.Run+", the latest that is here", source)
}

// NC is a nonconformance that bears on the run.
type NC struct {
	ID    string
	Text  string
	Open  bool
	Scrap bool
}

func faults(f *Facts) Finding {
	var wrong []string
	for _, nc := range f.NCs {
		switch {
		case nc.Open:
			wrong = append(wrong, nc.ID+" is open: "+nc.Text)
		case nc.Scrap:
			wrong = append(wrong, nc.ID+" was decided scrap: "+nc.Text)
		}
	}
	good := "none raised"
	if n := len(f.NCs); n > 0 {
		good = plural(n, "raised, disposed of", "raised, all disposed of")
	}
	return bad(wrong, good, "pulk nc list, of the run and its units")
}

// Transport is the last transport from the run's place.
type Transport struct {
	Day       string // YYYY-MM-DD; empty where none is told
	Place     string // of which it is told
	Contested bool   // sites told different days
}

func transport(f *Facts) Finding {
	want := f.Form.TransportDays
	const source = "pulk location list"
	if want == 0 {
		return Finding{Outcome: OK, Facts: "the procedure asks for no days in hand", Source: source}
	}
	asks := fmt.Sprintf("; %s in hand are asked for", plural(int(want), "day", "days"))
	if f.Place == "" {
		return Finding{Outcome: NotKnown, Facts: "the run names no place" + asks, Source: source}
	}
	if f.Last.Contested {
		return Finding{Outcome: NotKnown, Facts: "sites told different days for the last transport from " + f.Last.Place + asks, Source: source}
	}
	day, err := time.Parse(time.DateOnly, f.Last.Day)
	if err != nil {
		return Finding{Outcome: NotKnown, Facts: "no last transport from " + f.Place + " is told" + asks, Source: source}
	}
	facts := fmt.Sprintf("the last transport from %s leaves %s%s", f.Last.Place, f.Last.Day, asks)
	// The day itself does not count as one in hand: nobody knows its hour.
	until := day.Add(-time.Duration(want) * 24 * time.Hour)
	if !f.Now.Before(until) {
		return Finding{Outcome: NotOK, Facts: facts, Source: source}
	}
	return Finding{Outcome: OK, Facts: facts, Source: source, Until: until}
}

// RoleNeed is a role that steps ahead ask for.
type RoleNeed struct {
	Role   string
	People int      // how many different people, at the most in one step
	Held   []string // codes of people who hold it
}

func people(f *Facts) Finding {
	var wrong, good []string
	for _, need := range f.People {
		text := fmt.Sprintf("%s: %d of %d", need.Role, len(need.Held), need.People)
		if len(need.Held) < need.People {
			wrong = append(wrong, text)
		} else {
			good = append(good, need.Role+" "+few(need.Held))
		}
	}
	if len(f.People) == 0 {
		good = append(good, "the steps ahead ask for no role")
	}
	return bad(wrong, strings.Join(good, "; "), "pulk person list")
}

// Unit is a unit that goes where the run goes.
type Unit struct {
	Name      string // serial
	State     string
	Ready     bool   // accepted or released
	Expires   string // YYYY-MM-DD, the last good day of its lot; empty where it has none
	Contested bool   // sites say different things of its state or place
}

func units(f *Facts) Finding {
	var wrong, unsure []string
	var until time.Time
	for _, u := range f.Units {
		expires, err := time.Parse(time.DateOnly, u.Expires)
		last := expires.Add(24 * time.Hour)
		switch {
		case !u.Ready:
			wrong = append(wrong, u.Name+" is "+u.State)
		case u.Contested:
			unsure = append(unsure, "sites disagree on "+u.Name)
		case err == nil && !f.Now.Before(last):
			wrong = append(wrong, u.Name+" expired "+u.Expires)
		case err == nil && (until.IsZero() || last.Before(until)):
			until = last
		}
	}
	const source = "pulk unit list"
	switch {
	case len(wrong) > 0:
		return bad(wrong, "", source)
	case len(unsure) > 0:
		return Finding{Outcome: NotKnown, Facts: strings.Join(unsure, "; "), Source: source}
	case len(f.Units) == 0:
		return Finding{Outcome: OK, Facts: "the run has no target", Source: source}
	}
	return Finding{Outcome: OK, Facts: plural(len(f.Units), "unit", "units") + ", accepted or released, in date", Source: source, Until: until}
}

// PartNeed is a part that steps ahead use.
type PartNeed struct {
	Part    string
	Need    int64  // in the unit of issue
	Have    int64  // in date, at the place and the places within
	Expires string // YYYY-MM-DD, the last good day on which there is enough; empty where that does not end
	Known   bool   // the catalogue has it
	Unit    string // of issue
}

func parts(f *Facts) Finding {
	const source = "the procedure's parts and pulk stock list"
	if len(f.Parts) == 0 {
		return Finding{Outcome: OK, Facts: "the steps ahead use no parts", Source: source}
	}
	if f.Place == "" {
		return Finding{Outcome: NotKnown, Facts: "the run names no place, so nobody can say what lies there", Source: source}
	}
	var wrong []string
	var until time.Time
	for _, p := range f.Parts {
		switch {
		case !p.Known:
			wrong = append(wrong, p.Part+" is not in the catalogue")
		case p.Have < p.Need:
			wrong = append(wrong, fmt.Sprintf("%s: %d of %d %s", p.Part, max(p.Have, 0), p.Need, p.Unit))
		default:
			if day, err := time.Parse(time.DateOnly, p.Expires); err == nil && (until.IsZero() || day.Add(24*time.Hour).Before(until)) {
				until = day.Add(24 * time.Hour)
			}
		}
	}
	slices.Sort(wrong)
	finding := bad(wrong, plural(len(f.Parts), "part", "parts")+" at "+f.Place+", enough of each", source)
	if finding.Outcome == OK {
		finding.Until = until
	}
	return finding
}
