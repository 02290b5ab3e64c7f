package transfer

import (
	"context"
	"encoding/hex"
	"errors"
	"fmt"

	"pulk/schema"
	"pulk/schema/fault"
	"pulk/sync/bundle"
	"pulk/sync/changelog"
	"pulk/sync/clock"
	"pulk/sync/fragment"
	"pulk/sync/seal"
)

// Wrapping says how a parcel goes.
type Wrapping struct {
	// Seal closes it so that only the addressee can read it, also where that is not
	// what [SetSeal] has said of that site.
	Seal bool
	// FragmentBytes is the size that nothing may exceed: what is larger is cut into
	// fragments. 0 is no limit.
	FragmentBytes int
	// ParityShare adds parity of so many times the fragments, for a way on which
	// nobody can ask again. It cuts whatever size.
	ParityShare float64
}

// Request says what to make for another site. MaxBytes bounds all that is made
// together.
type Request struct {
	changelog.Request
	Wrapping
	slot string // of a carrier, by Send, which sends nothing again while it is on its way
}

// Parcel is one thing for a carrier to move.
type Parcel struct {
	Kind  Kind
	Data  []byte
	Place int // of a fragment
}

// Made tells what was made.
type Made struct {
	*changelog.Made // the bundle
	Wrapped
}

// Wrapped is what goes to a carrier.
type Wrapped struct {
	// Parcels are what to send, in order: one, or all fragments of one.
	Parcels []Parcel
	// Cut is how it was cut; nil where it was not.
	Cut    *fragment.Cut
	Sealed bool
}

// Bytes returns the size of all parcels together.
func (w *Wrapped) Bytes() int {
	sum := 0
	for _, p := range w.Parcels {
		sum += len(p.Data)
	}
	return sum
}

// Make packs for another site what it has not said that it has.
func (d *Desk) Make(ctx context.Context, request Request) (*Made, error) {
	request.Now = d.Now
	if err := d.sealByDefault(ctx, request.To, &request.Wrapping); err != nil {
		return nil, err
	}
	if room := request.Wrapping.room(request.MaxBytes); room != 0 {
		if room < 0 {
			return nil, fault.Hint("give a larger number of bytes, larger fragments or less parity", "nothing fits %d bytes, wrapped as it is to be", request.MaxBytes)
		}
		request.MaxBytes = room
	}
	made, err := d.Log.Make(ctx, request.Request)
	if errors.Is(err, bundle.ErrTooLarge) {
		return nil, fault.Hint("give a larger number of bytes; headers of fragments, parity and a seal count", "%w", err)
	}
	if err != nil {
		return nil, err
	}
	ends := clock.Vector{}
	for i := range made.Segments {
		s := &made.Segments[i]
		ends[s.Lane] = max(ends[s.Lane], s.To())
	}
	wrapped, err := d.wrap(ctx, request.To, made.Data, request.Wrapping, sentParcel{lanes: ends, slot: request.slot})
	if err != nil {
		return nil, err
	}
	return &Made{made, *wrapped}, nil
}

// Seed packs all history for a new site, as [changelog.Log.Seed] does, and wraps each
// bundle as Make would. They are not cut into fragments.
func (d *Desk) Seed(ctx context.Context, request Request, put func(n int, made *Made) error) error {
	request.Now = d.Now
	if err := d.sealByDefault(ctx, request.To, &request.Wrapping); err != nil {
		return err
	}
	if request.MaxBytes > 0 {
		request.MaxBytes = max(1, request.Wrapping.room(request.MaxBytes))
	}
	return d.Log.Seed(ctx, request.Request, func(n int, made *changelog.Made) error {
		wrapped, err := d.wrap(ctx, request.To, made.Data, Wrapping{Seal: request.Seal}, sentParcel{})
		if err != nil {
			return err
		}
		return put(n, &Made{made, *wrapped})
	})
}

