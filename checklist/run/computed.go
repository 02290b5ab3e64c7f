package run

import (
	"fmt"
	"math/big"
	"slices"

	"pulk/checklist/limit"
	"pulk/checklist/procedure"
	"pulk/checklist/ucum"
	"pulk/schema/decimal"
	"pulk/schema/kind"
	"pulk/sync/clock"
)

// Fact is a value that was told of the run's target or place, and what its author
// knew.
type Fact struct {
	Dot  clock.Dot
	Ctx  clock.Context
	Text string // a decimal, or empty where it was taken back
}

// Facts are all that was told for one input of formulas, by those whose it may be: the
// place of the run before the place around it.
type Facts struct {
	Levels  [][]Fact
	Missing string // why there is nobody whose it may be; or empty
}

// context returns what the author of a fact knew; false where it is none of these.
func (f Facts) context(d clock.Dot) (clock.Context, bool) {
	for _, level := range f.Levels {
		for _, fact := range level {
			if fact.Dot == d {
				return fact.Ctx, true
			}
		}
	}
	return clock.Context{}, false
}

// Bounds are the limits that a reading is judged by.
type Bounds struct {
	limit.Limits
	Worked []procedure.Worked // how those that are worked out came about
	From   []string           // the values put in, each with where it is from: "length 12.4 km (step 30)"
	// Why says why the limits cannot be worked out, or why a reading that was judged by
	// them does not count any more; nothing is judged then. Empty where they are known.
	Why string
}

// Bounds returns the limits of a reading step for whoever reads now.
func (s *State) Bounds(n int) Bounds { return s.all.bounds(n, nil) }

// BoundsOf returns the limits that a reading is judged by.
func (s *State) BoundsOf(e *Entry) Bounds { return s.all.bounds(e.Step, e) }

// bounds returns the limits of step n for a reading e, or for one that is about to be
// taken where e is nil or not written yet. Readings of other steps that they are worked
// out from are those that e's author knew: what was measured later, under other
// conditions, is no measure for e. If one of them does not count any more, e cannot
// count either. What is told of target and place is taken as the view has it: it is
// about the same thing whenever it is told.
func (v *view) bounds(n int, e *Entry) Bounds {
	step := v.step(n)
	if e != nil && n == Elsewhere {
		step = v.own(e)
	}
	if step == nil || step.Reading == nil {
		return Bounds{}
	}
	if step.Reading.Computed == nil {
		return Bounds{Limits: step.Reading.Limits}
	}
	if n == Elsewhere {
		return Bounds{Limits: step.Reading.Limits, Why: "its limits were worked out on another revision"}
	}
	key := boundsKey{step: n}
	if e != nil {
		key.dot = e.Dot
	}
	if known, ok := v.known[key]; ok {
		return known
	}
	b := v.workOut(step.Reading, e)
	v.known[key] = b
	return b
}

// boundsKey names what bounds were worked out for: a reading, or who reads now.
type boundsKey struct {
	step int
	dot  clock.Dot
}

func (v *view) workOut(r *procedure.Reading, e *Entry) Bounds {
	b := Bounds{Limits: r.Limits}
	values := map[string]decimal.Decimal{}
	for _, name := range r.Computed.Uses() {
		in := v.Procedure.Input(name)
		value, from, why := v.input(in, e)
		if why != "" {
			b.Why = why
			return b
		}
		values[name] = value
		b.From = append(b.From, fmt.Sprintf("%s %s %s (%s)", name, value, in.Unit, from))
	}
	limits, worked, err := r.LimitsAt(values)
	if err != nil {
		b.Why = err.Error()
		return b
	}
	b.Limits, b.Worked = limits, worked
	return b
}

// input returns the value of an input for a reading, in its unit, and where it is from.
// Where there is none it says why.
func (v *view) input(in *procedure.Input, e *Entry) (value decimal.Decimal, from, why string) {
	switch {
	case in.Value != nil:
		from = in.Source
		if from == "" {
			from = "the procedure"
		}
		return *in.Value, from, ""
	case in.Step != "":
		n, ok := v.Procedure.StepIndex(in.Step)
		if !ok {
			return value, "", "there is no step " + in.Step
		}
		value, why = v.readingFor(n, e)
		return value, "step " + in.Step, why
	}
	whose, kept := "the target", procedure.TargetData[in.Target]
	if in.Place != "" {
		whose, kept = "the place", procedure.PlaceData[in.Place]
	} else if in.Slot != "" {
		whose = "slot " + in.Slot
	}
	text, why := v.told(v.Facts[in.Name])
	if why != "" {
		return value, "", fmt.Sprintf("needs the %s of %s: %s", in.Target+in.Place, whose, why)
	}
	value, err := inUnit(text, kept, in.Unit)
	if err != nil {
		return value, "", fmt.Sprintf("the %s of %s: %v", in.Target+in.Place, whose, err)
	}
	return value, whose, ""
}

