package run

import (
	"pulk/checklist/conditions"
	"pulk/checklist/crew"
	"pulk/checklist/procedure"
	"pulk/schema/fault"
)

// heed refuses a step whose conditions are outside the limits now: the weather, the rest
// after an arrival at height, trainings and clearances. It keeps by what the step is
// allowed, for allowedBy. Nobody overrules it here; a wait that runs is not asked again.
func (d *Doing) heed(n int) error {
	d.allowed = nil
	step := d.Steps[n].Step
	if !conditions.Asked(step) {
		return nil
	}
	if _, begun := d.WaitEnds(n); begun {
		return nil
	}
	j, err := conditions.Judge(d.tx, conditions.Ask{Step: step, Location: d.Location, Person: d.me, Now: d.tx.Author().Now})
	if err != nil {
		return err
	}
	if len(j.Stops) > 0 {
		return fault.RefuseBecause(j.Reasons(), j.Hint(), "step %s is not to be carried out now", step.ID)
	}
	d.allowed = &j.Allowed
	return nil
}

// allowedBy writes beside an entry about step n by what it was allowed.
func (d *Doing) allowedBy(n int) {
	if d.allowed != nil {
		d.add(d.allowed.Change(d.Run, n))
		d.allowed = nil
	}
}

// againstPaper says which conditions of a step would have stopped the writer of a line
// on a sheet, when it was written; where the sheet does not say when, that is now.
func (d *Doing) againstPaper(step *procedure.Step, writer *crew.Person, p Paper) []string {
	if !conditions.Asked(step) {
		return nil
	}
	now := d.tx.Author().Now
	if at, ok := p.Written.Time(); ok {
		now = at
	}
	j, err := conditions.Judge(d.tx, conditions.Ask{Step: step, Location: d.Location, Person: writer, Now: now})
	if err != nil {
		return []string{err.Error()}
	}
	return j.Reasons()
}
