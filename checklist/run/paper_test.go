package run

import (
	"context"
	"errors"
	"fmt"
	"math/rand/v2"
	"slices"
	"strings"
	"testing"
	"time"

	"pulk/checklist/crew"
	"pulk/checklist/filled"
	"pulk/schema/fault"
	"pulk/schema/kind"
	"pulk/sync/change"
	"pulk/sync/changelog"
	"pulk/sync/clock"
)

// A mark is about the changes directly before it in its own change-set, and no others:
// nobody can mark what another command wrote.
func TestPaperMarkReach(t *testing.T) {
	log := suspectSite(t, "stn", 78)
	now := time.Date(2027, 1, 5, 6, 0, 0, 0, time.UTC)
	runs, _ := suspectRuns(t, log, now)
	check := func(step int64) change.Change {
		return change.New(kind.StepCheck, change.Ref(runs[0]), change.Num(step), change.Num(0))
	}
	mark := func(count int64, answer string) change.Change {
		return change.New(kind.PaperMark, change.Ref(runs[0]), change.Num(count), change.Value{}, change.Text("Jo Stone"), change.Text("2027-01-04"), change.Text(answer), change.Text(""))
	}
	for _, set := range [][]change.Change{{check(0), check(2), mark(1, "a"), check(4), mark(200, "b")}, {mark(9, "c")}} {
		suspectWrite(t, log, now, func(tx *changelog.Tx) error {
			for _, c := range set {
				tx.Add(c)
			}
			return nil
		})
	}
	var got []string
	for _, e := range loaded(t, log, runs[0]).Entries {
		if e.Kind == kind.PaperMark {
			t.Error("a mark is an entry of the run: it would change what a signature is over")
		}
		if e.Paper != nil {
			got = append(got, e.Paper.Answer)
		}
	}
	// The second mark reaches over all that stands before it: the last one holds.
	if want := []string{"b", "b", "b"}; !slices.Equal(got, want) {
		t.Errorf("marked %q, want %q", got, want)
	}
}

// paperDoing opens a run at a site for someone who types a sheet in.
func paperDoing(t *testing.T, log *changelog.Log, now time.Time, me, run clock.Dot, fn func(d *Doing, tx *changelog.Tx) error) error {
	t.Helper()
	_, err := log.Write(context.Background(), changelog.Author{Now: now, Person: me}, func(tx *changelog.Tx) error {
		person, err := crew.Get(tx, me)
		if err != nil {
			return err
		}
		d, err := Open(tx, person, run)
		if err != nil {
			return err
		}
		return fn(d, tx)
	})
	return err
}

