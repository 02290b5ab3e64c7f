package run

import (
	"context"
	"fmt"
	"math/rand/v2"
	"path/filepath"
	"slices"
	"testing"
	"time"

	"github.com/google/uuid"

	"pulk/checklist/crew"
	"pulk/checklist/procedure"
	"pulk/schema"
	"pulk/schema/kind"
	"pulk/sync/bundle"
	"pulk/sync/change"
	"pulk/sync/changelog"
	"pulk/sync/clock"
)

const suspectYAML = `id: %s
title: Seal a module
revision: "A"
hazards: []
roles: [quality]
steps:
  - {id: "10", kind: do, text: Clean the seal.}
  - {id: "20", kind: record, text: Enter the batch., record: {what: text, label: batch}}
  - {id: "30", kind: confirm, text: No frost is on the seal.}
  - {id: "40", kind: hold, text: Release., sign: {role: quality, people: 1}}
  - {id: "50", kind: do, text: Close the housing., irreversible: %t, after: ["40"]}
`

// Conflicts looks only at runs that can have one. Against random histories of two
// sites that write what they like, it must find what looking at every run finds.
func TestSuspectsLeaveNoConflictOut(t *testing.T) {
	found := map[string]int{}
	for seed := range uint64(20) {
		r := rand.New(rand.NewPCG(seed, 1))
		sites := []*changelog.Log{suspectSite(t, "home", byte(seed)), suspectSite(t, "stn", byte(seed))}
		now := time.Date(2027, 1, 5, 6, 0, 0, 0, time.UTC)
		runs, revisions := suspectRuns(t, sites[0], now)
		for range 40 {
			now = now.Add(time.Minute)
			at := r.IntN(2)
			if r.IntN(6) == 0 {
				carry(t, sites[at], sites[1-at], now)
				continue
			}
			scribble(t, r, sites[at], now, runs, revisions)
		}
		carry(t, sites[0], sites[1], now)
		carry(t, sites[1], sites[0], now)
		for _, log := range sites {
			compareSuspects(t, log, seed, found)
		}
	}
	for _, kind := range []string{"step done twice", "irreversible step done behind a shut gate", "step done on paper behind a shut gate", "run on a withdrawn revision", "nonconformance disposed in two ways"} {
		if found[kind] == 0 {
			t.Errorf("no history had a conflict of the kind %q: the test shows nothing about it", kind)
		}
	}
}

func compareSuspects(t *testing.T, log *changelog.Log, seed uint64, found map[string]int) {
	t.Helper()
	err := log.View(context.Background(), func(tx *changelog.Tx) error {
		var got []changelog.Conflict
		err := Projection{}.Conflicts(tx, func(c changelog.Conflict) error { got = append(got, c); return nil })
		if err != nil {
			return err
		}
		list, err := List(tx)
		if err != nil {
			return err
		}
		var want []changelog.Conflict
		for _, summary := range list {
			record, err := Load(tx, summary.ID)
			if err != nil {
				return err
			}
			want = append(want, record.conflicts(tx)...)
		}
		id := func(c changelog.Conflict) string { found[c.Kind]++; return c.ID }
		if a, b := mapped(got, id), mapped(want, id); !slices.Equal(a, b) {
			t.Errorf("seed %d at %s: found %v; looking at every run finds %v", seed, log.Self().Code, a, b)
		}
		return nil
	})
	if err != nil {
		t.Fatal(err)
	}
}

func mapped(list []changelog.Conflict, fn func(changelog.Conflict) string) []string {
	var out []string
	for _, c := range list {
		out = append(out, fn(c))
	}
	return out
}

func suspectSite(t *testing.T, code string, seed byte) *changelog.Log {
	t.Helper()
	return campaignSite(t, code, seed, uuid.UUID{9})
}

// campaignSite makes a site of a campaign; of one without id it founds its own.
func campaignSite(t *testing.T, code string, seed byte, campaign uuid.UUID) *changelog.Log {
	t.Helper()
	store, err := schema.Create(filepath.Join(t.TempDir(), code+".db"), schema.Scratch)
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { store.Close() })
	log, err := changelog.Init(context.Background(), store, changelog.Start{Campaign: campaign, CampaignName: "Vindur Deep", Code: code, Name: code,
		Now: time.Date(2027, 1, 5, 5, 0, 0, 0, time.UTC), Rand: rand.NewChaCha8([32]byte{seed, code[0]})}, crew.Projection{}, procedure.Projection{}, Projection{})
	if err != nil {
		t.Fatal(err)
	}
	return log
}

