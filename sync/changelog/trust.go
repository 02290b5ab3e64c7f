package changelog

import (
	"crypto/ed25519"
	"fmt"

	"pulk/schema/kind"
	"pulk/sync/change"
	"pulk/sync/clock"
)

// trusts is the projection of what the campaign's founder says of other sites. What
// any other site writes of that kind is kept in the log and counts for nothing.
type trusts struct{}

func (trusts) Name() string { return "trust" }

func (trusts) Schema() string {
	return `
-- introduction holds the sites that the founder introduced.
CREATE TABLE introduction (
  dot  BLOB PRIMARY KEY,
  site INTEGER NOT NULL, -- id that follows from the key
  key  BLOB NOT NULL,
  code TEXT NOT NULL,
  name TEXT NOT NULL,
  why  TEXT NOT NULL
) STRICT, WITHOUT ROWID;

CREATE INDEX introduction_site ON introduction (site);

-- cutoff holds the sites that the founder cut off.
CREATE TABLE cutoff (
  dot   BLOB PRIMARY KEY,
  site  INTEGER NOT NULL,
  key   BLOB NOT NULL,
  code  TEXT NOT NULL,
  heads BLOB NOT NULL, -- what still counts
  proof BLOB NOT NULL, -- the site's own signatures of the heads
  why   TEXT NOT NULL
) STRICT, WITHOUT ROWID;

CREATE INDEX cutoff_site ON cutoff (site);

-- confidant holds which sites the founder named for what is confined, and which it
-- took off that list.
CREATE TABLE confidant (
  dot   BLOB PRIMARY KEY,
  site  INTEGER NOT NULL,
  key   BLOB NOT NULL,
  code  TEXT NOT NULL,
  named INTEGER NOT NULL,
  why   TEXT NOT NULL
) STRICT, WITHOUT ROWID;

-- trust_void holds what the founder voided of its own.
CREATE TABLE trust_void (
  target BLOB NOT NULL,
  dot    BLOB NOT NULL,
  why    TEXT NOT NULL,
  PRIMARY KEY (target, dot)
) STRICT, WITHOUT ROWID;
`
}

func (trusts) Tables() []string { return []string{"introduction", "cutoff", "confidant", "trust_void"} }

func (trusts) Apply(tx *Tx, e *Entry) error {
	founder := tx.log.self.Founder()
	if e.Dot.Site != founder {
		return nil
	}
	switch e.Kind {
	case kind.SiteIntroduce:
		key := ed25519.PublicKey(e.Values[0].Text)
		if len(key) != ed25519.PublicKeySize {
			return nil
		}
		tx.trustMoved = true
		return tx.Exec("INSERT INTO introduction (dot, site, key, code, name, why) VALUES (?, ?, ?, ?, ?, ?)",
			e.Dot.Key(), SiteIDOf(key), []byte(key), e.Values[1].Text, e.Values[2].Text, e.Values[3].Text)
	case kind.SiteCutoff:
		return tx.applyCutoff(e)
	case kind.SiteConfide:
		return tx.applyNaming(e)
	case kind.Void:
		if target := e.Values[0].Ref; target.Site == founder {
			tx.trustMoved = true
			return tx.Exec("INSERT INTO trust_void (target, dot, why) VALUES (?, ?, ?)", target.Key(), e.Dot.Key(), e.Values[2].Text)
		}
	}
	return nil
}

// Introduction is what the founder said of a site.
type Introduction struct {
	Dot        clock.Dot
	Site       clock.SiteID
	Key        ed25519.PublicKey
	Code, Name string
	Why        string
}

// Introductions returns those that stand, in the order of their dots.
func (tx *Tx) Introductions() ([]Introduction, error) {
	var list []Introduction
	err := tx.Each(`SELECT dot, site, key, code, name, why FROM introduction AS i
		WHERE NOT EXISTS (SELECT 1 FROM trust_void AS v WHERE v.target = i.dot) ORDER BY dot`, nil, func(scan func(...any) error) error {
		var in Introduction
		var dot, key []byte
		err := scan(&dot, &in.Site, &key, &in.Code, &in.Name, &in.Why)
		if err == nil {
			in.Dot, err = clock.DotFromKey(dot)
		}
		in.Key = key
		list = append(list, in)
		return err
	})
	return list, err
}

// ErrNotFounder is returned where only the site that founded the campaign may speak.
var ErrNotFounder = fmt.Errorf("this site did not found the campaign")

// Introduce writes that a site belongs to the campaign, for all sites that believe
// the founder, which this one must be. The site must be one whose fingerprint a
// person here compared.
func (tx *Tx) Introduce(s Site, name, why string) (clock.Dot, error) {
	if !tx.log.self.IsFounder() {
		return clock.Dot{}, ErrNotFounder
	}
	if s.By != TrustVoice {
		return clock.Dot{}, fmt.Errorf("the fingerprint of %s was not compared here", s.Code)
	}
	tx.SetClass(clock.Expedited)
	return tx.Add(change.New(kind.SiteIntroduce, change.Bytes(s.Key), change.Text(s.Code), change.Text(name), change.Text(why))), nil
}

// Retract voids what the founder said of a site.
func (tx *Tx) Retract(target clock.Dot, why string) clock.Dot {
	if tx.adding == nil {
		tx.SetClass(clock.Expedited)
	}
	return tx.Add(change.New(kind.Void, change.Ref(target), change.Value{}, change.Text(why)))
}

// knowIntroduced makes the sites known here that the founder introduced, and the
// founder itself, as if their cards had come. A card that nobody compared gives way;
// what a person here decided stays.
func (tx *Tx) knowIntroduced() error {
	list, err := tx.Introductions()
	if err != nil {
		return err
	}
	if in, found, err := tx.founderOf(); err != nil {
		return err
	} else if found {
		list = append(list, in)
	}
	cutoffs, err := tx.Cutoffs()
	if err != nil {
		return err
	}
	for _, c := range cutoffs {
		list = append(list, Introduction{Site: c.Site, Key: c.Key, Code: c.Code})
	}
	for _, in := range list {
		known, found, err := tx.SiteByID(in.Site)
		switch {
		case err != nil:
			return err
		case !found:
			err = tx.addSite(in.Site, in.Key, tx.freeCode(in))
		case !known.Key.Equal(in.Key) && known.By == NotTrusted:
			err = tx.Exec("UPDATE site_key SET key = ? WHERE site = ?", []byte(in.Key), in.Site)
		}
		if err != nil {
			return err
		}
	}
	return nil
}

// founderOf returns what the founder says of itself in its first change-set.
func (tx *Tx) founderOf() (in Introduction, found bool, err error) {
	self := &tx.log.self
	err = tx.Each("SELECT key, code FROM site WHERE site = ? ORDER BY dot", []any{self.Founder()}, func(scan func(...any) error) error {
		var key []byte
		var code string
		err := scan(&key, &code)
		if err == nil && self.Founded(key) && !found {
			in, found = Introduction{Site: self.Founder(), Key: key, Code: code}, true
		}
		return err
	})
	return in, found, err
}

// freeCode returns a code for a site by which no other is known here.
func (tx *Tx) freeCode(in Introduction) string {
	if _, err := tx.SiteByCode(in.Code); err != nil {
		return in.Code
	}
	return fmt.Sprintf("%s-%08x", in.Code, uint32(in.Site))
}
