package changelog

import (
	"crypto/ed25519"
	"fmt"
	"strings"

	"pulk/sync/clock"
)

// Trust says why a store believes a site, or why not.
type Trust uint8

// The answers. Each store decides for itself; none of it is part of the state.
const (
	NotTrusted      Trust = iota // nobody has decided yet
	Distrusted                   // a person here decided against it
	TrustSelf                    // it is this very site
	TrustVoice                   // a person here compared its fingerprint
	TrustFounder                 // the campaign's id, which a person here compared with a fingerprint, names its key
	TrustIntroduced              // the founder, which is believed here, introduced it
)

// Site is what this store knows of a site, by its card or by an introduction: who
// it is, and whether it is believed here.
type Site struct {
	ID      clock.SiteID
	Key     ed25519.PublicKey
	Code    string
	By      Trust
	CutOff  bool // the founder cut it off: what it writes counts no more
	Trusted bool // what follows from the two
}

// siteColumns selects what scanSite reads, of site_key AS k.
const siteColumns = `k.site, k.key, k.code, k.trusted, k.distrusted,
	EXISTS (SELECT 1 FROM introduction AS i WHERE i.site = k.site AND i.key = k.key
		AND NOT EXISTS (SELECT 1 FROM trust_void AS v WHERE v.target = i.dot)),
	EXISTS (SELECT 1 FROM cutoff AS c WHERE c.site = k.site AND NOT EXISTS (SELECT 1 FROM trust_void AS v WHERE v.target = c.dot))`

// scanSite reads a row of siteColumns. It leaves [Site.Trusted] to judge.
func scanSite(scan func(...any) error) (s Site, introduced bool, err error) {
	var key []byte
	var trusted, distrusted bool
	err = scan(&s.ID, &key, &s.Code, &trusted, &distrusted, &introduced, &s.CutOff)
	s.Key = key
	switch {
	case distrusted:
		s.By = Distrusted
	case trusted:
		s.By = TrustVoice
	}
	return s, introduced, err
}

// judge completes what a store believes of a site.
func (tx *Tx) judge(s *Site, introduced bool) error {
	self := &tx.log.self
	switch {
	case s.ID == self.Site:
		s.By = TrustSelf
	case s.By == NotTrusted && (introduced || self.Founded(s.Key)):
		believed, err := tx.founderBelieved()
		if err != nil {
			return err
		}
		if believed && self.Founded(s.Key) {
			s.By = TrustFounder
		} else if believed {
			s.By = TrustIntroduced
		}
	}
	s.Trusted = s.By >= TrustSelf && !s.CutOff
	return nil
}

// founderBelieved reports whether this store believes what the founder says of
// other sites: it is the founder, or a person here has compared the fingerprint of
// some site, which covers the campaign's id and so the founder's key, and has not
// decided against the founder.
func (tx *Tx) founderBelieved() (bool, error) {
	if tx.log.self.IsFounder() {
		return true, nil
	}
	var compared, distrusted bool
	_, err := tx.Row(`SELECT EXISTS (SELECT 1 FROM site_key WHERE trusted AND NOT distrusted AND site <> ?),
		EXISTS (SELECT 1 FROM site_key WHERE distrusted AND site = ?)`, []any{tx.log.self.Site, tx.log.self.Founder()}, &compared, &distrusted)
	return compared && !distrusted, err
}

// Sites returns the sites known to this store, in the order of their codes.
func (tx *Tx) Sites() ([]Site, error) { return tx.sites("ORDER BY k.code, k.site") }

// SiteByID returns a known site.
func (tx *Tx) SiteByID(id clock.SiteID) (Site, bool, error) {
	list, err := tx.sites("WHERE k.site = ?", id)
	if err != nil || len(list) == 0 {
		return Site{ID: id}, false, err
	}
	return list[0], true, nil
}

func (tx *Tx) sites(where string, args ...any) ([]Site, error) {
	var list []Site
	var introduced []bool
	err := tx.Each("SELECT "+siteColumns+" FROM site_key AS k "+where, args, func(scan func(...any) error) error {
		s, by, err := scanSite(scan)
		list, introduced = append(list, s), append(introduced, by)
		return err
	})
	if err != nil {
		return nil, err
	}
	for i := range list {
		if err := tx.judge(&list[i], introduced[i]); err != nil {
			return nil, err
		}
	}
	return list, nil
}

// SiteByCode returns a known site by the code that people use.
func (tx *Tx) SiteByCode(code string) (Site, error) {
	list, err := tx.Sites()
	if err != nil {
		return Site{}, err
	}
	var codes []string
	for _, s := range list {
		if s.Code == code {
			return s, nil
		}
		codes = append(codes, s.Code)
	}
	return Site{}, fmt.Errorf("no site %q is known here (known: %s)", code, strings.Join(codes, ", "))
}

// AddSite makes a site known to this store, by its card. It does not trust it.
func (tx *Tx) AddSite(key ed25519.PublicKey, code string) (Site, error) {
	id := SiteIDOf(key)
	known, found, err := tx.SiteByID(id)
	if err != nil {
		return Site{}, err
	}
	if found && !known.Key.Equal(key) {
		return Site{}, fmt.Errorf("another site (%s) has the same id %08x: make a new key for one of them", known.Code, uint32(id))
	}
	if found {
		return known, nil
	}
	if self := &tx.log.self; id == self.Founder() && self.Campaign.Version() == founded && !self.Founded(key) {
		return Site{}, fmt.Errorf("the card of %s bears the id of the campaign's founder and not its key: it is forged", code)
	}
	if taken, err := tx.SiteByCode(code); err == nil {
		return Site{}, fmt.Errorf("site code %q is taken here by the site with fingerprint %s: let one of the two choose another code",
			code, SiteFingerprint(tx.log.self.Campaign, taken.Key))
	}
	if err := tx.addSite(id, key, code); err != nil {
		return Site{}, err
	}
	s, _, err := tx.SiteByID(id)
	return s, err
}

func (tx *Tx) addSite(id clock.SiteID, key ed25519.PublicKey, code string) error {
	return tx.Exec("INSERT INTO site_key (site, key, code) VALUES (?, ?, ?)", id, []byte(key), code)
}

// Trust records that a person has compared a site's fingerprint, or that they
// decided against the site, whoever introduced it.
func (tx *Tx) Trust(id clock.SiteID, trusted bool) error {
	return tx.Exec("UPDATE site_key SET trusted = ?, distrusted = ? WHERE site = ?", trusted, !trusted, id)
}
