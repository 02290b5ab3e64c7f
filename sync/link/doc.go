// Package link says when a link is open and what it carries until it closes.
//
// A link over satellites is open while one of them stands above the site's
// horizon: [ParseElements] reads their orbits, [Passes] tells rise, highest
// point and set as seen from a [Site]. The orbits are carried forward by
// SGP4; docs/decisions/orbits.md tells how well, and why no pass is missed.
//
// Passes and daily windows become [Contact]s that do not overlap; a [Budget] says
// what one of them carries, and [Forecast] when what waits is home.
//
// Everything here takes values and returns values; the time comes in as an
// argument.
package link
