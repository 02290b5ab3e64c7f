package stock

import (
	"slices"
	"time"

	"pulk/sync/clock"
)

// Hold keeps a lot from being issued: it is in quarantine, everywhere or at one place,
// until the hold is released.
type Hold struct {
	ID     clock.Dot
	Item   clock.Dot
	Lot    string
	At     clock.Dot // none: wherever it lies
	Why    string
	Person clock.Dot
	Since  time.Time

	Released clock.Dot // the change that released it, or none
}

// Stands reports whether a hold is not released.
func (h Hold) Stands() bool { return h.Released.IsZero() }

// Covers reports whether a hold is about what lies on a shelf.
func (h Hold) Covers(s Shelf) bool {
	return h.Item == s.Item && h.Lot == s.Lot && (h.At.IsZero() || h.At == s.Location)
}

// Quarantined reports whether what lies on a shelf is under a hold that stands.
func Quarantined(holds []Hold, s Shelf) bool {
	return slices.ContainsFunc(holds, func(h Hold) bool { return h.Stands() && h.Covers(s) })
}

// Doubt is what speaks against issuing a lot that was named.
type Doubt int

// The doubts, the gravest last.
const (
	NoDoubt      Doubt = iota
	NotFirst           // another that is fit for use expires before it
	Expired            // its date has passed
	InQuarantine       // nobody is to use it
)

// DoubtOf says what speaks against issuing a lot on a day (YYYY-MM-DD), and for
// NotFirst the lot to take before it.
func DoubtOf(stacks []Stack, lot, day string) (Doubt, Stack) {
	i := slices.IndexFunc(stacks, func(s Stack) bool { return s.Lot == lot && s.Quantity > 0 })
	if i < 0 {
		return NoDoubt, Stack{}
	}
	switch named := stacks[i]; {
	case named.Quarantined:
		return InQuarantine, named
	case named.expired(day):
		return Expired, named
	default:
		for _, s := range FirstExpired(stacks) {
			if s.Expires != "" && (named.Expires == "" || s.Expires < named.Expires) && s.fit(day) {
				return NotFirst, s
			}
		}
		return NoDoubt, named
	}
}

func (s Stack) expired(day string) bool { return s.Expires != "" && s.Expires < day }

// fit reports whether a stack can be issued.
func (s Stack) fit(day string) bool { return s.Quantity > 0 && !s.Quarantined && !s.expired(day) }
