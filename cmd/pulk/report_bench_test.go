package main

import (
	"context"
	"crypto/ed25519"
	"crypto/rand"
	"encoding/binary"
	"io"
	"path/filepath"
	"testing"
	"time"

	"github.com/google/uuid"

	"pulk/checklist/run"
	"pulk/schema"
	"pulk/schema/kind"
	"pulk/sync/bundle"
	"pulk/sync/bundle/daytest"
	"pulk/sync/change"
	"pulk/sync/changelog"
)

// seasonStore is a store of a home site that took a season of standard days from
// the station, in which the runs of all days but the last have ended.
func seasonStore(tb testing.TB, days int) (*changelog.Log, int) {
	tb.Helper()
	store, err := schema.Create(filepath.Join(tb.TempDir(), "home.db"), schema.Scratch)
	if err != nil {
		tb.Fatal(err)
	}
	tb.Cleanup(func() { store.Close() })
	return fillSeason(tb, store, days)
}

// fillSeason fills a new store as seasonStore says.
func fillSeason(tb testing.TB, store *schema.Store, days int) (*changelog.Log, int) {
	tb.Helper()
	ctx := context.Background()
	var campaign uuid.UUID
	binary.BigEndian.PutUint32(campaign[:], daytest.Campaign)
	now := time.Date(2027, 1, 5, 0, 0, 0, 0, time.UTC)
	log, err := changelog.Init(ctx, store, changelog.Start{Campaign: campaign, CampaignName: "Vindur Deep", Code: "home", Name: "Tarn Institute", Now: now, Rand: rand.Reader}, projections()...)
	if err != nil {
		tb.Fatal(err)
	}
	err = store.Update(ctx, func(tx *schema.Tx) error {
		return tx.Exec("INSERT INTO site_key (site, key, code, trusted) VALUES (?, ?, 'stn', 1)", daytest.Station, []byte(daytest.Key().Public().(ed25519.PublicKey)))
	})
	if err != nil {
		tb.Fatal(err)
	}
	var bundles [][]byte
	changes, err := daytest.Bundles(1, days, log.Self().Site, func(data []byte) error { bundles = append(bundles, data); return nil })
	if err != nil {
		tb.Fatal(err)
	}
	err = log.TakeEach(ctx, len(bundles), func(i int) ([]byte, error) { return bundles[i], nil }, bundle.DefaultLimits, now.AddDate(0, 0, days),
		func(_ int, _ *changelog.Taken, err error) error { return err })
	if err != nil {
		tb.Fatal(err)
	}
	_, err = log.Write(ctx, changelog.Author{Now: now.AddDate(0, 0, days)}, func(tx *changelog.Tx) error {
		list, err := run.List(tx)
		for _, r := range list[:max(0, len(list)-6)] {
			tx.Add(change.New(kind.RunEnd, change.Ref(r.ID), change.Num(1), change.Text("season over")))
		}
		return err
	})
	if err != nil {
		tb.Fatal(err)
	}
	return log, changes
}

// BenchmarkReportDay makes the report of the last day of a season of about 100,000
// changes, as text and as a page.
func BenchmarkReportDay(b *testing.B) {
	log, changes := seasonStore(b, 50)
	day := time.Date(2027, 2, 23, 0, 0, 0, 0, time.UTC)
	entries := 0
	for b.Loop() {
		err := log.View(context.Background(), func(tx *changelog.Tx) error {
			report, err := buildDayReport(tx, day, day.Add(20*time.Hour), time.UTC)
			if err != nil {
				return err
			}
			entries = report.Counts.Changes
			writeDayText(io.Discard, report)
			_, err = dayPage(report)
			return err
		})
		if err != nil {
			b.Fatal(err)
		}
	}
	if entries < 1000 {
		b.Fatalf("the day has %d changes; want about 2,000", entries)
	}
	b.ReportMetric(float64(changes), "changes")
	b.ReportMetric(float64(entries), "changes-in-day")
}
