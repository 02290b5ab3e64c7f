package clock

// Context is what the author of a change knew when it was made: everything that
// came before it in its own lane and its own change-set, and Others.
type Context struct {
	Of     Dot
	Others Vector // of all lanes but Of's own; not to be changed
}

// Has reports whether the author knew the change d. No change knows itself.
func (c Context) Has(d Dot) bool {
	if d.Lane == c.Of.Lane {
		return d.Seq < c.Of.Seq || d.Seq == c.Of.Seq && d.Index < c.Of.Index
	}
	return c.Others.Has(d)
}

// Concurrent reports whether neither of two authors knew the other's change.
func (c Context) Concurrent(d Context) bool {
	return c.Of != d.Of && !c.Has(d.Of) && !d.Has(c.Of)
}
