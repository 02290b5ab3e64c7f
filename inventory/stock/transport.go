package stock

import (
	"time"

	"pulk/schema/fault"
	"pulk/schema/kind"
	"pulk/sync/changelog"
	"pulk/sync/clock"
)

// SetLastTransport says on which day the last transport leaves a place before it is
// cut off: YYYY-MM-DD, or empty to take that back. It holds for the places within too.
func SetLastTransport(tx *changelog.Tx, l *Location, day, why string) error {
	if _, err := time.Parse(time.DateOnly, day); err != nil && day != "" {
		return fault.Misuse("give it as YYYY-MM-DD", "%q is no date", day)
	}
	tx.AssignText(l.ID, kind.FieldLocationLastTransport, "", day, why)
	return nil
}

// LastTransport is the day of the last transport from a place.
type LastTransport struct {
	Day       string    // YYYY-MM-DD; empty where none is told
	Place     *Location // the place, or the one it lies in, of which it is told
	Contested bool      // sites told different days without having heard of each other
}

// LastTransportFrom returns the last transport from a place: that of the place itself,
// or of the nearest place around it of which one is told.
func LastTransportFrom(tx *changelog.Tx, place clock.Dot) (LastTransport, error) {
	for range maxPlaces {
		if place.IsZero() {
			break
		}
		l, err := locationByID(tx, place)
		if err != nil {
			return LastTransport{}, err
		}
		if l.LastTransport != "" || l.transportContested {
			return LastTransport{l.LastTransport, l, l.transportContested}, nil
		}
		place = l.Parent
	}
	return LastTransport{}, nil
}

// maxPlaces bounds how far places are followed: two sites could each have put one of
// two into the other.
const maxPlaces = 16
