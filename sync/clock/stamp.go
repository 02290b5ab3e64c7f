package clock

import (
	"fmt"
	"time"
)

// Stamp is a time of the hybrid logical clock: 48 bits of Unix milliseconds,
// then 16 bits that count events within one millisecond or while the wall clock
// stands behind what was seen.
type Stamp uint64

// MaxAhead is how far a peer's time may pull a site's own clock forward. What
// claims to be later than this is kept as written, but not followed.
const MaxAhead = 10 * time.Minute

// Tick is how finely a site reads its wall clock for a stamp. Nobody in a drill hut
// checks off to the millisecond, but its random digits would cost more on the wire
// than all the rest of a check-off (docs/decisions/bundle-columns.md). It is a power
// of two, so that what it takes away are whole bits. The counter keeps what falls
// into one tick in order.
const Tick = 1024 * time.Millisecond

// StampAt returns the stamp of a wall-clock time, whole ticks, with counter zero.
// Times before 1970 count as 1970.
func StampAt(t time.Time) Stamp {
	ms := max(t.UnixMilli(), 0)
	return Stamp(ms-ms%Tick.Milliseconds()) << 16
}

// Time returns the wall-clock part, in UTC.
func (s Stamp) Time() time.Time { return time.UnixMilli(s.Millis()).UTC() }

// Millis returns the wall-clock part as Unix milliseconds.
func (s Stamp) Millis() int64 { return int64(s >> 16) }

// Counter returns the logical part.
func (s Stamp) Counter() uint16 { return uint16(s) }

func (s Stamp) String() string {
	return fmt.Sprintf("%s+%d", s.Time().Format("2006-01-02T15:04:05.000Z"), s.Counter())
}

// Next returns the stamp of a new event at wall-clock time now at a site whose
// latest stamp is last: later than last, even where the wall clock ran backwards.
// A last that lies further than MaxAhead in the future (the wall clock was set
// right after having been wrong) is still exceeded: a site never contradicts
// itself.
func Next(last Stamp, now time.Time) Stamp {
	return max(StampAt(now), last+1)
}

// Observe returns the latest stamp of a site after seeing a peer's stamp at
// wall-clock time now. A peer further ahead than MaxAhead is not followed;
// the second result is false then.
func Observe(last, peer Stamp, now time.Time) (Stamp, bool) {
	if peer > StampAt(now.Add(MaxAhead)) {
		return last, false
	}
	return max(last, peer), true
}
