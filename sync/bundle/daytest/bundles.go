package daytest

import (
	"crypto/ed25519"
	"time"

	"pulk/sync/bundle"
	"pulk/sync/change"
	"pulk/sync/clock"
)

// Key returns the station's key. Its id is fixed and does not follow from the key,
// so a store that is to take these bundles must be told of it.
func Key() ed25519.PrivateKey { return ed25519.NewKeyFromSeed(make([]byte, ed25519.SeedSize)) }

// Bundles packs the days of [Days] for a site, one bundle a day, and calls fn with
// each. It returns how many changes they hold.
func Bundles(seed uint64, days int, to clock.SiteID, fn func(data []byte) error) (changes int, err error) {
	heads := map[clock.Lane]bundle.Head{}
	sets := Days(seed, days)
	for len(sets) > 0 {
		n := 0
		for day := dayOf(sets[0]); n < len(sets) && dayOf(sets[n]).Equal(day); n++ {
			changes += len(sets[n].Changes)
		}
		data, err := pack(sets[:n], to, heads)
		if err != nil {
			return changes, err
		}
		if err := fn(data); err != nil {
			return changes, err
		}
		sets = sets[n:]
	}
	return changes, nil
}

func dayOf(set *change.Set) time.Time { return set.At.Time().Truncate(24 * time.Hour) }

// pack makes one bundle of sets that go on at heads, and moves heads on.
func pack(sets []*change.Set, to clock.SiteID, heads map[clock.Lane]bundle.Head) ([]byte, error) {
	b := &bundle.Bundle{Campaign: Campaign, From: Station, To: to, At: sets[len(sets)-1].At >> 16 << 16}
	for _, lane := range []clock.Lane{Expedited, Normal} {
		head, ok := heads[lane]
		if !ok {
			head = bundle.Head{Lane: lane, Hash: change.Genesis(Campaign, lane)}
		}
		segment := bundle.Segment{Lane: lane, From: head.Seq + 1, Statement: -1}
		for _, set := range sets {
			if set.Lane == lane {
				segment.Sets = append(segment.Sets, set)
				head.Seq++
				head.Hash = change.Next(head.Hash, set.Canonical())
			}
		}
		heads[lane] = head
		if segment.Head = head.Hash; len(segment.Sets) > 0 {
			b.Segments = append(b.Segments, segment)
		}
	}
	for _, lane := range []clock.Lane{Normal, Expedited} {
		if head := heads[lane]; head.Seq > 0 {
			b.Clock = append(b.Clock, bundle.Ack{Lane: lane, Seq: head.Seq, Check: head.Hash.Check()})
		}
	}
	return bundle.Encode(b, func(message []byte) []byte { return ed25519.Sign(Key(), message) })
}
