package main

import (
	"bytes"
	"encoding/json"
	"fmt"
	"path/filepath"
	"slices"
	"strings"
	"testing"
	"time"

	"pulk/schema"
	"pulk/sync/changelog"
)

// TestManyConflicts: of more conflicts than a list tells, it tells the first, and of how
// many more there are; a report tells fewer.
func TestManyConflicts(t *testing.T) {
	defer stayFrugalNoMore() // of this process
	path := filepath.Join(t.TempDir(), "season.db")
	store, err := schema.Create(path, schema.Scratch)
	if err != nil {
		t.Fatal(err)
	}
	log, _ := fillSeason(t, store, 6)
	var all []changelog.Conflict
	err = log.View(t.Context(), func(tx *changelog.Tx) error {
		all, err = tx.Conflicts()
		if err != nil {
			return err
		}
		for _, most := range []int{0, 1, 7, len(all) / 2, len(all) - 1, len(all), len(all) + 1} {
			first, n, err := tx.FirstConflicts(most)
			same := func(a, b changelog.Conflict) bool { return a.ID == b.ID && a.What == b.What }
			if err != nil || n != len(all) || !slices.EqualFunc(first, all[:min(most, len(all))], same) {
				t.Errorf("the first %d of %d: %d of %d (%v), or not the same", most, len(all), len(first), n, err)
			}
		}
		return nil
	})
	if err != nil {
		t.Fatal(err)
	}
	if err := store.Close(); err != nil {
		t.Fatal(err)
	}
	if len(all) <= conflictsTold {
		t.Fatalf("%d conflicts: too few for this test", len(all))
	}
	told := func(args ...string) (stdout, stderr string) {
		t.Helper()
		var out, errs bytes.Buffer
		e := &env{stdout: &out, stderr: &errs, now: time.Now, getenv: func(string) string { return "" }, local: time.UTC}
		if code := invoke(t.Context(), append(append([]string{"pulk"}, args...), "--store", path), e); code != exitDone {
			t.Fatalf("%q: exit code %d: %s", args, code, &errs)
		}
		return out.String(), errs.String()
	}
	for _, c := range []struct {
		args []string
		n    int
		more string
	}{
		{[]string{"conflict", "list", "--json"}, conflictsTold, fmt.Sprintf("pulk: and %d more conflicts: pulk conflict list --all\n", len(all)-conflictsTold)},
		{[]string{"conflict", "list", "--json", "--all"}, len(all), ""},
	} {
		var rows []conflictRow
		out, more := told(c.args...)
		if err := json.Unmarshal([]byte(out), &rows); err != nil || len(rows) != c.n || more != c.more {
			t.Errorf("%q: %d conflicts (%v) and %q; want %d and %q", c.args, len(rows), err, more, c.n, c.more)
		}
	}
	out, _ := told("report", "day", "--date", "2027-01-06")
	if want := fmt.Sprintf("! and %d more conflicts: pulk conflict list", len(all)-reportConflicts); !strings.Contains(out, want) || strings.Count(out, "! conflict: ") != reportConflicts {
		t.Errorf("the report tells of %d conflicts; want %d and %q", strings.Count(out, "! conflict: "), reportConflicts, want)
	}
}
