package changelog

import (
	"context"
	"fmt"
	"slices"
	"testing"
	"time"

	"pulk/schema/kind"
	"pulk/sync/change"
	"pulk/sync/clock"
)

// writeAt writes one change-set of a class at a time.
func writeAt(t *testing.T, log *Log, at time.Time, class clock.Class, text string) {
	t.Helper()
	_, err := log.Write(context.Background(), Author{Now: at}, func(tx *Tx) error {
		tx.SetClass(class)
		tx.Add(change.New(kind.LocationAdd, change.Text(text), change.Text(text), change.Value{}))
		return nil
	})
	if err != nil {
		t.Fatal(err)
	}
}

func waitingFor(t *testing.T, from, to *Log, now time.Time, bundleBytes int) *Waiting {
	t.Helper()
	var w *Waiting
	err := from.View(context.Background(), func(tx *Tx) (err error) {
		w, err = tx.Waiting(Request{To: to.self.Site, Now: now}, bundleBytes)
		return err
	})
	if err != nil {
		t.Fatal(err)
	}
	return w
}

// What waits is told in the order in which it goes, and its bytes are those of the
// bundle that Make makes of it.
func TestWaitingIsWhatMakePacks(t *testing.T) {
	stn, home := newLog(t, "stn"), newLog(t, "home")
	meet(t, stn, home)
	day := 24 * time.Hour
	for i := range 40 {
		writeAt(t, stn, testStart.Add(time.Duration(i)*6*time.Hour), clock.Normal, fmt.Sprintf("place-%d", i))
	}
	writeAt(t, stn, testStart.Add(10*day), clock.Expedited, "stop")
	writeAt(t, stn, testStart.Add(10*day), clock.Bulk, "photo")
	now := testStart.Add(10*day + time.Hour)
	w := waitingFor(t, stn, home, now, 1<<20)

	type row struct {
		class clock.Class
		sets  int
		band  int
	}
	var got []row
	sets, bytes := 0, 0
	for _, p := range w.Parts {
		got = append(got, row{p.Lane.Class, p.Sets, AgeBand(now, p.Oldest)})
		if AgeBand(now, p.Newest) != AgeBand(now, p.Oldest) || p.Bytes <= 0 || p.Changes < p.Sets || p.To-p.From+1 != uint64(p.Sets) {
			t.Errorf("part %+v", p)
		}
		sets, bytes = sets+p.Sets, bytes+p.Bytes
	}
	// The site's own introduction is the first change-set of its normal lane. Of the
	// 40, written every 6 hours, the 13 of the first 73 hours are 7 days old, and the
	// last 3 are younger than a day.
	want := []row{{clock.Expedited, 1, 0}, {clock.Normal, 14, 2}, {clock.Normal, 24, 1}, {clock.Normal, 3, 0}, {clock.Bulk, 1, 0}}
	if !slices.Equal(got, want) {
		t.Errorf("parts are %v; want %v", got, want)
	}
	made := makeBundle(t, stn, home, Request{Now: now})
	if diff := len(made.Data) - w.BundleBytes - bytes; sets != made.Sets || diff < -5 || diff > 5 {
		t.Errorf("%d change-sets, %d + %d bytes; Make packs %d into %d bytes", sets, w.BundleBytes, bytes, made.Sets, len(made.Data))
	}
	if again := waitingFor(t, stn, home, now, 1<<20); len(again.Parts) != len(w.Parts) || w.Unmeasured != 0 {
		t.Errorf("asked again: %+v", again)
	}
	carry(t, stn, home)
	carry(t, home, stn)
	if w := waitingFor(t, stn, home, now, 1<<20); len(w.Parts) != 0 {
		t.Errorf("all is acknowledged, and %+v waits", w.Parts)
	}
}

// What days brought is told by day and class, without what the other site wrote.
func TestWrittenTellsDays(t *testing.T) {
	stn, home := newLog(t, "stn"), newLog(t, "home")
	meet(t, stn, home)
	day := 24 * time.Hour
	writeAt(t, home, testStart.Add(time.Hour), clock.Normal, "of home")
	carry(t, home, stn)
	for i := range 30 {
		writeAt(t, stn, testStart.Add(4*day+time.Duration(i)*time.Minute), clock.Normal, fmt.Sprintf("place-%d", i))
	}
	writeAt(t, stn, testStart.Add(5*day), clock.Expedited, "stop")
	var days []DayBytes
	err := stn.View(context.Background(), func(tx *Tx) (err error) {
		days, err = tx.Written(Request{To: home.self.Site, Now: testStart.Add(5*day + 2*time.Hour)}, 14, 4*time.Hour)
		return err
	})
	if err != nil {
		t.Fatal(err)
	}
	if len(days) != 6 {
		t.Fatalf("%d days; want 6, as the log began 5 days and 2 hours ago", len(days))
	}
	for i, d := range days {
		want := map[clock.Class]bool{clock.Expedited: i == 0, clock.Normal: i == 1 || i == 5} // i == 5: the site's introduction
		for _, class := range clock.Classes {
			if (d[class] > 0) != want[class] {
				t.Errorf("%d days ago: %d bytes %s", i, d[class], class)
			}
		}
	}
	if days[1][clock.Normal] < 60 {
		t.Errorf("30 change-sets are told as %d bytes", days[1][clock.Normal])
	}
}

// In small bundles the same change-sets take more, by what Make then needs: all that
// waits goes out in about as many bundles as the estimate says.
func TestWaitingInSmallBundles(t *testing.T) {
	stn, home := newLog(t, "stn"), newLog(t, "home")
	meet(t, stn, home)
	for i := range 300 {
		writeAt(t, stn, testStart.Add(time.Duration(i)*time.Minute), clock.Normal, fmt.Sprintf("box-%d of the drill hut, shelf %d", i*7919%1000, i%13))
	}
	const bundleBytes = 600
	now := testStart.Add(6 * time.Hour)
	one, small := waitingFor(t, stn, home, now, 1<<20), waitingFor(t, stn, home, now, bundleBytes)
	sum := func(w *Waiting) (n int) {
		for _, p := range w.Parts {
			n += p.Bytes
		}
		return n
	}
	bundles := 0
	for left := 1; left > 0; bundles++ {
		made := makeBundle(t, stn, home, Request{Now: now, MaxBytes: bundleBytes, Continue: true})
		left = made.Left
	}
	told := float64(sum(small)) / float64(bundleBytes-small.BundleBytes)
	if sum(small) <= sum(one) || told < float64(bundles)-1.5 || told > float64(bundles)+0.5 {
		t.Errorf("in one bundle %d bytes, in small ones %d: %.1f bundles; it took %d", sum(one), sum(small), told, bundles)
	}
}
