package transfer

import (
	"context"
	"encoding/binary"
	"errors"
	"time"

	"pulk/schema"
	"pulk/schema/fault"
	"pulk/sync/changelog"
	"pulk/sync/clock"
	"pulk/sync/fragment"
)

// sentParcel is a parcel that was sent in fragments.
type sentParcel struct {
	fragment.Cut
	peer   clock.SiteID
	lanes  clock.Vector // where each lane in it ends
	madeAt time.Time
	parcel []byte
	id     int64
	slot   string // of the carrier; empty where it did not go by Send
}

// noteSent keeps a parcel that goes in fragments, and drops what need not be kept.
func (d *Desk) noteSent(ctx context.Context, s sentParcel) error {
	return d.Log.Store().Update(ctx, func(tx *schema.Tx) error {
		err := tx.Exec(`INSERT INTO fragment_sent (name, data, parity, size, length, peer, lanes, made_at, slot, parcel) VALUES (?, ?, ?, ?, ?, ?, ?, ?, ?, ?)
			ON CONFLICT DO NOTHING`, s.Name[:], s.Data, s.Parity, s.Size, s.Length, s.peer, encodeLanes(s.lanes), d.Now.UnixMilli(), s.slot, s.parcel)
		if err != nil {
			return err
		}
		return d.boundSent(tx)
	})
}

// boundSent drops what the other site has said that it has, what it may not have any
// more, and what there is no room for.
func (d *Desk) boundSent(tx *schema.Tx) error {
	var drop []int64
	acknowledged := map[clock.SiteID]clock.Vector{}
	bytes, count := 0, 0
	var list []sentParcel
	err := eachSent(tx, "", nil, func(s sentParcel) { list = append(list, s) })
	for _, s := range list {
		if err != nil {
			return err
		}
		if _, ok := acknowledged[s.peer]; !ok {
			err = d.Log.Local(tx, func(tx *changelog.Tx) error {
				acknowledged[s.peer], err = tx.Acknowledged(s.peer)
				return err
			})
		}
		var may bool
		if err == nil {
			err = d.Log.Local(tx, func(tx *changelog.Tx) error { may, err = tx.MayHave(s.peer, s.lanes); return err })
		}
		if err != nil {
			return err
		}
		bytes, count = bytes+s.Length, count+1
		if !may || bytes > sentBytes || count > sentParcels || s.madeAt.Before(d.Now.Add(-sentFor)) || len(s.lanes) > 0 && acknowledged[s.peer].Covers(s.lanes) {
			bytes, count = bytes-s.Length, count-1
			drop = append(drop, s.id)
		}
	}
	for _, id := range drop {
		if err == nil {
			err = tx.Exec("DELETE FROM fragment_sent WHERE id = ?", id)
		}
	}
	return err
}

// onWayFor is how long what went in fragments counts as on its way: a link that is
// open once a day brings the answer on the second or third.
const onWayFor = 72 * time.Hour

// onWay fills in what is on its way to a site in fragments. It returns where its
// lanes end, and whether that is all that waits.
func (d *Desk) onWay(ctx context.Context, sent *Sent) (behind clock.Vector, all bool, err error) {
	behind = clock.Vector{}
	err = d.Log.Store().Update(ctx, func(tx *schema.Tx) error {
		if err := d.boundSent(tx); err != nil {
			return err
		}
		err := eachSent(tx, "WHERE peer = ? AND slot <> '' AND made_at > ?", []any{sent.To.ID, d.Now.Add(-onWayFor).UnixMilli()}, func(s sentParcel) {
			if len(s.lanes) > 0 {
				sent.OnWay = append(sent.OnWay, s.Cut)
				behind.Merge(s.lanes)
			}
		})
		if err != nil || len(sent.OnWay) == 0 {
			return err
		}
		return d.Log.Local(tx, func(tx *changelog.Tx) error {
			heads, err := tx.HeadsFor(sent.To.ID)
			if err != nil {
				return err
			}
			has, err := tx.Acknowledged(sent.To.ID)
			if err != nil {
				return err
			}
			has.Merge(behind)
			all = has.Covers(heads)
			return nil
		})
	})
	return behind, all, err
}

// loadOnWay returns how a content was cut that is on its way to a site.
func (d *Desk) loadOnWay(ctx context.Context, peer clock.SiteID, slot string) (cuts []fragment.Cut, err error) {
	err = d.Log.Store().View(ctx, func(tx *schema.Tx) error {
		return eachSent(tx, "WHERE peer = ? AND slot = ? AND made_at > ?", []any{peer, slot, d.Now.Add(-onWayFor).UnixMilli()},
			func(s sentParcel) { cuts = append(cuts, s.Cut) })
	})
	return cuts, err
}

