package linkbook

import (
	"fmt"

	"pulk/schema/kind"
	"pulk/sync/changelog"
	"pulk/sync/clock"
)

// Projection keeps the tables of links and of the elements of their satellites.
type Projection struct{}

// Name implements [changelog.Projector].
func (Projection) Name() string { return "linkbook" }

// Schema implements [changelog.Projector].
func (Projection) Schema() string {
	return `
-- link is every link that was described, removed ones too; what it is like is in
-- register. The site that described it is that of the dot.
CREATE TABLE link (
  dot  BLOB PRIMARY KEY,
  code TEXT NOT NULL,
  peer INTEGER NOT NULL -- the other site's number
) STRICT, WITHOUT ROWID;
CREATE INDEX link_code ON link (code);

-- link_elements is all orbital elements that were given for a link's satellites.
CREATE TABLE link_elements (
  dot              BLOB PRIMARY KEY,
  link             BLOB NOT NULL,    -- dot
  catalogue_number INTEGER NOT NULL,
  omm              TEXT NOT NULL     -- CCSDS OMM as KVN
) STRICT, WITHOUT ROWID;
CREATE INDEX link_elements_link ON link_elements (link, catalogue_number);
`
}

// Tables implements [changelog.Projector].
func (Projection) Tables() []string { return []string{"link", "link_elements"} }

// Apply implements [changelog.Projector].
func (Projection) Apply(tx *changelog.Tx, e *changelog.Entry) error {
	v := e.Values
	switch e.Kind {
	case kind.LinkAdd:
		return tx.Exec("INSERT INTO link (dot, code, peer) VALUES (?, ?, ?)", e.Dot.Key(), v[0].Text, v[2].Num)
	case kind.LinkElements:
		if v[0].Ref.IsZero() {
			return nil
		}
		return tx.Exec("INSERT INTO link_elements (dot, link, catalogue_number, omm) VALUES (?, ?, ?, ?)", e.Dot.Key(), v[0].Ref.Key(), v[1].Num, v[2].Text)
	}
	return nil
}

// Describe implements [changelog.Describer].
func (Projection) Describe(tx *changelog.Tx, id clock.Dot) (string, error) {
	var code string
	found, err := tx.Row("SELECT code FROM link WHERE dot = ?", []any{id.Key()}, &code)
	if !found || err != nil {
		return "", err
	}
	return "link " + code, nil
}

// Conflicts implements [changelog.Conflicter]: two links in use with one code.
func (Projection) Conflicts(tx *changelog.Tx, found func(changelog.Conflict) error) error {
	list, err := sameCode(tx)
	return changelog.Found(found, list, err)
}

func sameCode(tx *changelog.Tx) ([]changelog.Conflict, error) {
	links, err := List(tx)
	if err != nil {
		return nil, err
	}
	byCode := map[string][]*Link{}
	var codes []string // in the order of the list
	for _, l := range links {
		if byCode[l.Code] == nil {
			codes = append(codes, l.Code)
		}
		byCode[l.Code] = append(byCode[l.Code], l)
	}
	var list []changelog.Conflict
	for _, code := range codes {
		if len(byCode[code]) < 2 {
			continue
		}
		c := changelog.Conflict{ID: "link-code:" + code, Kind: "two links with one code",
			What:   fmt.Sprintf("two links were added with the code %q by sites that had not heard of each other", code),
			Advice: "remove one of them by its id, and add it anew under another code: pulk link remove ID"}
		for _, l := range byCode[code] {
			c.Sides = append(c.Sides, changelog.Side{Dot: l.ID, What: l.Name})
		}
		list = append(list, c)
	}
	return list, nil
}

// all reads every link, without its fields, in the order of codes.
func all(tx *changelog.Tx) ([]*Link, error) {
	var list []*Link
	err := tx.Each("SELECT dot, code, peer FROM link ORDER BY code, dot", nil, func(scan func(...any) error) error {
		var key []byte
		l := &Link{}
		if err := scan(&key, &l.Code, &l.To); err != nil {
			return err
		}
		var err error
		l.ID, err = clock.DotFromKey(key)
		l.From = l.ID.Site
		list = append(list, l)
		return err
	})
	return list, err
}

// eachElements calls fn for all elements of a link, in a fixed order.
func eachElements(tx *changelog.Tx, link clock.Dot, fn func(dot clock.Dot, omm string) error) error {
	return tx.Each("SELECT dot, omm FROM link_elements WHERE link = ? ORDER BY catalogue_number, dot", []any{link.Key()}, func(scan func(...any) error) error {
		var key []byte
		var omm string
		if err := scan(&key, &omm); err != nil {
			return err
		}
		dot, err := clock.DotFromKey(key)
		if err != nil {
			return err
		}
		return fn(dot, omm)
	})
}
