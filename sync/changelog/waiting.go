package changelog

import (
	"crypto/ed25519"
	"errors"
	"math"
	"time"

	"pulk/sync/bundle"
	"pulk/sync/change"
	"pulk/sync/clock"
)

// WaitingPart is change-sets of one lane and one age that wait for a site.
type WaitingPart struct {
	Lane           clock.Lane
	From, To       uint64    // numbers of its change-sets
	Oldest, Newest time.Time // when its change-sets were written
	Sets, Changes  int
	Bytes          int // as they travel: an estimate
}

// Waiting is what waits for a site.
type Waiting struct {
	Parts []WaitingPart // in the order in which they go out
	// BundleBytes is what a bundle takes that carries nothing.
	BundleBytes int
	// Unmeasured is how many change-sets more wait than one bundle may hold; they
	// are in no part.
	Unmeasured int
}

// AgeBands are the ages by which Waiting tells parts apart: younger than the first,
// than the second, and older.
var AgeBands = []time.Duration{24 * time.Hour, 7 * 24 * time.Hour}

// AgeBand returns the place among [AgeBands] of something written at a time; one more
// for what is older than all.
func AgeBand(now, at time.Time) int {
	band := 0
	for band < len(AgeBands) && now.Sub(at) >= AgeBands[band] {
		band++
	}
	return band
}

// Waiting tells what waits for a site, by class, lane and age, and how many bytes it
// takes in bundles of at most bundleBytes: it is packed as Make would, and nothing is
// noted. A part's bytes are its share of the whole by what it takes alone, as parts
// of one bundle share words.
func (tx *Tx) Waiting(request Request, bundleBytes int) (*Waiting, error) {
	stretches, waiting, err := tx.queue(request)
	if err != nil {
		return nil, err
	}
	stretches = stretches[:within(stretches, bundle.DefaultLimits)]
	w := &Waiting{Unmeasured: waiting}
	var parts [][]stretch
	for i, s := range stretches {
		w.Unmeasured -= len(s.sets)
		at := s.sets[0].At.Time()
		if i == 0 || s.lane != stretches[i-1].lane || AgeBand(request.Now, at) != AgeBand(request.Now, stretches[i-1].sets[0].At.Time()) {
			w.Parts = append(w.Parts, WaitingPart{Lane: s.lane.name, From: s.sets[0].Seq, Oldest: at})
			parts = append(parts, nil)
		}
		n := len(parts) - 1
		parts[n] = append(parts[n], s)
		w.Parts[n].add(s)
	}
	return w, tx.measureParts(w, request, parts, bundleBytes)
}

func (p *WaitingPart) add(s stretch) {
	p.Sets += len(s.sets)
	for _, set := range s.sets {
		p.Changes += len(set.Changes)
		p.Newest, p.To = set.At.Time(), set.Seq
	}
}

func (tx *Tx) measureParts(w *Waiting, request Request, parts [][]stretch, bundleBytes int) error {
	var all []stretch
	alone, sum := make([]int, len(parts)), 0
	empty, err := tx.packedBytes(request, nil)
	if err != nil {
		return err
	}
	w.BundleBytes = empty
	for i, part := range parts {
		size, err := tx.packedBytes(request, part)
		if err != nil {
			return err
		}
		alone[i] = size - empty
		sum += alone[i]
		all = append(all, part...)
	}
	whole, err := tx.packedBytes(request, all)
	if err != nil {
		return err
	}
	growth := 1.0
	if whole > bundleBytes {
		if growth, err = tx.growth(request, all, bundleBytes, empty); err != nil {
			return err
		}
	}
	for i := range w.Parts {
		w.Parts[i].Bytes = int(math.Round(growth * float64(alone[i]) * float64(whole-empty) / float64(max(1, sum))))
	}
	return nil
}

// growthBundles is how many bundles tell how much more several take than one.
const growthBundles = 6

// growth returns how much more stretches take in bundles of at most bundleBytes than
// in one: a small bundle has less to share words with, and is seldom quite full. The
// first few tell it for all.
func (tx *Tx) growth(request Request, stretches []stretch, bundleBytes, empty int) (float64, error) {
	taken, bundles := 0, 0
	for bundles < growthBundles && taken < len(stretches) {
		n, err := tx.fitting(request, stretches[taken:], bundleBytes)
		if err != nil {
			return 0, err
		}
		if taken+n == len(stretches) && bundles > 0 {
			break // the last one is not full, and tells nothing
		}
		taken, bundles = taken+n, bundles+1
	}
	together, err := tx.packedBytes(request, stretches[:taken])
	if err != nil {
		return 0, err
	}
	return math.Max(1, float64(bundles*(bundleBytes-empty))/float64(max(1, together-empty))), nil
}

