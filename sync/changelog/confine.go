package changelog

import (
	"crypto/ed25519"
	"fmt"

	"pulk/schema/kind"
	"pulk/sync/change"
	"pulk/sync/clock"
)

// Confined lanes hold what is nobody's business but that of a few sites: they are
// packed for the sites that the founder named, and for the site that wrote them, and
// for no other (docs/decisions/confined-lane.md). What keeps the promise:
//
//   - [Tx.audience] is asked wherever lanes are packed, acknowledged or counted for
//     another site, and where they are taken;
//   - what is written in open lanes names no confined one ([Tx.heedClass], learnt);
//   - the state that all sites share does not depend on them ([Tx.apply]).

// Confider is a [Projector] of what is confined: it is given the changes of confined
// lanes, which no other is, and no others. Its tables are in [Tx.ConfinedDigest].
type Confider interface {
	Projector
	// Confined marks the type.
	Confined()
}

func confider(p Projector) bool {
	_, ok := p.(Confider)
	return ok
}

// Naming is the founder's word that a site is named for what is confined, or is not
// any more.
type Naming struct {
	Dot   clock.Dot
	Site  clock.SiteID
	Key   ed25519.PublicKey
	Code  string
	Named bool
	Why   string
}

// applyNaming stores the founder's word. What makes no sense is left out.
func (tx *Tx) applyNaming(e *Entry) error {
	key := ed25519.PublicKey(e.Values[0].Text)
	if len(key) != ed25519.PublicKeySize {
		return nil
	}
	return tx.Exec("INSERT INTO confidant (dot, site, key, code, named, why) VALUES (?, ?, ?, ?, ?, ?)",
		e.Dot.Key(), SiteIDOf(key), []byte(key), e.Values[1].Text, e.Values[2].Num == 1, e.Values[3].Text)
}

// Namings returns what the founder said last of each site, in the order of the dots:
// two of one site only where its store was copied, and they had not seen each other.
func (tx *Tx) Namings() ([]Naming, error) {
	var list []Naming
	err := tx.Each("SELECT dot, site, key, code, named, why FROM confidant ORDER BY dot", nil, func(scan func(...any) error) error {
		var n Naming
		var dot, key []byte
		err := scan(&dot, &n.Site, &key, &n.Code, &n.Named, &n.Why)
		if err == nil {
			n.Dot, err = clock.DotFromKey(dot)
		}
		n.Key = key
		list = append(list, n)
		return err
	})
	if err != nil {
		return nil, err
	}
	contexts := make([]clock.Context, len(list))
	for i := range list {
		if contexts[i], err = tx.Context(list[i].Dot); err != nil {
			return nil, err
		}
	}
	var last []Naming
	for _, n := range list {
		replaced := false
		for j, other := range list {
			replaced = replaced || other.Site == n.Site && contexts[j].Has(n.Dot)
		}
		if !replaced {
			last = append(last, n)
		}
	}
	return last, nil
}

// Confidants returns the sites that are named for what is confined: where the founder
// said both, it is not named.
func (tx *Tx) Confidants() (map[clock.SiteID]ed25519.PublicKey, error) {
	list, err := tx.Namings()
	named := map[clock.SiteID]ed25519.PublicKey{}
	for _, n := range list {
		if n.Named {
			named[n.Site] = n.Key
		}
	}
	for _, n := range list {
		if !n.Named {
			delete(named, n.Site)
		}
	}
	return named, err
}

// NameSite writes that a site is named for what is confined, or is not any more. This
// site must be the founder.
func (tx *Tx) NameSite(s Site, named bool, why string) (clock.Dot, error) {
	if !tx.log.self.IsFounder() {
		return clock.Dot{}, ErrNotFounder
	}
	value := int64(0)
	if named {
		value = 1
	}
	if tx.adding == nil {
		tx.SetClass(clock.Expedited)
	}
	return tx.Add(change.New(kind.SiteConfide, change.Bytes(s.Key), change.Text(s.Code), change.Num(value), change.Text(why))), nil
}

// audience says which lanes go between this site and another, or are taken here where
// that is this site itself.
type audience struct {
	self, site           clock.SiteID
	selfNamed, siteNamed bool
}

// has reports whether a lane is for both: what is confined is for named sites, and for
// the site that wrote it. One that was taken off the list passes on nothing that others
// wrote: nobody would tell it what has arrived.
func (a audience) has(lane clock.Lane) bool {
	return !lane.Confined() || (a.siteNamed || lane.Site == a.site) && (a.selfNamed || lane.Site == a.self)
}

// audience returns which lanes go between this site and another, by what is known here
// now. A site that is not believed here, or was cut off, has no confined lane whoever
// named it.
func (tx *Tx) audience(site clock.SiteID) (audience, error) {
	a := audience{self: tx.log.self.Site, site: site}
	named, err := tx.Confidants()
	if err != nil || len(named) == 0 {
		return a, err
	}
	believed := func(id clock.SiteID) (bool, error) {
		if named[id] == nil {
			return false, nil
		}
		s, found, err := tx.SiteByID(id)
		return found && s.Trusted && s.Key.Equal(named[id]), err
	}
	if a.selfNamed, err = believed(a.self); err == nil {
		a.siteNamed, err = believed(site)
	}
	return a, err
}

// ownAudience returns which lanes are taken here. Once a fork came to light, what was
// read of the founder's word names lanes as they were before: until all is read anew
// that of the moment before counts. What is passed over for it comes again.
func (tx *Tx) ownAudience() (audience, error) {
	if tx.stale && tx.own != nil {
		return *tx.own, nil
	}
	a, err := tx.audience(tx.log.self.Site)
	tx.own = &a
	return a, err
}

// MayHave reports whether a site may have all of some lanes.
func (tx *Tx) MayHave(site clock.SiteID, lanes clock.Vector) (bool, error) {
	a, err := tx.audience(site)
	for lane := range lanes {
		if !a.has(lane) {
			return false, err
		}
	}
	return true, err
}

// MayTellConfined reports whether a bundle for a site may tell of a confined lane.
func (tx *Tx) MayTellConfined(site clock.SiteID) (bool, error) {
	heads, err := tx.HeadsFor(site)
	for lane := range heads {
		if lane.Confined() {
			return true, err
		}
	}
	return false, err
}

// Named reports whether a site is named for what is confined, and believed here.
func (tx *Tx) Named(site clock.SiteID) (bool, error) {
	a, err := tx.audience(site)
	return a.siteNamed, err
}

// HeadsFor returns what this site has of the lanes that another may have.
func (tx *Tx) HeadsFor(site clock.SiteID) (clock.Vector, error) {
	heads, err := tx.Heads()
	if err != nil {
		return nil, err
	}
	a, err := tx.audience(site)
	for lane := range heads {
		if !a.has(lane) {
			delete(heads, lane)
		}
	}
	return heads, err
}

// heedClass refuses a change-set that would carry what is confined in an open lane, or
// tell of it there.
func heedClass(set *change.Set) error {
	for _, c := range set.Changes {
		k := kind.Lookup(c.Kind)
		if k == nil {
			continue
		}
		if k.Confined && !set.Lane.Confined() || set.Lane.Confined() && !k.Confined && k != kind.Void {
			return fmt.Errorf("%s does not go in a lane of class %s", k.Name, set.Lane.Class)
		}
		for i, column := range k.Columns {
			if column.Type == kind.Ref && c.Values[i].Ref.Confined() && !set.Lane.Confined() {
				return fmt.Errorf("%s in a lane of class %s names something that is confined", k.Name, set.Lane.Class)
			}
		}
	}
	return nil
}
