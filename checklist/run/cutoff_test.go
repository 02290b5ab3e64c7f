package run

import (
	"context"
	"crypto/ed25519"
	"testing"
	"time"

	"github.com/google/uuid"

	"pulk/checklist/crew"
	"pulk/schema/kind"
	"pulk/sync/change"
	"pulk/sync/changelog"
	"pulk/sync/clock"
)

// A release rests on what the station did. The station's laptop is cut off before part
// of it: the release no longer counts, at any site, and the gate is shut. Where the cut
// lies behind all that was seen, it holds.
func TestSignOffOnWhatWasCutOff(t *testing.T) {
	for _, c := range []struct {
		name     string
		cutEarly bool
		want     Standing
	}{{"seen_beyond_the_cut", true, NotAllHere}, {"seen_before_the_cut", false, Holds}} {
		t.Run(c.name, func(t *testing.T) {
			home := campaignSite(t, "home", 5, uuid.Nil)
			stn, ship := campaignSite(t, "stn", 5, home.Self().Campaign), campaignSite(t, "ship", 6, home.Self().Campaign)
			now := time.Date(2027, 1, 5, 6, 0, 0, 0, time.UTC)
			runs, _ := suspectRuns(t, home, now)
			me, key, private := addSigner(t, home, now)
			carry(t, home, stn, now)
			carry(t, stn, home, now)
			suspectWrite(t, home, now, func(tx *changelog.Tx) error {
				site, _, err := tx.SiteByID(stn.Self().Site)
				if err == nil {
					_, err = tx.Introduce(site, "stn", "")
				}
				return err
			})
			early := checkStep(t, stn, now, runs[0], 0)
			carry(t, stn, home, now)
			suspectWrite(t, stn, now, func(tx *changelog.Tx) error {
				tx.Add(change.New(kind.StepRecord, change.Ref(runs[0]), change.Num(1), change.Text("B-0417"), change.Value{}))
				return nil
			})
			late := checkStep(t, stn, now, runs[0], 2)
			carry(t, stn, home, now)
			_, err := home.Write(context.Background(), changelog.Author{Person: me, Now: now}, func(tx *changelog.Tx) error {
				oskar, err := crew.Get(tx, me)
				if err != nil {
					return err
				}
				d, err := Open(tx, oskar, runs[0])
				if err != nil {
					return err
				}
				return d.Sign(3, Go, Signer{Key: key, Sign: func(message []byte) []byte { return ed25519.Sign(private, message) }})
			})
			if err != nil {
				t.Fatal(err)
			}
			carry(t, home, ship, now)
			if got := standingAt(t, ship, runs[0]); got != Holds {
				t.Fatalf("before the cut the sign-off is: %s; want %s", got, Holds)
			}
			after := late
			if c.cutEarly {
				after = early
			}
			suspectWrite(t, home, now, func(tx *changelog.Tx) error {
				site, _, err := tx.SiteByID(stn.Self().Site)
				if err != nil {
					return err
				}
				cuts, err := tx.PlanCutoff(site.ID, []clock.Dot{after})
				if err != nil {
					return err
				}
				_, err = tx.CutOff(site, cuts, "stolen")
				return err
			})
			carry(t, home, ship, now.Add(time.Minute))
			for _, log := range []*changelog.Log{home, ship} {
				if got := standingAt(t, log, runs[0]); got != c.want {
					t.Errorf("%s: after the cut the sign-off is: %s; want %s", log.Self().Code, got, c.want)
				}
			}
		})
	}
}

// addSigner makes a person known who may release, with a key.
func addSigner(t *testing.T, log *changelog.Log, now time.Time) (person, key clock.Dot, private ed25519.PrivateKey) {
	t.Helper()
	public, private, err := ed25519.GenerateKey(nil)
	if err != nil {
		t.Fatal(err)
	}
	suspectWrite(t, log, now, func(tx *changelog.Tx) error {
		if person, err = crew.Add(tx, "oskar", "Oskar Venn", []string{"quality"}); err != nil {
			return err
		}
		key = crew.AddKey(tx, person, public)
		return nil
	})
	return person, key, private
}

func checkStep(t *testing.T, log *changelog.Log, now time.Time, run clock.Dot, step int64) (dot clock.Dot) {
	t.Helper()
	suspectWrite(t, log, now, func(tx *changelog.Tx) error {
		dot = tx.Add(change.New(kind.StepCheck, change.Ref(run), change.Num(step), change.Num(0)))
		return nil
	})
	return dot
}

// standingAt returns what the one sign-off at the hold point is worth.
func standingAt(t *testing.T, log *changelog.Log, run clock.Dot) Standing {
	t.Helper()
	gate := loaded(t, log, run).whole().gate(3)
	if len(gate.SignOffs) != 1 {
		t.Fatalf("%s: %d sign-offs at the gate; want 1", log.Self().Code, len(gate.SignOffs))
	}
	return gate.SignOffs[0].Standing
}
