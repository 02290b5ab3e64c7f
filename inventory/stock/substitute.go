package stock

import (
	"slices"

	"pulk/sync/clock"
)

// Substitute says that one item may stand for another, piece for piece and one way: Stand
// for Item. Allowed false takes that back.
type Substitute struct {
	ID      clock.Dot
	Item    clock.Dot // what is asked for
	Stand   clock.Dot // what may be taken in its place
	Role    string    // who may take it; empty for everybody
	Allowed bool
	Why     string
	Person  clock.Dot

	// Knew tells what its author knew: what was said before by that is replaced.
	Knew func(clock.Dot) bool
}

// StandsFor returns what may stand for an item by all that was said, in the order of
// [Substitute.ID]. Of what people said who had not heard of each other the more careful
// counts: who takes it back is obeyed, and all roles that were asked for are asked for.
func StandsFor(said []Substitute, item clock.Dot) []Stand {
	var list []Stand
	latest := slices.DeleteFunc(slices.Clone(said), func(s Substitute) bool {
		return s.Item != item || slices.ContainsFunc(said, func(t Substitute) bool {
			return t.Item == item && t.Stand == s.Stand && t.ID != s.ID && t.Knew(s.ID)
		})
	})
	slices.SortFunc(latest, func(a, b Substitute) int { return a.ID.Compare(b.ID) })
	for _, s := range latest {
		i := slices.IndexFunc(list, func(x Stand) bool { return x.Item == s.Stand })
		if i < 0 {
			i = len(list)
			list = append(list, Stand{Item: s.Stand, Why: s.Why})
		}
		list[i].withdrawn = list[i].withdrawn || !s.Allowed
		if s.Role != "" && !slices.Contains(list[i].Roles, s.Role) {
			list[i].Roles = append(list[i].Roles, s.Role)
		}
	}
	return slices.DeleteFunc(list, func(s Stand) bool { return s.withdrawn })
}

// Stand is an item that may stand for another.
type Stand struct {
	Item  clock.Dot
	Roles []string // all of which who takes it must hold
	Why   string

	withdrawn bool
}
