package work

import (
	"context"
	"crypto/rand"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"pulk/checklist/crew"
	"pulk/checklist/procedure"
	"pulk/checklist/run"
	"pulk/schema"
	"pulk/schema/kind"
	"pulk/sync/change"
	"pulk/sync/changelog"
	"pulk/sync/clock"
)

// TestPermit refuses taps that do not go with what was shown.
func TestPermit(t *testing.T) {
	with := &procedure.Step{ID: "20", Kind: procedure.KindDo, Text: "Close it.", Cautions: []string{"Hands off."}}
	gate := &procedure.Step{ID: "30", Kind: procedure.KindHold, Text: "Look.", Cautions: []string{"Hands off."}, Sign: &procedure.Sign{Role: "quality", People: 1}}
	other := *with
	other.Cautions = []string{"Hands off, gloves on."}
	for _, test := range []struct {
		name string
		step *procedure.Step
		tap  Tap
		want string // part of the refusal; empty where it is permitted
	}{
		{"read", with, Tap{Act: Done, Shown: Shown(with), Read: true}, ""},
		{"not_read", with, Tap{Act: Done, Shown: Shown(with)}, "cautions of step 20 have not been read"},
		{"another_caution_was_shown", with, Tap{Act: Done, Shown: Shown(&other), Read: true}, "changed since it was shown"},
		{"nothing_was_shown", with, Tap{Act: Done, Read: true}, "changed since it was shown"},
		{"no_such_act", with, Tap{Act: Yes, Shown: Shown(with), Read: true}, `knows no "yes"`},
		{"go_not_read", gate, Tap{Act: Go, Shown: Shown(gate)}, "have not been read"},
		{"stop_is_always_taken", gate, Tap{Act: Stop, Shown: Shown(gate)}, ""},
		{"note_needs_no_reading", with, Tap{Act: Note}, ""},
	} {
		t.Run(test.name, func(t *testing.T) {
			err := Permit(test.step, test.tap)
			if (err == nil) != (test.want == "") || err != nil && !strings.Contains(err.Error(), test.want) {
				t.Errorf("Permit: %v, want %q", err, test.want)
			}
		})
	}
}

// TestShownTells gives two steps that differ in anything a person reads two names.
func TestShownTells(t *testing.T) {
	base := procedure.Step{ID: "1", Kind: procedure.KindReading, Text: "a", Cautions: []string{"b", "c"}, Reading: &procedure.Reading{Quantity: "q", Unit: "V"}}
	names := map[string]bool{Shown(&base): true}
	for i, change := range []func(*procedure.Step){
		func(s *procedure.Step) { s.ID = "2" },
		func(s *procedure.Step) { s.Text = "b" },
		func(s *procedure.Step) { s.Cautions = []string{"b c"} },
		func(s *procedure.Step) { s.Cautions = []string{"b"} },
		func(s *procedure.Step) { s.Irreversible = true },
		func(s *procedure.Step) { s.Kind = procedure.KindDo },
		func(s *procedure.Step) { s.Reading = &procedure.Reading{Quantity: "q", Unit: "mV"} },
	} {
		step := base
		change(&step)
		if names[Shown(&step)] {
			t.Errorf("change %d has the name of another step", i)
		}
		names[Shown(&step)] = true
	}
}

// TestLate tells of taps that came long after they were made.
func TestLate(t *testing.T) {
	now := time.Date(2027, 1, 5, 8, 20, 0, 0, time.UTC)
	for minutesAgo, want := range map[int]bool{0: false, 1: false, 2: true, 20: true, -5: false} {
		note, late := Tap{AtMS: now.Add(-time.Duration(minutesAgo) * time.Minute).UnixMilli()}.Late(now)
		if late != want || late && !strings.Contains(note, now.Add(-time.Duration(minutesAgo)*time.Minute).Format("15:04Z")) {
			t.Errorf("%d min ago: %q, %v", minutesAgo, note, late)
		}
	}
	if _, late := (Tap{}).Late(now); late {
		t.Error("a tap without a time is late")
	}
}

