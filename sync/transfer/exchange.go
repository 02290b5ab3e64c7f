package transfer

import (
	"context"
	"fmt"

	"pulk/sync/changelog"
	"pulk/sync/clock"
	"pulk/sync/fragment"
)

// Receive takes all that waits for this site at a carrier. What was refused is left
// there. said is told the name and outcome of each parcel, the name empty for what
// fragments from before make now; its error ends the work.
func (d *Desk) Receive(ctx context.Context, carrier Carrier, said func(name string, o Outcome) error) error {
	names, err := carrier.List(ctx, uint32(d.Log.Self().Site))
	if err != nil {
		return err
	}
	read := func(i int) ([]byte, error) { return carrier.Read(ctx, names[i]) }
	sender := func(i int) clock.SiteID {
		if s, ok := carrier.(Sender); ok {
			if site, ok := s.Sender(names[i]); ok {
				return clock.SiteID(site)
			}
		}
		return 0
	}
	return d.takeFrom(ctx, len(names), read, sender, func(i int, o Outcome) error {
		if i < 0 {
			return said("", o)
		}
		if o.Asked != nil {
			d.asked = append(d.asked, *o.Asked)
		}
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
	// OnWay are the parcels that went in fragments and are not acknowledged yet. What
	// is in them is not sent again for a while: see [Desk.Send].
	OnWay []fragment.Cut
	// Again counts fragments that the site had asked for, Asks the parcels of which it
	// is asked for some. Where one is not zero nothing else is told.
	Again, Asks int
}

// Send leaves at a carrier, for each trusted site, what waits for it, if anything
// does or if it does not know yet what has arrived here. request.To is filled in.
// said is told of each site; its error ends the work.
//
// What exceeds the carrier's limit goes in fragments. What went so counts as on its
// way for onWayFor: meanwhile only what came after it is sent, as to make all anew
// would leave the other site with the fragments of ever new parcels. Fragments that
// a site asked for since [Desk.Receive] go again, and this site asks for those of
// parcels that did not grow by what it received.
func (d *Desk) Send(ctx context.Context, carrier Carrier, request Request, said func(Sent) error) error {
	var peers []changelog.PeerState
	err := d.Log.View(ctx, func(tx *changelog.Tx) (err error) { peers, err = tx.Peers(); return err })
	if err != nil {
		return err
	}
	again, err := d.again(ctx)
	if err != nil {
		return err
	}
	if limit := carrier.MaxParcelBytes(); limit > 0 && (request.FragmentBytes == 0 || request.FragmentBytes > limit) {
		request.FragmentBytes = limit
	}
	for _, peer := range peers {
		if !peer.Trusted {
			err = said(Sent{To: peer})
		} else {
			request.To = peer.ID
			err = d.sendAll(ctx, carrier, request, peer, again[peer.ID], said)
		}
		if err != nil {
			return err
		}
	}
	return nil
}

// sendAll leaves for one site what it asked for, what waits in the log, and then the
// contents that go there.
func (d *Desk) sendAll(ctx context.Context, carrier Carrier, request Request, peer changelog.PeerState, again []Parcel, said func(Sent) error) error {
	var loads []Load
	asks, err := d.asks(ctx, peer.ID, carrier.MaxParcelBytes())
	if err != nil {
		return err
	}
	if d.Loads != nil {
		if loads, err = d.Loads(ctx, peer); err != nil {
			return err
		}
	}
	fresh := peer.Waiting > 0 || !peer.Told
	if !fresh && len(loads)+len(asks)+len(again) == 0 {
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
	if err := d.sendAsked(ctx, carrier, peer, again, asks, said); err != nil {
		return err
	}
	if fresh {
		used := 0
		err := d.sendTo(ctx, carrier, request, peer, func(s Sent) error {
			if s.Made != nil {
				used += s.Made.Bytes()
			}
			return said(s)
		})
		if err != nil {
			return err
		}
		if request.MaxBytes > 0 {
			request.MaxBytes = max(1, request.MaxBytes-used)
		}
	}
	return d.sendLoads(ctx, carrier, request, peer, loads, said)
}

// sendAsked leaves fragments that a site asked for, and what asks it for some.
func (d *Desk) sendAsked(ctx context.Context, carrier Carrier, peer changelog.PeerState, again, asks []Parcel, said func(Sent) error) error {
	if len(again) > 0 {
		if _, err := d.put(ctx, carrier, peer, slotAgain, again); err != nil {
			return err
		}
	}
	if len(asks) > 0 {
		if _, err := d.put(ctx, carrier, peer, slotAsk, asks); err != nil {
			return err
		}
	}
	if len(again)+len(asks) == 0 {
		return nil
	}
	return said(Sent{To: peer, Again: len(again), Asks: len(asks)})
}

// narrowBytes is the size of parcels below which what is expedited goes by itself.
const narrowBytes = 4096

// sendTo leaves what waits for one site. Where the way is narrow, what is expedited
// goes before the rest as a bundle of its own: small, and of use as soon as it is
// there, whatever becomes of the rest.
func (d *Desk) sendTo(ctx context.Context, carrier Carrier, request Request, peer changelog.PeerState, said func(Sent) error) error {
	sent := Sent{To: peer}
	if carrier.MaxParcelBytes() > 0 {
		behind, all, err := d.onWay(ctx, &sent)
		if err != nil {
			return err
		}
		if request.Behind = behind; all && peer.Told {
			return said(sent)
		}
	}
	onWay := sent.OnWay
	request.slot = slotLog
	narrow := request.MaxBytes > 0 || request.FragmentBytes > 0 && request.FragmentBytes < narrowBytes
	if len(request.Classes) == 0 && narrow {
		first := request
		first.slot = slotUrgent
		first.Classes = []clock.Class{clock.Expedited}
		made, err := d.Make(ctx, first)
		if err != nil {
			return fmt.Errorf("for %s: %w", peer.Code, err)
		}
		sent := Sent{To: peer, Made: made, Urgent: true, OnWay: onWay}
		if made.Sets == 0 { // nothing takes the place of what an earlier one brought
			made.Parcels = nil
		}
		if sent.Names, err = d.put(ctx, carrier, peer, slotFor(slotUrgent, made, onWay), made.Parcels); err != nil {
			return err
		}
		if made.Sets > 0 {
			rest := int(peer.Waiting) - made.Sets
			request.Classes = []clock.Class{clock.Normal, clock.Confined, clock.Bulk}
			full := made.Left > 0
			if request.MaxBytes > 0 {
				request.MaxBytes -= made.Bytes()
				full = full || request.MaxBytes < leastBytes
			}
			if full || rest <= 0 {
				made.Left = max(0, rest)
				return said(sent)
			}
			if err := said(sent); err != nil {
				return err
			}
		}
	}
	var err error
	if sent.Made, err = d.Make(ctx, request); err != nil {
		return fmt.Errorf("for %s: %w", peer.Code, err)
	}
	if sent.Names, err = d.put(ctx, carrier, peer, slotFor(slotLog, sent.Made, onWay), sent.Made.Parcels); err != nil {
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
