package main

import (
	"context"
	"crypto/ed25519"
	"crypto/rand"
	"encoding/binary"
	"flag"
	"fmt"
	"os"
	"path/filepath"
	"testing"
	"time"

	"github.com/google/uuid"

	"pulk/schema"
	"pulk/sync/bundle"
	"pulk/sync/bundle/daytest"
	"pulk/sync/changelog"
)

var (
	bigStore   = flag.String("bigstore", "", "file to write a large store to, for testdata/time-run-check.sh")
	bigChanges = flag.Int("changes", 1_000_000, "how many changes the large store holds, about")
	bigBundles = flag.String("bigbundles", "", "folder to write the bundles to, instead of taking them, for testdata/time-take.sh")
)

// changesPerDay is about what a standard day holds.
const changesPerDay = 2000

// TestBigStore writes a store of many standard days, to time commands on. It does
// nothing unless -bigstore names a file.
func TestBigStore(t *testing.T) {
	if *bigStore == "" {
		t.Skip("no -bigstore given")
	}
	ctx := context.Background()
	store, err := schema.Create(*bigStore, schema.Scratch)
	if err != nil {
		t.Fatal(err)
	}
	defer store.Close()
	var campaign uuid.UUID
	binary.BigEndian.PutUint32(campaign[:], daytest.Campaign)
	log, err := changelog.Init(ctx, store, changelog.Start{Campaign: campaign, CampaignName: "big", Code: "home", Name: "home", Now: time.Now(), Rand: rand.Reader}, projections()...)
	if err != nil {
		t.Fatal(err)
	}
	err = store.Update(ctx, func(tx *schema.Tx) error {
		return tx.Exec("INSERT INTO site_key (site, key, code, trusted) VALUES (?, ?, 'stn', 1)", daytest.Station, []byte(daytest.Key().Public().(ed25519.PublicKey)))
	})
	if err != nil {
		t.Fatal(err)
	}
	var bundles [][]byte
	changes, err := daytest.Bundles(1, max(1, *bigChanges/changesPerDay), log.Self().Site, func(data []byte) error { bundles = append(bundles, data); return nil })
	if err != nil {
		t.Fatal(err)
	}
	if *bigBundles != "" {
		for i, data := range bundles {
			if err := os.WriteFile(filepath.Join(*bigBundles, fmt.Sprintf("%04d.bundle", i)), data, 0o666); err != nil {
				t.Fatal(err)
			}
		}
		t.Logf("%d bundles hold %d changes", len(bundles), changes)
		return
	}
	err = log.TakeEach(ctx, len(bundles), func(i int) ([]byte, error) { return bundles[i], nil }, bundle.DefaultLimits, time.Now(),
		func(_ int, _ *changelog.Taken, err error) error { return err })
	if err != nil {
		t.Fatal(err)
	}
	t.Logf("%s holds %d changes", *bigStore, changes)
}
