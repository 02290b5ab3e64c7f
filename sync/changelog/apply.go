package changelog

import (
	"fmt"

	"pulk/schema/kind"
	"pulk/sync/change"
	"pulk/sync/clock"
)

// append puts a change-set at the end of a lane and applies it. The caller has
// made sure that hash follows from the lane's tip, and stores the lane table.
func (tx *Tx) append(l *lane, set *change.Set, canonical []byte, hash change.Hash) error {
	if _, err := tx.loadBounds(); err != nil {
		return err
	}
	ctx, err := tx.grow(l.tipCtx, l, set.Seen)
	if err != nil {
		return err
	}
	seq := l.tip + 1
	if set.Seq != seq {
		return fmt.Errorf("change-set %d put at the end of lane %s, which has %d", set.Seq, l.name, l.tip)
	}
	err = tx.Exec("INSERT INTO changeset (lane, seq, hash, ctx, took, bytes) VALUES (?, ?, ?, ?, ?, ?)",
		l.id, seq, hash[:], ctx, tx.author.Now.UnixMilli(), canonical)
	if err != nil {
		return err
	}
	l.tip, l.tipHash, l.tipCtx, l.dirty = seq, hash, ctx, true
	stale, err := tx.arrived(l.name, seq, hash)
	if err != nil {
		return err
	}
	if tx.stale = tx.stale || stale || tx.lanes.forked(l.name); tx.stale {
		return nil // all will be applied anew
	}
	return tx.apply(l, set, ctx)
}

// apply takes the changes of a logged change-set into the projections.
func (tx *Tx) apply(l *lane, set *change.Set, ctx int64) error {
	others, err := tx.vector(ctx)
	if err != nil {
		return err
	}
	person, err := tx.fromWire(l, others, set.Person)
	if err != nil {
		return err
	}
	entry := Entry{At: set.At, Person: person}
	for i, c := range set.Changes {
		entry.Dot = clock.Dot{Lane: l.name, Seq: set.Seq, Index: uint16(i)}
		if entry.Kind = kind.Lookup(c.Kind); entry.Kind == nil {
			if err := tx.keepUnknown(entry.Dot, c); err != nil {
				return err
			}
			continue
		}
		if entry.Values, err = tx.localValues(l, others, entry.Kind, c.Values); err != nil {
			return err
		}
		if !l.name.Confined() { // a field is part of the state that all sites share
			if err := tx.assign(&entry, clock.Context{Of: entry.Dot, Others: others}); err != nil {
				return err
			}
		}
		for _, projector := range tx.log.projectors {
			if confider(projector) != l.name.Confined() {
				continue
			}
			if err := projector.Apply(tx, &entry); err != nil {
				return fmt.Errorf("%s: apply %s %s: %w", projector.Name(), entry.Kind.Name, entry.Dot, err)
			}
		}
	}
	return nil
}

// localValues translates the dots among values into this store's lanes.
func (tx *Tx) localValues(l *lane, others clock.Vector, k *kind.Kind, values []change.Value) ([]change.Value, error) {
	if !tx.lanes.anyForked() && !namesBranch(k, values) {
		return values, nil
	}
	local := make([]change.Value, len(values))
	copy(local, values)
	for i, column := range k.Columns {
		if column.Type != kind.Ref {
			continue
		}
		var err error
		if local[i].Ref, err = tx.fromWire(l, others, values[i].Ref); err != nil {
			return nil, err
		}
	}
	return local, nil
}

// namesBranch reports whether a reference among values names a branch. The lane
// need not be known as forked here: its author may know more.
func namesBranch(k *kind.Kind, values []change.Value) bool {
	for i, column := range k.Columns {
		if column.Type == kind.Ref && values[i].Ref.Branch != 0 {
			return true
		}
	}
	return false
}

// keepUnknown counts a change whose kind this program does not know. Its bytes are
// in the log, and are relayed with it.
func (tx *Tx) keepUnknown(dot clock.Dot, c change.Change) error {
	return tx.Exec("INSERT INTO unknown_change (dot, kind, bytes) VALUES (?, ?, ?)", dot.Key(), c.Kind, len(c.Raw))
}

// builtin returns the projections that the log itself keeps.
func builtin() []Projector { return []Projector{registers{}, sites{}, trusts{}} }

// sites is the projection of the sites' own introductions.
type sites struct{}

func (sites) Name() string { return "site" }

func (sites) Schema() string {
	return `
-- site is what each site says of itself.
CREATE TABLE site (
  dot  BLOB PRIMARY KEY,
  site INTEGER NOT NULL, -- lane's site
  key  BLOB NOT NULL,
  code TEXT NOT NULL
) STRICT, WITHOUT ROWID;

-- unknown_change lists changes of kinds that only a newer program knows.
CREATE TABLE unknown_change (
  dot   BLOB PRIMARY KEY,
  kind  INTEGER NOT NULL,
  bytes INTEGER NOT NULL
) STRICT, WITHOUT ROWID;

-- awaited lists the change-sets that something here names with the start of their
-- hash, and that are not here. Once they, or others in their place, are, it is to be
-- read anew.
CREATE TABLE awaited (
  dot       BLOB NOT NULL, -- the branch is the start of the hash
  reference INTEGER NOT NULL, -- 1 named by a reference, 0 by a context
  PRIMARY KEY (dot, reference)
) STRICT, WITHOUT ROWID;
`
}

func (sites) Tables() []string { return []string{"site"} }

func (sites) Apply(tx *Tx, e *Entry) error {
	if e.Kind != kind.SiteAdd {
		return nil
	}
	tx.trustMoved = tx.trustMoved || e.Dot.Site == tx.log.self.Founder()
	return tx.Exec("INSERT INTO site (dot, site, key, code) VALUES (?, ?, ?, ?)",
		e.Dot.Key(), e.Dot.Site, []byte(e.Values[0].Text), e.Values[1].Text)
}