// What was done on paper behind a shut hold point is refused without its reason, and
// with it is the same conflict at every site; a step of the same sheet is known while
// the next is judged.
func TestPaperBehindShutGate(t *testing.T) {
	home, stn := suspectSite(t, "home", 79), suspectSite(t, "stn", 79)
	now := time.Date(2027, 1, 5, 6, 0, 0, 0, time.UTC)
	var me clock.Dot
	suspectWrite(t, home, now, func(tx *changelog.Tx) (err error) { me, err = crew.Add(tx, "ida", "Ida Brekke", nil); return err })
	runs, _ := suspectRuns(t, home, now)
	carry(t, home, stn, now)
	line := func(answer, why string) Paper {
		return Paper{Name: "Jo Stone", Written: filled.When("2027-01-04T06:40Z"), Answer: answer, Why: why}
	}
	deed := func(d *Doing, n int, why string) (bool, error) {
		return d.FromPaper(n, line("done", why), func() error { return d.Check(n) })
	}
	err := paperDoing(t, stn, now, me, runs[1], func(d *Doing, _ *changelog.Tx) error { _, err := deed(d, 4, ""); return err })
	var refused *fault.Refused
	if !errors.As(err, &refused) || len(refused.Because) == 0 {
		t.Fatalf("done behind a shut gate without a reason: %v", err)
	}
	err = paperDoing(t, stn, now, me, runs[1], func(d *Doing, _ *changelog.Tx) error {
		for _, n := range []int{0, 4} {
			if taken, err := deed(d, n, "no power in the hut"); err != nil || !taken {
				t.Errorf("step %d: taken %t, %v", n, taken, err)
			}
			if !d.Steps[n].Done {
				t.Errorf("step %d is not known to be done before the command ends", n)
			}
			if taken, err := deed(d, n, ""); err != nil || taken {
				t.Errorf("step %d again: taken %t, %v", n, taken, err)
			}
		}
		return nil
	})
	if err != nil {
		t.Fatal(err)
	}
	// Of a step that can be undone it is a conflict as well, though a lesser one.
	if err := paperDoing(t, stn, now, me, runs[0], func(d *Doing, _ *changelog.Tx) error { _, err := deed(d, 0, ""); return err }); err != nil {
		t.Fatal(err)
	}
	if err := paperDoing(t, stn, now, me, runs[0], func(d *Doing, _ *changelog.Tx) error { _, err := deed(d, 4, "no power"); return err }); err != nil {
		t.Fatal(err)
	}
	carry(t, stn, home, now)
	for _, log := range []*changelog.Log{home, stn} {
		var kinds []string
		err := log.View(context.Background(), func(tx *changelog.Tx) error {
			return Projection{}.Conflicts(tx, func(c changelog.Conflict) error { kinds = append(kinds, c.Kind); return nil })
		})
		if want := []string{"step done on paper behind a shut gate", "irreversible step done behind a shut gate"}; err != nil || !slices.Equal(kinds, want) {
			t.Errorf("%s: conflicts %q, %v; want %q", log.Self().Code, kinds, err, want)
		}
	}
	for _, log := range []*changelog.Log{home, stn} {
		r := loaded(t, log, runs[1])
		found := sortedEntries(r.DoneBehindShutGate())
		if len(found) != 1 || found[0].Step != 4 || found[0].Paper == nil || found[0].Paper.Why != "no power in the hut" {
			t.Errorf("%s: behind a shut gate: %+v", log.Self().Code, found)
		}
		for _, e := range r.Entries {
			if e.Step == 0 && e.Paper.Why != "" {
				t.Error("a reason is on record where no rule was broken")
			}
		}
	}
}

// A signature over the run is the same with and without the marks: a program that does
// not know them comes to the same verdict.
func TestPaperMarkIsNoEvidence(t *testing.T) {
	log := suspectSite(t, "stn", 80)
	now := time.Date(2027, 1, 5, 6, 0, 0, 0, time.UTC)
	runs, _ := suspectRuns(t, log, now)
	suspectWrite(t, log, now, func(tx *changelog.Tx) error {
		tx.Add(change.New(kind.StepCheck, change.Ref(runs[0]), change.Num(0), change.Num(0)))
		tx.Add(change.New(kind.PaperMark, change.Ref(runs[0]), change.Num(1), change.Value{}, change.Text("Jo Stone"), change.Text(""), change.Text("done"), change.Text("")))
		return nil
	})
	r := loaded(t, log, runs[0])
	ctx := clock.Context{Of: clock.Dot{Lane: r.Entries[0].Dot.Lane, Seq: 1000}}
	with := r.EvidenceDigest(ctx)
	r.Entries[0].Paper = nil
	if len(r.Entries) != 1 || !slices.Equal(with, r.EvidenceDigest(ctx)) {
		t.Errorf("%d entries, or another digest", len(r.Entries))
	}
}

