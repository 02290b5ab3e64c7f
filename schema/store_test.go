package schema

import (
	"context"
	"database/sql"
	"errors"
	"fmt"
	"os"
	"path/filepath"
	"sync"
	"testing"
)

func newStore(t *testing.T) *Store {
	t.Helper()
	store, err := Create(filepath.Join(t.TempDir(), "a store with spaces & ?.db"), Durable)
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { store.Close() })
	return store
}

func put(name string, value any) func(*Tx) error {
	return func(tx *Tx) error {
		return tx.Exec("INSERT INTO meta (name, value) VALUES (?, ?)", name, value)
	}
}

func count(t *testing.T, s *Store) (n int) {
	t.Helper()
	err := s.View(context.Background(), func(tx *Tx) error {
		_, err := tx.Row("SELECT count(*) FROM meta", nil, &n)
		return err
	})
	if err != nil {
		t.Fatal(err)
	}
	return n
}

// What a commit needs to survive a power cut is none of the driver's defaults.
// Source: SQLite documentation, "PRAGMA synchronous": in WAL mode only FULL syncs
// the log at each commit.
func TestStoreIsOpenedToLast(t *testing.T) {
	s := newStore(t)
	err := s.View(context.Background(), func(tx *Tx) error {
		for pragma, want := range map[string]string{"journal_mode": "wal", "synchronous": "2", "foreign_keys": "1"} {
			var got string
			if _, err := tx.Row("PRAGMA "+pragma, nil, &got); err != nil || got != want {
				t.Errorf("%s is %q, %v; want %q", pragma, got, err, want)
			}
		}
		return nil
	})
	if err != nil {
		t.Fatal(err)
	}
}

func TestOpenRefusesWhatIsNoStore(t *testing.T) {
	folder := t.TempDir()
	write := func(name string, data []byte) string {
		path := filepath.Join(folder, name)
		if err := os.WriteFile(path, data, 0o666); err != nil {
			t.Fatal(err)
		}
		return path
	}
	other := filepath.Join(folder, "other.db")
	db, err := sql.Open("sqlite3", other)
	if err != nil {
		t.Fatal(err)
	}
	if _, err := db.Exec("CREATE TABLE x (y)"); err != nil {
		t.Fatal(err)
	}
	db.Close()
	newer := newStore(t)
	if err := newer.Update(context.Background(), func(tx *Tx) error { return tx.Exec("PRAGMA user_version = 999") }); err != nil {
		t.Fatal(err)
	}
	newer.Close()
	for _, c := range []struct {
		name, path string
		want       error
	}{
		{"missing", filepath.Join(folder, "none.db"), ErrNoStore},
		{"folder", folder, ErrNotStore},
		{"empty", write("empty.db", nil), ErrNotStore},
		{"text", write("text.db", []byte("this is a letter, not a database at all, and long enough")), ErrNotStore},
		{"other_program", other, ErrNotStore},
		{"newer", newer.Path(), ErrNewer},
	} {
		if s, err := Open(c.path, Durable); !errors.Is(err, c.want) {
			t.Errorf("%s: Open = %v, %v; want %v", c.name, s, err, c.want)
		}
	}
	if _, err := Create(other, Durable); !errors.Is(err, ErrExists) {
		t.Errorf("Create over a file: %v; want %v", err, ErrExists)
	}
}

// Fail the n-th write, for n = 1, 2, 3 … until the whole succeeds: each time all of
// the transaction is there, or nothing.
func TestAllOrNothingAtEveryWrite(t *testing.T) {
	s := newStore(t)
	before := count(t, s)
	broken := errors.New("pulled the plug")
	for n := 1; ; n++ {
		left := n
		s.FailWrite = func() error {
			if left--; left < 0 {
				return broken
			}
			return nil
		}
		err := s.Update(context.Background(), func(tx *Tx) error {
			return errors.Join(put(fmt.Sprint(n, "a"), 1)(tx), put(fmt.Sprint(n, "b"), 2)(tx))
		})
		s.FailWrite = nil
		got := count(t, s)
		if err == nil {
			if got != before+2 {
				t.Errorf("after success: %d rows; want %d", got, before+2)
			}
			return
		}
		if !errors.Is(err, broken) || got != before {
			t.Fatalf("write %d failed (%v): %d rows; want %d", n, err, got, before)
		}
		if n > 10 {
			t.Fatal("it never succeeds")
		}
	}
}

func TestDiskFull(t *testing.T) {
	s := newStore(t)
	before := count(t, s)
	err := s.Update(context.Background(), func(tx *Tx) error {
		if err := tx.Exec("PRAGMA max_page_count = 60"); err != nil {
			return err
		}
		return put("large", make([]byte, 1<<20))(tx)
	})
	if !Full(err) {
		t.Errorf("a full disk gives %v; Full does not know it", err)
	}
	if got := count(t, s); got != before {
		t.Errorf("%d rows; want %d", got, before)
	}
}

func TestCancelLeavesNothing(t *testing.T) {
	s := newStore(t)
	before := count(t, s)
	ctx, cancel := context.WithCancel(context.Background())
	err := s.Update(ctx, func(tx *Tx) error {
		err := put("half", 1)(tx)
		cancel()
		return err
	})
	if !errors.Is(err, context.Canceled) || count(t, s) != before {
		t.Errorf("cancelled before the commit: %v, %d rows; want %d", err, count(t, s), before)
	}
}

// Many writers on two handles of one file, as two processes have it: none fails,
// none is lost. (Deferred transactions would fail with "database is locked".)
func TestWritersQueue(t *testing.T) {
	s := newStore(t)
	second, err := Open(s.Path(), Durable)
	if err != nil {
		t.Fatal(err)
	}
	defer second.Close()
	before := count(t, s)
	var group sync.WaitGroup
	const writers, each = 6, 10
	for w := range writers {
		group.Go(func() {
			handle := []*Store{s, second}[w%2]
			for i := range each {
				err := handle.Update(context.Background(), func(tx *Tx) error {
					var n int
					if _, err := tx.Row("SELECT count(*) FROM meta", nil, &n); err != nil {
						return err
					}
					return put(fmt.Sprintf("%d-%d", w, i), n)(tx)
				})
				if err != nil {
					t.Errorf("writer %d: %v", w, err)
				}
			}
		})
	}
	group.Wait()
	if got := count(t, s); got != before+writers*each {
		t.Errorf("%d rows; want %d", got, before+writers*each)
	}
}

func TestVersionIsThatOfANewStore(t *testing.T) {
	var version int
	if err := newStore(t).db.QueryRow("PRAGMA user_version").Scan(&version); err != nil || version != Version() {
		t.Errorf("a new store has version %d (%v), the program says %d", version, err, Version())
	}
}
