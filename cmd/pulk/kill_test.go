package main

import (
	"bytes"
	"context"
	"crypto/rand"
	"errors"
	"fmt"
	mathrand "math/rand/v2"
	"os"
	"os/exec"
	"path/filepath"
	"slices"
	"strings"
	"testing"
	"time"

	"github.com/google/uuid"

	"pulk/checklist/crew"
	"pulk/checklist/procedure"
	"pulk/checklist/run"
	"pulk/schema"
	"pulk/schema/kind"
	"pulk/sync/change"
	"pulk/sync/changelog"
	"pulk/sync/clock"
)

// killProcedure has steps that write one change, and readings out of limits, which
// write two that belong together.
const killProcedure = `id: deck
title: Deck check
revision: A
hazards: []
steps:
  - {id: "10", kind: do, text: Look.}
  - {id: "20", kind: reading, text: Measure., reading: {quantity: insulation, unit: MOhm, limits: {min: 100}}}
  - {id: "30", kind: do, text: Look again.}
  - {id: "40", kind: reading, text: Measure., reading: {quantity: insulation, unit: MOhm, limits: {min: 100}}}
  - {id: "50", kind: do, text: Tidy up.}
`

// victim is a store and the real program, to be killed while it works on it.
type victim struct {
	t            *testing.T
	binary, path string
	runs         []string // names of started runs
	sets         int
	at           int // steps done so far, over all runs
}

var killSteps = [][]string{{"10"}, {"20", "5"}, {"30"}, {"40", "6"}, {"50"}}

func newVictim(t *testing.T, runs int) *victim {
	t.Helper()
	v := &victim{t: t, binary: buildPulk(t), path: filepath.Join(t.TempDir(), "stn.db")}
	store, err := schema.Create(v.path, schema.Durable)
	if err != nil {
		t.Fatal(err)
	}
	defer store.Close()
	ctx := context.Background()
	log, err := changelog.Init(ctx, store, changelog.Start{Campaign: uuid.New(), CampaignName: "Vindur Deep", Code: "stn", Name: "Vindur Plateau Camp", Now: time.Now(), Rand: rand.Reader}, projections()...)
	if err != nil {
		t.Fatal(err)
	}
	parsed, problems := procedure.Parse("deck", []byte(killProcedure))
	if procedure.HasErrors(problems) {
		t.Fatal(problems)
	}
	var revision clock.Dot
	v.write(log, func(tx *changelog.Tx) error {
		if _, err := crew.Add(tx, "ida", "Ida Brekke", nil); err != nil {
			return err
		}
		var err error
		revision, _, err = procedure.Import(tx, parsed, []byte(killProcedure))
		return err
	})
	for range runs {
		v.write(log, func(tx *changelog.Tx) error {
			v.runs = append(v.runs, tx.Name(tx.Add(change.New(kind.RunStart, change.Ref(revision), change.Value{}, change.Value{}, change.Text("deck")))))
			return nil
		})
	}
	v.sets = v.verified()
	return v
}

func (v *victim) write(log *changelog.Log, fn func(tx *changelog.Tx) error) {
	v.t.Helper()
	if _, err := log.Write(context.Background(), changelog.Author{Now: time.Now()}, fn); err != nil {
		v.t.Fatal(err)
	}
}

// buildPulk builds the program as users run it, or with other flags.
func buildPulk(t *testing.T, flags ...string) string {
	t.Helper()
	if path := os.Getenv("PULK_BINARY"); path != "" && len(flags) == 0 { // where there is no Go: testdata/netem.sh
		return path
	}
	path := filepath.Join(t.TempDir(), "pulk")
	if out, err := exec.Command("go", slices.Concat([]string{"build", "-o", path}, flags, []string{"."})...).CombinedOutput(); err != nil {
		t.Fatalf("go build: %v\n%s", err, out)
	}
	return path
}

// check returns the command that carries out the next step.
func (v *victim) check() *exec.Cmd {
	args := []string{"run", "check", v.runs[v.at/len(killSteps)]}
	args = append(args, killSteps[v.at%len(killSteps)]...)
	return exec.Command(v.binary, append(args, "--as", "ida", "--store", v.path)...)
}

