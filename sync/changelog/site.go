package changelog

import (
	"crypto/ed25519"
	"crypto/sha256"
	"fmt"
	"strings"

	"pulk/sync/clock"
)

// Site is what this store knows of a site by its card: who it is, and whether a
// person here has compared its fingerprint.
type Site struct {
	ID      clock.SiteID
	Key     ed25519.PublicKey
	Code    string
	Trusted bool
}

// Fingerprint returns a site key's fingerprint: 25 decimal digits in groups of
// five, about 83 bits of its SHA-256, to be compared by voice.
func Fingerprint(key ed25519.PublicKey) string {
	digest := sha256.Sum256(append([]byte("pulk fingerprint 1\n"), key...))
	var groups []string
	for i := range 5 {
		n := uint64(0)
		for _, b := range digest[6*i : 6*i+6] {
			n = n<<8 | uint64(b)
		}
		groups = append(groups, fmt.Sprintf("%05d", n%100000))
	}
	return strings.Join(groups, " ")
}

// Sites returns the sites known to this store, in the order of their codes.
func (tx *Tx) Sites() ([]Site, error) {
	var list []Site
	err := tx.Each("SELECT site, key, code, trusted FROM site_key ORDER BY code, site", nil, func(scan func(...any) error) error {
		var s Site
		var key []byte
		err := scan(&s.ID, &key, &s.Code, &s.Trusted)
		s.Key = key
		list = append(list, s)
		return err
	})
	return list, err
}

// SiteByID returns a known site.
func (tx *Tx) SiteByID(id clock.SiteID) (Site, bool, error) {
	s := Site{ID: id}
	var key []byte
	found, err := tx.Row("SELECT key, code, trusted FROM site_key WHERE site = ?", []any{id}, &key, &s.Code, &s.Trusted)
	s.Key = key
	return s, found, err
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
	s := Site{ID: SiteIDOf(key), Key: key, Code: code}
	known, found, err := tx.SiteByID(s.ID)
	if err != nil {
		return Site{}, err
	}
	if found && !known.Key.Equal(key) {
		return Site{}, fmt.Errorf("another site (%s) has the same id %08x: make a new key for one of them", known.Code, uint32(s.ID))
	}
	if found {
		return known, nil
	}
	if taken, err := tx.SiteByCode(code); err == nil {
		return Site{}, fmt.Errorf("site code %q is taken here by the site with fingerprint %s: let one of the two choose another code", code, Fingerprint(taken.Key))
	}
	return s, tx.addSite(s)
}

func (tx *Tx) addSite(s Site) error {
	return tx.Exec("INSERT INTO site_key (site, key, code, trusted) VALUES (?, ?, ?, ?)", s.ID, []byte(s.Key), s.Code, s.Trusted)
}

// Trust records that a person has compared a site's fingerprint, or takes that
// back.
func (tx *Tx) Trust(id clock.SiteID, trusted bool) error {
	return tx.Exec("UPDATE site_key SET trusted = ? WHERE site = ?", trusted, id)
}
