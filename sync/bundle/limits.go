package bundle

import (
	"errors"
	"fmt"
)

// Magic is how every bundle begins; the byte after it is the format version.
const Magic = "\xb5p"

// Version is the only format version so far. A reader refuses any other.
const Version = 1

// Limits bound what [Decode] takes, and so its memory and its work.
type Limits struct {
	Bytes   int // of the bundle
	Block   int // of the columns, unpacked
	Ratio   int // unpacked bytes for each packed one, beyond the first 64 KiB
	Sets    int
	Changes int
	Values  int // of all changes; each takes 64 bytes of memory
	Seen    int // rows of context
}

// DefaultLimits hold for whatever comes from outside. [Encode] makes nothing that
// they refuse. They are what a program that must stay below 64 MB with all that it
// does can read and write; TestMemory of cmd/pulk measures it. A change-set of the
// largest size that there may be fits.
var DefaultLimits = Limits{
	Bytes:   3 << 20,
	Block:   2 << 20,
	Ratio:   250,
	Sets:    20_000,
	Changes: 20_000,
	Values:  80_000,
	Seen:    20_000,
}

// Limits that are part of the format.
const (
	maxSites      = 1 << 12
	MaxAcks       = 1 << 13 // lanes in the clock
	MaxSegments   = 1 << 12
	maxStatements = 1 << 12
	maxHeads      = 1 << 8 // of one statement, the sender's own too
	maxAllHeads   = 1 << 13
	freeBlock     = 64 << 10 // unpacked bytes that any ratio allows
)

// block returns how many unpacked bytes a packed part may have.
func (l Limits) block(packed int) int {
	return int(min(int64(l.Block), freeBlock+int64(l.Ratio)*int64(packed)))
}

// ErrTooLarge is the cause where a bundle exceeds limits.
var ErrTooLarge = errors.New("too large for one bundle")

// hold returns an error where numbers exceed the limits.
func (l Limits) hold(sets, changes, values, seen int) error {
	if sets > l.Sets || changes > l.Changes || values > l.Values || seen > l.Seen {
		return fmt.Errorf("%w: %d change-sets with %d changes, %d values and %d rows of context; at most %d, %d, %d, %d",
			ErrTooLarge, sets, changes, values, seen, l.Sets, l.Changes, l.Values, l.Seen)
	}
	return nil
}

// Error says why a bundle is refused, and where in it.
type Error struct {
	Offset int // from the start of the bundle; of the packed columns where the fault lies in them
	What   string
}

func (e *Error) Error() string { return fmt.Sprintf("bundle byte %d: %s", e.Offset, e.What) }

func faultAt(offset int, format string, args ...any) *Error {
	return &Error{offset, fmt.Sprintf(format, args...)}
}
