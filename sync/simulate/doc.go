// Package simulate keeps the books of a simulated campaign: which change-set was
// ever committed, what its author knew, and what is under way between sites.
//
// The simulator itself is this package's test: it plays random seasons through
// the real domain packages, the real codec and real stores, and compares them
// with these books, which know nothing of stores, registers or gates. Replay one
// season with
//
//	go test ./sync/simulate -run TestSimulate -seed=N
package simulate
