package transfer

import (
	"context"

	"pulk/sync/changelog"
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
		if most := carrier.MaxParcelBytes(); (request.MaxBytes == 0 || load.Bytes <= request.MaxBytes) && (most == 0 || load.Bytes <= most) {
			parcel, err := load.Parcel(ctx)
			if err != nil {
				return err
			}
			if sent.Names, err = d.put(ctx, carrier, peer, load.Slot, []Parcel{{Kind: Attachment, Data: parcel}}); err != nil {
				return err
			}
			if request.MaxBytes > 0 {
				request.MaxBytes = max(1, request.MaxBytes-len(parcel))
			}
		}
		if err := said(sent); err != nil {
			return err
		}
	}
	return nil
}
