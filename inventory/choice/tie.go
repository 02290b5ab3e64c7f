package choice

import "context"

// Lighter returns, of the choices whose value misses that of found by no more than
// slack, the one that uses least of a resource. Found must come from [Best] of the same
// problem. Where the search ends before it has another one, found itself is returned;
// Bound and Proven go on speaking of the value.
//
// It is [Least] with found's value as the target, so that it takes about as long as the
// search for found did: give it a limit of nodes.
func Lighter(ctx context.Context, p Problem, found Result, resource int, slack float64, s Settings) Result {
	s.Start = found.Chosen
	other, err := Least(ctx, p, resource, found.Value-slack, s)
	if err != nil || other.Use[resource] >= found.Use[resource] {
		return found
	}
	other.Objective, other.Bound, other.Gap, other.Proven = other.Value, found.Bound, found.Gap, found.Proven
	other.Nodes += found.Nodes
	return other
}
