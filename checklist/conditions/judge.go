package conditions

import (
	"fmt"
	"slices"
	"strconv"
	"strings"
	"time"

	"pulk/checklist/crew"
	"pulk/checklist/exposure"
	"pulk/checklist/procedure"
	"pulk/schema/kind"
	"pulk/sync/change"
	"pulk/sync/changelog"
	"pulk/sync/clock"
)

// Ask is who would do a step, where and when.
type Ask struct {
	Step     *procedure.Step
	Location clock.Dot    // of the run, or none
	Person   *crew.Person // nil: nobody that is known here
	Now      time.Time
}

// Judgement says whether somebody may do a step.
type Judgement struct {
	Allowed Allowed // by what, where they may
	Stops   []exposure.Stop
	Hints   []string // what to do about the stops
	Advice  []exposure.Advice
}

// JudgePlace says whether anybody may do a step outdoors at a place now: of what depends
// on who it is nothing is asked.
func JudgePlace(tx *changelog.Tx, ask Ask) (*Judgement, error) {
	j := &Judgement{Allowed: Allowed{FrostbiteMinutes: -1, WorkMinutes: -1}}
	return j, j.outdoors(tx, ask)
}

// Asked reports whether a step asks for any conditions.
func Asked(step *procedure.Step) bool { return step.Outdoor || step.Heavy || len(step.Needs) > 0 }

// Judge says whether somebody may do a step now.
func Judge(tx *changelog.Tx, ask Ask) (*Judgement, error) {
	j := &Judgement{Allowed: Allowed{FrostbiteMinutes: -1, WorkMinutes: -1}}
	for _, part := range []struct {
		asked bool
		judge func(*changelog.Tx, Ask) error
	}{{ask.Step.Outdoor, j.outdoors}, {ask.Step.Heavy, j.rest}, {len(ask.Step.Needs) > 0, j.needs}} {
		if !part.asked {
			continue
		}
		if err := part.judge(tx, ask); err != nil {
			return nil, err
		}
	}
	return j, nil
}

func (j *Judgement) stop(hint, source, format string, args ...any) {
	j.Stops = append(j.Stops, exposure.Stop{Text: fmt.Sprintf(format, args...), Source: source})
	j.Hints = append(j.Hints, hint)
}

const houseRule = "rule of this procedure"

func (j *Judgement) outdoors(tx *changelog.Tx, ask Ask) error {
	if ask.Location.IsZero() {
		j.stop("start the run with its place: pulk run start --at", houseRule, "the step is outdoors and the run names no place, so no weather of it is known")
		return nil
	}
	w, err := At(tx, ask.Location, ask.Now)
	if err != nil {
		return err
	}
	if w == nil {
		j.stop("enter the weather: pulk weather add PLACE --temperature -31.5 --wind 7.5", houseRule, "no weather that still counts is entered at the place of the run")
		return nil
	}
	o := exposure.JudgeOutdoors(w.Air(), ask.Step.Heavy)
	for _, s := range o.Stops {
		j.stop("wait for other weather and read it again: pulk weather add", s.Source, "%s (weather %s, read %s, counts until %s)", s.Text, tx.Name(w.ID), hour(w.At), hour(w.Until()))
	}
	j.Advice = append(j.Advice, o.Advice...)
	j.Allowed.Weather, j.Allowed.WeatherID = w, w.ID
	if o.HasIndex {
		j.Allowed.WindChill = strconv.FormatFloat(o.Index, 'f', 1, 64)
	}
	if o.Band.Freezes() {
		j.Allowed.FrostbiteMinutes = int64(o.Band.From)
	}
	if o.Schedule && o.Period.Minutes > 0 {
		j.Allowed.WorkMinutes = int64(o.Period.Minutes)
	}
	return nil
}

func hour(t time.Time) string { return t.UTC().Format("2006-01-02 15:04Z") }

// lowMetres is the height up to which no rest is asked for.
const lowMetres = 2500

