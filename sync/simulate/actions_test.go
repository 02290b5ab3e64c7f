package simulate_test

import (
	"context"
	"crypto/ed25519"
	"fmt"
	"math/rand/v2"
	"slices"

	"pulk/checklist/crew"
	"pulk/checklist/procedure"
	"pulk/checklist/run"
	"pulk/schema"
	"pulk/schema/decimal"
	"pulk/schema/kind"
	"pulk/sync/change"
	"pulk/sync/changelog"
	"pulk/sync/clock"
	"pulk/sync/simulate"
	"pulk/testdata"
)

// act plays what one person does at one machine.
func (w *world) act(m *machine, o op, r *rand.Rand) {
	person := w.somebody(r)
	var text string
	var deed func(tx *changelog.Tx, me *crew.Person) error
	switch o.verb {
	case "work", "correct":
		start := w.someRun(m, r)
		if start == nil {
			return
		}
		w.onRun(m, o, r, person, start)
		for range r.IntN(4) {
			o.kill = 0
			w.onRun(m, o, r, w.somebody(r), start)
		}
		return
	case "start":
		text, deed = w.startRun(r)
	case "role":
		text, deed = w.setRole(m, r)
	case "revision":
		text, deed = w.revise(r)
	case "assign":
		text, deed = w.assignField(m, r)
	case "settle":
		text, deed = w.settleField(r)
	case "stock", "unit":
		text, deed = w.stockDeed(m, o.verb, r)
	case "newer":
		text, deed = w.newerKind(r)
	case "later":
		text, deed = w.laterDeed(m, r)
	case "secret":
		text, deed = w.secretDeed(m, r)
	}
	if deed == nil {
		return
	}
	_, said := w.command(m, o.kill, person, deed)
	w.tell("%s: %s %s: %s", m.name, w.nameOf(person), text, said)
}

// command writes as a person, known to the store.
func (w *world) command(m *machine, kill int, person simulate.ID, deed func(tx *changelog.Tx, me *crew.Person) error) (*simulate.Commit, string) {
	return w.write(m, kill, person, func(tx *changelog.Tx) error {
		me, err := crew.Get(tx, m.dot(person))
		if err != nil {
			return err
		}
		if me == nil {
			w.fail("%s does not know %s, whose introduction it holds", m.name, w.nameOf(person))
		}
		return deed(tx, me)
	})
}

func (w *world) somebody(r *rand.Rand) simulate.ID {
	if r.IntN(3) > 0 {
		return w.m.persons[r.IntN(3)]
	}
	return w.m.persons[r.IntN(len(w.m.persons))]
}

func (w *world) nameOf(person simulate.ID) string {
	i := slices.Index(w.m.persons, person)
	return crewList[i].code
}

// someRun picks a run, so that work goes on in few of them.
func (w *world) someRun(m *machine, r *rand.Rand) *fact {
	var known []*fact
	for _, f := range w.m.runs {
		if m.knew.Has(f.N) {
			known = append(known, f)
		}
	}
	if len(known) == 0 {
		return nil
	}
	switch {
	case w.urgent && r.IntN(2) == 0: // whose start is not everywhere yet
		return known[len(known)-1]
	case r.IntN(2) == 0:
		return known[0]
	}
	return known[r.IntN(len(known))]
}

func (w *world) startRun(r *rand.Rand) (string, func(*changelog.Tx, *crew.Person) error) {
	name := []string{"lower", "lower", "seal", "seal", "power-up"}[r.IntN(5)]
	return "starts " + name, func(tx *changelog.Tx, _ *crew.Person) error {
		revision, err := procedure.Find(tx, name)
		if err != nil {
			return err
		}
		_, err = run.Start(tx, revision, clock.Dot{}, clock.Dot{}, "")
		return err
	}
}

