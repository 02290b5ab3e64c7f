package changelog

import (
	"context"
	"crypto/rand"
	"testing"
	"time"

	"pulk/sync/clock"
)

// seedOf packs a seed and returns its bundles.
func seedOf(t testing.TB, from, to *Log, maxBytes int) (bundles [][]byte, changes int) {
	t.Helper()
	err := from.Seed(context.Background(), Request{To: to.self.Site, Now: tick(), MaxBytes: maxBytes}, func(n int, made *Made) error {
		if n != len(bundles)+1 || maxBytes > 0 && len(made.Data) > maxBytes {
			t.Errorf("bundle %d has number %d and %d bytes; at most %d", len(bundles)+1, n, len(made.Data), maxBytes)
		}
		bundles = append(bundles, made.Data)
		changes += made.Changes
		return nil
	})
	if err != nil {
		t.Fatal(err)
	}
	return bundles, changes
}

// A seed is cut to any size, and gives the new site everything, forked lanes too.
func TestSeedGivesTheWholeStore(t *testing.T) {
	home, others := found(t, "stn", "ship", "new")
	stn, ship, fresh := others[0], others[1], others[2]
	meet(t, home, stn, ship)
	introduce(t, home, fresh, true)
	introduce(t, fresh, home, true)
	for range 30 {
		place(t, stn, "s")
		place(t, ship, "p")
		carry(t, stn, home)
		carry(t, ship, home)
	}
	copied := clone(t, stn)
	place(t, stn, "one")
	place(t, copied, "other")
	carry(t, stn, home)
	carry(t, copied, home)
	vouch(t, home, stn)
	vouch(t, home, ship)
	for _, size := range []int{0, 700, 500} {
		at := clone(t, fresh)
		bundles, _ := seedOf(t, home, fresh, size)
		if size > 0 && len(bundles) < 2 {
			t.Errorf("at most %d bytes: %d bundles", size, len(bundles))
		}
		for _, data := range bundles {
			if taken := takeBundle(t, at, data); len(taken.Waiting) > 0 {
				t.Errorf("at most %d bytes: waits for %v", size, taken.Waiting)
			}
		}
		verifySound(t, at)
		if got, want := sets(t, at), sets(t, home)+1; got != want { // and its own first
			t.Errorf("at most %d bytes: the new site has %d change-sets; want %d", size, got, want)
		}
		// It can pass all of it on.
		introduce(t, at, ship, true)
		if _, changes := seedOf(t, at, ship, 600); changes == 0 {
			t.Error("the new site passes nothing on")
		}
	}
	if err := home.Seed(context.Background(), Request{To: fresh.self.Site, Now: tick(), MaxBytes: 200}, func(int, *Made) error { return nil }); err == nil {
		t.Error("a seed was cut to bundles of 200 bytes, though a change-set with its signature takes more")
	}
}

// A site was away for a year, and catches up from a neighbour that it never
// exchanged with: few bundles, no signature for every day, and twice the history
// takes about twice the bytes.
func TestAwayForAYear(t *testing.T) {
	const perDay = 100
	days := 365
	if testing.Short() {
		days = 30
	}
	home, others := found(t, "stn", "ship")
	stn, ship := others[0], others[1]
	meet(t, home, stn)
	meet(t, home, ship)
	vouch(t, home, stn)
	var half int
	for day := range days {
		flood(t, stn, perDay)
		carry(t, stn, home)
		takeBundle(t, stn, makeBundle(t, home, stn, Request{}).Data)
		if day == days/2-1 {
			parts, _ := seedOf(t, home, ship, 0)
			for _, data := range parts {
				half += len(data)
			}
		}
	}
	start := time.Now()
	bundles, changes := seedOf(t, home, ship, 0)
	packed := time.Since(start)
	size := 0
	for _, data := range bundles {
		size += len(data)
		takeBundle(t, ship, data)
	}
	t.Logf("%d days, %d changes: %d bytes in %d bundles, %.2f a change; packed in %s, taken in %s", days, changes, size, len(bundles),
		float64(size)/float64(changes), packed.Round(time.Millisecond), (time.Since(start) - packed).Round(time.Millisecond))
	if len(bundles) > 1+changes/wellPackedChanges || changes < days*perDay {
		t.Errorf("%d changes of %d came in %d bundles", changes, days*perDay, len(bundles))
	}
	if size > 2*half+half/4 {
		t.Errorf("a year takes %d bytes, half of it %d", size, half)
	}
	verifySound(t, ship)
	heads(t, ship, stn, uint64(days*perDay+1))
	// A second helping over a thin link: in pieces, each behind the one before.
	far := initSite(t, Start{Campaign: home.self.Campaign, Code: "far", Name: "far", Now: testStart, Rand: rand.Reader})
	introduce(t, ship, far, true)
	introduce(t, far, ship, true)
	introduce(t, far, home, true) // as its card comes with a seed
	bundles, _ = seedOf(t, ship, far, 20_000)
	for _, data := range bundles {
		takeBundle(t, far, data)
	}
	heads(t, far, stn, uint64(days*perDay+1))
	t.Logf("in bundles of at most 20 kB: %d", len(bundles))
}

// One signature covers what several did, so the share of signatures is bounded by
// the change-sets, not by how many bundles they once came in.
func TestMergeKeepsTheLastSignature(t *testing.T) {
	home, others := found(t, "stn", "ship")
	stn, ship := others[0], others[1]
	meet(t, home, stn, ship)
	for range 20 {
		place(t, stn, "s")
		carry(t, stn, home)
	}
	made := makeBundle(t, home, ship, Request{})
	segments := 0
	for _, s := range made.Segments {
		if s.Lane == (clock.Lane{Site: stn.self.Site}) {
			segments++
		}
	}
	if segments != 1 {
		t.Errorf("20 daily bundles of one lane are passed on in %d segments; want 1", segments)
	}
	takeBundle(t, ship, made.Data)
	verifySound(t, ship)
}
