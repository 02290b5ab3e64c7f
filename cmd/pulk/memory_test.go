package main

import (
	"context"
	"crypto/ed25519"
	"encoding/binary"
	"fmt"
	"os"
	"os/exec"
	"path/filepath"
	"runtime"
	"slices"
	"strings"
	"testing"
	"time"

	"github.com/google/uuid"

	"pulk/schema"
	"pulk/sync/bundle/daytest"
	"pulk/sync/changelog"
	"pulk/sync/clock"
)

// mostResident is what a process may have in memory at any time, whatever it is given to
// read, its own file included, of which some 28 MB are there: docs/decisions/memory.md.
const mostResident = 64 << 20

// TestMemory gives the real program the worst that each limit allows, and what no
// limit should let in, and measures the most memory that it had resident.
func TestMemory(t *testing.T) {
	if runtime.GOOS != "linux" {
		t.Skip("the peak of a process is read as Linux tells it")
	}
	m := newMemory(t)
	for _, input := range worstInputs() {
		if testing.Short() && !input.quick || !*large && slices.Contains(slowInputs, input.name) {
			continue
		}
		t.Run(input.name, func(t *testing.T) {
			files := m.write(t, input.bundles(m.home))
			for _, verb := range [][]string{{"bundle", "show"}, {"bundle", "show", "--json"}} {
				m.within(t, input.taken, append(verb, files[len(files)-1])...)
			}
			store := m.store(t)
			m.within(t, input.taken, append([]string{"bundle", "take", "--store", store}, files...)...)
			m.within(t, true, "exchange", t.TempDir(), "--store", store) // relays it to the ship
		})
	}
	t.Run("endless", func(t *testing.T) { m.endless(t) })
}

// memory is a store to copy and the real program to run on copies of it.
type memory struct {
	binary, template string
	launcher         string // testdata/launch
	home             clock.SiteID
	public           ed25519.PublicKey // of home
}

// newMemory builds the program, with flags if there are any, and a store.
func newMemory(t *testing.T, flags ...string) *memory {
	t.Helper()
	m := &memory{binary: buildPulk(t, flags...), launcher: filepath.Join(t.TempDir(), "launch"), template: filepath.Join(t.TempDir(), "home.db")}
	if out, err := exec.Command("go", "build", "-o", m.launcher, "./testdata/launch").CombinedOutput(); err != nil {
		t.Fatalf("go build: %v\n%s", err, out)
	}
	m.within(t, true, "help")
	store, err := schema.Create(m.template, schema.Durable)
	if err != nil {
		t.Fatal(err)
	}
	defer store.Close()
	var campaign uuid.UUID
	binary.BigEndian.PutUint32(campaign[:], daytest.Campaign)
	log, err := changelog.Init(context.Background(), store, changelog.Start{Campaign: campaign, CampaignName: "memory", Code: "home", Name: "home",
		Now: time.Date(2027, 1, 1, 0, 0, 0, 0, time.UTC), Rand: new(zeroRand)}, projections()...)
	if err != nil {
		t.Fatal(err)
	}
	self := log.Self()
	m.home, m.public = self.Site, self.Public()
	err = store.Update(context.Background(), func(tx *schema.Tx) error {
		for site, code := range map[clock.SiteID]string{daytest.Station: "stn", daytest.Ship: "ship"} {
			if err := tx.Exec("INSERT INTO site_key (site, key, code, trusted) VALUES (?, ?, ?, 1)", site, []byte(daytest.Key().Public().(ed25519.PublicKey)), code); err != nil {
				return err
			}
		}
		return nil
	})
	if err != nil {
		t.Fatal(err)
	}
	return m
}

// zeroRand is no randomness at all, for keys that are the same in every run.
type zeroRand struct{}

func (zeroRand) Read(p []byte) (int, error) { clear(p); return len(p), nil }

// store returns a fresh copy of the template.
func (m *memory) store(t *testing.T) string {
	t.Helper()
	data, err := os.ReadFile(m.template)
	if err != nil {
		t.Fatal(err)
	}
	path := filepath.Join(t.TempDir(), "home.db")
	if err := os.WriteFile(path, data, 0o600); err != nil {
		t.Fatal(err)
	}
	return path
}

func (m *memory) write(t *testing.T, bundles [][]byte) []string {
	t.Helper()
	folder := t.TempDir()
	var files []string
	for i, data := range bundles {
		path := filepath.Join(folder, parcelName(m.home, i))
		if err := os.WriteFile(path, data, 0o600); err != nil {
			t.Fatal(err)
		}
		files = append(files, path)
	}
	return files
}

// within runs the program and fails where it took more memory than it may, or did
// not take what it should, or took what it should not.
func (m *memory) within(t *testing.T, taken bool, args ...string) {
	t.Helper()
	if ok, out := m.measured(t, args...); ok != taken {
		t.Errorf("pulk %s: ended well: %t, want %t\n%s", strings.Join(args, " "), ok, taken, out)
	}
}

// measured runs the program and fails where it took more memory than it may. On a machine
// that is busy with other tests the collector gets the processor late, and garbage lies
// around for longer: what took too much is run again on the store as it was, and fails
// when it has done so three times.
func (m *memory) measured(t *testing.T, args ...string) (ok bool, out string) {
	t.Helper()
	name := strings.Join(slices.DeleteFunc(slices.Clone(args), func(a string) bool { return strings.Contains(a, "/") || a == "--store" }), " ")
	store, was := "", []byte(nil)
	if at := slices.Index(args, "--store"); at >= 0 {
		store = args[at+1]
		was, _ = os.ReadFile(store) // none where the program is to make it
	}
	for try := 1; ; try++ {
		begin := time.Now()
		peak, out, ok := m.run(t, args...)
		t.Logf("pulk %s: %.1f MB resident at most, %s", name, float64(peak)/1e6, time.Since(begin).Round(time.Millisecond))
		if peak <= mostResident {
			return ok, out
		}
		if try == 3 {
			t.Errorf("pulk %s had %d bytes resident, at most %d are allowed\n%s", name, peak, mostResident, out)
			return ok, out
		}
		if was != nil {
			os.Remove(store + "-wal")
			os.Remove(store + "-shm")
			if err := os.WriteFile(store, was, 0o600); err != nil {
				t.Fatal(err)
			}
		}
	}
}

// run returns the peak of resident bytes of one run of the program, the end of its
// standard error, and whether it ended well.
func (m *memory) run(t *testing.T, args ...string) (peak int64, out string, ok bool) {
	t.Helper()
	said, err := exec.Command(m.launcher, append([]string{m.binary}, args...)...).Output()
	if err != nil {
		t.Fatalf("launcher: %v: %s", err, said)
	}
	if n, err := fmt.Sscanf(string(said), "peak %d ok %t", &peak, &ok); n != 2 {
		t.Fatalf("launcher: %v: %s", err, said)
	}
	return peak, string(said), ok
}
