// Package changelog is the log of a site: it appends what commands write, applies
// what bundles bring, and keeps the projections of the domains in step.
//
// # Guarantees
//
// Change-sets are only added; none is edited, renumbered or dropped. A local
// command and a received bundle go through the same apply. The state, that is
// the content of all projections, is a function of the set of change-sets alone:
// whatever order, repetition or cut they arrived in, [Tx.Digest] is the same at
// every site that has the same set.
//
// Start at [Init], [Open], [Log.Write], [Log.Make] and [Log.Take].
package changelog

import (
	"context"
	"crypto/ed25519"
	"encoding/binary"
	"errors"
	"fmt"
	"io"
	"time"

	"github.com/google/uuid"

	"pulk/schema"
	"pulk/schema/kind"
	"pulk/sync/change"
	"pulk/sync/clock"
)

// Projector keeps one domain's tables in step with the log.
type Projector interface {
	// Name is unique and stays.
	Name() string
	// Schema holds the CREATE statements of the projection's tables and indexes,
	// each table STRICT.
	Schema() string
	// Tables names the tables whose rows, in the order of all their columns, are
	// this projection's part of the state digest.
	Tables() []string
	// Apply takes in one change. Changes come in any order between lanes, so what
	// it stores must not depend on what it has stored before; content that makes
	// no sense is to be stored as it is, or left out, but is no error.
	Apply(tx *Tx, entry *Entry) error
}

// Entry is a change as projectors and readers see it: dots in it name lanes as
// this store does.
type Entry struct {
	Dot    clock.Dot
	At     clock.Stamp
	Person clock.Dot // none: the site itself
	Kind   *kind.Kind
	Values []change.Value
}

// Identity is who a store is.
type Identity struct {
	Campaign     uuid.UUID
	CampaignName string
	Site         clock.SiteID
	Code, Name   string
	Key          ed25519.PrivateKey
	Epoch        uint16
}

// CampaignTag returns the four bytes of the campaign that change-sets carry.
func (id *Identity) CampaignTag() uint32 { return binary.BigEndian.Uint32(id.Campaign[:]) }

// Public returns the site's public key.
func (id *Identity) Public() ed25519.PublicKey { return id.Key.Public().(ed25519.PublicKey) }

// Log is an open log.
type Log struct {
	store      *schema.Store
	projectors []Projector
	self       Identity
}

// Start is what a new store is made from.
type Start struct {
	Campaign     uuid.UUID // of the card it joins by; zero for a new campaign, which it founds
	CampaignName string
	Code, Name   string
	Now          time.Time
	Rand         io.Reader // for the site's key
}

// Init makes a fresh store a site of a campaign: it draws the site's key and
// writes the change-set that introduces the site.
func Init(ctx context.Context, store *schema.Store, start Start, projectors ...Projector) (*Log, error) {
	public, private, err := ed25519.GenerateKey(start.Rand)
	if err != nil {
		return nil, err
	}
	if start.Campaign == uuid.Nil {
		start.Campaign = CampaignOf(public)
	}
	log := &Log{store: store, projectors: append(builtin(), projectors...), self: Identity{
		Campaign: start.Campaign, CampaignName: start.CampaignName, Site: SiteIDOf(public),
		Code: start.Code, Name: start.Name, Key: private,
	}}
	err = store.Update(ctx, func(raw *schema.Tx) error {
		tx := log.begin(raw)
		if err := tx.writeIdentity(); err != nil {
			return err
		}
		if err := tx.createProjections(); err != nil {
			return err
		}
		if err := tx.addSite(log.self.Site, public, start.Code); err != nil {
			return err
		}
		tx.author = Author{Now: start.Now}
		tx.Add(change.New(kind.SiteAdd, change.Bytes(public), change.Text(start.Code), change.Text(start.Name)))
		_, err := tx.flush()
		return err
	})
	if err != nil {
		return nil, err
	}
	return log, nil
}

// Open opens the log of a store. Where this program's projections differ from
// those the store was written with, it rebuilds them from the log.
func Open(ctx context.Context, store *schema.Store, projectors ...Projector) (*Log, error) {
	log := &Log{store: store, projectors: append(builtin(), projectors...)}
	current := false
	err := store.View(ctx, func(raw *schema.Tx) error {
		tx := log.begin(raw)
		if err := tx.readIdentity(); err != nil {
			return err
		}
		signature, err := tx.metaText("projections")
		current = signature == log.projectionSignature()
		return err
	})
	if err != nil {
		return nil, err
	}
	if !current {
		if err := log.Rebuild(ctx); err != nil {
			return nil, fmt.Errorf("rebuild for this version of pulk: %w", err)
		}
	}
	return log, nil
}

// ErrNotInitialised is returned by Open for a store that Init has not finished.
var ErrNotInitialised = errors.New("the store belongs to no campaign yet")

// Self returns the identity of the store.
func (l *Log) Self() Identity { return l.self }

// Store returns the store under the log.
func (l *Log) Store() *schema.Store { return l.store }

// View runs fn on one state of the log; fn may not write.
func (l *Log) View(ctx context.Context, fn func(*Tx) error) error {
	return l.store.View(ctx, func(raw *schema.Tx) error { return fn(l.begin(raw)) })
}

// update runs fn in a transaction that may write. A new epoch that it took counts
// only if the transaction does.
func (l *Log) update(ctx context.Context, fn func(*Tx) error) error {
	epoch := l.self.Epoch
	err := l.store.Update(ctx, func(raw *schema.Tx) error { return fn(l.begin(raw)) })
	if err != nil {
		l.self.Epoch = epoch
	}
	return err
}

// Author says who writes a change-set, and when.
type Author struct {
	Person clock.Dot // none: the site itself
	Now    time.Time
}

// Receipt tells what a command wrote, of several change-sets the first. A zero Seq
// means nothing.
type Receipt struct {
	Lane clock.Lane
	Seq  uint64
	At   clock.Stamp
	// Renewed tells that the store file turned out to be a copy, so that it went
	// on under a new epoch.
	Renewed bool
}

// Dot returns the name of the first change that was written.
func (r Receipt) Dot() clock.Dot { return clock.Dot{Lane: r.Lane, Seq: r.Seq} }

// Write runs fn, which reads state and adds changes, and stores what it added as
// one change-set, or as several where fn calls [Tx.Cut]. Either all of it is on disk when Write returns nil, or nothing.
func (l *Log) Write(ctx context.Context, author Author, fn func(*Tx) error) (Receipt, error) {
	var receipt Receipt
	err := l.update(ctx, func(tx *Tx) error {
		tx.author = author
		renewed, err := tx.renewIfCopied()
		if err != nil {
			return err
		}
		if err := fn(tx); err != nil {
			return err
		}
		receipt, err = tx.flush()
		if tx.cut.Seq > 0 {
			receipt = tx.cut
		}
		receipt.Renewed = renewed
		return err
	})
	if err != nil {
		return Receipt{}, err
	}
	return receipt, nil
}

// Local runs fn on a transaction of the store that writes no change-set: for what a
// store keeps for itself, such as whom it trusts.
func (l *Log) Local(raw *schema.Tx, fn func(*Tx) error) error { return fn(l.begin(raw)) }

// Renew starts a new epoch: the site numbers its change-sets anew, in new lanes.
// It is needed on a store that was copied, or restored from an older copy.
func (l *Log) Renew(ctx context.Context) (epoch uint16, err error) {
	err = l.update(ctx, func(tx *Tx) error {
		if err := tx.renew(); err != nil {
			return err
		}
		epoch = l.self.Epoch
		return nil
	})
	return epoch, err
}
