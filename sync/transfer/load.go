package transfer

import (
	"context"

	"pulk/sync/changelog"
	"pulk/sync/fragment"
	"pulk/sync/seal"
)

// Load is the content of an attachment that goes to a site as a parcel of its own.
type Load struct {
	Slot   string // its own, the same each time
	Says   string // in a few words, for people
	Bytes  int    // of the parcel
	Parcel func(ctx context.Context) ([]byte, error)
}

// sendLoads leaves contents for a site, one after the other so that only one is in
// memory. What does not fit into request.MaxBytes waits.
func (d *Desk) sendLoads(ctx context.Context, carrier Carrier, request Request, peer changelog.PeerState, loads []Load, said func(Sent) error) error {
	for i := range loads {
		load := &loads[i]
		sent := Sent{To: peer, Load: load}
		if request.MaxBytes == 0 || load.Bytes <= request.MaxBytes {
			size, err := d.sendLoad(ctx, carrier, request.Wrapping, &sent)
			if err != nil {
				return err
			}
			if request.MaxBytes > 0 {
				request.MaxBytes = max(1, request.MaxBytes-size)
			}
		}
		if err := said(sent); err != nil {
			return err
		}
	}
	return nil
}

// sendLoad leaves one content for a site and returns how many bytes it takes. What
// is on its way in fragments is not sent again, and what is too large to be cut
// waits for another way.
func (d *Desk) sendLoad(ctx context.Context, carrier Carrier, w Wrapping, sent *Sent) (size int, err error) {
	load, peer := sent.Load, sent.To
	if w.FragmentBytes > 0 && load.Bytes+seal.Overhead > w.FragmentBytes {
		if load.Bytes+seal.Overhead > fragment.Largest(w.FragmentBytes, w.ParityShare) {
			return 0, nil
		}
		if sent.OnWay, err = d.loadOnWay(ctx, peer.ID, load.Slot); err != nil || len(sent.OnWay) > 0 {
			return 0, err
		}
	}
	parcel, err := load.Parcel(ctx)
	if err != nil {
		return 0, err
	}
	wrapped, err := d.wrap(ctx, peer.ID, parcel, w, sentParcel{slot: load.Slot})
	if err != nil {
		return 0, err
	}
	sent.Names, err = d.put(ctx, carrier, peer, load.Slot, wrapped.Parcels)
	return wrapped.Bytes(), err
}
