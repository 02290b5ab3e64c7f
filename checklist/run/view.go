package run

import (
	"slices"

	"pulk/checklist/procedure"
	"pulk/checklist/review"
	"pulk/schema/kind"
	"pulk/sync/clock"
)

// view is a record as seen through a filter: everything, or what one author knew.
// All rules are asked of a view, so that "what stands" and "what the signer had
// seen" are the same code.
type view struct {
	*Record
	sees   func(clock.Dot) bool
	voided map[clock.Dot]*Entry // entry that is voided, and the void
	books  map[int]*review.Book // what was said in the review of a gate, once read
	known  map[boundsKey]Bounds // limits that were worked out
}

func (r *Record) through(sees func(clock.Dot) bool) *view {
	v := &view{Record: r, sees: sees, voided: map[clock.Dot]*Entry{}, books: map[int]*review.Book{}, known: map[boundsKey]Bounds{}}
	byDot := map[clock.Dot]*Entry{}
	for i := range r.Entries {
		byDot[r.Entries[i].Dot] = &r.Entries[i]
	}
	for i := range r.Entries {
		e := &r.Entries[i]
		if e.Kind == kind.Void && sees(e.Dot) {
			if target := byDot[e.Ref]; target != nil && voidable(target.Kind) {
				v.voided[e.Ref] = e
			}
		}
	}
	return v
}

func (r *Record) whole() *view { return r.through(func(clock.Dot) bool { return true }) }

// Voided returns the entries that were voided.
func (r *Record) Voided() map[clock.Dot]bool {
	voided := map[clock.Dot]bool{}
	for dot := range r.whole().voided {
		voided[dot] = true
	}
	return voided
}

// voidable reports whether entries of a kind can be voided. A nonconformance is
// ended by its disposition, a disposition by another, so neither is.
func voidable(k *kind.Kind) bool { return isStepEntry(k) || isReviewWord(k) || k == kind.RunNote }

func isStepEntry(k *kind.Kind) bool {
	switch k {
	case kind.StepCheck, kind.StepReading, kind.StepRecord, kind.StepBegin, kind.StepSign:
		return true
	}
	return false
}

// entries returns what the view sees of a kind at a step, voided ones left out.
func (v *view) entries(k *kind.Kind, step int) []*Entry {
	var list []*Entry
	for i := range v.Entries {
		e := &v.Entries[i]
		if e.Kind == k && (step == anyStep || e.Step == step) && v.sees(e.Dot) && v.voided[e.Dot] == nil {
			list = append(list, e)
		}
	}
	return list
}

const anyStep = -2

func (r *Record) step(n int) *procedure.Step {
	if r.Procedure == nil || n < 0 || n >= len(r.Procedure.Steps) {
		return nil
	}
	return &r.Procedure.Steps[n]
}

// failing reports whether an entry shows that something is not as it must be: a
// reading outside its limits, or a no. One that is inside and does not count, as its
// instrument was out of calibration, shows nothing.
func (v *view) failing(e *Entry) bool {
	switch e.Kind {
	case kind.StepReading:
		return v.judge(e).Outcome.Bad()
	case kind.StepCheck:
		return e.Answer != 0
	}
	return false
}

// disposition returns how a nonconformance was disposed: false where it was not,
// where dispositions that had not seen each other differ, or where it is one of a
// newer program: what is not understood decides nothing.
func (v *view) disposition(nc *Entry) (Disposition, []*Entry, bool) {
	last := v.lastDispositions(nc)
	if len(last) == 0 {
		return 0, nil, false
	}
	for _, e := range last {
		if e.Disposition != last[0].Disposition {
			return 0, last, false
		}
	}
	if _, known := dispositionNames[last[0].Disposition]; !known {
		return 0, last, false
	}
	return last[0].Disposition, last, true
}

// lastDispositions returns the dispositions of a nonconformance that no other one
// had seen.
func (v *view) lastDispositions(nc *Entry) []*Entry {
	all := v.entries(kind.NCDispose, anyStep)
	all = slices.DeleteFunc(all, func(e *Entry) bool { return e.Ref != nc.Dot })
	return slices.DeleteFunc(slices.Clone(all), func(e *Entry) bool {
		return slices.ContainsFunc(all, func(other *Entry) bool { return other.Ctx.Has(e.Dot) })
	})
}

// ncsOf returns the nonconformances that a failing entry caused.
func (v *view) ncsOf(cause *Entry) []*Entry {
	return slices.DeleteFunc(v.entries(kind.NCRaise, anyStep), func(e *Entry) bool { return e.Ref != cause.Dot })
}

// handling is what became of a failing entry.
type handling int

const (
	undisposed handling = iota
	setAside            // rework or repair: the step is to be done again
	accepted            // use as is
	scrapped
)

// handled returns what became of a failing entry, by all its nonconformances.
func (v *view) handled(e *Entry) handling {
	ncs := v.ncsOf(e)
	if len(ncs) == 0 {
		return undisposed
	}
	result := accepted
	for _, nc := range ncs {
		d, _, ok := v.disposition(nc)
		switch {
		case !ok:
			return undisposed
		case d == Scrapped:
			result = scrapped
		case result == scrapped:
		case d == Rework || d == Repair:
			result = setAside
		}
	}
	return result
}

// done reports whether a step is done as the revision asks for, in this view.
func (v *view) done(n int) bool {
	step := v.step(n)
	if step == nil {
		return false
	}
	switch step.Kind {
	case procedure.KindHold, procedure.KindWitness:
		return v.gate(n).Open
	case procedure.KindRecord:
		return v.enough(n, kind.StepRecord, 1)
	case procedure.KindReading:
		return v.enough(n, kind.StepReading, max(1, step.Reading.Repeat))
	}
	return v.enough(n, kind.StepCheck, 1)
}

// enough reports whether a step has as many good entries of a kind as it needs, and
// no failing one that is not settled.
func (v *view) enough(n int, k *kind.Kind, need int) bool {
	good, settled := v.good(n, k)
	return settled && len(good) >= need
}

// good returns the entries of a kind that do a step: those that count, or are used as
// they are, each made by someone who knew of all that has the step done again. It also
// reports whether all that fails is settled.
func (v *view) good(n int, k *kind.Kind) (good []*Entry, settled bool) {
	aside := v.toRedo(n)
	settled = true
	for _, e := range v.entries(k, n) {
		if v.counts(e) {
			good = append(good, e)
			continue
		}
		if !v.failing(e) && len(v.ncsOf(e)) == 0 {
			continue // nobody asked for it to be used as it is
		}
		switch v.handled(e) {
		case accepted:
			good = append(good, e)
		case setAside:
			aside = append(aside, e.Dot)
		default:
			settled = false
		}
	}
	return slices.DeleteFunc(good, func(e *Entry) bool {
		return slices.ContainsFunc(aside, func(d clock.Dot) bool { return !e.Ctx.Has(d) })
	}), settled
}

// toRedo returns the nonconformances at a step that are disposed as rework or
// repair. Not all come from a failing entry: a person can raise one at a step that
// was checked off as good.
func (v *view) toRedo(n int) []clock.Dot {
	var list []clock.Dot
	for _, nc := range v.entries(kind.NCRaise, n) {
		if d, _, ok := v.disposition(nc); ok && (d == Rework || d == Repair) {
			list = append(list, nc.Dot)
		}
	}
	return list
}