// suspectRuns starts three runs on two procedures, of which one has a step that
// cannot be undone.
func suspectRuns(t *testing.T, log *changelog.Log, now time.Time) (runs, revisions []clock.Dot) {
	t.Helper()
	for i, name := range []string{"seal", "close"} {
		suspectWrite(t, log, now, func(tx *changelog.Tx) error {
			source := fmt.Appendf(nil, suspectYAML, name, i == 1)
			p, problems := procedure.Parse(name, source)
			if procedure.HasErrors(problems) {
				return fmt.Errorf("%s", problems[0])
			}
			id, _, err := procedure.Import(tx, p, source)
			revisions = append(revisions, id)
			return err
		})
	}
	for _, revision := range []clock.Dot{revisions[0], revisions[1], revisions[0]} {
		suspectWrite(t, log, now, func(tx *changelog.Tx) error {
			runs = append(runs, tx.Add(change.New(kind.RunStart, change.Ref(revision), change.Value{}, change.Value{}, change.Text("run"))))
			return nil
		})
	}
	return runs, revisions
}

func suspectWrite(t *testing.T, log *changelog.Log, now time.Time, fn func(tx *changelog.Tx) error) {
	t.Helper()
	if _, err := log.Write(context.Background(), changelog.Author{Now: now}, fn); err != nil {
		t.Fatal(err)
	}
}

// scribble writes one random change about a run, whatever the rules would say.
func scribble(t *testing.T, r *rand.Rand, log *changelog.Log, now time.Time, runs, revisions []clock.Dot) {
	t.Helper()
	suspectWrite(t, log, now, func(tx *changelog.Tx) error {
		run := runs[r.IntN(len(runs))]
		if r.IntN(2) == 0 {
			tx.SetClass(clock.Expedited)
		}
		what := r.IntN(12)
		if run == runs[2] { // in this one nothing is done, only decided
			what = 1 + what%4
		}
		switch what {
		case 0:
			tx.Add(change.New(kind.StepRecord, change.Ref(run), change.Num(1), change.Text("B-0417"), change.Value{}))
		case 1:
			tx.Add(change.New(kind.NCRaise, change.Ref(run), change.Num(int64(r.IntN(6))), change.Value{}, change.Value{}, change.Text("frost")))
		case 2, 3, 4:
			list, err := Nonconformances(tx)
			if err != nil || len(list) == 0 {
				return err
			}
			nc := list[r.IntN(len(list))]
			tx.Add(change.New(kind.NCDispose, change.Ref(nc.Entry.Dot), change.Ref(nc.Run), change.Num(int64(1+r.IntN(4))), change.Text("why")))
		case 5:
			if r.IntN(6) == 0 {
				tx.Add(change.New(kind.RevisionWithdraw, change.Ref(revisions[r.IntN(2)]), change.Text("wrong torque")))
			}
		default:
			tx.Add(change.New(kind.StepCheck, change.Ref(run), change.Num([]int64{0, 2, 4}[r.IntN(3)]), change.Num(int64(r.IntN(5)/4))))
			if r.IntN(8) == 0 {
				tx.Add(change.New(kind.PaperMark, change.Ref(run), change.Num(1), change.Value{}, change.Text("Jo Stone"), change.Text("2027-01-04"), change.Text("done"), change.Text("no power")))
			}
		}
		return nil
	})
}

func carry(t *testing.T, from, to *changelog.Log, now time.Time) {
	t.Helper()
	for _, pair := range [][2]*changelog.Log{{from, to}, {to, from}} {
		err := pair[0].Store().Update(context.Background(), func(raw *schema.Tx) error {
			return pair[0].Local(raw, func(tx *changelog.Tx) error {
				other := pair[1].Self()
				site, err := tx.AddSite(other.Public(), other.Code)
				if err != nil {
					return err
				}
				return tx.Trust(site.ID, true)
			})
		})
		if err != nil {
			t.Fatal(err)
		}
	}
	made, err := from.Make(context.Background(), changelog.Request{To: to.Self().Site, Now: now})
	if err != nil {
		t.Fatal(err)
	}
	if _, err := to.Take(context.Background(), made.Data, bundle.DefaultLimits, now); err != nil {
		t.Fatal(err)
	}
}
