package simulate_test

import (
	"math/rand/v2"
	"testing"
)

// plain is a season without special circumstances in which just those things happen.
func plain(seed uint64, sites int, verbs ...string) season {
	s := season{seed: seed, sites: sites, circumstances: circumstances{oneWay: [2]int{-1, -1}, away: -1}}
	r := rand.New(rand.NewPCG(seed, 6))
	for _, verb := range verbs {
		s.ops = append(s.ops, op{verb: verb, site: r.Uint32(), r: r.Uint64()})
	}
	return s
}

// mustPlay plays seasons and fails where one shows a fault.
func mustPlay(t *testing.T, seeds uint64, count string, make func(seed uint64) season) {
	t.Helper()
	seen := 0
	for seed := range seeds {
		dir := t.TempDir()
		w, fault := make(seed).play(dir)
		empty(dir)
		if fault != "" {
			t.Errorf("seed %d: %s\n%v", seed, fault, w.story)
		}
		seen += w.counts[count]
	}
	t.Logf("%s: %d", count, seen)
	if seen == 0 {
		t.Errorf("no season shows %s", count)
	}
}

// TestNamedAhead: a change of a lane with two histories is named at a site that gets
// it later, and of the two histories the one alone.
func TestNamedAhead(t *testing.T) {
	mustPlay(t, 8, "named ahead", func(seed uint64) season {
		return plain(seed, 3, "keep", "clone", "ahead")
	})
}

// TestCutOffUnderWay: a site is cut off while its bundles are under way, and goes on
// writing and sending.
func TestCutOffUnderWay(t *testing.T) {
	mustPlay(t, 12, "kept aside", func(seed uint64) season {
		s := plain(seed, 3, "work", "work", "talk", "talk", "talk", "work", "send", "work", "talk", "cut off", "deliver", "work", "talk", "correct", "talk",
			"work", "send", "deliver", "cut off", "talk", "talk", "look")
		s.lost = 1 + int(seed%2)
		return s
	})
}

// TestCutOffUnknown: some sites run a program that does not know what a cut-off is,
// relay it and what is cut off, and get the later program at the end.
func TestCutOffUnknown(t *testing.T) {
	mustPlay(t, 8, "kept aside", func(seed uint64) season {
		s := plain(seed, 4, "work", "talk", "talk", "work", "talk", "talk", "cut off", "talk", "talk", "work", "talk", "talk", "correct", "talk", "talk", "look", "talk")
		s.lost, s.old = 1, []bool{false, false, true, seed%2 == 0}
		return s
	})
}

// TestRestoredUnnoticed: a store is put back in place, hears from others what it had
// written since, and takes no number that it used.
func TestRestoredUnnoticed(t *testing.T) {
	mustPlay(t, 8, "restores", func(seed uint64) season {
		s := plain(seed, 2, "keep", "work", "work", "talk", "work", "talk", "restore", "talk", "talk", "work", "talk", "work", "talk", "work")
		return s
	})
}

// TestFalseFragments: false fragments come before, between and after the true ones, of
// which some are lost and asked for.
func TestFalseFragments(t *testing.T) {
	mustPlay(t, 12, "false fragments", func(seed uint64) season {
		r := rand.New(rand.NewPCG(seed, 7))
		verbs := []string{"work", "work", "work", "work"}
		for range 60 {
			verbs = append(verbs, []string{"work", "send", "hostile", "talk", "talk", "deliver", "deliver", "ask"}[r.IntN(8)])
		}
		s := plain(seed, 2, verbs...)
		s.hostile, s.narrow = true, true
		return s
	})
}

// TestSeedsOnceFailed plays seasons that once showed a fault: of the program, each of
// which has a small test of its own beside what it mended too, or of this simulator.
func TestSeedsOnceFailed(t *testing.T) {
	for _, c := range []struct {
		seed uint64
		was  string
	}{
		{240, "a bundle in whose middle a lane of the founder's forks, with namings, was refused"},
		{733, "the simulator asked an earlier program for a kind of entry that it keeps without knowing it"},
		{1287, "the simulator let an earlier program write a kind that it does not know"},
		{2426, "with parity a shorter parcel may take more room than a longer one"},
		{3506, "the simulator did not count a parcel as taken that was sent again in the same bytes"},
		{4743, "the simulator forgot that a go on a record which one program reads in part is no go at the other"},
		{4800, "the same, with the entry that the earlier program does not know written by the signer's site"},
		{5238, "the simulator took two histories of a forked confined lane for one, by their names"},
		{6094, "the simulator's own"},
	} {
		if _, ok := playSeed(t, c.seed, t.TempDir()); !ok {
			t.Errorf("seed %d, once: %s", c.seed, c.was)
		}
	}
}
