package run

import (
	"context"
	"testing"
	"time"

	"pulk/schema/kind"
	"pulk/sync/bundle"
	"pulk/sync/change"
	"pulk/sync/changelog"
	"pulk/sync/clock"
)

// A void travels first. Until what it voids has come, Load says that this is awaited,
// and it speaks against going on; after that it does as what it voids is.
func TestVoidThatOvertakesItsTarget(t *testing.T) {
	for _, c := range []struct {
		name    string
		target  func(run clock.Dot) change.Change
		adverse int // when all is here
	}{
		{"note", func(run clock.Dot) change.Change {
			return change.New(kind.RunNote, change.Ref(run), change.Num(0), change.Text("windy"))
		}, 0},
		{"check", func(run clock.Dot) change.Change {
			return change.New(kind.StepCheck, change.Ref(run), change.Num(0), change.Num(0))
		}, 1},
	} {
		t.Run(c.name, func(t *testing.T) {
			home, stn := suspectSite(t, "home", 77), suspectSite(t, "stn", 77)
			now := time.Date(2027, 1, 5, 6, 0, 0, 0, time.UTC)
			runs, _ := suspectRuns(t, home, now)
			carry(t, home, stn, now)
			carry(t, stn, home, now)
			var target clock.Dot
			suspectWrite(t, stn, now, func(tx *changelog.Tx) error { target = tx.Add(c.target(runs[0])); return nil })
			late := madeFor(t, stn, home, now)
			suspectWrite(t, stn, now, func(tx *changelog.Tx) error {
				tx.SetClass(clock.Expedited)
				tx.Add(change.New(kind.Void, change.Ref(target), change.Ref(runs[0]), change.Text("mistaken")))
				return nil
			})
			first := madeFor(t, stn, home, now.Add(time.Minute))
			for _, step := range []struct {
				data             []byte
				entries, adverse int
				awaited          bool
			}{{first, 1, 1, true}, {late, 2, c.adverse, false}} {
				if _, err := home.Take(context.Background(), step.data, bundle.DefaultLimits, now); err != nil {
					t.Fatal(err)
				}
				r := loaded(t, home, runs[0])
				awaited := false
				for _, e := range r.Entries {
					awaited = awaited || e.Awaited
				}
				if adverse := r.whole().adverse(3); len(r.Entries) != step.entries || awaited != step.awaited || len(adverse) != step.adverse {
					t.Errorf("%d entries, awaited %t, %d adverse; want %d, %t, %d", len(r.Entries), awaited, len(adverse), step.entries, step.awaited, step.adverse)
				}
			}
		})
	}
}

// madeFor makes a bundle of what no earlier one carried.
func madeFor(t *testing.T, from, to *changelog.Log, now time.Time) []byte {
	t.Helper()
	made, err := from.Make(context.Background(), changelog.Request{To: to.Self().Site, Now: now, Continue: true})
	if err != nil {
		t.Fatal(err)
	}
	return made.Data
}

func loaded(t *testing.T, log *changelog.Log, id clock.Dot) *Record {
	t.Helper()
	var r *Record
	if err := log.View(context.Background(), func(tx *changelog.Tx) (err error) { r, err = Load(tx, id); return err }); err != nil {
		t.Fatal(err)
	}
	return r
}