// onRun does something in a run: mostly the next step.
func (w *world) onRun(m *machine, o op, r *rand.Rand, person simulate.ID, start *fact) {
	did, step := "", -1
	irreversible := false
	c, said := w.command(m, o.kill, person, func(tx *changelog.Tx, me *crew.Person) error {
		d, err := run.Open(tx, me, m.dot(start.ID))
		if err != nil {
			return err
		}
		if o.verb == "correct" {
			did, err = w.correct(m, tx, d, me, r, person)
			return err
		}
		var ok bool
		if step, ok = w.chooseStep(d, r); !ok {
			did = "ends the run"
			return d.End(false, "")
		}
		if d.Steps[step].Gate != nil && r.IntN(4) > 0 && !m.old {
			// No go is signed before somebody has said which revision holds. The earlier
			// program has no word for it.
			offer, err := run.Offered(tx, d.State)
			if err != nil {
				return err
			}
			if offer != nil && offer.Stay == nil {
				did = "stays on its revision"
				_, err := d.Stay("it is nearly done")
				return err
			}
		}
		irreversible = d.Steps[step].Step.Irreversible
		did, err = w.step(m, d, step, r, person)
		return err
	})
	w.tell("%s: %s in run %s: %s: %s", m.name, w.nameOf(person), w.show(start.ID), did, said)
	if c != nil {
		w.counts["entries"]++
	}
	if c != nil && irreversible {
		w.counts["irreversible"]++
		w.mustHaveBeenOpen(m, c, start, step)
	}
	if r.IntN(3) == 0 {
		w.checkRun(m, start)
	}
}

func (w *world) show(id simulate.ID) string {
	if id == simulate.None {
		return "none"
	}
	c := w.h.Commits[id.N]
	return fmt.Sprintf("%s/%d.%d", w.lane(c.Set.Lane), c.Set.Seq, id.Index)
}

// chooseStep returns the step to work on: the next one, a gate that is shut, or
// any.
func (w *world) chooseStep(d *run.Doing, r *rand.Rand) (int, bool) {
	if len(d.Steps) == 0 {
		return 0, false
	}
	if r.IntN(8) == 0 {
		return r.IntN(len(d.Steps)), true
	}
	for i := range d.Steps {
		if !d.Steps[i].Done {
			return i, true
		}
	}
	return 0, false
}

// step carries out one step.
func (w *world) step(m *machine, d *run.Doing, n int, r *rand.Rand, person simulate.ID) (string, error) {
	s := d.Steps[n].Step
	switch s.Kind {
	case procedure.KindHold, procedure.KindWitness:
		verdict := run.Go
		if r.IntN(10) == 0 {
			verdict = run.Stop
		}
		return fmt.Sprintf("signs %s at %s", verdict, s.ID), d.Sign(n, verdict, w.signer(m, person, r))
	case procedure.KindReading:
		var values []run.Measured
		text := ""
		for range s.Reading.Repeat {
			value := w.reading(s.Reading, r)
			values = append(values, run.Measured{Value: value})
			text += " " + value.String()
		}
		_, err := d.Read(n, values)
		return fmt.Sprintf("reads%s at %s", text, s.ID), err
	case procedure.KindRecord:
		return "records at " + s.ID, d.Write(n, fmt.Sprintf("W-%d", r.IntN(100)), clock.Dot{})
	case procedure.KindWait:
		_, _, err := d.Wait(n)
		return "waits at " + s.ID, err
	case procedure.KindConfirm:
		if r.IntN(6) == 0 {
			return "answers no at " + s.ID, d.AnswerNo(n, "frost")
		}
	}
	return "checks " + s.ID, d.Check(n)
}

// reading draws a value, mostly within limits.
func (w *world) reading(reading *procedure.Reading, r *rand.Rand) decimal.Decimal {
	l := reading.Limits
	inside := r.IntN(4) > 0
	bound := l.Min
	if bound == nil || l.Max != nil && r.IntN(2) == 0 {
		bound = l.Max
	}
	if bound == nil {
		return decimal.Decimal{Mantissa: int64(r.IntN(100))}
	}
	value := *bound // exactly on the limit passes
	if !inside && bound == l.Min {
		value.Mantissa--
	} else if !inside {
		value.Mantissa++
	}
	return value
}

