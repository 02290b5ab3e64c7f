package work

import (
	"time"

	"pulk/sync/changelog"
	"pulk/sync/clock"
)

// Taken returns what was said to a person's tap when it was taken, and whether it
// was.
func Taken(tx *changelog.Tx, person clock.Dot, id string) (said string, taken bool, err error) {
	taken, err = tx.Row("SELECT said FROM tap WHERE person = ? AND id = ?", []any{person.Key(), id}, &said)
	return said, taken, err
}

// Forget lets go of taps that were taken before a time. A page that still holds one
// of them would have it carried out again, or refused; so it is to be long ago.
func Forget(tx *changelog.Tx, before time.Time) error {
	return tx.Exec("DELETE FROM tap WHERE at < ?", before.UnixMilli())
}

// Take keeps that a tap was taken, in the transaction that carries it out: either
// both are on disk or neither is.
func Take(tx *changelog.Tx, person clock.Dot, id, said string) error {
	return tx.Exec("INSERT INTO tap (person, id, at, said) VALUES (?, ?, ?, ?)", person.Key(), id, tx.Author().Now.UnixMilli(), said)
}
