package changelog_test

import (
	"context"
	"crypto/ed25519"
	"encoding/binary"
	"fmt"
	"path/filepath"
	"runtime"
	"runtime/debug"
	"strings"
	"sync/atomic"
	"testing"
	"time"

	"github.com/google/uuid"

	"pulk/checklist/crew"
	"pulk/checklist/procedure"
	"pulk/checklist/run"
	"pulk/schema"
	"pulk/sync/bundle"
	"pulk/sync/bundle/daytest"
	"pulk/sync/changelog"
)

func benchProjections() []changelog.Projector {
	return []changelog.Projector{crew.Projection{}, procedure.Projection{}, run.Projection{}}
}

type zeros struct{}

func (zeros) Read(p []byte) (int, error) { clear(p); return len(p), nil }

// home is a fresh store of the addressee of the standard days.
func home(b *testing.B) *changelog.Log {
	b.Helper()
	store, err := schema.Create(filepath.Join(b.TempDir(), "home.db"), schema.Durable)
	if err != nil {
		b.Fatal(err)
	}
	b.Cleanup(func() { store.Close() })
	var campaign uuid.UUID
	binary.BigEndian.PutUint32(campaign[:], daytest.Campaign)
	log, err := changelog.Init(context.Background(), store, changelog.Start{Campaign: campaign, CampaignName: "bench", Code: "home", Name: "home",
		Now: time.Date(2027, 1, 1, 0, 0, 0, 0, time.UTC), Rand: zeros{}}, benchProjections()...)
	if err != nil {
		b.Fatal(err)
	}
	// The standard day's station has a fixed id, which follows from no key.
	err = store.Update(context.Background(), func(tx *schema.Tx) error {
		return tx.Exec("INSERT INTO site_key (site, key, code, trusted) VALUES (?, ?, 'stn', 1)", daytest.Station, []byte(daytest.Key().Public().(ed25519.PublicKey)))
	})
	if err != nil {
		b.Fatal(err)
	}
	return log
}

// benchDays is how many standard days make 100,000 changes.
const benchDays = 50

// BenchmarkTake takes 100,000 changes in daily bundles into an empty store, as its
// users have it (every bundle waits for the disk), and, in the same run, inserts
// the rows that this leaves with plain statements into empty tables, in as many
// transactions. The ratio is in take/plain.
func BenchmarkTake(b *testing.B) {
	var taking, inserting time.Duration
	var changes int
	var peak uint64
	for b.Loop() {
		log := home(b)
		var bundles [][]byte
		var err error
		if changes, err = daytest.Bundles(1, benchDays, log.Self().Site, func(data []byte) error { bundles = append(bundles, data); return nil }); err != nil {
			b.Fatal(err)
		}
		debug.FreeOSMemory()
		stop := watchHeap(&peak)
		start := time.Now()
		err = log.TakeEach(context.Background(), len(bundles), func(i int) ([]byte, error) { return bundles[i], nil }, bundle.DefaultLimits,
			time.Date(2027, 3, 1, 0, 0, 0, 0, time.UTC), func(_ int, taken *changelog.Taken, err error) error {
				if err != nil {
					return err
				}
				if sets, _ := taken.Fresh(); sets == 0 || len(taken.Waiting) > 0 {
					return fmt.Errorf("a bundle brought %d sets, waiting %v", sets, taken.Waiting)
				}
				return nil
			})
		if err != nil {
			b.Fatal(err)
		}
		taking = time.Since(start)
		stop()
		inserting = plainInserts(b, log.Store().Path(), len(bundles))
	}
	b.ReportMetric(float64(changes)/taking.Seconds(), "changes/s")
	b.ReportMetric(float64(changes)/inserting.Seconds(), "changes/s-plain")
	b.ReportMetric(inserting.Seconds()/taking.Seconds(), "take/plain")
	b.ReportMetric(float64(peak)/(1<<20), "MB-peak")
}

// watchHeap samples the memory that Go has from the system until stopped.
func watchHeap(peak *uint64) (stop func()) {
	var done atomic.Bool
	finished := make(chan struct{})
	go func() {
		defer close(finished)
		for !done.Load() {
			var m runtime.MemStats
			runtime.ReadMemStats(&m)
			*peak = max(*peak, m.Sys-m.HeapReleased)
			time.Sleep(20 * time.Millisecond)
		}
	}()
	return func() { done.Store(true); <-finished }
}

type plainTable struct {
	name   string
	insert string
	rows   [][]any
}

// plainInserts copies the rows that taking left into a new file with the same
// tables and indexes, in the given number of transactions, and returns how long
// the inserts took.
func plainInserts(b testing.TB, from string, transactions int) time.Duration {
	b.Helper()
	source, err := schema.Open(from, schema.Scratch)
	if err != nil {
		b.Fatal(err)
	}
	defer source.Close()
	target, err := schema.Create(filepath.Join(b.TempDir(), "plain.db"), schema.Durable)
	if err != nil {
		b.Fatal(err)
	}
	defer target.Close()
	var tables []plainTable
	var extra strings.Builder
	for _, p := range benchProjections() {
		extra.WriteString(p.Schema())
	}
	err = source.View(context.Background(), func(tx *schema.Tx) error {
		for _, name := range []string{"context", "changeset", "run_entry", "nonconformance", "register", "site", "unknown_change", "statement"} {
			table, err := readTable(tx, name)
			if err != nil {
				return err
			}
			tables = append(tables, table)
		}
		return tx.Each("SELECT sql || ';' FROM sqlite_schema WHERE sql IS NOT NULL AND tbl_name IN ('register', 'site', 'unknown_change')", nil, func(scan func(...any) error) error {
			var text string
			err := scan(&text)
			extra.WriteString(text + "\n")
			return err
		})
	})
	if err != nil {
		b.Fatal(err)
	}
	if err := target.Update(context.Background(), func(tx *schema.Tx) error { return tx.Exec(extra.String()) }); err != nil {
		b.Fatal(err)
	}
	start := time.Now()
	for i := range transactions {
		err := target.Update(context.Background(), func(tx *schema.Tx) error {
			if i == 0 {
				for lane := range 8 {
					if err := tx.Exec("INSERT INTO lane (site, epoch, class, branch, tip_hash) VALUES (?, 0, 0, 0, x'00')", lane); err != nil {
						return err
					}
				}
			}
			for _, table := range tables {
				n := len(table.rows)
				from, to := n*i/transactions, n*(i+1)/transactions
				if table.name == "context" { // change-sets refer to them
					from, to = 0, n
					if i > 0 {
						from = n
					}
				}
				for _, row := range table.rows[from:to] {
					if err := tx.Exec(table.insert, row...); err != nil {
						return fmt.Errorf("%s: %w", table.insert, err)
					}
				}
			}
			return nil
		})
		if err != nil {
			b.Fatal(err)
		}
	}
	return time.Since(start)
}

func readTable(tx *schema.Tx, name string) (plainTable, error) {
	columns := 0
	if _, err := tx.Row("SELECT count(*) FROM pragma_table_info(?)", []any{name}, &columns); err != nil {
		return plainTable{}, err
	}
	table := plainTable{name: name, insert: "INSERT INTO " + name + " VALUES (" + strings.TrimSuffix(strings.Repeat("?,", columns), ",") + ")"}
	err := tx.Each("SELECT * FROM "+name, nil, func(scan func(...any) error) error {
		row := make([]any, columns)
		pointers := make([]any, columns)
		for i := range row {
			pointers[i] = &row[i]
		}
		if err := scan(pointers...); err != nil {
			return err
		}
		table.rows = append(table.rows, row)
		return nil
	})
	return table, err
}
