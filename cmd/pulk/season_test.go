package main

import (
	"context"
	"crypto/rand"
	"io/fs"
	"path/filepath"
	"strconv"
	"strings"
	"testing"
	"time"

	"pulk/checklist/crew"
	"pulk/checklist/procedure"
	"pulk/inventory/stock"
	"pulk/inventory/unit"
	"pulk/schema"
	"pulk/sync/changelog"
	"pulk/testdata"
)

// newSeasonStore returns a log that two seasons were played into.
func newSeasonStore(t testing.TB) *changelog.Log {
	t.Helper()
	log := newCatalogueStore(t)
	if _, err := playSeasons(context.Background(), log, testdata.FS, "piet"); err != nil {
		t.Fatal(err)
	}
	return log
}

// newCatalogueStore returns a log that holds what a season begins with: a person, the
// catalogue and the procedures.
func newCatalogueStore(t testing.TB) *changelog.Log {
	t.Helper()
	ctx := context.Background()
	store, err := schema.Create(filepath.Join(t.TempDir(), "home.db"), schema.Scratch)
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { store.Close() })
	log, err := changelog.Init(ctx, store, changelog.Start{CampaignName: "Vindur Deep", Code: "home", Name: "Tarn Institute", Now: seasonsBegin, Rand: rand.Reader}, projections()...)
	if err != nil {
		t.Fatal(err)
	}
	if err := prepareSeasons(ctx, log); err != nil {
		t.Fatal(err)
	}
	return log
}

func prepareSeasons(ctx context.Context, log *changelog.Log) error {
	_, err := log.Write(ctx, changelog.Author{Now: seasonsBegin}, func(tx *changelog.Tx) error {
		if _, err := crew.Add(tx, "piet", "Piet Marr", []string{"cargo-officer"}); err != nil {
			return err
		}
		return importCatalogue(tx, testdata.FS)
	})
	if err != nil {
		return err
	}
	_, err = log.Write(ctx, changelog.Author{Now: seasonsBegin}, func(tx *changelog.Tx) error {
		for _, name := range []string{"module-acceptance", "borehole-lowering", "cable-landing", "power-up"} {
			source, err := fs.ReadFile(testdata.FS, "procedures/"+name+".yaml")
			if err != nil {
				return err
			}
			p, problems := procedure.Parse(name, source)
			if p == nil {
				return fs.ErrInvalid
			}
			_ = problems
			if _, _, err := procedure.Import(tx, p, source); err != nil {
				return err
			}
		}
		return nil
	})
	return err
}

// The two seasons, played through the rules, leave what the files add up to.
func TestSeasonsAddUp(t *testing.T) {
	start := time.Now()
	log := newSeasonStore(t)
	t.Logf("played in %s", time.Since(start))
	checkSeasonStock(t, log)
	checkSeasonUnits(t, log)
	v, err := log.Verify(context.Background())
	if err != nil || len(v.Faults) > 0 {
		t.Errorf("verify: %+v, %v", v, err)
	}
}

// checkSeasonStock compares the stock with a plain sum over the file.
func checkSeasonStock(t *testing.T, log *changelog.Log) {
	t.Helper()
	rows, err := (&season{files: testdata.FS}).read("movements.csv")
	if err != nil {
		t.Fatal(err)
	}
	sum := map[[3]string]int64{}
	for _, row := range rows {
		n, err := strconv.ParseInt(row["quantity"], 10, 64)
		if err != nil {
			t.Fatal(err)
		}
		sum[[3]string{row["part_number"], row["lot"], row["from"]}] -= n
		sum[[3]string{row["part_number"], row["lot"], row["to"]}] += n
	}
	err = log.View(context.Background(), func(tx *changelog.Tx) error {
		levels, err := stock.Levels(tx)
		for _, l := range levels {
			key := [3]string{l.Item.PartNumber, l.Lot, l.Location.Code}
			if sum[key] != l.Quantity {
				t.Errorf("%v: the store has %d, the file adds up to %d", key, l.Quantity, sum[key])
			}
			delete(sum, key)
		}
		return err
	})
	if err != nil {
		t.Fatal(err)
	}
	for key, n := range sum {
		if n != 0 && key[2] != "" {
			t.Errorf("%v: the file adds up to %d, the store has none", key, n)
		}
	}
}

// checkSeasonUnits compares where units are, and which failed, with the last rows
// about them.
func checkSeasonUnits(t *testing.T, log *changelog.Log) {
	t.Helper()
	rows, err := (&season{files: testdata.FS}).read("unit_events.csv")
	if err != nil {
		t.Fatal(err)
	}
	in, failed := map[string]string{}, map[string]bool{}
	for _, row := range rows {
		switch row["event"] {
		case "install":
			in[row["serial"]], _, _ = strings.Cut(row["detail"], "/")
		case "remove":
			delete(in, row["serial"])
		case "fail":
			failed[row["serial"]] = true
		}
	}
	err = log.View(context.Background(), func(tx *changelog.Tx) error {
		units, err := unit.List(tx, unit.Filter{})
		if err != nil {
			return err
		}
		for _, u := range units {
			assembly := ""
			if u.Installed() {
				a, err := unit.ByID(tx, u.Assembly)
				if err != nil {
					return err
				}
				assembly = a.Serial
			}
			if assembly != in[u.Serial] || (u.State == unit.Failed) != failed[u.Serial] {
				t.Errorf("%s is in %q, %s; the file says in %q, failed: %v", u.Serial, assembly, u.State, in[u.Serial], failed[u.Serial])
			}
		}
		return nil
	})
	if err != nil {
		t.Fatal(err)
	}
}
