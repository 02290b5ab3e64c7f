package changelog

import (
	"crypto/ed25519"
	"fmt"

	"pulk/schema/kind"
	"pulk/sync/bundle"
	"pulk/sync/change"
	"pulk/sync/clock"
)

// ring holds the keys that a bundle is checked against: of its sender and of each
// site whose changes it relays.
type ring struct {
	self *Identity
	keys map[clock.SiteID]ed25519.PublicKey
	// unknown says for each site that is not believed here why not. An introduction
	// in the bundle itself may still turn that.
	unknown map[clock.SiteID]*Refusal
	// founder is the founder's key, where the store believes it; nil otherwise.
	founder ed25519.PublicKey
}

// ring gathers the keys for a bundle. It is refused where it comes from, or relays
// changes of, a site that a person here decided against.
func (tx *Tx) ring(b *bundle.Bundle) (*ring, error) {
	r := &ring{self: &tx.log.self, keys: map[clock.SiteID]ed25519.PublicKey{}, unknown: map[clock.SiteID]*Refusal{}}
	if err := tx.addToRing(r, b.From, "the bundle's sender"); err != nil {
		return nil, err
	}
	for i := range b.Segments {
		if err := tx.addToRing(r, b.Segments[i].Lane.Site, "a site whose changes the bundle relays"); err != nil {
			return nil, err
		}
	}
	if len(r.unknown) == 0 {
		return r, nil
	}
	return r, tx.findFounder(r, b)
}

func (tx *Tx) addToRing(r *ring, id clock.SiteID, who string) error {
	if r.keys[id] != nil || r.unknown[id] != nil {
		return nil
	}
	s, found, err := tx.SiteByID(id)
	switch {
	case err != nil:
		return err
	case !found:
		r.unknown[id] = refuse("get the site's card and run: pulk site add; or let the site that founded the campaign introduce it: pulk site introduce",
			"%s, %08x, is not known here", who, uint32(id))
	case s.By == Distrusted:
		return refuse(fmt.Sprintf("if that was a mistake, compare its fingerprint by voice and run: pulk site trust %s FINGERPRINT", s.Code),
			"%s, %s, is distrusted here", who, s.Code)
	case !s.Trusted && !s.CutOff: // of one that was cut off what lies before the cut counts
		r.unknown[id] = refuse(fmt.Sprintf("let %s read its fingerprint to you and run: pulk site trust %s FINGERPRINT; or let the site that founded the campaign introduce it", s.Code, s.Code),
			"%s, %s, is not trusted here", who, s.Code)
	default:
		r.keys[id] = s.Key
	}
	return nil
}

// findFounder finds the key by which introductions in the bundle are to be checked.
// Where the founder's card is not here its first change-set may be in the bundle;
// the campaign's id tells whether the key in it is the founder's.
func (tx *Tx) findFounder(r *ring, b *bundle.Bundle) error {
	believed, err := tx.founderBelieved()
	if err != nil || !believed {
		return err
	}
	id := r.self.Founder()
	s, found, err := tx.SiteByID(id)
	if err != nil {
		return err
	}
	if found && r.self.Founded(s.Key) {
		r.founder = s.Key
		return nil
	}
	for i := range b.Segments {
		eachOf(&b.Segments[i], kind.SiteAdd, func(_ clock.Dot, values []change.Value) {
			if key := ed25519.PublicKey(values[0].Text); b.Segments[i].Lane.Site == id && r.self.Founded(key) {
				r.founder, r.keys[id] = key, key
				delete(r.unknown, id)
			}
		})
	}
	return nil
}

// eachOf calls fn for the changes of one kind in a segment.
func eachOf(s *bundle.Segment, k *kind.Kind, fn func(dot clock.Dot, values []change.Value)) {
	for _, set := range s.Sets {
		for i, c := range set.Changes {
			if c.Kind == k.ID && len(c.Values) == len(k.Columns) {
				fn(set.ID(i), c.Values)
			}
		}
	}
}

// missing returns why a site is not believed, nil if all are.
func (r *ring) missing(b *bundle.Bundle) error {
	if refusal := r.unknown[b.From]; refusal != nil {
		return refusal
	}
	for i := range b.Segments {
		if refusal := r.unknown[b.Segments[i].Lane.Site]; refusal != nil {
			return refusal
		}
	}
	return nil
}

// signed reports whether all signatures fit the heads computed, each by a key that
// is believed.
func (r *ring) signed(b *bundle.Bundle, chains []chain) bool {
	for i := range b.Statements {
		fillHeads(b, i)
		if !coversItsSegments(b, i) {
			return false
		}
	}
	keys := r.keys
	if len(r.unknown) > 0 {
		keys = r.withIntroduced(b, chains)
	}
	own := b.Own()
	if !own.Verify(keys[b.From]) {
		return false
	}
	for i := range b.Statements {
		if statement := &b.Statements[i]; !statement.Verify(keys[statement.Site]) {
			return false
		}
	}
	return true
}

// withIntroduced returns the keys with those that the founder introduces, or cuts
// off, in the bundle itself: in segments that go on from what is here, and that its signature
// covers. An introduction that waits for what comes before it counts when it is read.
func (r *ring) withIntroduced(b *bundle.Bundle, chains []chain) map[clock.SiteID]ed25519.PublicKey {
	keys, voided := map[clock.SiteID]ed25519.PublicKey{}, map[clock.Dot]bool{}
	var signed []*bundle.Segment
	for i := range b.Segments {
		if s := &b.Segments[i]; s.Lane.Site == r.self.Founder() && !chains[i].gap && r.founderSigned(b, s) {
			signed = append(signed, s)
		}
	}
	for _, s := range signed {
		eachOf(s, kind.Void, func(_ clock.Dot, values []change.Value) { voided[values[0].Ref] = true })
	}
	for _, s := range signed {
		for _, k := range []*kind.Kind{kind.SiteIntroduce, kind.SiteCutoff} {
			eachOf(s, k, func(dot clock.Dot, values []change.Value) {
				if key := ed25519.PublicKey(values[0].Text); !voided[dot] {
					keys[SiteIDOf(key)] = key
				}
			})
		}
	}
	for id, key := range r.keys { // what is believed already counts first
		keys[id] = key
	}
	return keys
}

func (r *ring) founderSigned(b *bundle.Bundle, s *bundle.Segment) bool {
	if r.founder == nil {
		return false
	}
	statement := b.Own()
	if s.Statement >= 0 {
		statement = b.Statements[s.Statement]
	}
	return statement.Site == s.Lane.Site && statement.Verify(r.founder)
}
