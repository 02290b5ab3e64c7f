// Package crew knows the persons of a campaign: their roles, and the keys by
// which they sign.
package crew

import (
	"crypto/ed25519"
	"fmt"
	"regexp"
	"slices"
	"strings"

	"pulk/schema/fault"
	"pulk/schema/kind"
	"pulk/sync/change"
	"pulk/sync/changelog"
	"pulk/sync/clock"
)

// Person is someone who works in the campaign.
type Person struct {
	ID    clock.Dot
	Code  string // short, as typed after --as
	Name  string
	Roles []Role
	Keys  []Key
}

// Role is a person's standing in a role.
type Role struct {
	Code    string
	Granted bool            // it stands; of values in conflict the more careful one counts
	Values  changelog.Value // the assignment that stands
}

// Key is a public key by which a person signs.
type Key struct {
	ID     clock.Dot // the change that introduced it
	Public ed25519.PublicKey
}

// Has reports whether the person holds a role.
func (p *Person) Has(role string) bool {
	return slices.ContainsFunc(p.Roles, func(r Role) bool { return r.Code == role && r.Granted })
}

// Granted returns the codes of the roles that the person holds.
func (p *Person) Granted() []string {
	var codes []string
	for _, role := range p.Roles {
		if role.Granted {
			codes = append(codes, role.Code)
		}
	}
	return codes
}

var codeForm = regexp.MustCompile(`^[a-z][a-z0-9-]{1,23}$`)

// CheckCode reports whether a code for a person, role, site or location can be
// typed and read without doubt.
func CheckCode(what, code string) error {
	if !codeForm.MatchString(code) {
		return fault.Misuse("use 2 to 24 small letters, digits and hyphens, a letter first", "%q cannot be the code of a %s", code, what)
	}
	return nil
}

// Add adds a person with roles. The code must be free.
func Add(tx *changelog.Tx, code, name string, roles []string) (clock.Dot, error) {
	if err := CheckCode("person", code); err != nil {
		return clock.Dot{}, err
	}
	if strings.TrimSpace(name) == "" {
		return clock.Dot{}, fault.Misuse("give it with --name", "a person needs a name")
	}
	for _, role := range roles {
		if err := CheckCode("role", role); err != nil {
			return clock.Dot{}, err
		}
	}
	list, err := byCode(tx, code)
	if err != nil {
		return clock.Dot{}, err
	}
	if len(list) > 0 {
		return clock.Dot{}, fault.Hint("choose another code, or change that person's roles with: pulk person role "+code, "person %q is already there", code)
	}
	id := tx.Add(change.New(kind.PersonAdd, change.Text(code), change.Text(name)))
	for _, role := range roles {
		tx.AssignText(id, kind.FieldPersonRole, role, "granted", "")
	}
	return id, nil
}

// SetRole grants or withdraws a role.
func SetRole(tx *changelog.Tx, person clock.Dot, role string, granted bool, why string) error {
	if err := CheckCode("role", role); err != nil {
		return err
	}
	value := "granted"
	if !granted {
		value = "withdrawn"
		tx.SetClass(clock.Expedited) // it can shut gates
	}
	tx.AssignText(person, kind.FieldPersonRole, role, value, why)
	return nil
}

// AddKey makes a public key known as a person's own.
func AddKey(tx *changelog.Tx, person clock.Dot, public ed25519.PublicKey) clock.Dot {
	return tx.Add(change.New(kind.PersonKey, change.Ref(person), change.Bytes(public)))
}

// ByCode returns the person with a code.
func ByCode(tx *changelog.Tx, code string) (*Person, error) {
	list, err := byCode(tx, code)
	switch {
	case err != nil:
		return nil, err
	case len(list) == 0:
		return nil, fault.Hint("see: pulk person list", "no person has the code %q here", code)
	case len(list) > 1:
		return nil, fault.Hint("see: pulk conflict list", "%d persons have the code %q", len(list), code)
	}
	return Get(tx, list[0])
}

// Get returns a person by id. It is nil, without error, for someone who is not
// here yet.
func Get(tx *changelog.Tx, id clock.Dot) (*Person, error) {
	p := &Person{ID: id}
	found, err := tx.Row("SELECT code, name FROM person WHERE dot = ?", []any{id.Key()}, &p.Code, &p.Name)
	if err != nil || !found {
		return nil, err
	}
	return p, fill(tx, p)
}

// List returns all persons in the order of their codes.
func List(tx *changelog.Tx) ([]*Person, error) {
	var list []*Person
	err := tx.Each("SELECT dot, code, name FROM person ORDER BY code, dot", nil, func(scan func(...any) error) error {
		var key []byte
		p := &Person{}
		if err := scan(&key, &p.Code, &p.Name); err != nil {
			return err
		}
		var err error
		p.ID, err = clock.DotFromKey(key)
		list = append(list, p)
		return err
	})
	if err != nil {
		return nil, err
	}
	for _, p := range list {
		if err := fill(tx, p); err != nil {
			return nil, err
		}
	}
	return list, nil
}

// fill reads a person's fields and keys.
func fill(tx *changelog.Tx, p *Person) error {
	fields, err := tx.Fields(p.ID)
	if err != nil {
		return err
	}
	for _, r := range fields {
		value, ok, err := tx.Stands(r)
		if err != nil {
			return err
		}
		switch {
		case r.Field == kind.FieldPersonName && ok:
			p.Name = value.Text
		case r.Field == kind.FieldPersonRole:
			p.Roles = append(p.Roles, Role{Code: r.Key, Granted: ok && value.Text == "granted", Values: value})
		}
	}
	p.Keys, err = keysOf(tx, p.ID)
	return err
}

// Label returns a person's code, or the id of one who is not here yet; the site
// itself where nobody is named.
func Label(tx *changelog.Tx, id clock.Dot) (string, error) {
	if id.IsZero() {
		return "site", nil
	}
	var code string
	found, err := tx.Row("SELECT code FROM person WHERE dot = ?", []any{id.Key()}, &code)
	if err == nil && !found {
		code = fmt.Sprintf("%s (not here yet)", tx.Name(id))
	}
	return code, err
}