// signer returns a person's key; now and then, by mistake, somebody else's.
func (w *world) signer(m *machine, person simulate.ID, r *rand.Rand) run.Signer {
	if r.IntN(25) == 0 {
		person = w.m.persons[r.IntN(len(w.m.persons))]
	}
	key := w.tmpl.keyOf[person]
	return run.Signer{Key: m.dot(key), Sign: func(message []byte) []byte { return ed25519.Sign(w.tmpl.keys[key], message) }}
}

// correct voids, notes, raises, disposes or stops.
func (w *world) correct(m *machine, tx *changelog.Tx, d *run.Doing, me *crew.Person, r *rand.Rand, person simulate.ID) (string, error) {
	dice := r.IntN(100)
	var open []run.NC
	for _, nc := range d.NCs {
		if nc.Open || r.IntN(6) == 0 {
			open = append(open, nc)
		}
	}
	switch {
	case dice < 55 && len(open) > 0:
		nc := open[r.IntN(len(open))]
		disposition := run.Disposition([]int{rework, rework, repair, useAsIs, useAsIs, useAsIs, scrap}[r.IntN(7)])
		return fmt.Sprintf("disposes of %s as %s", w.show(m.idOf(nc.Entry.Dot)), disposition), run.Dispose(tx, me, nc.Entry.Dot, disposition, "decided")
	case dice < 60:
		return "notes", d.Note(r.IntN(len(d.Steps)+1)-1, "windy")
	case dice < 68:
		_, err := run.RaiseNC(tx, d.Run, r.IntN(len(d.Steps)+1)-1, clock.Dot{}, "scratched")
		return "raises a nonconformance", err
	case dice < 78:
		n := r.IntN(max(1, len(d.Steps)))
		return fmt.Sprintf("signs stop at %d", n), d.Sign(n, run.Stop, w.signer(m, person, r))
	}
	if len(d.Entries) == 0 {
		return "finds nothing to void", nil
	}
	target := d.Entries[r.IntN(len(d.Entries))].Dot
	return "voids " + w.show(m.idOf(target)), d.Void(target, "mistaken")
}

func (w *world) setRole(m *machine, r *rand.Rand) (string, func(*changelog.Tx, *crew.Person) error) {
	who := w.m.persons[r.IntN(3)]
	role := []string{"quality", "release-authority", "technician", "deployment-lead"}[r.IntN(4)]
	granted := r.IntN(2) == 0
	if !m.knew.Has(who.N) {
		return "", nil
	}
	return fmt.Sprintf("sets role %s of %s: granted %v", role, w.nameOf(who), granted), func(tx *changelog.Tx, _ *crew.Person) error {
		return crew.SetRole(tx, m.dot(who), role, granted, "decided")
	}
}

// revise withdraws a revision or imports the next one.
func (w *world) revise(r *rand.Rand) (string, func(*changelog.Tx, *crew.Person) error) {
	n := r.IntN(2)
	if r.IntN(2) == 0 {
		return "withdraws a revision", func(tx *changelog.Tx, _ *crew.Person) error {
			revision, err := procedure.Find(tx, []string{"lower", "seal"}[n])
			if err != nil {
				return err
			}
			return procedure.Withdraw(tx, revision, "a step is missing")
		}
	}
	source := procedureText(n, fmt.Sprintf("%c%d", 'B'+rune(r.IntN(20)), r.IntN(100)))
	if r.IntN(12) == 0 { // one of real size
		var err error
		if source, err = testdata.FS.ReadFile("procedures/power-up.yaml"); err != nil {
			w.fail("%v", err)
		}
	}
	p, _ := procedure.Parse("p", source)
	w.m.learnText(source, p)
	return "imports revision " + p.Revision, func(tx *changelog.Tx, _ *crew.Person) error {
		_, _, err := procedure.Import(tx, p, source)
		return err
	}
}