// inUnit reads a decimal kept in one unit and tells it in another.
func inUnit(text, kept, wanted string) (decimal.Decimal, error) {
	value, err := decimal.Parse(text)
	if err != nil || kept == wanted {
		return value, err
	}
	from, err := ucum.Parse(kept)
	if err != nil {
		return value, err
	}
	to, err := ucum.Parse(wanted)
	if err != nil {
		return value, err
	}
	return ucum.Convert(value, from, to)
}

// told returns what is told by the nearest of those who may tell it, as the view sees
// it.
func (v *view) told(f Facts) (text, why string) {
	if f.Missing != "" {
		return "", f.Missing
	}
	for _, level := range f.Levels {
		var texts []string
		for _, fact := range level {
			replaced := slices.ContainsFunc(level, func(other Fact) bool { return v.sees(other.Dot) && other.Ctx.Has(fact.Dot) })
			if v.sees(fact.Dot) && !replaced && !slices.Contains(texts, fact.Text) {
				texts = append(texts, fact.Text)
			}
		}
		switch {
		case len(texts) > 1:
			slices.Sort(texts)
			return "", fmt.Sprintf("sites disagree about it, %s: settle that first", texts)
		case len(texts) == 1 && texts[0] != "":
			return texts[0], ""
		}
	}
	return "", "it is not told yet"
}

// readingFor returns the reading of step n that e is judged with: the mean of the last
// as many as the step asks for that its author knew.
func (v *view) readingFor(n int, e *Entry) (decimal.Decimal, string) {
	step := v.step(n)
	first := needsReading(step.ID)
	fresh := e == nil || e.Dot.IsZero()
	if fresh && !v.done(n) {
		return decimal.Decimal{}, first
	}
	used := v.knownReadings(n, e, fresh)
	repeat := max(1, step.Reading.Repeat)
	if len(used) < repeat {
		return decimal.Decimal{}, first
	}
	used = used[len(used)-repeat:]
	for _, in := range used {
		if void := v.voided[in.Dot]; void != nil {
			return decimal.Decimal{}, fmt.Sprintf("it stood on the reading %s of step %s, which was voided: %s", in.Value, step.ID, void.Text)
		}
		if !v.stands(in) {
			return decimal.Decimal{}, fmt.Sprintf("it stood on the reading %s of step %s, which does not count any more", in.Value, step.ID)
		}
	}
	mean, err := meanOf(used)
	if err != nil {
		return decimal.Decimal{}, fmt.Sprintf("the reading of step %s: %v", step.ID, err)
	}
	return mean, ""
}

func needsReading(id string) string { return fmt.Sprintf("needs the reading of step %s first", id) }

// knownReadings returns the readings of step n that the author of e knew and had not
// seen voided, by time.
func (v *view) knownReadings(n int, e *Entry, fresh bool) []*Entry {
	var list []*Entry
	for i := range v.Entries {
		in := &v.Entries[i]
		if in.Kind != kind.StepReading || in.Step != n || !v.sees(in.Dot) {
			continue
		}
		void := v.voided[in.Dot]
		if fresh && (void != nil || !v.stands(in)) {
			continue
		}
		if !fresh && (!e.Ctx.Has(in.Dot) || void != nil && e.Ctx.Has(void.Dot)) {
			continue
		}
		list = append(list, in)
	}
	sortByTime(list)
	return list
}

// stands reports whether a reading does its step as things are in the view: it counts
// or is accepted as it is, and nothing has the step done again after it.
func (v *view) stands(e *Entry) bool {
	if !v.counts(e) && (len(v.ncsOf(e)) == 0 || v.handled(e) != accepted) {
		return false
	}
	return !slices.ContainsFunc(v.toRedo(e.Step), func(d clock.Dot) bool { return !e.Ctx.Has(d) })
}

// meanOf returns the mean of readings, with two digits more than the finest of several.
func meanOf(entries []*Entry) (decimal.Decimal, error) {
	if len(entries) == 1 {
		return entries[0].Value, nil
	}
	sum, scale := new(big.Rat), uint8(0)
	for _, e := range entries {
		sum.Add(sum, e.Value.Rat())
		scale = max(scale, e.Value.Scale)
	}
	sum.Quo(sum, big.NewRat(int64(len(entries)), 1))
	return decimal.FromRat(sum, min(int(scale)+2, decimal.MaxScale))
}

// unjudged reports what speaks against going on where a reading that was taken is not
// judged, as what its limits are worked out from is not there or does not count: its
// step is to be done again, as with a void.
func (v *view) unjudged(e *Entry, gate int) (Adverse, bool) {
	if e.Kind != kind.StepReading || e.Step < 0 || e.Step >= gate {
		return Adverse{}, false
	}
	why := v.bounds(e.Step, e).Why
	if why == "" {
		return Adverse{}, false
	}
	return Adverse{Dot: e.Dot, Ctx: e.Ctx, Why: fmt.Sprintf("step %s: %s does not count: %s", v.ownID(e), e.Value, why),
		settled: func(seen *view) bool { return seen.done(e.Step) }}, true
}
