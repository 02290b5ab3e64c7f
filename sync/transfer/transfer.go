// Package transfer opens the parcels that arrive and wraps those that go out.
//
// A parcel is what a carrier moves: a file that begins with a magic of two bytes.
// [Desk.Take] looks at the magic of each and does what it asks for, [Desk.Make]
// makes the parcels for another site, and [Desk.Receive] and [Desk.Send] do both
// over a [Carrier]. Commands that take or make anything go through here.
package transfer

import (
	"context"
	"time"

	"pulk/sync/bundle"
	"pulk/sync/changelog"
	"pulk/sync/fragment"
	"pulk/sync/seal"
)

// Kind is what a parcel is, by its magic.
type Kind int

// The kinds of parcels.
const (
	Unknown Kind = iota
	Bundle
	Sealed
	Fragment
	Resend // asks for fragments that are missing
	Attachment
)

// attachmentMagic is not declared by a package below: attachments are of a domain.
const attachmentMagic = "\xb5a"

var magics = map[string]Kind{bundle.Magic: Bundle, seal.Magic: Sealed, fragment.Magic: Fragment, fragment.RequestMagic: Resend, attachmentMagic: Attachment}

// KindOf returns what a parcel says that it is.
func KindOf(parcel []byte) Kind {
	if len(parcel) < 2 {
		return Unknown
	}
	return magics[string(parcel[:2])]
}

func (k Kind) String() string {
	return [...]string{"parcel of an unknown kind", "bundle", "sealed parcel", "fragment", "request for fragments", "attachment"}[k]
}

// Desk is where a site's parcels are opened and wrapped.
type Desk struct {
	Log *changelog.Log
	Now time.Time
	// Attachment takes the parcel of an attachment's content and says in a few words
	// what it was. Where it is nil such parcels are refused.
	Attachment func(ctx context.Context, parcel []byte) (string, error)
	// Loads lists the contents of attachments that go to a site, in order. Where it
	// is nil none do.
	Loads func(ctx context.Context, peer changelog.PeerState) ([]Load, error)

	asked []fragment.Request // what Receive was asked for and Send is to send
	grew  map[int64]bool     // sets to which Take added
}
