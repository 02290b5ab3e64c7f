package changelog

import (
	"context"
	"fmt"

	"pulk/schema"
	"pulk/sync/clock"
)

// Copied tells of a copy of a store.
type Copied struct {
	Verified
	Identity Identity
	Heads    clock.Vector // of what it holds
	Last     clock.Stamp  // no change in it is later
}

// copyMark stands for the name of its file in a copy: no file has it, so that whoever
// writes there goes on under new numbers, wherever the copy is put.
const copyMark = "copy"

// CheckCopy checks the copy of a store as [Log.Verify] does, and marks it as one where
// it has no faults.
func CheckCopy(ctx context.Context, path string, projectors ...Projector) (*Copied, error) {
	store, err := schema.Open(path, schema.Durable)
	if err != nil {
		return nil, err
	}
	defer store.Close()
	log, err := Open(ctx, store, projectors...)
	if err != nil {
		return nil, fmt.Errorf("%s: %w", path, err)
	}
	verified, err := log.Verify(ctx)
	if err != nil {
		return nil, err
	}
	copied := &Copied{Verified: *verified, Identity: log.Self()}
	if len(verified.Faults) > 0 {
		return copied, nil
	}
	err = log.store.Update(ctx, func(raw *schema.Tx) error {
		return log.Local(raw, func(tx *Tx) (err error) {
			if copied.Heads, err = tx.Heads(); err != nil {
				return err
			}
			if copied.Last, err = tx.lastStamp(); err != nil {
				return err
			}
			return tx.setMeta("file", copyMark)
		})
	})
	return copied, err
}

// Lacks returns of how many change-sets the heads of another store tell that are not in
// the copy.
func (c *Copied) Lacks(heads clock.Vector) (n uint64) {
	for lane, seq := range heads {
		n += seq - min(seq, c.Heads[lane])
	}
	return n
}
