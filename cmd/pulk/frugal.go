package main

import (
	"math"
	"runtime/debug"
)

// collectAbove is how many bytes a command that reads what comes from outside, or looks
// for all conflicts of a store, may have in use before the garbage collector works harder
// than usual. It is a soft limit on what Go manages; on top come the program itself and
// what SQLite holds. What is live at a time is far less, as bundle.DefaultLimits bounds
// it, and without the limit the garbage of one step would still lie around in the next.
// To take a standard day never comes near it, and takes no longer.
const collectAbove = 18 << 20

// stayFrugal sets that limit.
func stayFrugal() { debug.SetMemoryLimit(collectAbove) }

// stayFrugalNoMore takes the limit off again, for a process that runs many commands
// one after the other: the demo.
func stayFrugalNoMore() { debug.SetMemoryLimit(math.MaxInt64) }
