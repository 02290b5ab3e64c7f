// Package simulate keeps the books of a simulated campaign: which change-set was
// ever committed, what its author knew, and what is under way between sites.
//
// The simulator itself is this package's test: it plays random seasons through
// the real domain packages, the real codec and real stores, and compares them
// with these books, which know nothing of stores, registers or gates. Parcels go
// whole, sealed and in fragments with and without parity, through package transfer;
// they are lost, doubled, shuffled, cut and damaged, and false fragments lie among
// them. Sites meet all, or along a line or a star, one link may have no way back, and
// one site may be away for most of the season. Expedited change-sets overtake what
// they are about. Some sites run a program of an earlier version, and get the later
// one in mid-season. The founder may cut a site off that goes on writing and sending.
// Replay one season with
//
//	go test ./sync/simulate -run TestSimulate -seed=N
package simulate
