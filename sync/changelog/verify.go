package changelog

import (
	"context"
	"errors"
	"fmt"
	"os"
	"path/filepath"
	"slices"
	"strings"

	"pulk/schema"
	"pulk/sync/bundle"
	"pulk/sync/change"
)

// Verified is the outcome of [Log.Verify].
type Verified struct {
	Sets       int
	Lanes      int
	Signatures int    // statements of other origins that were checked
	Digest     Digest // of the state that all sites share
	// Confined is the digest of what is confined, of which ConfinedSets are here.
	Confined     Digest
	ConfinedSets int
	Faults       []string // what is wrong, each in a sentence; empty if nothing
}

// Verify checks the whole store: every hash chain against the stored bytes, every
// kept signature, the file itself, and every projection against one that is
// rebuilt from the log in a scratch database.
func (l *Log) Verify(ctx context.Context) (*Verified, error) {
	v := &Verified{}
	folder, err := os.MkdirTemp("", "pulk-verify-")
	if err != nil {
		return nil, err
	}
	defer os.RemoveAll(folder)
	scratch := filepath.Join(folder, "scratch.db")
	if err := l.store.Copy(scratch); err != nil {
		return nil, fmt.Errorf("copy the store: %w", err)
	}
	err = l.View(ctx, func(tx *Tx) error {
		for _, check := range []func(*Verified) error{tx.verifyFile, tx.verifyChains, tx.verifyStatements} {
			if err := check(v); err != nil {
				return err
			}
		}
		var err error
		if v.Digest, err = tx.Digest(); err == nil {
			v.Confined, err = tx.ConfinedDigest()
		}
		return err
	})
	if err != nil || len(v.Faults) > 0 {
		return v, err
	}
	return v, l.compareRebuilt(ctx, scratch, v)
}

func (v *Verified) fault(format string, args ...any) {
	v.Faults = append(v.Faults, fmt.Sprintf(format, args...))
}

// verifyFile asks SQLite. Its quick check would pass over an index that does not agree
// with its table, and what is looked up by it would not be found.
func (tx *Tx) verifyFile(v *Verified) error {
	return tx.Each("PRAGMA integrity_check", nil, func(scan func(...any) error) error {
		var text string
		if err := scan(&text); err != nil {
			return err
		}
		switch {
		case text == "ok":
		case strings.Contains(text, " index "): // made anew with its table
			v.fault("the file is damaged: %s: run pulk verify --rebuild", text)
		default:
			v.fault("the file is damaged: %s", text)
		}
		return nil
	})
}

func (tx *Tx) verifyChains(v *Verified) error {
	table, err := tx.laneTable()
	if err != nil {
		return err
	}
	v.Lanes = len(table.byName)
	for _, l := range table.all() {
		previous, err := tx.hashAt(l, l.forkSeq-1)
		if err != nil {
			return err
		}
		if err := tx.verifyChain(v, l, previous); err != nil {
			return err
		}
	}
	return nil
}

func (tx *Tx) verifyChain(v *Verified, l *lane, hash change.Hash) error {
	expected := l.forkSeq
	err := tx.Each("SELECT seq, hash, bytes FROM changeset WHERE lane = ? ORDER BY seq", []any{l.id}, func(scan func(...any) error) error {
		var seq uint64
		var stored, bytes []byte
		if err := scan(&seq, &stored, &bytes); err != nil {
			return err
		}
		if seq != expected {
			v.fault("%s: number %d is missing", tx.LaneName(l.name), expected)
			expected = seq
		}
		hash = change.Next(hash, bytes)
		if !slices.Equal(hash[:], stored) {
			v.fault("%s: number %d or one before it was altered: its hash does not fit", tx.LaneName(l.name), seq)
			copy(hash[:], stored) // go on, to find other faults
		}
		if _, err := change.Parse(l.name, seq, bytes); err != nil {
			v.fault("%s: number %d cannot be read: %v", tx.LaneName(l.name), seq, err)
		}
		expected++
		v.Sets++
		if l.name.Confined() {
			v.ConfinedSets++
		}
		return nil
	})
	if err == nil && (expected-1 != l.tip || hash != l.tipHash) {
		v.fault("%s: the log ends at number %d, the lane table says %d", tx.LaneName(l.name), expected-1, l.tip)
	}
	return err
}

func (tx *Tx) verifyStatements(v *Verified) error {
	for _, l := range tx.lanes.all() {
		site, found, err := tx.SiteByID(l.name.Site)
		if err != nil {
			return err
		}
		covered := uint64(0)
		err = tx.Each("SELECT seq, bytes FROM statement WHERE lane = ? ORDER BY seq", []any{l.id}, func(scan func(...any) error) error {
			var bytes []byte
			if err := scan(&covered, &bytes); err != nil {
				return err
			}
			statement, err := decodeStatement(bytes)
			if err != nil {
				v.fault("%s: the signature at number %d is damaged", tx.LaneName(l.name), covered)
				return nil
			}
			hash, err := tx.hashAt(l, covered)
			if err != nil {
				return err
			}
			v.Signatures++
			head := func(h bundle.Head) bool { return h.Lane == l.name.Base() && h.Seq == covered && h.Hash == hash }
			if !found || !statement.Verify(site.Key) || !slices.ContainsFunc(statement.Heads, head) {
				v.fault("%s: the signature at number %d does not fit", tx.LaneName(l.name), covered)
			}
			return nil
		})
		if err != nil {
			return err
		}
		if l.name.Site != tx.log.self.Site && covered < l.tip {
			v.fault("%s: numbers %d to %d carry no signature of their site", tx.LaneName(l.name), covered+1, l.tip)
		}
	}
	return nil
}

// compareRebuilt rebuilds the projections in the copy and compares digests.
func (l *Log) compareRebuilt(ctx context.Context, path string, v *Verified) error {
	store, err := schema.Open(path, schema.Scratch)
	if err != nil {
		return err
	}
	defer store.Close()
	scratch := &Log{store: store, projectors: l.projectors}
	if err := scratch.Rebuild(ctx); err != nil {
		v.fault("the projections cannot be rebuilt from the log: %v", err)
		return nil
	}
	var here, rebuilt map[string]Digest
	var knew, knewRebuilt Digest
	digests := func(log *Log, tables *map[string]Digest, contexts *Digest) error {
		return log.View(ctx, func(tx *Tx) (err error) {
			if *tables, err = tx.Digests(); err == nil {
				*contexts, err = tx.contextDigest()
			}
			return err
		})
	}
	if err := errors.Join(digests(l, &here, &knew), digests(scratch, &rebuilt, &knewRebuilt)); err != nil {
		return err
	}
	if knew != knewRebuilt {
		v.fault("what authors are said to have known does not follow from the log: run pulk verify --rebuild")
	}
	for _, projector := range l.projectors {
		for _, table := range projector.Tables() {
			if here[table] != rebuilt[table] {
				v.fault("table %s does not follow from the log (digest %s, rebuilt %s): run pulk verify --rebuild", table, here[table], rebuilt[table])
			}
		}
	}
	return nil
}
