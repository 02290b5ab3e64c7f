package review

import "pulk/sync/clock"

// Go is a go that holds: in a role, by a person.
type Go struct {
	Role   string
	Person clock.Dot
}

// Missing returns the roles that lack a go, in order: each role takes a go of its own,
// and no person gives that of two roles. Where people could be shared out in several
// ways it does the best that can be done.
func Missing(roles []string, goes []Go) []string {
	by := map[clock.Dot]int{} // person to the place of the role that they give the go of
	var missing []string
	for i := range roles {
		if !assign(roles, goes, by, i, map[clock.Dot]bool{}) {
			missing = append(missing, roles[i])
		}
	}
	return missing
}

// assign finds a person for role i, and others for the roles whose person it takes
// (an augmenting path of bipartite matching; H. W. Kuhn 1955).
func assign(roles []string, goes []Go, by map[clock.Dot]int, i int, tried map[clock.Dot]bool) bool {
	for _, g := range goes {
		if g.Role != roles[i] || tried[g.Person] {
			continue
		}
		tried[g.Person] = true
		if other, taken := by[g.Person]; !taken || assign(roles, goes, by, other, tried) {
			by[g.Person] = i
			return true
		}
	}
	return false
}
