package changelog

import (
	"time"

	"pulk/sync/bundle"
	"pulk/sync/clock"
)

// provenSkew returns by how much two clocks are proven to differ by a bundle. It was
// made before it was taken, so what it says to be later than now stands ahead. It was
// made after all that it acknowledges was written, so what it says to be earlier than
// the newest of this site's change-sets in it stands behind. In between nothing is
// proven: it may have been under way for that long.
func (tx *Tx) provenSkew(b *bundle.Bundle) (time.Duration, error) {
	if ahead := b.At.Time().Sub(tx.author.Now); ahead > 0 {
		return ahead, nil
	}
	behind := time.Duration(0)
	for _, ack := range b.Clock {
		if ack.Lane.Site != tx.log.self.Site {
			continue
		}
		l, err := tx.node(ack.Lane, ack.Seq, ack.Check)
		if err != nil || l == nil {
			return 0, err
		}
		_, set, _, err := tx.logged(clock.Dot{Lane: l.name, Seq: ack.Seq})
		if err != nil {
			return 0, err
		}
		behind = min(behind, b.At.Time().Sub(set.At.Time()))
	}
	return behind, nil
}
