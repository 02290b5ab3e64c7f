package changelog

import (
	"pulk/sync/bundle"
	"pulk/sync/change"
)

// chain is a verified segment: its links, and the lane that holds the number
// before it (nil before the first number, or where that number is not here).
type chain struct {
	links    []link
	at       *lane
	previous change.Hash
	gap      bool // the number before is not here
	follows  bool // the number before is the last of the bundle's segment before
}

func (c *chain) head() change.Hash { return c.links[len(c.links)-1].hash }

// maxCombinations bounds how many combinations of branches are tried to find the
// one that a bundle continues.
const maxCombinations = 64

// verify computes the chains of all segments and checks all signatures against the
// keys of a ring.
func (tx *Tx) verify(b *bundle.Bundle, ring *ring) ([]chain, error) {
	options := make([][]chain, len(b.Segments))
	combinations := 1
	for i := range b.Segments {
		var err error
		if i > 0 && follows(&b.Segments[i], &b.Segments[i-1]) {
			options[i] = []chain{{follows: true}}
			continue
		}
		if options[i], err = tx.starts(&b.Segments[i]); err != nil {
			return nil, err
		}
		if combinations *= len(options[i]); combinations > maxCombinations {
			return nil, refuse("send a bundle of yours to the sender, so that it learns what is here; its next one will fit", "the bundle does not say which branches of forked lanes it continues")
		}
	}
	bodies := make([][]link, len(b.Segments))
	for i := range b.Segments {
		bodies[i] = canonicalLinks(&b.Segments[i])
	}
	for n := range combinations {
		chains := make([]chain, len(b.Segments))
		for i := range b.Segments {
			chains[i] = options[i][n%len(options[i])]
			n /= len(options[i])
			if chains[i].follows {
				chains[i].previous, chains[i].gap = chains[i-1].head(), chains[i-1].gap
			}
			chains[i].links = hashLinks(chains[i].previous, bodies[i])
			b.Segments[i].Head = chains[i].head()
		}
		if ring.signed(b, chains) {
			return chains, nil
		}
	}
	if missing := ring.missing(b); missing != nil {
		return nil, missing
	}
	return nil, refuse("the bundle was altered or damaged on its way: ask the sender to make it again", "a signature does not fit the bundle's content")
}

// follows reports whether a segment goes on where the one before it ends.
func follows(s, before *bundle.Segment) bool {
	return s.Previous == nil && s.Statement >= 0 && s.Lane == before.Lane && s.From == before.To()+1
}

// starts returns the places that a segment may continue.
func (tx *Tx) starts(s *bundle.Segment) ([]chain, error) {
	before := s.From - 1
	if before == 0 {
		return []chain{{previous: change.Genesis(tx.log.self.CampaignTag(), s.Lane)}}, nil
	}
	nodes, err := tx.nodes(s.Lane, before)
	if err != nil {
		return nil, err
	}
	if s.Previous != nil {
		for l, hash := range nodes {
			if hash == *s.Previous {
				return []chain{{at: l, previous: hash}}, nil
			}
		}
		return []chain{{previous: *s.Previous, gap: true}}, nil
	}
	var starts []chain
	for l, hash := range nodes {
		starts = append(starts, chain{at: l, previous: hash})
	}
	aside, err := tx.asideAt(s.Lane, before)
	if err != nil {
		return nil, err
	}
	for _, hash := range aside {
		starts = append(starts, chain{previous: hash, gap: true})
	}
	if len(starts) == 0 {
		return nil, refuse("send a bundle of yours to the sender, so that it learns what is here; its next one will fit",
			"the bundle goes on at number %d of %s, but the numbers before are not here (here: up to %d)", s.From, tx.LaneName(s.Lane), tx.tipOf(s.Lane))
	}
	return starts, nil
}

// find looks up again which lane holds the number before a segment: an earlier
// segment of the same bundle may have moved it into a branch.
func (tx *Tx) find(c *chain, s *bundle.Segment) error {
	if c.at == nil {
		return nil
	}
	nodes, err := tx.nodes(s.Lane, s.From-1)
	for l, hash := range nodes {
		if hash == c.previous {
			c.at = l
		}
	}
	return err
}

func canonicalLinks(s *bundle.Segment) []link {
	links := make([]link, len(s.Sets))
	for i, set := range s.Sets {
		links[i] = link{set: set, canonical: set.Canonical()}
	}
	return links
}

func hashLinks(previous change.Hash, body []link) []link {
	for i := range body {
		previous = change.Next(previous, body[i].canonical)
		body[i].hash = previous
	}
	return body
}

// fillHeads puts the computed heads into a statement where their hashes did not
// travel.
func fillHeads(b *bundle.Bundle, n int) {
	statement := &b.Statements[n]
	for i, computed := range statement.Computed {
		if !computed {
			continue
		}
		for j := range b.Segments {
			s := &b.Segments[j]
			if s.Statement == n && s.Lane == statement.Heads[i].Lane && s.To() == statement.Heads[i].Seq {
				statement.Heads[i].Hash = s.Head
			}
		}
	}
}

// coversItsSegments reports whether each segment that names a statement ends at
// one of its heads.
func coversItsSegments(b *bundle.Bundle, n int) bool {
	for i := range b.Segments {
		s := &b.Segments[i]
		if s.Statement != n {
			continue
		}
		covered := false
		for _, head := range b.Statements[n].Heads {
			covered = covered || head.Lane == s.Lane && head.Seq == s.To() && head.Hash == s.Head
		}
		if !covered || s.Lane.Site != b.Statements[n].Site {
			return false
		}
	}
	return true
}
