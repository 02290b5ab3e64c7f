package simulate_test

import (
	"math/rand/v2"
)

// circumstances are what a season is like from its beginning to its end.
type circumstances struct {
	links   [][2]int // sites that meet; nil: all do
	oneWay  [2]int   // from, to: nothing goes back
	away    int      // a site that nobody meets for most of the season, or -1
	hostile bool     // somebody sends false fragments
	narrow  bool     // most goes in fragments
	urgent  bool     // most of what goes is expedited alone
	lost    int      // a site that may be cut off, or 0
	old     []bool   // by site: it runs a program of an earlier version
}

func makeCircumstances(seed uint64, sites int) circumstances {
	r := rand.New(rand.NewPCG(seed, 4))
	c := circumstances{oneWay: [2]int{-1, -1}, away: -1, hostile: r.IntN(4) == 0}
	switch r.IntN(4) {
	case 0:
		c.narrow = true
	case 1:
		c.urgent = true
	}
	order := r.Perm(sites)
	switch r.IntN(4) {
	case 0: // a line: what goes from one end to the other is relayed by all
		for i := range sites - 1 {
			c.links = append(c.links, [2]int{order[i], order[i+1]})
		}
	case 1: // a star
		for _, site := range order[1:] {
			c.links = append(c.links, [2]int{order[0], site})
		}
	}
	if r.IntN(6) == 0 {
		c.oneWay = [2]int{order[0], order[1]} // a link in all of these
	}
	if lost := order[r.IntN(sites)]; sites > 2 && lost != founder && r.IntN(3) == 0 {
		c.lost, c.links, c.oneWay = lost, nil, [2]int{-1, -1} // nobody is out of reach without it
	}
	if sites > 2 && r.IntN(6) == 0 {
		c.away = order[r.IntN(sites)]
	}
	if r.IntN(4) == 0 {
		c.old = make([]bool, sites)
		c.old[order[0]] = true
		for _, site := range order[2:] {
			c.old[site] = r.IntN(2) == 0
		}
	}
	return c
}

// linked reports whether two machines meet, be it one way.
func (w *world) linked(a, b *machine) bool {
	if a.site == b.site {
		return false
	}
	for _, link := range w.links {
		if link == [2]int{a.site, b.site} || link == [2]int{b.site, a.site} {
			return true
		}
	}
	return w.links == nil
}

// open reports whether anything goes from one machine to another.
func (w *world) open(from, to *machine) bool {
	return w.linked(from, to) && w.oneWay != [2]int{to.site, from.site}
}

// isAway reports whether nobody meets a machine now.
func (w *world) isAway(m *machine) bool { return w.far && m.site == w.away }

// someoneInReach returns a machine to which something can go, nil if there is none.
func (w *world) someoneInReach(m *machine, r *rand.Rand) *machine {
	var list []*machine
	for _, other := range w.machines {
		if w.open(m, other) && !w.isAway(m) && !w.isAway(other) {
			list = append(list, other)
		}
	}
	if len(list) == 0 {
		return nil
	}
	return list[r.IntN(len(list))]
}
