package main

import (
	"math"
	"runtime/debug"
)

// How much memory a command may have in use before the garbage collector works harder
// than usual. They are soft limits on what Go manages; on top come the program itself
// and what SQLite holds. Where they are set, what is live at a time is far less, and
// without them the garbage of one step would still lie around in the next.
const (
	// collectAbove is for commands that read what comes from outside, of which
	// bundle.DefaultLimits bounds what is live. To take a standard day never comes near
	// it, and takes no longer.
	collectAbove = 18 << 20

	// collectReportAbove is for commands that look for all conflicts of a store. Of a
	// season of 100,000 changes with 4,764 conflicts 15 MB are live at the most, and 64 MB
	// were in use: nearly all that is allocated are copies of the list of movements, one
	// for each shelf that is asked about. It costs a report 1.7 times the processor's time;
	// collectAbove would cost six times, as it is too near to what is live.
	collectReportAbove = 26 << 20
)

// stayFrugal sets such a limit.
func stayFrugal(above int64) { debug.SetMemoryLimit(above) }

// stayFrugalNoMore takes the limit off again, for a process that runs many commands
// one after the other: the demo.
func stayFrugalNoMore() { debug.SetMemoryLimit(math.MaxInt64) }
