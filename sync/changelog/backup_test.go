package changelog

import (
	"context"
	"fmt"
	"path/filepath"
	"testing"

	"pulk/schema"
	"pulk/schema/kind"
	"pulk/sync/change"
	"pulk/sync/clock"
)

// TestCopyWhileWritten: a copy that is made while others write is one state of the store,
// sound, and known to be a copy by whoever writes to it.
func TestCopyWhileWritten(t *testing.T) {
	const sets = 60
	log := newLog(t, "stn")
	write := func(log *Log, code string) (Receipt, error) {
		return log.Write(t.Context(), Author{Now: testStart}, func(tx *Tx) error {
			tx.Add(change.New(kind.LocationAdd, change.Text(code), change.Text(code), change.Value{}))
			return nil
		})
	}
	other, err := schema.Open(log.store.Path(), schema.Durable)
	if err != nil {
		t.Fatal(err)
	}
	defer other.Close()
	written := make(chan error, 1)
	go func() {
		for i := range sets {
			if _, err := write(log, fmt.Sprintf("place-%d", i)); err != nil {
				written <- err
				return
			}
		}
		written <- nil
	}()
	var last *Copied
	for n := range 4 {
		if n == 3 {
			if err := <-written; err != nil {
				t.Fatal(err)
			}
		}
		path := filepath.Join(t.TempDir(), "copy.db")
		if err := other.Copy(path); err != nil {
			t.Fatal(err)
		}
		copied, err := CheckCopy(t.Context(), path)
		if err != nil || len(copied.Faults) > 0 || copied.Identity.Site != log.self.Site {
			t.Fatalf("copy %d: %v, %+v", n, err, copied)
		}
		if last != nil && !copied.Heads.Covers(last.Heads) {
			t.Errorf("copy %d has %v, the one before it %v", n, copied.Heads, last.Heads)
		}
		last = copied
	}
	var heads clock.Vector
	if err := log.View(t.Context(), func(tx *Tx) (err error) { heads, err = tx.Heads(); return err }); err != nil {
		t.Fatal(err)
	}
	if n := last.Lacks(heads); n != 0 {
		t.Errorf("the last copy lacks %d change-sets", n)
	}
	heads[clock.Lane{Site: log.self.Site, Class: clock.Normal}] += 2
	heads[clock.Lane{Site: 7, Class: clock.Bulk}] = 3
	if n := last.Lacks(heads); n != 5 {
		t.Errorf("with 2 and 3 more there it lacks %d change-sets, want 5", n)
	}

	path := filepath.Join(t.TempDir(), "back.db")
	if err := other.Copy(path); err != nil {
		t.Fatal(err)
	}
	if _, err := CheckCopy(t.Context(), path); err != nil {
		t.Fatal(err)
	}
	store, err := schema.Open(path, schema.Scratch)
	if err != nil {
		t.Fatal(err)
	}
	defer store.Close()
	back, err := Open(context.Background(), store)
	if err != nil {
		t.Fatal(err)
	}
	for i, want := range []bool{true, false} {
		receipt, err := write(back, fmt.Sprintf("after-%d", i))
		if err != nil || receipt.Renewed != want || receipt.Lane.Epoch != 1 {
			t.Errorf("write %d into a copy: %v, %+v; want epoch 1, renewed %v", i, err, receipt, want)
		}
	}
}
