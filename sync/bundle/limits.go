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
// they refuse.
var DefaultLimits = Limits{
	Bytes:   64 << 20,
	Block:   64 << 20,
	Ratio:   250,
	Sets:    1 << 18,
	Changes: 1 << 18,
	Values:  1 << 20,
	Seen:    1 << 18,
}

// Limits that are part of the format.
const (
	maxSites      = 1 << 12
	maxAcks       = 1 << 14
	maxSegments   = 1 << 14
	maxStatements = 1 << 12
	maxHeads      = 1 << 14
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
