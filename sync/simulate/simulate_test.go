package simulate_test

import (
	"flag"
	"fmt"
	"maps"
	"os"
	"runtime"
	"slices"
	"strings"
	"sync"
	"sync/atomic"
	"testing"
)

var (
	seedFlag   = flag.Int64("seed", -1, "play only the season of this seed, and tell it")
	seedsFlag  = flag.Int("seeds", 500, "how many seasons to play")
	firstFlag  = flag.Int64("first", 0, "the first seed")
	opsFlag    = flag.Int("ops", 36, "how many things happen in a season, on average")
	shrinkFlag = flag.Int("shrink", 400, "how often a season with a fault is played to make it shorter")
)

// TestSimulate plays random seasons. One that shows a fault is told, as short as
// it can be made.
func TestSimulate(t *testing.T) {
	if *seedFlag >= 0 {
		playOne(t, uint64(*seedFlag), t.TempDir())
		return
	}
	seeds := *seedsFlag
	if testing.Short() {
		seeds = min(seeds, 60)
	}
	counts := map[string]int{}
	var next atomic.Int64
	var lock sync.Mutex
	t.Run("shard", func(t *testing.T) {
		for shard := range runtime.GOMAXPROCS(0) {
			t.Run(fmt.Sprint(shard), func(t *testing.T) {
				t.Parallel()
				for ok := true; ok; {
					i := next.Add(1) - 1
					if i >= int64(seeds) {
						return
					}
					var w *world
					w, ok = playSeed(t, uint64(*firstFlag+i), t.TempDir())
					lock.Lock()
					counts["seasons"]++
					for name, n := range w.counts {
						counts[name] += n
					}
					lock.Unlock()
				}
			})
		}
	})
	for _, name := range slices.Sorted(maps.Keys(counts)) {
		t.Logf("%s: %d", name, counts[name])
	}
}

func playSeed(t *testing.T, seed uint64, dir string) (*world, bool) {
	s := makeSeason(seed, *opsFlag)
	w, fault := s.play(dir)
	empty(dir)
	if fault == "" {
		return w, true
	}
	report(t, s, dir, fault)
	return w, false
}

func playOne(t *testing.T, seed uint64, dir string) {
	s := makeSeason(seed, *opsFlag)
	w, fault := s.play(dir)
	empty(dir)
	t.Logf("season %d, %d sites:\n%s", seed, s.sites, strings.Join(w.story, "\n"))
	if fault != "" {
		report(t, s, dir, fault)
	}
}

func report(t *testing.T, s season, dir, fault string) {
	t.Logf("seed %d shows a fault: %s; making it short", s.seed, fault)
	short, w, shortFault := s.shrink(dir, *shrinkFlag)
	if shortFault == "" {
		shortFault, w = "(the fault did not show again: something is not deterministic)", &world{}
	}
	t.Errorf("seed %d: %s\nshrunk from %d to %d events (%d sites): %s\n  %s\nreplay: go test ./sync/simulate -run TestSimulate -seed=%d -ops=%d",
		s.seed, fault, len(s.ops), len(short.ops), s.sites, shortFault, strings.Join(w.story, "\n  "), s.seed, *opsFlag)
}

// empty empties a folder.
func empty(dir string) {
	entries, _ := os.ReadDir(dir)
	for _, e := range entries {
		os.RemoveAll(dir + "/" + e.Name())
	}
}
