package transfer

import (
	"context"
	"fmt"

	"pulk/sync/changelog"
)

// Receive takes all that waits for this site at a carrier. What was refused is left
// there. said is told the name and outcome of each parcel; its error ends the work.
func (d *Desk) Receive(ctx context.Context, carrier Carrier, said func(name string, o Outcome) error) error {
	names, err := carrier.List(ctx, uint32(d.Log.Self().Site))
	if err != nil {
		return err
	}
	read := func(i int) ([]byte, error) { return carrier.Read(ctx, names[i]) }
	return d.Take(ctx, len(names), read, func(i int, o Outcome) error {
		if err := said(names[i], o); err != nil || o.Err != nil {
			return err
		}
		return carrier.Done(ctx, names[i])
	})
}

// Sent tells what was left at a carrier for one site.
type Sent struct {
	To   changelog.PeerState
	Made *Made // nil where nothing was to be sent
	// Unreached says that this carrier does not lead to the site.
	Unreached bool
	// Names are what the carrier calls the parcels.
	Names []string
}

// Send leaves at a carrier, for each trusted site, what waits for it, if anything
// does or if it does not know yet what has arrived here. request.To is filled in.
// said is told of each site; its error ends the work.
func (d *Desk) Send(ctx context.Context, carrier Carrier, request Request, said func(Sent) error) error {
	var peers []changelog.PeerState
	err := d.Log.View(ctx, func(tx *changelog.Tx) (err error) { peers, err = tx.Peers(); return err })
	if err != nil {
		return err
	}
	for _, peer := range peers {
		sent := Sent{To: peer}
		due := peer.Trusted && (peer.Waiting > 0 || !peer.Told)
		if reacher, ok := carrier.(Reacher); ok && due {
			reached, err := reacher.Reaches(ctx, uint32(peer.ID))
			if err != nil {
				return fmt.Errorf("for %s: %w", peer.Code, err)
			}
			sent.Unreached = !reached
		}
		if due && !sent.Unreached {
			request.To = peer.ID
			if sent.Made, err = d.Make(ctx, request); err != nil {
				return fmt.Errorf("for %s: %w", peer.Code, err)
			}
			if sent.Names, err = d.put(ctx, carrier, peer, slotLog, sent.Made.Parcels); err != nil {
				return err
			}
		}
		if err := said(sent); err != nil {
			return err
		}
	}
	return nil
}

func (d *Desk) put(ctx context.Context, carrier Carrier, peer changelog.PeerState, slot string, parcels []Parcel) ([]string, error) {
	most := carrier.MaxParcelBytes()
	contents := make([][]byte, len(parcels))
	for i, parcel := range parcels {
		if most > 0 && len(parcel.Data) > most {
			return nil, fmt.Errorf("for %s: a %s of %d bytes; this way takes at most %d", peer.Code, parcel.Kind, len(parcel.Data), most)
		}
		contents[i] = parcel.Data
	}
	return carrier.Put(ctx, uint32(d.Log.Self().Site), uint32(peer.ID), slot, contents)
}
