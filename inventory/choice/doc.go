// Package choice finds the best kit under several caps at once, with proof.
//
// Every [Item] of a [Problem] has ordered options, of which exactly one is
// taken: so many spares, so many packs, this crate or that. An option has a
// value (for spares: the natural logarithm of the probability that they
// suffice, so that values add up where probabilities multiply) and uses some of
// each resource (mass, volume, money, pieces). This is the multiple-choice
// knapsack with several constraints; the plain 0-1 knapsack is the case of two
// options.
//
//   - [Best] finds the most value under the caps.
//   - [Least] finds the least use of one resource with which the value reaches
//     a target.
//   - [Curve] answers Best for a row of caps of one resource.
//   - [Frontier] lists every undominated pair of use and value.
//
// Best and Least give a bound beside the answer: no choice whatever is better
// than it. An answer is proven when the bound meets it. Both can be interrupted
// by their context and then give the best found so far with the bound proven so
// far. The same input gives the same answer whatever the number of processors,
// unless the context interrupts at another moment.
//
// # Method
//
// Branch and bound on the linear relaxation. The relaxation has one row a cap
// and one convexity row an item; the latter are kept implicitly (one key option
// an item, Dantzig and Van Slyke 1967), so a step of the dual simplex works on a
// matrix as large as the number of caps. Every bound is recomputed as the
// Lagrangian value of the multipliers that the simplex arrived at, so that
// rounding in the simplex can cost time but no proof. Options whose reduced cost
// exceeds the gap to the best answer known are struck out at every node
// (Vimont, Boussier, Vasquez 2008). First answers come from rounding and from
// exchanging two items at a time.
//
// Everything here is pure: no clock, no randomness, no files.
package choice
