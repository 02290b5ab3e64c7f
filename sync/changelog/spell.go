package changelog

import (
	"fmt"
	"strconv"

	"pulk/schema/kind"
	"pulk/sync/change"
)

// Spelt is one value of a change in words.
type Spelt struct{ Column, Text string }

// Spell returns the name of a change's kind and its values in the order of the
// columns, for a person to read: it needs nothing of the change to count.
func (tx *Tx) Spell(c *change.Change) (name string, values []Spelt) {
	k := kind.Lookup(c.Kind)
	if k == nil {
		return SpellKind(c), []Spelt{{"bytes, which only a newer pulk can read", fmt.Sprintf("%x", c.Raw)}}
	}
	for i, column := range k.Columns {
		values = append(values, Spelt{column.Name, tx.spellValue(column.Type, c.Values[i])})
	}
	return k.Name, values
}

// SpellKind returns the name of a change's kind alone.
func SpellKind(c *change.Change) string {
	if k := kind.Lookup(c.Kind); k != nil {
		return k.Name
	}
	return fmt.Sprintf("kind %d", c.Kind)
}

func (tx *Tx) spellValue(t kind.Type, v change.Value) string {
	switch t {
	case kind.Text:
		return v.Text
	case kind.Bytes:
		return fmt.Sprintf("%x", v.Text)
	case kind.Decimal:
		return v.Decimal().String()
	case kind.Ref:
		return tx.Name(v.Ref)
	}
	return strconv.FormatInt(v.Num, 10)
}