// A sheet with random answers in random order, taken in twice at two sites that then
// hear of each other: nothing is doubled at one site, and both come to one verdict.
func TestPaperRandomSheets(t *testing.T) {
	again, behind := 0, 0
	for seed := range uint64(12) {
		r := rand.New(rand.NewPCG(seed, 2))
		home, stn := suspectSite(t, "home", byte(100+seed)), suspectSite(t, "stn", byte(100+seed))
		now := time.Date(2027, 1, 5, 6, 0, 0, 0, time.UTC)
		var me clock.Dot
		suspectWrite(t, home, now, func(tx *changelog.Tx) (err error) { me, err = crew.Add(tx, "ida", "Ida Brekke", nil); return err })
		runs, _ := suspectRuns(t, home, now)
		carry(t, home, stn, now)
		lines := randomSheet(r)
		for _, log := range []*changelog.Log{stn, home} {
			for round := range 2 {
				before := len(loaded(t, log, runs[1]).Entries)
				err := paperDoing(t, log, now, me, runs[1], func(d *Doing, _ *changelog.Tx) error {
					for _, l := range lines {
						if _, err := takeSheetLine(d, l); err != nil {
							return err
						}
					}
					return nil
				})
				if err != nil {
					t.Fatalf("seed %d: %v", seed, err)
				}
				if after := len(loaded(t, log, runs[1]).Entries); round == 1 && after != before {
					t.Errorf("seed %d: typed in again, %d entries became %d", seed, before, after)
				} else if round == 1 {
					again++
				}
			}
		}
		carry(t, stn, home, now)
		carry(t, home, stn, now)
		a, b := verdictOf(t, home, runs[1]), verdictOf(t, stn, runs[1])
		if a != b {
			t.Errorf("seed %d: home says %s, stn says %s", seed, a, b)
		}
		behind += len(loaded(t, home, runs[1]).DoneBehindShutGate())
	}
	if again == 0 || behind == 0 {
		t.Errorf("%d sheets typed in again, %d deeds behind a shut gate: the test shows nothing", again, behind)
	}
}

// sheetEntry is a line of a random sheet.
type sheetEntry struct {
	n      int
	answer string
}

// randomSheet answers some of the steps of suspectYAML, some of them twice.
func randomSheet(r *rand.Rand) []sheetEntry {
	answers := [][]string{{"done"}, {"B-0417"}, {"yes", "no: frost"}, {"go", "stop"}, {"done"}}
	var lines []sheetEntry
	for range 3 + r.IntN(6) {
		n := r.IntN(len(answers))
		lines = append(lines, sheetEntry{n, answers[n][r.IntN(len(answers[n]))]})
	}
	return lines
}

// takeSheetLine takes a line in. That a step is done already, and that the sheet
// contradicts the record, are no failures here.
func takeSheetLine(d *Doing, l sheetEntry) (bool, error) {
	p := Paper{Name: "Jo Stone", Written: "2027-01-04", Answer: l.answer, Why: "no power in the hut"}
	taken, err := d.FromPaper(l.n, p, func() error {
		switch {
		case l.answer == "go":
			return d.SignedOnPaper(l.n, Go, p)
		case l.answer == "stop":
			return d.SignedOnPaper(l.n, Stop, p)
		case l.n == 1:
			return d.Write(l.n, l.answer, clock.Dot{})
		case strings.HasPrefix(l.answer, "no"):
			return d.AnswerNo(l.n, "frost")
		}
		return d.Check(l.n)
	})
	var refused *fault.Refused
	if errors.As(err, &refused) && strings.Contains(err.Error(), "the sheet says another thing") {
		return false, nil
	}
	return taken, err
}

// verdictOf says in a line what a site makes of a run.
func verdictOf(t *testing.T, log *changelog.Log, id clock.Dot) string {
	t.Helper()
	r := loaded(t, log, id)
	s := Evaluate(r)
	var text strings.Builder
	for _, step := range s.Steps {
		marked := 0
		for _, e := range step.Entries {
			if e.Paper != nil {
				marked++
			}
		}
		fmt.Fprintf(&text, "%s %t %d/%d %q; ", step.Step.ID, step.Done, marked, len(step.Entries), step.Blocked)
	}
	fmt.Fprintf(&text, "%d nonconformances, %d behind a shut gate", len(s.NCs), len(r.DoneBehindShutGate()))
	return text.String()
}
