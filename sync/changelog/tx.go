package changelog

import (
	"fmt"

	"pulk/schema"
	"pulk/schema/kind"
	"pulk/sync/change"
	"pulk/sync/clock"
)

// Tx is a transaction on the log: the store's own, with the changes to be
// written and what was read of lanes and contexts.
type Tx struct {
	*schema.Tx
	log    *Log
	author Author

	class   clock.Class
	adding  *change.Set // nil until the first Add
	lanes   *laneTable  // nil until first used
	context contextCache

	// stale says that what was applied before may have been read wrongly, as a
	// fork came to light: all projections must be rebuilt.
	stale bool

	// passed is one more than the highest epoch of this site of which something was
	// met that is not here: numbers up to there were used by another copy of this
	// store. 0 if none.
	passed int

	awaits *awaits // nil until first used

	cut Receipt // of the first change-set that Cut ended

	own        *audience    // which lanes are taken here, as of the last segment; nil until first used
	bounds     bounds       // by which the projections were made; nil until first used
	sender     clock.SiteID // of the bundle being taken
	trustMoved bool         // something was applied that says whom to believe
	boundMoved bool         // something was placed in a lane of a site that was cut off
}

func (l *Log) begin(raw *schema.Tx) *Tx { return &Tx{Tx: raw, log: l} }

// Self returns the identity of the store.
func (tx *Tx) Self() Identity { return tx.log.self }

// Author returns who is writing.
func (tx *Tx) Author() Author { return tx.author }

// SetClass says in which class the change-set is to travel. It must be called
// before the first Add.
func (tx *Tx) SetClass(class clock.Class) {
	if tx.adding != nil {
		panic("the class of a change-set is set after its first change")
	}
	tx.class = class
}

// Add puts a change into the change-set being written and returns its name, which
// is also that of the entity it creates. A mistake that makes Add impossible is
// reported by Write.
func (tx *Tx) Add(c change.Change) clock.Dot {
	if tx.adding == nil {
		lane := clock.Lane{Site: tx.log.self.Site, Epoch: tx.log.self.Epoch, Class: tx.class}
		tx.adding = &change.Set{Lane: lane, Seq: tx.tipOf(lane) + 1, Campaign: tx.log.self.CampaignTag(), Person: tx.author.Person}
	}
	tx.adding.Changes = append(tx.adding.Changes, c)
	return tx.adding.ID(len(tx.adding.Changes) - 1)
}

// Pending returns the change-set being written, or nil where nothing was added yet. It
// is not to be changed.
func (tx *Tx) Pending() *change.Set { return tx.adding }

// Next returns the name that the next Add will return.
func (tx *Tx) Next() clock.Dot {
	if tx.adding != nil {
		return tx.adding.ID(len(tx.adding.Changes))
	}
	lane := clock.Lane{Site: tx.log.self.Site, Epoch: tx.log.self.Epoch, Class: tx.class}
	return clock.Dot{Lane: lane, Seq: tx.tipOf(lane) + 1}
}

// AssignText adds the assignment of a text to a field.
func (tx *Tx) AssignText(entity clock.Dot, field kind.FieldID, key, value, why string) clock.Dot {
	return tx.Add(change.New(kind.AssignText, change.Ref(entity), change.Num(int64(field)), change.Text(key), change.Text(value), change.Text(why)))
}

// AssignRef adds the assignment of a reference to a field.
func (tx *Tx) AssignRef(entity clock.Dot, field kind.FieldID, key string, value clock.Dot, why string) clock.Dot {
	return tx.Add(change.New(kind.AssignRef, change.Ref(entity), change.Num(int64(field)), change.Text(key), change.Ref(value), change.Text(why)))
}

// AssignInt adds the assignment of a whole number to a field.
func (tx *Tx) AssignInt(entity clock.Dot, field kind.FieldID, key string, value int64, why string) clock.Dot {
	return tx.Add(change.New(kind.AssignInt, change.Ref(entity), change.Num(int64(field)), change.Text(key), change.Num(value), change.Text(why)))
}

// flush stores the change-set being written and applies it.
func (tx *Tx) flush() (Receipt, error) {
	set := tx.adding
	if set == nil {
		return Receipt{}, nil
	}
	if len(set.Changes) > change.MaxChanges {
		return Receipt{}, fmt.Errorf("one command wrote %d changes, at most %d fit a change-set", len(set.Changes), change.MaxChanges)
	}
	lanes, err := tx.laneTable()
	if err != nil {
		return Receipt{}, err
	}
	if err := tx.mayWrite(); err != nil {
		return Receipt{}, err
	}
	if err := heedClass(set); err != nil {
		return Receipt{}, err
	}
	lane, err := lanes.ensure(tx, set.Lane)
	if err != nil {
		return Receipt{}, err
	}
	last, err := tx.lastStamp()
	if err != nil {
		return Receipt{}, err
	}
	set.At = clock.Next(last, tx.author.Now)
	if set.Seen, err = tx.learnt(lane); err != nil {
		return Receipt{}, err
	}
	if err := tx.toWire(set); err != nil {
		return Receipt{}, err
	}
	canonical := set.Canonical()
	if len(canonical) > change.MaxBytes {
		return Receipt{}, fmt.Errorf("the command wrote %d bytes, at most %d fit a change-set", len(canonical), change.MaxBytes)
	}
	if _, err := change.Parse(lane.name, set.Seq, canonical); err != nil {
		return Receipt{}, fmt.Errorf("what the command wrote could not be read again, so nothing was written: %w", err)
	}
	if err := tx.append(lane, set, canonical, change.Next(lane.tipHash, canonical)); err != nil {
		return Receipt{}, err
	}
	if err := tx.settle(); err != nil {
		return Receipt{}, err
	}
	if err := tx.setLastStamp(set.At); err != nil {
		return Receipt{}, err
	}
	tx.adding = nil
	return Receipt{Lane: set.Lane, Seq: set.Seq, At: set.At}, nil
}

// Cut ends the change-set being written: what is added next becomes another one,
// which may travel in another class. Both are on disk when Write returns, or
// neither.
func (tx *Tx) Cut() error {
	receipt, err := tx.flush()
	if err == nil && tx.cut.Seq == 0 {
		tx.cut = receipt
	}
	tx.class = clock.Normal
	return err
}

// settle stores what was noted while change-sets were appended, and rebuilds the
// projections where some were found to have been read wrongly.
func (tx *Tx) settle() error {
	if err := tx.lanes.store(tx); err != nil {
		return err
	}
	if tx.stale || tx.trustMoved || tx.boundMoved {
		if err := tx.converge(); err != nil {
			return err
		}
	}
	return tx.storeAwaits()
}

// Dots returns the dots that a query selects in its only column.
func (tx *Tx) Dots(query string, args ...any) ([]clock.Dot, error) {
	var list []clock.Dot
	err := tx.Each(query, args, func(scan func(...any) error) error {
		var key []byte
		if err := scan(&key); err != nil {
			return err
		}
		dot, err := clock.DotFromKey(key)
		list = append(list, dot)
		return err
	})
	return list, err
}
