package transfer

import (
	"context"
	"fmt"

	"pulk/sync/changelog"
	"pulk/sync/clock"
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
	Made *Made // nil where nothing was to be sent, and for a Load
	Load *Load // nil for what is of the log; without Names it did not fit, and waits
	// Urgent tells that it is what is expedited, ahead of the rest.
	Urgent bool
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
		if !peer.Trusted {
			err = said(Sent{To: peer})
		} else {
			request.To = peer.ID
			err = d.sendAll(ctx, carrier, request, peer, said)
		}
		if err != nil {
			return err
		}
	}
	return nil
}

// sendAll leaves for one site what waits in the log, and then the contents that go
// there.
func (d *Desk) sendAll(ctx context.Context, carrier Carrier, request Request, peer changelog.PeerState, said func(Sent) error) error {
	var loads []Load
	var err error
	if d.Loads != nil {
		if loads, err = d.Loads(ctx, peer); err != nil {
			return err
		}
	}
	fresh := peer.Waiting > 0 || !peer.Told
	if !fresh && len(loads) == 0 {
		return said(Sent{To: peer})
	}
	if reacher, ok := carrier.(Reacher); ok {
		reached, err := reacher.Reaches(ctx, uint32(peer.ID))
		if err != nil {
			return fmt.Errorf("for %s: %w", peer.Code, err)
		}
		if !reached {
			return said(Sent{To: peer, Unreached: true})
		}
	}
	if fresh {
		used := 0
		err := d.sendTo(ctx, carrier, request, peer, func(s Sent) error { used += s.Made.Bytes(); return said(s) })
		if err != nil {
			return err
		}
		if request.MaxBytes > 0 {
			request.MaxBytes = max(1, request.MaxBytes-used)
		}
	}
	return d.sendLoads(ctx, carrier, request, peer, loads, said)
}

// sendTo leaves what waits for one site. Where the way is narrow, what is expedited
// goes before the rest as a bundle of its own: small, and of use as soon as it is
// there, whatever becomes of the rest.
func (d *Desk) sendTo(ctx context.Context, carrier Carrier, request Request, peer changelog.PeerState, said func(Sent) error) error {
	if len(request.Classes) == 0 && request.MaxBytes > 0 {
		first := request
		first.Classes = []clock.Class{clock.Expedited}
		made, err := d.Make(ctx, first)
		if err != nil {
			return fmt.Errorf("for %s: %w", peer.Code, err)
		}
		sent := Sent{To: peer, Made: made, Urgent: true}
		if made.Sets == 0 { // nothing takes the place of what an earlier one brought
			made.Parcels = nil
		}
		if sent.Names, err = d.put(ctx, carrier, peer, slotUrgent, made.Parcels); err != nil {
			return err
		}
		if made.Sets > 0 {
			rest := int(peer.Waiting) - made.Sets
			request.Classes = []clock.Class{clock.Normal, clock.Bulk}
			request.MaxBytes -= made.Bytes()
			if full := made.Left > 0 || request.MaxBytes < leastBytes; full || rest <= 0 {
				made.Left = max(0, rest)
				return said(sent)
			}
			if err := said(sent); err != nil {
				return err
			}
		}
	}
	sent := Sent{To: peer}
	var err error
	if sent.Made, err = d.Make(ctx, request); err != nil {
		return fmt.Errorf("for %s: %w", peer.Code, err)
	}
	if sent.Names, err = d.put(ctx, carrier, peer, slotLog, sent.Made.Parcels); err != nil {
		return err
	}
	return said(sent)
}

// leastBytes is the room below which no bundle is tried behind an urgent one.
const leastBytes = 512

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
