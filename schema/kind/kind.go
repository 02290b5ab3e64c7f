// Package kind is the table of all kinds of change that travel between sites,
// and of all fields that a change can assign.
//
// Numbers are on the wire. They are never renumbered or reused, and a kind's
// columns never change: what a kind lacks is a new kind. Every reader of
// version 1 knows the kinds below [FirstDescribed]; later ones carry their
// column types in the bundle, so that an older program can relay them.
package kind

import (
	"cmp"
	"slices"
)

// ID is a kind's number on the wire, from 1.
type ID uint32

// FirstDescribed is the first kind whose column types travel with it.
const FirstDescribed ID = 64

// Type is the type of a column.
type Type uint8

// The column types. Their letters are those of docs/bundle-format.md.
const (
	Uint    Type = 'u' // whole number from 0
	Int     Type = 'i' // whole number
	Decimal Type = 'd' // decimal number with its digits as written
	Text    Type = 's' // UTF-8
	Bytes   Type = 'b' // bytes with no likeness to others: keys, hashes, signatures
	Ref     Type = 'r' // the dot of the change that created an entity, or none
)

// Column is one value of a kind.
type Column struct {
	Name string
	Type Type
}

// Set says that a change of this kind also assigns a field: of the entity named
// in column Entity (or of the entity that the change creates, if Entity is
// [Self]), under the key in column Key, the value in column Value. Nothing is
// assigned where the value is empty and SkipEmpty is set.
type Set struct {
	Field     FieldID
	Entity    int
	Key       int // NoKey if none
	Value     int
	SkipEmpty bool
}

// Places that are no column.
const (
	Self  = -1 // the entity created by this change
	NoKey = -1
)

// Kind describes one kind of change.
type Kind struct {
	ID      ID
	Name    string
	Columns []Column
	Sets    []Set
	// Confined kinds go in confined lanes alone.
	Confined bool
}

// Column returns the place of the named column; it panics if there is none,
// as that is a mistake in the program.
func (k *Kind) Column(name string) int {
	for i, column := range k.Columns {
		if column.Name == name {
			return i
		}
	}
	panic("kind " + k.Name + " has no column " + name)
}

// Lookup returns the kind with a number, or nil if this program does not know it.
func Lookup(id ID) *Kind {
	if uint64(id) < uint64(len(byID)) {
		return byID[id]
	}
	return nil
}

// All returns every kind in the order of the numbers.
func All() []*Kind { return all }

var (
	all  []*Kind
	byID []*Kind
)

// confined is register for what goes to the sites named for it alone. Such a kind
// assigns no field, as fields are part of the state that all sites share.
func confined(id ID, name string, columns []Column) *Kind {
	k := register(id, name, columns)
	k.Confined = true
	return k
}

// register fills the table; every kind of this program passes here once.
func register(id ID, name string, columns []Column, sets ...Set) *Kind {
	k := &Kind{ID: id, Name: name, Columns: columns, Sets: sets}
	for int(id) >= len(byID) {
		byID = append(byID, nil)
	}
	if byID[id] != nil {
		panic("two kinds have one number: " + name + " and " + byID[id].Name)
	}
	byID[id] = k
	at, _ := slices.BinarySearchFunc(all, id, func(other *Kind, id ID) int { return cmp.Compare(other.ID, id) })
	all = slices.Insert(all, at, k)
	return k
}