// again returns, for each site, the fragments that were asked for since Receive.
// What is not kept any more is passed over: a new bundle brings it.
func (d *Desk) again(ctx context.Context) (map[clock.SiteID][]Parcel, error) {
	all := map[clock.SiteID][]Parcel{}
	for _, request := range d.asked {
		parcels, peer, err := d.Again(ctx, request)
		var gone *fault.Hinted
		if errors.As(err, &gone) {
			continue
		}
		if err != nil {
			return nil, err
		}
		all[peer] = append(all[peer], parcels...)
		err = d.Log.Store().Update(ctx, func(tx *schema.Tx) error {
			return tx.Exec("UPDATE fragment_sent SET made_at = ? WHERE name = ? AND data = ? AND parity = ?", d.Now.UnixMilli(), request.Name[:], request.Data, request.Parity)
		})
		if err != nil {
			return nil, err
		}
	}
	d.asked = nil
	return all, nil
}

// asks returns what asks a site for fragments: for each parcel that is known to be
// from it, or from nobody knows whom, and has not grown at this desk.
func (d *Desk) asks(ctx context.Context, peer clock.SiteID, limit int) ([]Parcel, error) {
	lacks, err := d.Missing(ctx)
	var parcels []Parcel
	for _, l := range lacks {
		if (l.Sender == peer || l.Sender == 0) && !d.grew[l.id] && (l.Lacking() > 0 || l.Trouble != "") {
			parcels = append(parcels, Parcel{Kind: Resend, Data: l.Request.Encode(limit)})
		}
	}
	return parcels, err
}

// eachSent runs fn for the parcels that a condition picks, without their bytes, the
// latest first.
func eachSent(tx *schema.Tx, where string, args []any, fn func(sentParcel)) error {
	return tx.Each("SELECT id, name, data, parity, size, length, peer, lanes, made_at, slot FROM fragment_sent "+where+" ORDER BY made_at DESC, id DESC", args,
		func(scan func(...any) error) error {
			var s sentParcel
			var name, lanes []byte
			var made int64
			if err := scan(&s.id, &name, &s.Data, &s.Parity, &s.Size, &s.Length, &s.peer, &lanes, &made, &s.slot); err != nil {
				return err
			}
			copy(s.Name[:], name)
			s.madeAt = time.UnixMilli(made)
			var err error
			s.lanes, err = decodeLanes(lanes)
			fn(s)
			return err
		})
}

// Again returns the fragments that a request asks for, byte for byte as they were
// made, and the site that they are for.
func (d *Desk) Again(ctx context.Context, r fragment.Request) ([]Parcel, clock.SiteID, error) {
	var s sentParcel
	found := false
	err := d.Log.View(ctx, func(tx *changelog.Tx) error {
		err := eachSent(tx.Tx, "WHERE name = ? AND data = ? AND parity = ?", []any{r.Name[:], r.Data, r.Parity}, func(match sentParcel) {
			if !found {
				s, found = match, true
			}
		})
		if err != nil || !found {
			return err
		}
		if found, err = tx.MayHave(s.peer, s.lanes); err != nil || !found {
			return err
		}
		_, err = tx.Row("SELECT parcel FROM fragment_sent WHERE id = ?", []any{s.id}, &s.parcel)
		return err
	})
	if err != nil {
		return nil, 0, err
	}
	if !found {
		return nil, 0, fault.Hint("it was made at another site, or has been acknowledged, or is too old; a bundle made now holds all that is still missing there",
			"no parcel %s in %d fragments is kept here", r.Name, r.Total())
	}
	parcels, err := cutInto(s.Cut, s.parcel, r.Missing)
	return parcels, s.peer, err
}

func cutInto(c fragment.Cut, parcel []byte, places []int) ([]Parcel, error) {
	list, err := c.Fragments(parcel, places)
	if err != nil {
		return nil, err
	}
	var parcels []Parcel
	for i, data := range list {
		place := i
		if places != nil {
			place = places[i]
		}
		parcels = append(parcels, Parcel{Kind: Fragment, Data: data, Place: place})
	}
	return parcels, nil
}

func encodeLanes(v clock.Vector) []byte {
	out := []byte{}
	for _, lane := range v.Lanes() {
		out = append(out, lane.Key()...)
		out = binary.BigEndian.AppendUint64(out, v[lane])
	}
	return out
}

func decodeLanes(data []byte) (clock.Vector, error) {
	v := clock.Vector{}
	for ; len(data) >= clock.LaneKeySize+8; data = data[clock.LaneKeySize+8:] {
		lane, err := clock.LaneFromKey(data[:clock.LaneKeySize])
		if err != nil {
			return nil, err
		}
		v[lane] = binary.BigEndian.Uint64(data[clock.LaneKeySize:])
	}
	return v, nil
}
