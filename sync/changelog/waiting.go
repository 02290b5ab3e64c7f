package changelog

import (
	"crypto/ed25519"
	"errors"
	"time"

	"pulk/sync/bundle"
	"pulk/sync/change"
	"pulk/sync/clock"
)

// WaitingPart is change-sets of one lane and one age that wait for a site.
type WaitingPart struct {
	Lane           clock.Lane
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
// takes: it is packed as Make would, and nothing is noted. A part's bytes are its
// share of the whole by what it takes alone, as parts of one bundle share words.
func (tx *Tx) Waiting(request Request) (*Waiting, error) {
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
			w.Parts = append(w.Parts, WaitingPart{Lane: s.lane.name, Oldest: at})
			parts = append(parts, nil)
		}
		n := len(parts) - 1
		parts[n] = append(parts[n], s)
		w.Parts[n].add(s)
	}
	return w, tx.measureParts(w, request, parts)
}

func (p *WaitingPart) add(s stretch) {
	p.Sets += len(s.sets)
	for _, set := range s.sets {
		p.Changes += len(set.Changes)
		p.Newest = set.At.Time()
	}
}

func (tx *Tx) measureParts(w *Waiting, request Request, parts [][]stretch) error {
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
	for i := range w.Parts {
		w.Parts[i].Bytes = (alone[i]*(whole-empty) + sum/2) / max(1, sum)
	}
	return nil
}

// packedBytes returns the size of the bundle that would carry stretches.
func (tx *Tx) packedBytes(request Request, stretches []stretch) (int, error) {
	acks, err := tx.clockToSend()
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
// first: what was written here and at every site but that one, by its author's clock.
// Days before the log's first change-set are left out.
func (tx *Tx) Written(request Request, days int) ([]DayBytes, error) {
	table, err := tx.laneTable()
	if err != nil {
		return nil, err
	}
	empty, err := tx.packedBytes(request, nil)
	if err != nil {
		return nil, err
	}
	type dayClass struct {
		day   int
		class clock.Class
	}
	byDay := map[dayClass][]stretch{}
	first := 0 // days since the first change-set, at most as asked
	start := request.Now.Add(-time.Duration(days) * 24 * time.Hour)
	for _, l := range table.all() {
		stretches, oldest, err := tx.since(l, start)
		if err != nil {
			return nil, err
		}
		if oldest.Before(request.Now) {
			first = max(first, min(days, int(request.Now.Sub(oldest)/(24*time.Hour))+1))
		}
		for _, s := range stretches {
			day := int(request.Now.Sub(s.sets[0].At.Time()) / (24 * time.Hour))
			if l.name.Site != request.To && day >= 0 && day < days {
				key := dayClass{day, l.name.Class}
				byDay[key] = append(byDay[key], s)
			}
		}
	}
	list := make([]DayBytes, first)
	for i := range list {
		list[i] = DayBytes{}
	}
	for key, stretches := range byDay {
		size, err := tx.packedBytes(request, stretches)
		if err != nil {
			return nil, err
		}
		list[key.day][key.class] = size - empty
	}
	return list, nil
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
	stretches, err := tx.stretches(l, from, &room{bundle.DefaultLimits.Sets, queueBytes})
	return stretches[:within(stretches, bundle.DefaultLimits)], first.At.Time(), err
}