// fitting returns how many stretches, at least one, fit a bundle of at most
// bundleBytes.
func (tx *Tx) fitting(request Request, stretches []stretch, bundleBytes int) (int, error) {
	low, high := 1, 2 // low fits, or is all that can be
	fits := func(n int) (bool, error) {
		size, err := tx.packedBytes(request, stretches[:n])
		return size <= bundleBytes, err
	}
	for ; high <= len(stretches); high *= 2 {
		ok, err := fits(high)
		if err != nil {
			return 0, err
		}
		if !ok {
			break
		}
		low = high
	}
	high = min(high, len(stretches)+1)
	for high-low > 1 {
		middle := (low + high) / 2
		ok, err := fits(middle)
		if err != nil {
			return 0, err
		}
		if ok {
			low = middle
		} else {
			high = middle
		}
	}
	return low, nil
}

// packedBytes returns the size of the bundle that would carry stretches.
func (tx *Tx) packedBytes(request Request, stretches []stretch) (int, error) {
	acks, err := tx.clockToSend(request.To)
	if err != nil {
		return 0, err
	}
	agreed, err := tx.acknowledged(request.To)
	if err != nil {
		return 0, err
	}
	b := bundle.Bundle{Campaign: tx.log.self.CampaignTag(), From: tx.log.self.Site, To: request.To, Clock: acks, At: clock.Next(0, request.Now)}
	if err := tx.fill(&b, stretches, agreed); err != nil {
		return 0, err
	}
	packed, err := bundle.Encode(&b, func([]byte) []byte { return make([]byte, ed25519.SignatureSize) })
	if n := len(stretches) / 2; n > 0 && errors.Is(err, bundle.ErrTooLarge) { // it goes in several
		first, err := tx.packedBytes(request, stretches[:n])
		if err != nil {
			return 0, err
		}
		second, err := tx.packedBytes(request, stretches[n:])
		return first + second, err
	}
	return len(packed), err
}

// DayBytes is how many bytes, as they travel, one day brought, by class.
type DayBytes map[clock.Class]int

// Written tells what the last days brought for a site, each of 24 hours, the latest
// first: what was written here and at every site but that one, by its author's clock,
// as it travels in a bundle for each stretch of time that lasts every. Days before
// the log's first change-set are left out.
func (tx *Tx) Written(request Request, days int, every time.Duration) ([]DayBytes, error) {
	table, err := tx.laneTable()
	if err != nil {
		return nil, err
	}
	every = min(max(every, time.Hour), 24*time.Hour)
	bundles := map[int][]stretch{} // by how many times every they are old
	first := 0                     // days since the first change-set, at most as asked
	start := request.Now.Add(-time.Duration(days) * 24 * time.Hour)
	a, err := tx.audience(request.To)
	if err != nil {
		return nil, err
	}
	for _, class := range clock.Classes {
		for _, l := range table.all() {
			if l.name.Class != class || !a.has(l.name) {
				continue
			}
			stretches, oldest, err := tx.since(l, start)
			if err != nil {
				return nil, err
			}
			if oldest.Before(request.Now) {
				first = max(first, min(days, int(request.Now.Sub(oldest)/(24*time.Hour))+1))
			}
			for _, s := range stretches {
				if age := request.Now.Sub(s.sets[0].At.Time()); l.name.Site != request.To && age >= 0 {
					bundles[int(age/every)] = append(bundles[int(age/every)], s)
				}
			}
		}
	}
	list := make([]DayBytes, first)
	for i := range list {
		list[i] = DayBytes{}
	}
	for place, stretches := range bundles {
		if day := int(time.Duration(place) * every / (24 * time.Hour)); day < first {
			if err := tx.measureClasses(request, stretches, list[day]); err != nil {
				return nil, err
			}
		}
	}
	return list, nil
}

// measureClasses adds what each class takes of a bundle: the whole by what each
// would take alone.
func (tx *Tx) measureClasses(request Request, stretches []stretch, day DayBytes) error {
	whole, err := tx.packedBytes(request, stretches)
	if err != nil {
		return err
	}
	empty, err := tx.packedBytes(request, nil)
	if err != nil {
		return err
	}
	byClass, sum := map[clock.Class][]stretch{}, 0
	for _, s := range stretches {
		byClass[s.lane.name.Class] = append(byClass[s.lane.name.Class], s)
	}
	alone := map[clock.Class]int{}
	for class, list := range byClass {
		size, err := tx.packedBytes(request, list)
		if err != nil {
			return err
		}
		alone[class] = size - empty
		sum += alone[class]
	}
	for class, size := range alone {
		day[class] += (size*(whole-empty) + sum/2) / max(1, sum)
	}
	return nil
}

// since returns a lane's stretches from a time on, at most as many change-sets as a
// bundle may hold, and when its first change-set was written.
func (tx *Tx) since(l *lane, start time.Time) ([]stretch, time.Time, error) {
	if l.tip < l.forkSeq {
		return nil, start, nil // it is known only by name
	}
	_, first, _, err := tx.logged(clock.Dot{Lane: l.name, Seq: l.forkSeq})
	if err != nil {
		return nil, time.Time{}, err
	}
	from, err := tx.firstWhere(l, func(set *change.Set, _ int64) bool { return !set.At.Time().Before(start) })
	if err != nil || from > l.tip {
		return nil, first.At.Time(), err
	}
	stretches, err := tx.stretches(l, from, oneBundle())
	return stretches[:within(stretches, bundle.DefaultLimits)], first.At.Time(), err
}
