package main

import (
	"context"
	"crypto/ed25519"
	"fmt"
	"testing"

	"pulk/schema"
	"pulk/sync/changelog"
)

// seasonSeed packs two seasons for a new site.
func seasonSeed(t testing.TB, log *changelog.Log, maxBytes int) (size, changes, bundles int) {
	t.Helper()
	public, _, err := ed25519.GenerateKey(nil)
	if err != nil {
		t.Fatal(err)
	}
	var to changelog.Site
	err = log.Store().Update(context.Background(), func(raw *schema.Tx) error {
		return log.Local(raw, func(tx *changelog.Tx) (err error) {
			to, err = tx.AddSite(public, fmt.Sprintf("new-%x", public[:4]))
			return err
		})
	})
	if err == nil {
		err = log.Seed(context.Background(), changelog.Request{To: to.ID, Now: seasonsBegin, MaxBytes: maxBytes}, func(n int, made *changelog.Made) error {
			size, changes, bundles = size+len(made.Data), changes+made.Changes, n
			return nil
		})
	}
	if err != nil {
		t.Fatal(err)
	}
	return size, changes, bundles
}

// A start set of two seasons. What the seasons themselves add takes about 5 bytes a
// change, though nearly every one is a command of its own, at a time of its own, on an
// item of its own. All in it is near 11, as the words of a catalogue of 410 items and
// of four procedures, which nothing repeats, are 22 of 37 kB.
func TestSeedOfTwoSeasons(t *testing.T) {
	log := newSeasonStore(t)
	size, changes, _ := seasonSeed(t, log, 0)
	before := newCatalogueStore(t)
	wordsSize, wordsChanges, _ := seasonSeed(t, before, 0)
	whole := float64(size) / float64(changes)
	added := float64(size-wordsSize) / float64(changes-wordsChanges)
	t.Logf("%d changes in %d bytes: %.2f B/change; catalogue and procedures: %d changes in %d bytes; the seasons: %.2f B/change",
		changes, size, whole, wordsChanges, wordsSize, added)
	if whole > 11.5 || added > 6 {
		t.Errorf("a seed of two seasons takes %.2f bytes a change, %.2f without catalogue and procedures; at most 11.5 and 6", whole, added)
	}
}

// BenchmarkSeed packs two seasons for a new site, whole and for a mail limit.
func BenchmarkSeed(b *testing.B) {
	log := newSeasonStore(b)
	for _, c := range []struct {
		name     string
		maxBytes int
	}{{"whole", 0}, {"50kB", 50_000}} {
		b.Run(c.name, func(b *testing.B) {
			var size, changes, bundles int
			for b.Loop() {
				size, changes, bundles = seasonSeed(b, log, c.maxBytes)
			}
			b.ReportMetric(float64(size)/float64(changes), "B/change")
			b.ReportMetric(float64(bundles), "bundles")
		})
	}
}
