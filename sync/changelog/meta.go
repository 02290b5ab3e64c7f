package changelog

import (
	"crypto/ed25519"
	"crypto/sha256"
	"encoding/binary"
	"encoding/hex"
	"fmt"
	"strings"

	"github.com/google/uuid"

	"pulk/schema/kind"
	"pulk/sync/change"
	"pulk/sync/clock"
)

func (tx *Tx) metaText(name string) (string, error) {
	var text string
	_, err := tx.Row("SELECT CAST(value AS TEXT) FROM meta WHERE name = ?", []any{name}, &text)
	return text, err
}

func (tx *Tx) metaInt(name string) (int64, error) {
	var n int64
	_, err := tx.Row("SELECT CAST(value AS INTEGER) FROM meta WHERE name = ?", []any{name}, &n)
	return n, err
}

func (tx *Tx) setMeta(name string, value any) error {
	return tx.Exec("INSERT INTO meta (name, value) VALUES (?, ?) ON CONFLICT (name) DO UPDATE SET value = excluded.value", name, value)
}

func (tx *Tx) writeIdentity() error {
	id := &tx.log.self
	for _, row := range []struct {
		name  string
		value any
	}{
		{"campaign", id.Campaign.String()}, {"campaign_name", id.CampaignName}, {"code", id.Code}, {"name", id.Name},
		{"site_seed", hex.EncodeToString(id.Key.Seed())}, {"epoch", int64(id.Epoch)},
	} {
		if err := tx.setMeta(row.name, row.value); err != nil {
			return err
		}
	}
	return tx.rememberFile()
}

func (tx *Tx) readIdentity() error {
	id := &tx.log.self
	texts := map[string]string{}
	err := tx.Each("SELECT name, CAST(value AS TEXT) FROM meta", nil, func(scan func(...any) error) error {
		var name, value string
		err := scan(&name, &value)
		texts[name] = value
		return err
	})
	if err != nil {
		return err
	}
	if texts["campaign"] == "" {
		return ErrNotInitialised
	}
	if id.Campaign, err = uuid.Parse(texts["campaign"]); err != nil {
		return err
	}
	seed, err := hex.DecodeString(texts["site_seed"])
	if err != nil || len(seed) != ed25519.SeedSize {
		return fmt.Errorf("the site's key in the store is damaged")
	}
	id.Key = ed25519.NewKeyFromSeed(seed)
	id.Site = SiteIDOf(id.Public())
	id.CampaignName, id.Code, id.Name = texts["campaign_name"], texts["code"], texts["name"]
	epoch, err := tx.metaInt("epoch")
	id.Epoch = uint16(epoch)
	return err
}

// SiteIDOf returns the id of the site with a public key.
func SiteIDOf(key ed25519.PublicKey) clock.SiteID {
	digest := sha256.Sum256(key)
	return clock.SiteID(binary.BigEndian.Uint32(digest[:]))
}

func (tx *Tx) lastStamp() (clock.Stamp, error) {
	n, err := tx.metaInt("last_stamp")
	return clock.Stamp(n), err
}

func (tx *Tx) setLastStamp(stamp clock.Stamp) error { return tx.setMeta("last_stamp", int64(stamp)) }

// projectionSignature changes whenever the projections must be rebuilt for this
// program: its tables, or the kinds that it knows.
func (l *Log) projectionSignature() string {
	var text strings.Builder
	for _, projector := range l.projectors {
		fmt.Fprintf(&text, "%s\n%s\n", projector.Name(), projector.Schema())
	}
	for _, k := range kind.All() {
		fmt.Fprintf(&text, "%d %v %v\n", k.ID, k.Columns, k.Sets)
	}
	digest := sha256.Sum256([]byte(text.String()))
	return hex.EncodeToString(digest[:16])
}

// Info tells of a change-set that is here: when and by whom it was written, and
// when it came.
type Info struct {
	At     clock.Stamp
	Person clock.Dot
	TookMS int64 // Unix ms, by this site's clock
}

// Info returns what is known of the change-set of a change.
func (tx *Tx) Info(dot clock.Dot) (Info, error) {
	l, set, took, err := tx.logged(dot)
	if err != nil {
		return Info{}, err
	}
	ctx, err := tx.Context(dot)
	if err != nil {
		return Info{}, err
	}
	person, err := tx.fromWire(l, ctx.Others, set.Person)
	return Info{At: set.At, Person: person, TookMS: took}, err
}

// Entry returns a change that is here, as projectors see it. Kind is nil where
// this program does not know it.
func (tx *Tx) Entry(dot clock.Dot) (*Entry, error) {
	l, set, _, err := tx.logged(dot)
	if err != nil {
		return nil, err
	}
	if int(dot.Index) >= len(set.Changes) {
		return nil, fmt.Errorf("change-set %s has %d changes", dot, len(set.Changes))
	}
	ctx, err := tx.Context(dot)
	if err != nil {
		return nil, err
	}
	c := set.Changes[dot.Index]
	entry := &Entry{Dot: dot, At: set.At, Kind: kind.Lookup(c.Kind)}
	if entry.Person, err = tx.fromWire(l, ctx.Others, set.Person); err != nil || entry.Kind == nil {
		return entry, err
	}
	entry.Values, err = tx.localValues(l, ctx.Others, entry.Kind, c.Values)
	return entry, err
}

// HashOf returns the chain hash of the change-set of a change that is here. It
// names its content, and that of all before it in its lane.
func (tx *Tx) HashOf(dot clock.Dot) (change.Hash, error) {
	table, err := tx.laneTable()
	if err != nil {
		return change.Hash{}, err
	}
	l := table.byName[dot.Lane]
	if l == nil || dot.Seq < l.forkSeq || dot.Seq > l.tip {
		return change.Hash{}, fmt.Errorf("change %s is not here", dot)
	}
	return tx.hashAt(l, dot.Seq)
}

func (tx *Tx) logged(dot clock.Dot) (*lane, *change.Set, int64, error) {
	table, err := tx.laneTable()
	if err != nil {
		return nil, nil, 0, err
	}
	l := table.byName[dot.Lane]
	if l == nil {
		return nil, nil, 0, fmt.Errorf("change %s is not here", dot)
	}
	var bytes []byte
	var took int64
	found, err := tx.Row("SELECT bytes, took FROM changeset WHERE lane = ? AND seq = ?", []any{l.id, dot.Seq}, &bytes, &took)
	if err != nil {
		return nil, nil, 0, err
	}
	if !found {
		return nil, nil, 0, fmt.Errorf("change %s is not here", dot)
	}
	set, err := change.Parse(l.name, dot.Seq, bytes)
	return l, set, took, err
}

// EachSet calls fn for every change-set that is here, lane by lane, in order.
func (tx *Tx) EachSet(fn func(lane clock.Lane, set *change.Set, tookMS int64) error) error {
	table, err := tx.laneTable()
	if err != nil {
		return err
	}
	for _, l := range table.all() {
		err := tx.Each("SELECT seq, bytes, took FROM changeset WHERE lane = ? ORDER BY seq", []any{l.id}, func(scan func(...any) error) error {
			var seq uint64
			var bytes []byte
			var took int64
			if err := scan(&seq, &bytes, &took); err != nil {
				return err
			}
			set, err := change.Parse(l.name, seq, bytes)
			if err != nil {
				return fmt.Errorf("lane %s number %d: %w", l.name, seq, err)
			}
			return fn(l.name, set, took)
		})
		if err != nil {
			return err
		}
	}
	return nil
}
