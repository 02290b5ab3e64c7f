package transfer

import (
	"context"

	"pulk/sync/fragment"
)

// Carrier moves parcels between sites and knows nothing of their content. Sites go
// by their ids. Read may run while another method does; the others do not overlap.
type Carrier interface {
	// List returns the names of the parcels that wait for a site, in the order in
	// which they are to be taken: those left earlier come first.
	List(ctx context.Context, site uint32) ([]string, error)
	// Read returns the content of a listed parcel.
	Read(ctx context.Context, name string) ([]byte, error)
	// Done says that a parcel is safe at its site, so that it is not listed again.
	Done(ctx context.Context, name string) error
	// Put leaves parcels for a site, the most urgent first, and returns what they
	// are called, in the same order. They take the place of all that lies there
	// from the same sender for the same site under the same slot; a carrier that
	// cannot take back what it was given, as mail, leaves that. A slot is 1 to 32
	// of a-z and 0-9.
	Put(ctx context.Context, from, to uint32, slot string, parcels [][]byte) ([]string, error)
	// MaxParcelBytes is the size that no parcel may exceed; 0 is no limit.
	MaxParcelBytes() int
}

// Sender is what a [Carrier] can be that knows who left a listed parcel. It is a
// hint: nobody has verified it.
type Sender interface {
	Sender(name string) (site uint32, ok bool)
}

// Reacher is what a [Carrier] can be that does not reach every site. For a site
// that it does not reach nothing is made.
type Reacher interface {
	Reaches(ctx context.Context, site uint32) (bool, error)
}

// Slots of what a site leaves for another.
const (
	// slotLog holds the bundle with all that is not acknowledged, or its fragments.
	slotLog = "log"
	// slotUrgent holds the bundle with what is expedited, where the way is narrow.
	slotUrgent = "urgent"
	// slotAgain holds fragments that were asked for, slotAsk what asks for some.
	slotAgain = "again"
	slotAsk   = "ask"
)

// slotFor returns where a bundle goes that is for the slot base. While others are on
// their way in fragments it must not take their place; one that is in fragments
// itself stays until it has arrived.
func slotFor(base string, made *Made, onWay []fragment.Cut) string {
	switch {
	case len(onWay) == 0:
		return base
	case made.Cut != nil:
		return base + made.Cut.Name.String()
	}
	return base + "more"
}
