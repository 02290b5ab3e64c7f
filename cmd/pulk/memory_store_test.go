package main

import (
	"os"
	"path/filepath"
	"runtime"
	"testing"

	"pulk/schema"
	"pulk/sync/bundle/daytest"
)

// TestMemoryStore does as TestMemory does with commands that tell of a whole store:
// one of a year of 730,000 changes with 21,000 conflicts, or, without -large, of five days.
func TestMemoryStore(t *testing.T) {
	if runtime.GOOS != "linux" {
		t.Skip("the peak of a process is read as Linux tells it")
	}
	days, last := 365, "2028-01-04"
	if !*large {
		days, last = 5, "2027-01-09"
	}
	m := newMemory(t)
	path := filepath.Join(t.TempDir(), "season.db")
	store, err := schema.Create(path, schema.Scratch)
	if err != nil {
		t.Fatal(err)
	}
	log, _ := fillSeason(t, store, days)
	var next []byte // a day more
	if _, err := daytest.Bundles(1, days+1, log.Self().Site, func(data []byte) error { next = data; return nil }); err != nil {
		t.Fatal(err)
	}
	if err := store.Close(); err != nil {
		t.Fatal(err)
	}
	page := filepath.Join(t.TempDir(), "day.html")
	for _, args := range [][]string{
		{"report", "day", "--date", last, "--html", page},
		{"report", "day", "--date", last, "--json"},
		{"conflict", "list"},
		{"run", "list", "--json"},
		{"run", "list", "--all"},
		{"nc", "list"},
		{"stock", "list"},
		{"verify"},
		{"site", "backup", filepath.Join(t.TempDir(), "backup.db")},
		append([]string{"bundle", "take"}, m.write(t, [][]byte{next})...),
	} {
		m.within(t, true, append(args, "--store", path)...)
	}
	setAllAside(t, path)
	for _, args := range [][]string{{"site", "quarantine"}, {"site", "quarantine", "--json"}, {"site", "quarantine", "stn-9"}} {
		m.within(t, true, append(args, "--store", path)...)
	}
	if info, err := os.Stat(page); err != nil || info.Size() < 100_000 {
		t.Errorf("the page of a full day: %v, %v", info, err)
	}
}

// setAllAside keeps a copy of all change-sets of the station aside, as if it had been cut
// off before its first.
func setAllAside(t *testing.T, path string) {
	t.Helper()
	store, err := schema.Open(path, schema.Scratch)
	if err != nil {
		t.Fatal(err)
	}
	defer store.Close()
	err = store.Update(t.Context(), func(tx *schema.Tx) error {
		return tx.Exec(`INSERT INTO quarantine (site, epoch, class, seq, hash, previous, bytes, took, peer)
			SELECT l.site, l.epoch, l.class, c.seq, c.hash, c.hash, c.bytes, c.took, 0 FROM changeset AS c JOIN lane AS l ON l.id = c.lane WHERE l.site = ?`, daytest.Station)
	})
	if err != nil {
		t.Fatal(err)
	}
}
