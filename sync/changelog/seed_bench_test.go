package changelog_test

import (
	"context"
	"crypto/ed25519"
	"path/filepath"
	"testing"
	"time"

	"pulk/schema"
	"pulk/sync/bundle"
	"pulk/sync/bundle/daytest"
	"pulk/sync/changelog"
	"pulk/sync/clock"
)

// BenchmarkSeed packs what a store took in daily bundles, for a new site: of one
// standard day, and of as many as make 100,000 changes, of which every lane and every
// day bears a signature of its site. The station's signatures go along.
func BenchmarkSeed(b *testing.B) {
	for _, c := range []struct {
		name string
		days int
	}{{"1_day", 1}, {"25_days", 25}, {"50_days", benchDays}} {
		b.Run(c.name, func(b *testing.B) {
			log := home(b, filepath.Join(b.TempDir(), "home.db"))
			_, err := daytest.Bundles(1, c.days, log.Self().Site, func(data []byte) error {
				_, err := log.Take(context.Background(), data, bundle.DefaultLimits, time.Date(2027, 3, 1, 0, 0, 0, 0, time.UTC))
				return err
			})
			if err != nil {
				b.Fatal(err)
			}
			to := newSite(b, log)
			var size, changes, bundles int
			for b.Loop() {
				size, changes = 0, 0
				err := log.Seed(context.Background(), changelog.Request{To: to, Now: time.Date(2027, 3, 1, 0, 0, 0, 0, time.UTC)}, func(n int, made *changelog.Made) error {
					size, changes, bundles = size+len(made.Data), changes+made.Changes, n
					return nil
				})
				if err != nil {
					b.Fatal(err)
				}
			}
			b.ReportMetric(float64(size)/float64(changes), "B/change")
			b.ReportMetric(float64(bundles), "bundles")
			b.ReportMetric(float64(b.Elapsed().Nanoseconds())/float64(b.N)/float64(changes), "ns/change")
		})
	}
}

// newSite makes a site known that has nothing yet, and returns it.
func newSite(t testing.TB, log *changelog.Log) (id clock.SiteID) {
	t.Helper()
	public, _, err := ed25519.GenerateKey(nil)
	if err == nil {
		err = log.Store().Update(context.Background(), func(raw *schema.Tx) error {
			return log.Local(raw, func(tx *changelog.Tx) error {
				s, err := tx.AddSite(public, "new")
				id = s.ID
				return err
			})
		})
	}
	if err != nil {
		t.Fatal(err)
	}
	return id
}
