package main

import (
	"context"
	"database/sql"
	"errors"
	"fmt"
	"math/rand/v2"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"pulk/schema"
	"pulk/sync/changelog"
)

// TestVerifySeesBits: of every bit that flips in a store's file, verify tells, or nothing of
// the log and of what follows from it is another. What a store keeps for itself, such as
// when something came, has nothing that it could be compared with.
func TestVerifySeesBits(t *testing.T) {
	flips := 150
	if testing.Short() {
		flips = 30
	}
	folder := t.TempDir()
	store, err := schema.Create(filepath.Join(folder, "season.db"), schema.Scratch)
	if err != nil {
		t.Fatal(err)
	}
	fillSeason(t, store, 1)
	sound := filepath.Join(folder, "sound.db")
	if err := errors.Join(store.Copy(sound), store.Close()); err != nil {
		t.Fatal(err)
	}
	file, err := os.ReadFile(sound)
	if err != nil {
		t.Fatal(err)
	}
	want, err := shared(t, sound)
	if err != nil {
		t.Fatal(err)
	}
	rng := rand.New(rand.NewPCG(1, 1))
	path, told := filepath.Join(folder, "flipped.db"), 0
	for range flips {
		at, bit := rng.IntN(len(file)), byte(1)<<rng.IntN(8)
		for file[at] == 0 && rng.IntN(10) > 0 { // mostly room that nothing stands in
			at = rng.IntN(len(file))
		}
		for _, end := range []string{"-wal", "-shm"} {
			os.Remove(path + end)
		}
		file[at] ^= bit
		err := os.WriteFile(path, file, 0o600)
		file[at] ^= bit
		if err != nil {
			t.Fatal(err)
		}
		if faults, err := verifyFile(t.Context(), path); err != nil || faults > 0 {
			told++
			continue
		}
		if got, err := shared(t, path); err != nil || got != want {
			t.Errorf("bit %08b of byte %d: verify says that the store is sound, and it is another (%v)\n%.900s", bit, at, err, firstLine(want, got))
		}
	}
	t.Logf("of %d flips verify told of %d; the others changed nothing", flips, told)
	if told < flips/2 {
		t.Errorf("verify told of %d flips in %d: too few for this test to say anything", told, flips)
	}
}

func verifyFile(ctx context.Context, path string) (faults int, err error) {
	store, err := schema.Open(path, schema.Scratch)
	if err != nil {
		return 0, err
	}
	defer store.Close()
	log, err := changelog.Open(ctx, store, projections()...)
	if err != nil {
		return 0, err
	}
	v, err := log.Verify(ctx)
	if err != nil {
		return 0, err
	}
	return len(v.Faults), nil
}

// shared returns the log and all that follows from it, as text.
func shared(t *testing.T, path string) (string, error) {
	t.Helper()
	db, err := sql.Open("sqlite3", path)
	if err != nil {
		return "", err
	}
	defer db.Close()
	queries := []string{"SELECT lane, seq, hash, ctx, bytes FROM changeset ORDER BY lane, seq", "SELECT * FROM lane ORDER BY id",
		"SELECT * FROM statement ORDER BY lane, seq", "SELECT * FROM context ORDER BY id"}
	for _, p := range projections() {
		for _, table := range p.Tables() {
			queries = append(queries, "SELECT * FROM "+table)
		}
	}
	var text strings.Builder
	for _, query := range queries {
		rows, err := db.Query(query)
		if err != nil {
			return "", fmt.Errorf("%s: %w", query, err)
		}
		columns, err := rows.Columns()
		if err != nil {
			return "", err
		}
		values, into := make([]any, len(columns)), make([]any, len(columns))
		for i := range values {
			into[i] = &values[i]
		}
		for rows.Next() {
			if err := rows.Scan(into...); err != nil {
				return "", err
			}
			fmt.Fprintf(&text, "%s: %q\n", query, values)
		}
		if err := errors.Join(rows.Err(), rows.Close()); err != nil {
			return "", err
		}
	}
	return text.String(), nil
}

// firstLine returns the first line in which two texts differ, as it is in both.
func firstLine(want, got string) string {
	a, b := strings.Split(want, "\n"), strings.Split(got, "\n")
	for i := range min(len(a), len(b)) {
		if a[i] != b[i] {
			return a[i] + "\n" + b[i]
		}
	}
	return "one has more lines"
}