// verified opens the store, verifies all of it and returns how many change-sets it
// holds. Every failing reading must have its nonconformance.
func (v *victim) verified() int {
	v.t.Helper()
	store, err := schema.Open(v.path, schema.Durable)
	if err != nil {
		v.t.Fatalf("the store does not open: %v", err)
	}
	defer store.Close()
	log, err := changelog.Open(context.Background(), store, projections()...)
	if err != nil {
		v.t.Fatalf("the store does not open: %v", err)
	}
	found, err := log.Verify(context.Background())
	if err != nil || len(found.Faults) > 0 {
		v.t.Fatalf("verify: %+v, %v", found, err)
	}
	err = log.View(context.Background(), func(tx *changelog.Tx) error {
		list, err := run.List(tx)
		for _, summary := range list {
			record, err := run.Load(tx, summary.ID)
			if err != nil {
				return err
			}
			readings, ncs := 0, 0
			for _, e := range record.Entries {
				switch e.Kind {
				case kind.StepReading:
					readings++
				case kind.NCRaise:
					ncs++
				}
			}
			if readings != ncs {
				return fmt.Errorf("%d failing readings with %d nonconformances: half of a command", readings, ncs)
			}
		}
		return err
	})
	if err != nil {
		v.t.Fatal(err)
	}
	return found.Sets
}

// A process killed at any moment leaves all of its command or nothing; what it
// called done is there.
func TestKill(t *testing.T) {
	kills := 200
	if testing.Short() {
		kills = 30
	}
	v := newVictim(t, kills/len(killSteps)+2)
	start := time.Now()
	const measured = 3
	for range measured {
		if out, err := v.check().CombinedOutput(); err != nil {
			t.Fatalf("%v: %s", err, out)
		}
		v.at++
		v.sets++
	}
	usual := time.Since(start) / measured
	killed, done, unsaid := 0, 0, 0
	for range kills {
		said, wasKilled := v.killAt(time.Duration(mathrand.Int64N(int64(usual) * 5 / 4)))
		now := v.verified()
		switch {
		case now != v.sets && now != v.sets+1:
			t.Fatalf("%d change-sets; there were %d", now, v.sets)
		case said && now == v.sets:
			t.Fatal("it said that it was done, and the step is not there")
		case !said && now > v.sets:
			unsaid++
		}
		// The machine's speed drifts; keep the kills around the moment of the commit.
		if wasKilled {
			killed++
			usual += usual / 20
		} else {
			usual -= usual / 10
		}
		if now > v.sets {
			done++
			v.at++
		}
		v.sets = now
	}
	t.Logf("a command takes about %s; %d of %d were killed in time, %d left their step done, %d of those before they could say so", usual, killed, kills, done, unsaid)
	if killed < kills/3 || done == 0 {
		t.Errorf("the kills came at the wrong moments to show anything")
	}
}

// killAt starts the next command and kills it after a time. It returns whether the
// command said that the step was done.
func (v *victim) killAt(after time.Duration) (said, killed bool) {
	v.t.Helper()
	var out, complaint bytes.Buffer
	command := v.check()
	command.Stdout, command.Stderr = &out, &complaint
	if err := command.Start(); err != nil {
		v.t.Fatal(err)
	}
	timer := time.AfterFunc(after, func() { command.Process.Kill() })
	err := command.Wait()
	timer.Stop()
	var exit *exec.ExitError
	killed = errors.As(err, &exit) && exit.ExitCode() == -1
	if err != nil && !killed {
		v.t.Fatalf("%v: %s%s", err, out.String(), complaint.String())
	}
	return strings.HasPrefix(out.String(), "step "), killed
}

// A disk without room: the command fails with exit code 1 and says why; the store
// stays as it was, and goes on when there is room again.
func TestDiskFull(t *testing.T) {
	v := newVictim(t, 4)
	info, err := os.Stat(v.path)
	if err != nil {
		t.Fatal(err)
	}
	blocks := info.Size() / 512 // of ulimit -f, in POSIX shells
	failed := 0
	for limit := int64(1); limit < blocks+80; limit = limit*3/2 + 1 {
		command := v.check()
		command.Args = append([]string{"sh", "-c", fmt.Sprintf(`ulimit -f %d && exec "$0" "$@"`, limit)}, command.Args...)
		command.Path, _ = exec.LookPath("sh")
		out, err := command.CombinedOutput()
		now := v.verified()
		var exit *exec.ExitError
		switch {
		case err == nil && now == v.sets+1: // there was room
			v.sets++
			v.at++
			continue
		case !errors.As(err, &exit) || exit.ExitCode() != exitFailed || now != v.sets:
			t.Fatalf("limit of %d blocks: %v, %d change-sets, there were %d\n%s", limit, err, now, v.sets, out)
		case !strings.Contains(string(out), "the disk is full: nothing was changed"):
			t.Fatalf("limit of %d blocks: it does not say that the disk is full:\n%s", limit, out)
		}
		failed++
	}
	if failed == 0 {
		t.Error("no limit was felt")
	}
	if out, err := v.check().CombinedOutput(); err != nil {
		t.Fatalf("with room again: %v: %s", err, out)
	}
	if now := v.verified(); now != v.sets+1 {
		t.Errorf("%d change-sets; want %d", now, v.sets+1)
	}
}
