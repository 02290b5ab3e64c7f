package crew

import (
	"fmt"

	"pulk/schema/kind"
	"pulk/sync/changelog"
	"pulk/sync/clock"
)

// Projection keeps the tables of persons and their keys.
type Projection struct{}

// Name implements [changelog.Projector].
func (Projection) Name() string { return "crew" }

// Schema implements [changelog.Projector].
func (Projection) Schema() string {
	return `
-- person is everyone who was added; the name as first given.
CREATE TABLE person (
  dot  BLOB PRIMARY KEY,
  code TEXT NOT NULL,
  name TEXT NOT NULL
) STRICT, WITHOUT ROWID;
CREATE INDEX person_code ON person (code);

-- person_key is every public key that was made known as a person's own.
CREATE TABLE person_key (
  dot    BLOB PRIMARY KEY,
  person BLOB NOT NULL, -- dot
  key    BLOB NOT NULL
) STRICT, WITHOUT ROWID;
CREATE INDEX person_key_person ON person_key (person);
`
}

// Tables implements [changelog.Projector].
func (Projection) Tables() []string { return []string{"person", "person_key"} }

// Apply implements [changelog.Projector].
func (Projection) Apply(tx *changelog.Tx, e *changelog.Entry) error {
	switch e.Kind {
	case kind.PersonAdd:
		return tx.Exec("INSERT INTO person (dot, code, name) VALUES (?, ?, ?)", e.Dot.Key(), e.Values[0].Text, e.Values[1].Text)
	case kind.PersonKey:
		if e.Values[0].Ref.IsZero() {
			return nil
		}
		return tx.Exec("INSERT INTO person_key (dot, person, key) VALUES (?, ?, ?)", e.Dot.Key(), e.Values[0].Ref.Key(), []byte(e.Values[1].Text))
	}
	return nil
}

// Describe implements [changelog.Describer].
func (Projection) Describe(tx *changelog.Tx, id clock.Dot) (string, error) {
	var code string
	found, err := tx.Row("SELECT code FROM person WHERE dot = ?", []any{id.Key()}, &code)
	if !found || err != nil {
		return "", err
	}
	return "person " + code, nil
}

// Conflicts implements [changelog.Conflicter]: two persons with one code.
func (Projection) Conflicts(tx *changelog.Tx, found func(changelog.Conflict) error) error {
	list, err := sameCode(tx)
	return changelog.Found(found, list, err)
}

func sameCode(tx *changelog.Tx) ([]changelog.Conflict, error) {
	var list []changelog.Conflict
	err := tx.Each("SELECT code, dot, name FROM person WHERE code IN (SELECT code FROM person GROUP BY code HAVING count(*) > 1) ORDER BY code, dot", nil,
		func(scan func(...any) error) error {
			var code, name string
			var key []byte
			if err := scan(&code, &key, &name); err != nil {
				return err
			}
			dot, err := clock.DotFromKey(key)
			if n := len(list); n == 0 || list[n-1].ID != "person-code:"+code {
				list = append(list, changelog.Conflict{ID: "person-code:" + code, Kind: "two persons with one code",
					What:   fmt.Sprintf("two persons were added with the code %q by sites that had not heard of each other; neither can act here until one has another code", code),
					Advice: "add one of them anew under another code; what they did stays theirs"})
			}
			c := &list[len(list)-1]
			c.Sides = append(c.Sides, changelog.Side{Dot: dot, What: name})
			return err
		})
	return list, err
}

func byCode(tx *changelog.Tx, code string) ([]clock.Dot, error) {
	return tx.Dots("SELECT dot FROM person WHERE code = ? ORDER BY dot", code)
}

func keysOf(tx *changelog.Tx, person clock.Dot) ([]Key, error) {
	var keys []Key
	err := tx.Each("SELECT dot, key FROM person_key WHERE person = ? ORDER BY dot", []any{person.Key()}, func(scan func(...any) error) error {
		var dot, public []byte
		if err := scan(&dot, &public); err != nil {
			return err
		}
		id, err := clock.DotFromKey(dot)
		keys = append(keys, Key{ID: id, Public: public})
		return err
	})
	return keys, err
}

// KeyByID returns a public key and whose it is. The second result is false where
// it is not here yet.
func KeyByID(tx *changelog.Tx, id clock.Dot) (key Key, person clock.Dot, found bool, err error) {
	var owner, public []byte
	found, err = tx.Row("SELECT person, key FROM person_key WHERE dot = ?", []any{id.Key()}, &owner, &public)
	if err != nil || !found {
		return Key{}, clock.Dot{}, false, err
	}
	person, err = clock.DotFromKey(owner)
	return Key{ID: id, Public: public}, person, true, err
}

// SaveSecret keeps a person's locked private key in this store; it never travels.
func SaveSecret(tx *changelog.Tx, person clock.Dot, public, locked []byte) error {
	return tx.Exec("INSERT INTO person_secret (key, person, locked) VALUES (?, ?, ?)", public, person.Key(), locked)
}

// Secret returns the locked private key of the newest of a person's keys that is
// kept in this store.
func Secret(tx *changelog.Tx, p *Person) (Key, []byte, bool, error) {
	for i := len(p.Keys) - 1; i >= 0; i-- {
		var locked []byte
		found, err := tx.Row("SELECT locked FROM person_secret WHERE key = ?", []any{[]byte(p.Keys[i].Public)}, &locked)
		if found || err != nil {
			return p.Keys[i], locked, found, err
		}
	}
	return Key{}, nil, false, nil
}
