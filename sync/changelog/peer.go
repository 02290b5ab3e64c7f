package changelog

import (
	"bytes"
	"time"

	"pulk/sync/bundle"
	"pulk/sync/clock"
)

// acknowledge takes the sender's clock as what it has. Where its hash at a place
// is not ours, the two hold different histories of that lane: then nothing of it
// counts as agreed, and the whole lane is sent again, so that the fork is found.
// What was agreed before does not help: that may have been with the same site
// before its store was restored, or with another copy of it.
func (tx *Tx) acknowledge(b *bundle.Bundle) error {
	agreed, claimed := clock.Vector{}, clock.Vector{}
	for _, ack := range b.Clock {
		claimed[ack.Lane] = ack.Seq
		l, err := tx.node(ack.Lane, ack.Seq, ack.Check)
		if err != nil {
			return err
		}
		if l == nil {
			tx.meet(ack.Lane)
		}
		switch main := tx.lanes.byName[ack.Lane.Base()]; {
		case l != nil:
			for seq := ack.Seq; l != nil; l, seq = l.parent, l.forkSeq-1 {
				agreed[l.name] = max(agreed[l.name], seq)
			}
		case main != nil && ack.Seq > main.tip && !tx.lanes.forked(ack.Lane):
			// It has more than we do. Should that be another history, it finds out by
			// our clock, and sends all of it.
			agreed[main.name] = main.tip
		}
	}
	if err := tx.Exec("DELETE FROM peer_clock WHERE peer = ?", b.From); err != nil {
		return err
	}
	lanes := agreed.Clone()
	lanes.Merge(claimed)
	for _, lane := range lanes.Lanes() {
		err := tx.Exec("INSERT INTO peer_clock (peer, lane, seq, claim) VALUES (?, ?, ?, ?)", b.From, lane.Key(), agreed[lane], claimed[lane])
		if err != nil {
			return err
		}
	}
	return nil
}

// Acknowledged returns what another site has, as far as it has said so.
func (tx *Tx) Acknowledged(peer clock.SiteID) (clock.Vector, error) { return tx.acknowledged(peer) }

func (tx *Tx) acknowledged(peer clock.SiteID) (clock.Vector, error) {
	return tx.peerVector("SELECT lane, seq FROM peer_clock WHERE peer = ?", peer)
}

func (tx *Tx) peerVector(query string, peer clock.SiteID) (clock.Vector, error) {
	v := clock.Vector{}
	err := tx.Each(query, []any{peer}, func(scan func(...any) error) error {
		var key []byte
		var seq uint64
		if err := scan(&key, &seq); err != nil {
			return err
		}
		lane, err := clock.LaneFromKey(key)
		if seq > 0 {
			v[lane] = seq
		}
		return err
	})
	return v, err
}

// mustAnswer notes that another site sent change-sets, new or known: it does not
// know yet that they are here, and is to be told even if nothing else is new.
func (tx *Tx) mustAnswer(peer clock.SiteID) error {
	return tx.Exec("UPDATE peer SET told = NULL WHERE peer = ?", peer)
}

// PeerState is what this store knows of another site's store.
type PeerState struct {
	Site
	HeardAt time.Time     // when its latest bundle was taken here; zero if never
	TheirAt time.Time     // its own clock in that bundle
	WroteAt time.Time     // when a bundle was last made for it
	Skew    time.Duration // its clock less ours, as far as its last bundle proves it; see [Taken]
	Waiting uint64        // change-sets here that it has not acknowledged
	Lacking uint64        // change-sets that it says it has and that are not here
	// Told says that its last bundle from here told it all that is here.
	Told bool
}

// Peers returns the state of every other known site, in the order of their codes.
func (tx *Tx) Peers() ([]PeerState, error) {
	sites, err := tx.Sites()
	if err != nil {
		return nil, err
	}
	var list []PeerState
	for _, site := range sites {
		if site.ID == tx.log.self.Site {
			continue
		}
		heads, err := tx.HeadsFor(site.ID)
		if err != nil {
			return nil, err
		}
		state := PeerState{Site: site}
		var heard, wrote, skew int64
		var their clock.Stamp
		var told []byte
		_, err = tx.Row("SELECT heard_at, their_at, wrote_at, skew_ms, told FROM peer WHERE peer = ?", []any{site.ID}, &heard, &their, &wrote, &skew, &told)
		if err != nil {
			return nil, err
		}
		state.HeardAt, state.WroteAt, state.Skew = milli(heard), milli(wrote), time.Duration(skew)*time.Millisecond
		state.Told = told != nil && bytes.Equal(told, encodeContext(heads))
		if their != 0 {
			state.TheirAt = their.Time()
		}
		if state.Waiting, state.Lacking, err = tx.difference(site.ID, heads); err != nil {
			return nil, err
		}
		list = append(list, state)
	}
	return list, nil
}

func milli(ms int64) time.Time {
	if ms == 0 {
		return time.Time{}
	}
	return time.UnixMilli(ms).UTC()
}

// difference counts what waits for a site of the lanes it may have, which end at heads,
// and what it has of those that this site may have.
func (tx *Tx) difference(peer clock.SiteID, heads clock.Vector) (waiting, lacking uint64, err error) {
	agreed, err := tx.acknowledged(peer)
	if err != nil {
		return 0, 0, err
	}
	for lane, tip := range heads {
		from := max(agreed[lane], tx.lanes.byName[lane].forkSeq-1)
		waiting += tip - min(from, tip)
	}
	cut, err := tx.loadBounds()
	if err != nil {
		return 0, 0, err
	}
	here, err := tx.audience(tx.log.self.Site)
	if err != nil {
		return 0, 0, err
	}
	claimed, err := tx.peerVector("SELECT lane, claim FROM peer_clock WHERE peer = ?", peer)
	for lane, claim := range claimed {
		if !here.has(lane) {
			continue
		}
		if site, bounded := cut[lane.Site]; bounded {
			claim = min(claim, site[lane.Base()].Seq)
		}
		if have := heads[lane]; claim > have {
			lacking += claim - have
		}
	}
	return waiting, lacking, err
}