// room returns how large a bundle may be that takes at most so many bytes wrapped, 0 for
// any number: 0 where it may have any size, and -1 where nothing fits.
func (w Wrapping) room(maxBytes int) int {
	room := maxBytes
	switch {
	case w.FragmentBytes == 0 && maxBytes == 0:
		return 0
	case w.FragmentBytes > 0 && maxBytes == 0:
		room = fragment.Largest(w.FragmentBytes, w.ParityShare)
	case w.FragmentBytes > 0 && (maxBytes > w.FragmentBytes || w.ParityShare > 0):
		room = max(fragment.Room(maxBytes, w.FragmentBytes, w.ParityShare), min(maxBytes, w.FragmentBytes)*w.bare())
	}
	if w.Seal {
		room -= seal.Overhead
	}
	if room <= 0 {
		return -1
	}
	return room
}

// bare is 1 where a parcel that fits goes without being cut.
func (w Wrapping) bare() int {
	if w.ParityShare > 0 {
		return 0
	}
	return 1
}

// Wrap makes of a parcel what goes to a carrier: sealed and cut as it is to be.
// What is cut is kept to be sent again, until it is old.
func (d *Desk) Wrap(ctx context.Context, to clock.SiteID, parcel []byte, w Wrapping) (*Wrapped, error) {
	return d.wrap(ctx, to, parcel, w, sentParcel{})
}

// wrap also takes what else is to be noted of a parcel that is cut: where the lanes
// in it end, up to which the addressee is to say that it has them.
func (d *Desk) wrap(ctx context.Context, to clock.SiteID, parcel []byte, w Wrapping, note sentParcel) (*Wrapped, error) {
	if err := d.sealByDefault(ctx, to, &w); err != nil {
		return nil, err
	}
	out := &Wrapped{Sealed: w.Seal}
	if w.Seal {
		var err error
		if parcel, err = d.seal(ctx, to, parcel); err != nil {
			return nil, err
		}
	}
	if w.FragmentBytes == 0 || w.ParityShare == 0 && len(parcel) <= w.FragmentBytes {
		out.Parcels = []Parcel{{Kind: KindOf(parcel), Data: parcel}}
		return out, nil
	}
	cut, err := fragment.Plan(parcel, w.FragmentBytes, w.ParityShare)
	if err != nil {
		return nil, err
	}
	out.Cut = &cut
	if out.Parcels, err = cutInto(cut, parcel, nil); err != nil {
		return nil, err
	}
	note.Cut, note.peer, note.parcel = cut, to, parcel
	return out, d.noteSent(ctx, note)
}

func (d *Desk) seal(ctx context.Context, to clock.SiteID, parcel []byte) ([]byte, error) {
	var site changelog.Site
	err := d.Log.View(ctx, func(tx *changelog.Tx) error {
		var found bool
		var err error
		if site, found, err = tx.SiteByID(to); err == nil && !found {
			err = fmt.Errorf("no site %08x is known here", uint32(to))
		}
		return err
	})
	if err != nil {
		return nil, err
	}
	return seal.Seal(parcel, uint32(to), site.Key)
}

// SetSeal says whether what goes to a site is always sealed.
func SetSeal(tx *schema.Tx, site clock.SiteID, sealed bool) error {
	return tx.Exec("INSERT INTO peer_way (peer, seal) VALUES (?, ?) ON CONFLICT (peer) DO UPDATE SET seal = excluded.seal", site, sealed)
}

// sealByDefault seals what goes to a site where a person here said so, and what may
// hold anything confined, always: it may lie in a folder, or at a hub, that others read
// too.
func (d *Desk) sealByDefault(ctx context.Context, site clock.SiteID, w *Wrapping) error {
	return d.Log.View(ctx, func(tx *changelog.Tx) error {
		sealed := false
		if _, err := tx.Row("SELECT seal FROM peer_way WHERE peer = ?", []any{site}, &sealed); err != nil {
			return err
		}
		confined, err := tx.MayTellConfined(site)
		w.Seal = w.Seal || sealed || confined
		return err
	})
}

func hexOf(data []byte) string { return hex.EncodeToString(data) }