// TestLook tells what is new to a person, what can be undone, and how long a wait
// takes, by entries that are given.
func TestLook(t *testing.T) {
	lane := clock.Lane{Site: 1}
	person := func(n uint64) clock.Dot { return clock.Dot{Lane: lane, Seq: n} }
	ida, mirre := &crew.Person{ID: person(1), Code: "ida"}, person(2)
	morning := time.Date(2027, 1, 5, 8, 0, 0, 0, time.UTC)
	at := clock.Next(0, morning)
	p := &procedure.Procedure{ID: "p", Revision: "A", Steps: []procedure.Step{
		{ID: "10", Kind: procedure.KindDo, Text: "a"},
		{ID: "20", Kind: procedure.KindWait, Text: "b", WaitMinutes: 5},
		{ID: "30", Kind: procedure.KindDo, Text: "c", After: []string{"20"}},
		{ID: "40", Kind: procedure.KindDo, Text: "d"},
	}}
	entry := func(seq uint64, who clock.Dot, k *kind.Kind, step int, knew uint64) run.Entry {
		dot := clock.Dot{Lane: clock.Lane{Site: clock.SiteID(who.Seq)}, Seq: seq}
		others := clock.Vector{{Site: 2}: knew} // each of the two writes at a site of their own
		if who != ida.ID {
			others = clock.Vector{{Site: 1}: knew}
		}
		return run.Entry{Dot: dot, At: at + clock.Stamp(seq), Person: who, Kind: k, Step: step, Ctx: clock.Context{Of: dot, Others: others}}
	}
	record := &run.Record{Run: clock.Dot{Lane: lane, Seq: 3}, Procedure: p, Entries: []run.Entry{
		entry(10, ida.ID, kind.StepCheck, 0, 10), // ida had seen mirre's 10 and not 11
		entry(10, mirre, kind.StepBegin, 1, 0),
		entry(11, mirre, kind.StepCheck, 3, 0),
	}}
	words := Words{
		Person: func(d clock.Dot) string { return map[clock.Dot]string{ida.ID: "ida", mirre: "mirre"}[d] },
		Name:   func(d clock.Dot) string { return d.String() }, Asks: func(*run.State, int) string { return "" },
		Says: func(_ *run.State, e *run.Entry) string { return e.Kind.Name },
	}
	scene := Look(run.Evaluate(record), ida, morning.Add(time.Minute), words)
	if len(scene.Others) != 2 || !scene.Others[0].New || scene.Others[1].New || scene.Others[0].Step != "40" {
		t.Errorf("of what others did mirre's last entry alone is new: %+v", scene.Others)
	}
	old := entry(12, mirre, kind.RunNote, run.NoStep, 0) // came by a bundle, and is older than all
	old.At = 1
	crowd := *record
	crowd.Entries = append([]run.Entry{old}, record.Entries...)
	for seq := range uint64(othersMax) {
		known := entry(20+seq, mirre, kind.RunNote, run.NoStep, 0)
		known.Dot.Seq, known.Ctx.Of.Seq = 1, 1
		crowd.Entries = append(crowd.Entries, known)
	}
	if others := Look(run.Evaluate(&crowd), ida, morning, words).Others; len(others) != othersMax || !others[0].New || !others[1].New || others[1].AtMS != 0 {
		t.Errorf("what came late is not told first: %+v", others[:2])
	}
	if len(scene.Undo) != 3 || scene.Undo[0].Person != "ida" {
		t.Errorf("one's own entry is the first to undo: %+v", scene.Undo)
	}
	if len(scene.Order) != 0 || scene.Done != 2 {
		t.Errorf("while the wait runs nothing can be carried out: %v, %d done", scene.Order, scene.Done)
	}
	ends := at.Time().Add(clock.Tick + 5*time.Minute)
	if waits := scene.Waits(); len(waits) != 1 || waits[0].EndsMS != ends.UnixMilli() || waits[0].Acts[0].Name != Over {
		t.Errorf("waits are %+v, want one until %s", waits, ends)
	}
	if after := Look(run.Evaluate(record), ida, ends, words); len(after.Order) != 1 || after.Order[0] != "20" {
		t.Errorf("when its time is over the wait can be checked off: %v", after.Order)
	}
}

// TestTake keeps a tap with the change that it made, or neither.
func TestTake(t *testing.T) {
	store, err := schema.Create(filepath.Join(t.TempDir(), "a.db"), schema.Scratch)
	if err != nil {
		t.Fatal(err)
	}
	defer store.Close()
	ctx := context.Background()
	log, err := changelog.Init(ctx, store, changelog.Start{CampaignName: "c", Code: "stn", Name: "s", Now: time.Now(), Rand: rand.Reader}, crew.Projection{})
	if err != nil {
		t.Fatal(err)
	}
	one, two := clock.Dot{Lane: clock.Lane{Site: 1}, Seq: 1}, clock.Dot{Lane: clock.Lane{Site: 1}, Seq: 2}
	write := func(fail error) error {
		_, err := log.Write(ctx, changelog.Author{Now: time.Now()}, func(tx *changelog.Tx) error {
			tx.Add(change.New(kind.PersonAdd, change.Text("ida"), change.Text("Ida")))
			if err := Take(tx, one, "tap-1", "done"); err != nil {
				return err
			}
			return fail
		})
		return err
	}
	taken := func(person clock.Dot) (said string, ok bool) {
		err := log.View(ctx, func(tx *changelog.Tx) (err error) {
			said, ok, err = Taken(tx, person, "tap-1")
			return err
		})
		if err != nil {
			t.Fatal(err)
		}
		return said, ok
	}
	if err := write(context.Canceled); err == nil {
		t.Fatal("the error is lost")
	}
	if _, ok := taken(one); ok {
		t.Error("a tap that failed counts as taken")
	}
	if err := write(nil); err != nil {
		t.Fatal(err)
	}
	if said, ok := taken(one); !ok || said != "done" {
		t.Errorf("taken: %q, %v", said, ok)
	}
	if _, ok := taken(two); ok {
		t.Error("another person's tap of that name counts as taken")
	}
	if err := write(nil); err == nil {
		t.Error("a tap was taken twice")
	}
	for _, test := range []struct {
		before time.Time
		kept   bool
	}{{time.Now().Add(-time.Hour), true}, {time.Now().Add(time.Hour), false}} {
		err := store.Update(ctx, func(raw *schema.Tx) error {
			return log.Local(raw, func(tx *changelog.Tx) error { return Forget(tx, test.before) })
		})
		if err != nil {
			t.Fatal(err)
		}
		if _, ok := taken(one); ok != test.kept {
			t.Errorf("forgetting what is older than %s keeps it: %v", test.before, ok)
		}
	}
}
