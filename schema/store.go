// Package schema is the store: one SQLite file a site, opened so that what a
// command called done survives a power cut.
//
// It knows files, migrations and transactions, and nothing of their content;
// the change kinds are in package kind, the log in package changelog.
package schema

import (
	"context"
	"database/sql"
	"embed"
	"errors"
	"fmt"
	"io/fs"
	"net/url"
	"os"
	"slices"
	"sort"
	"syscall"

	"github.com/mattn/go-sqlite3"
)

//go:embed sql/*.sql
var migrations embed.FS

// ApplicationID marks a SQLite file as a pulk store ("pulk" in ASCII).
const ApplicationID = 0x70756c6b

// Errors of Open and Create that a caller may act on.
var (
	ErrNoStore  = errors.New("there is no store")
	ErrExists   = errors.New("a store is already there")
	ErrNotStore = errors.New("not a pulk store")
	ErrNewer    = errors.New("the store was written by a newer pulk")
)

// Durability says how hard a store tries to survive a power cut.
type Durability int

const (
	// Durable waits for the disk at every commit. It is what users get.
	Durable Durability = iota
	// Scratch does not wait: for rebuilds to compare and for simulations.
	Scratch
)

// Store is an open store. It may be used by several goroutines; writers queue.
type Store struct {
	db   *sql.DB
	path string
	// FailWrite, if set, is asked before each statement that writes; an error
	// stops the transaction there. Tests use it to kill a site in mid-write.
	FailWrite func() error
}

// Create makes a new store file. It refuses to touch an existing file.
func Create(path string, durability Durability) (*Store, error) {
	if _, err := os.Lstat(path); err == nil {
		return nil, fmt.Errorf("%s: %w", path, ErrExists)
	} else if !errors.Is(err, fs.ErrNotExist) {
		return nil, err
	}
	file, err := os.OpenFile(path, os.O_CREATE|os.O_EXCL|os.O_WRONLY, 0o600)
	if err != nil {
		return nil, err
	}
	file.Close()
	store, err := open(path, durability)
	if err != nil {
		os.Remove(path)
		return nil, err
	}
	return store, nil
}

// Open opens an existing store and brings its tables up to date.
func Open(path string, durability Durability) (*Store, error) {
	info, err := os.Stat(path)
	if errors.Is(err, fs.ErrNotExist) {
		return nil, fmt.Errorf("%s: %w", path, ErrNoStore)
	}
	if err != nil {
		return nil, err
	}
	if info.IsDir() {
		return nil, fmt.Errorf("%s: %w: it is a folder", path, ErrNotStore)
	}
	if info.Size() == 0 {
		return nil, fmt.Errorf("%s: %w: the file is empty", path, ErrNotStore)
	}
	return open(path, durability)
}

func open(path string, durability Durability) (*Store, error) {
	query := url.Values{
		"_journal_mode": {"WAL"}, "_txlock": {"immediate"}, "_fk": {"1"}, "_busy_timeout": {"10000"},
		"_sync": {"FULL"}, "_auto_vacuum": {"incremental"}, // see Tx.GiveBack
	}
	if durability == Scratch {
		query.Set("_sync", "OFF")
	}
	source := (&url.URL{Scheme: "file", Opaque: (&url.URL{Path: path}).EscapedPath(), RawQuery: query.Encode()}).String()
	db, err := sql.Open("sqlite3", source)
	if err != nil {
		return nil, err
	}
	db.SetMaxOpenConns(1)
	store := &Store{db: db, path: path}
	if err := store.migrate(); err != nil {
		db.Close()
		return nil, fmt.Errorf("%s: %w", path, err)
	}
	return store, nil
}

// migrate runs the numbered files in sql/ that the store has not had yet. The
// number of the last one is the store's user_version; a store with a higher one
// is left alone.
func (s *Store) migrate() error {
	var version, application, tables int
	err := errors.Join(
		s.db.QueryRow("PRAGMA user_version").Scan(&version),
		s.db.QueryRow("PRAGMA application_id").Scan(&application),
		s.db.QueryRow("SELECT count(*) FROM sqlite_schema").Scan(&tables))
	if err != nil {
		return notStore(err)
	}
	if tables > 0 && application != ApplicationID {
		return fmt.Errorf("%w: some other program's database", ErrNotStore)
	}
	names := steps()
	if latest := Version(); version > latest {
		return fmt.Errorf("%w: its version is %d, this program knows %d", ErrNewer, version, latest)
	} else if version == latest {
		return nil
	}
	return s.Update(context.Background(), func(tx *Tx) error {
		for _, name := range names {
			if number(name) <= version {
				continue
			}
			text, err := migrations.ReadFile(name)
			if err != nil {
				return err
			}
			if err := tx.Exec(string(text)); err != nil {
				return fmt.Errorf("%s: %w", name, err)
			}
			if err := tx.Exec(fmt.Sprintf("PRAGMA user_version = %d", number(name))); err != nil {
				return err
			}
		}
		return tx.Exec(fmt.Sprintf("PRAGMA application_id = %d", ApplicationID))
	})
}

// Version is the version of the tables that this program makes and reads.
func Version() int {
	names := steps()
	return number(names[len(names)-1])
}

// steps returns the files in sql/ in the order of their numbers.
func steps() []string {
	names, err := fs.Glob(migrations, "sql/*.sql")
	if err != nil {
		panic(err) // of a pattern that cannot be read
	}
	sort.Slice(names, func(i, j int) bool { return number(names[i]) < number(names[j]) })
	return names
}

func number(name string) int {
	var n int
	fmt.Sscanf(name, "sql/%d_", &n)
	return n
}

func notStore(err error) error {
	var cause sqlite3.Error
	if errors.As(err, &cause) && cause.Code == sqlite3.ErrNotADB {
		return ErrNotStore
	}
	return err
}

// Path returns the path that the store was opened by.
func (s *Store) Path() string { return s.path }

// Close closes the store.
func (s *Store) Close() error { return s.db.Close() }

// Copy writes a whole, consistent copy of the store to a new file, which only its owner
// can read, while others may go on using the store. A copy must not write under the
// same lane: see `pulk site renew`.
func (s *Store) Copy(path string) error {
	file, err := os.OpenFile(path, os.O_CREATE|os.O_EXCL|os.O_WRONLY, 0o600)
	if err != nil {
		return err
	}
	if _, err = s.db.Exec("VACUUM INTO ?", path); err == nil {
		err = file.Sync()
	}
	if err = errors.Join(err, file.Close()); err != nil {
		os.Remove(path)
	}
	return err
}

// Full reports whether err means that the disk is full, or that the system lets
// this file or this user have no more of it.
func Full(err error) bool {
	var cause sqlite3.Error
	if !errors.As(err, &cause) {
		return false
	}
	limits := []syscall.Errno{syscall.ENOSPC, syscall.EDQUOT, syscall.EFBIG}
	return cause.Code == sqlite3.ErrFull || slices.Contains(limits, cause.SystemErrno)
}
