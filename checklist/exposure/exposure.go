// Package exposure says what cold, wind and height allow people to do: how soon skin
// freezes, how long to work outdoors before warming up, how long to rest after an
// arrival at height.
//
// It takes values and returns values. Each figure names its source and the range for
// which that stands; outside of it there is no figure, and the answer is to stop and
// ask. Nothing here is medical advice about a person: medical staff and local rules
// decide, and may be stricter.
package exposure

// Decides is said with every advice.
const Decides = "medical staff and local rules decide"

// Advice is something to heed, with where it comes from.
type Advice struct {
	Text   string
	Source string
	Range  string // for which the source stands
}

// Stop is why something must not be done now.
type Stop struct {
	Text   string // the facts
	Source string
}