// assignField gives some field a value: policies ask, latest and safest in turn.
func (w *world) assignField(m *machine, r *rand.Rand) (string, func(*changelog.Tx, *crew.Person) error) {
	dice := r.IntN(4)
	places := w.m.places(m.knew)
	if len(places) == 0 {
		return "", nil
	}
	place, other := places[r.IntN(len(places))], places[r.IntN(len(places))]
	start := w.someRun(m, r)
	text := fmt.Sprintf("T%d", r.IntN(4))
	who := w.m.persons[r.IntN(len(w.m.persons))]
	return fmt.Sprintf("assigns a field (%d) %s", dice, text), func(tx *changelog.Tx, me *crew.Person) error {
		if r.IntN(3) == 0 {
			tx.SetClass(clock.Open[r.IntN(3)])
		}
		switch {
		case dice == 0:
			tx.AssignText(m.dot(place), kind.FieldLocationName, "", text, "")
		case dice == 1:
			tx.AssignRef(m.dot(place), kind.FieldLocationParent, "", m.dot(other), "")
		case dice == 2 && start != nil:
			tx.AssignRef(m.dot(start.ID), kind.FieldRunOwner, "", m.dot(who), "")
			tx.AssignText(m.dot(start.ID), kind.FieldRunTitle, "", text, "")
		default:
			tx.AssignInt(m.dot(place), kind.FieldItemMinimum, text, int64(r.IntN(3)), "")
		}
		return nil
	}
}

// places lists the locations that are here.
func (m *model) places(here simulate.Bits) []simulate.ID {
	var list []simulate.ID
	for _, at := range m.slots {
		if at.field == kind.FieldLocationName && here.Has(at.entity.N) {
			list = append(list, at.entity)
		}
	}
	return list
}

func (w *world) settleField(r *rand.Rand) (string, func(*changelog.Tx, *crew.Person) error) {
	return "settles a conflict", func(tx *changelog.Tx, _ *crew.Person) error {
		contested, err := tx.Contested()
		if err != nil || len(contested) == 0 {
			return err
		}
		register := contested[r.IntN(len(contested))]
		if kind.LookupField(register.Field) == nil {
			return nil // a later program must settle it
		}
		_, err = tx.Settle(register, register.Values[r.IntN(len(register.Values))], "asked around")
		return err
	}
}

// newerKind writes a change as a newer program would.
func (w *world) newerKind(r *rand.Rand) (string, func(*changelog.Tx, *crew.Person) error) {
	raw := make([]byte, r.IntN(40))
	for i := range raw {
		raw[i] = byte(r.Uint32())
	}
	id := kind.FirstDescribed + 1000 + kind.ID(r.IntN(1<<uint(1+r.IntN(20))))
	return fmt.Sprintf("writes a change of kind %d", id), func(tx *changelog.Tx, _ *crew.Person) error {
		tx.SetClass(clock.Open[r.IntN(3)])
		tx.Add(change.Change{Kind: id, Raw: raw})
		if r.IntN(2) == 0 {
			tx.Add(change.New(kind.LocationAdd, change.Text(fmt.Sprintf("crate-%d", r.IntN(1000))), change.Text("Crate"), change.Value{}))
		}
		return nil
	}
}

// join introduces sites to each other, one way.
func (w *world) join(m *machine, r *rand.Rand) {
	other := w.machines[r.IntN(len(w.machines))]
	if other.site == m.site {
		return
	}
	w.introduce(m, other.site)
	w.tell("%s gets to know %s", m.name, other.name)
}

// everybody introduces all sites to a machine.
func (w *world) everybody(m *machine, _ *rand.Rand) {
	for site := range sitesMax { // those that stay away this season too: others hold their introductions
		if site != m.site {
			w.introduce(m, site)
		}
	}
	w.tell("%s gets to know everybody", m.name)
}

// forget makes a site unknown to a machine that the template had introduced.
func (m *machine) forget(site int) {
	m.raw(func(tx *schema.Tx) error {
		return tx.Exec("DELETE FROM site_key WHERE site = ?", m.w.tmpl.selfs[site].Site)
	})
}

func (w *world) renew(m *machine, kill int) {
	m.arm(kill)
	var epoch uint16
	var err error
	m.as(func() { epoch, err = m.log.Renew(context.Background()) })
	if m.revive(err, true) {
		w.tell("%s was KILLED renewing", m.name)
		return
	}
	if err != nil {
		w.fail("%s: renew: %v", m.name, err)
	}
	w.tell("%s starts epoch %d", m.name, epoch)
}
