package changelog_test

import (
	"context"
	"crypto/ed25519"
	"encoding/binary"
	"fmt"
	"os"
	"os/exec"
	"path/filepath"
	"strconv"
	"strings"
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
func home(b testing.TB, path string) *changelog.Log {
	b.Helper()
	store, err := schema.Create(path, schema.Durable)
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
	peakKiB := int64(0)
	for b.Loop() {
		log := home(b, filepath.Join(b.TempDir(), "home.db"))
		folder, count := b.TempDir(), 0
		var err error
		changes, err = daytest.Bundles(1, benchDays, log.Self().Site, func(data []byte) error {
			count++
			return os.WriteFile(bundleFile(folder, count-1), data, 0o666)
		})
		if err != nil {
			b.Fatal(err)
		}
		start := time.Now()
		if err := takeFiles(log, folder, count); err != nil {
			b.Fatal(err)
		}
		taking = time.Since(start)
		inserting = plainInserts(b, log.Store().Path(), count)
		peakKiB = takeInChild(b, folder, count)
	}
	b.ReportMetric(float64(changes)/taking.Seconds(), "changes/s")
	b.ReportMetric(float64(changes)/inserting.Seconds(), "changes/s-plain")
	b.ReportMetric(inserting.Seconds()/taking.Seconds(), "take/plain")
	b.ReportMetric(float64(peakKiB)/1024, "MB-peak")
}

func bundleFile(folder string, i int) string { return filepath.Join(folder, fmt.Sprint(i)) }

// takeFiles takes the bundles in a folder.
func takeFiles(log *changelog.Log, folder string, count int) error {
	read := func(i int) ([]byte, error) { return os.ReadFile(bundleFile(folder, i)) }
	return log.TakeEach(context.Background(), count, read, bundle.DefaultLimits, time.Date(2027, 3, 1, 0, 0, 0, 0, time.UTC),
		func(_ int, taken *changelog.Taken, err error) error {
			if err != nil {
				return err
			}
			if sets, _ := taken.Fresh(); sets == 0 || len(taken.Waiting) > 0 {
				return fmt.Errorf("a bundle brought %d sets, waiting %v", sets, taken.Waiting)
			}
			return nil
		})
}

// childFolder names, in a child process, the folder of the bundles to take.
const childFolder = "PULK_BENCH_TAKE"

// takeInChild takes the bundles in a process of its own, and returns the most
// memory that it had resident, in KiB (Linux only).
func takeInChild(b *testing.B, folder string, count int) int64 {
	child := exec.Command(os.Args[0], "-test.run", "^TestTakeInChild$")
	child.Env = append(os.Environ(), fmt.Sprintf("%s=%s:%d", childFolder, folder, count))
	out, err := child.CombinedOutput()
	if err != nil {
		b.Fatalf("%v: %s", err, out)
	}
	_, rest, _ := strings.Cut(string(out), "VmHWM:")
	var peakKiB int64
	if _, err := fmt.Sscan(rest, &peakKiB); err != nil {
		b.Fatalf("the child does not tell its peak memory: %s", out)
	}
	return peakKiB
}

// TestTakeInChild is the child of BenchmarkTake.
func TestTakeInChild(t *testing.T) {
	setting, ok := os.LookupEnv(childFolder)
	if !ok {
		t.Skip("runs as a child of BenchmarkTake")
	}
	cut := strings.LastIndexByte(setting, ':')
	count, err := strconv.Atoi(setting[cut+1:])
	if err != nil {
		t.Fatal(err)
	}
	if err := takeFiles(home(t, filepath.Join(t.TempDir(), "child.db")), setting[:cut], count); err != nil {
		t.Fatal(err)
	}
	status, err := os.ReadFile("/proc/self/status")
	if err != nil {
		t.Fatal(err)
	}
	fmt.Printf("%s\n", status)
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