func (j *Judgement) rest(tx *changelog.Tx, ask Ask) error {
	j.Allowed.Rested = true
	stays, err := staysOf(tx, ask)
	if err != nil {
		return err
	}
	if len(stays) == 0 {
		metres, known, err := Elevation(tx, ask.Location)
		if err != nil || known && metres.Float64() < lowMetres {
			return err
		}
		j.stop("enter the arrival: pulk person arrive PERSON --at PLACE", houseRule,
			"the step is heavy work, and %s has no arrival that is known here", personCode(ask.Person))
		return nil
	}
	rest := exposure.RestAfter(stays)
	for _, s := range rest.Stops {
		j.stop("ask medical staff", s.Source, "%s", s.Text)
	}
	if len(rest.Stops) == 0 && !rest.Over(ask.Now) {
		last := stays[len(stays)-1]
		j.stop("let somebody do it who has had their rest, or wait", exposure.RestSource, "%s came to %d m on %s: no heavy work before %s", personCode(ask.Person), last.Metres, hour(last.From), hour(rest.Until))
	}
	return nil
}

func personCode(p *crew.Person) string {
	if p == nil {
		return "whoever did it"
	}
	return p.Code
}

func staysOf(tx *changelog.Tx, ask Ask) ([]exposure.Stay, error) {
	if ask.Person == nil {
		return nil, nil
	}
	return Stays(tx, ask.Person.ID, ask.Now)
}

// Stays returns where a person came to sleep up to a time, in the order of the times.
func Stays(tx *changelog.Tx, person clock.Dot, now time.Time) ([]exposure.Stay, error) {
	list, err := crew.Arrivals(tx, person)
	var stays []exposure.Stay
	for _, a := range list {
		if !a.At.After(now) {
			stays = append(stays, exposure.Stay{Metres: a.HeightMetres, From: a.At})
		}
	}
	return stays, err
}

func (j *Judgement) needs(tx *changelog.Tx, ask Ask) error {
	var list []crew.Clearance
	var err error
	if ask.Person != nil {
		if list, err = crew.Clearances(tx, ask.Person.ID); err != nil {
			return err
		}
	}
	j.Allowed.Needs = ask.Step.Needs
	_, lacks := crew.Holding(list, ask.Step.Needs, ask.Now)
	if len(lacks) == 0 {
		return nil
	}
	named, err := tx.Named(tx.Self().Site)
	if err != nil {
		return err
	}
	hint := "let somebody do it who has them, or let whoever may enter them: pulk clearance set"
	if !named {
		hint += "; what was entered elsewhere comes to named sites only, and this is none: pulk site list"
	}
	j.stop(hint, houseRule, "the step needs %s, which %s does not have here today", strings.Join(lacks, ", "), personCode(ask.Person))
	return nil
}

// Reasons says the stops in words, each with its source.
func (j *Judgement) Reasons() []string {
	var list []string
	for _, s := range j.Stops {
		list = append(list, s.Text+" ["+s.Source+"]")
	}
	return list
}

// Hint says what to do about the stops.
func (j *Judgement) Hint() string {
	return strings.Join(slices.Compact(slices.Clone(j.Hints)), "; ") + ". Nobody can set this aside here. " + strings.ToUpper(exposure.Decides[:1]) + exposure.Decides[1:]
}

// Warnings says why a step must not be done now, then what to heed.
func (j *Judgement) Warnings() []string {
	list := []string{}
	for _, reason := range j.Reasons() {
		list = append(list, "NOT NOW: "+reason)
	}
	return append(list, j.Cautions()...)
}

// Cautions says what to heed, each with its source and range, and who decides.
func (j *Judgement) Cautions() []string {
	var list []string
	for _, a := range j.Advice {
		list = append(list, fmt.Sprintf("%s [%s; %s]. %s%s.", a.Text, a.Source, a.Range, strings.ToUpper(exposure.Decides[:1]), exposure.Decides[1:]))
	}
	return list
}

// Change returns what is written beside an entry about step n of a run.
func (a *Allowed) Change(run clock.Dot, n int) change.Change {
	rested := int64(0)
	if a.Rested {
		rested = 1
	}
	return change.New(kind.StepConditions, change.Ref(run), change.Num(int64(n)), change.Ref(a.WeatherID), change.Text(a.WindChill),
		change.Num(a.FrostbiteMinutes), change.Num(a.WorkMinutes), change.Num(rested), change.Text(strings.Join(a.Needs, " ")))
}

func splitCodes(text string) []string { return strings.Fields(text) }
