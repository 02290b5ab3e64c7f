package procedure

import (
	"crypto/sha256"
	"errors"
	"fmt"
	"slices"
	"unicode/utf8"

	"pulk/schema/fault"
	"pulk/schema/kind"
	"pulk/sync/change"
	"pulk/sync/changelog"
	"pulk/sync/clock"
)

// Projection keeps the tables of revisions.
type Projection struct{}

// Name implements [changelog.Projector].
func (Projection) Name() string { return "procedure" }

// Schema implements [changelog.Projector].
func (Projection) Schema() string {
	return `
-- revision is every revision of every procedure, as it travelled: the whole text,
-- or a delta against the text of its base.
CREATE TABLE revision (
  dot       BLOB PRIMARY KEY,
  procedure TEXT NOT NULL, -- id in the file
  revision  TEXT NOT NULL, -- as in the file
  title     TEXT NOT NULL,
  base      BLOB,          -- dot of the revision that body is a delta against
  body      BLOB NOT NULL,
  digest    BLOB NOT NULL  -- SHA-256 of the whole text
) STRICT, WITHOUT ROWID;
CREATE INDEX revision_procedure ON revision (procedure, revision);

-- revision_withdrawal says that a revision must not be used any more.
CREATE TABLE revision_withdrawal (
  dot      BLOB PRIMARY KEY,
  revision BLOB NOT NULL,
  why      TEXT NOT NULL
) STRICT, WITHOUT ROWID;
CREATE INDEX revision_withdrawal_revision ON revision_withdrawal (revision);
`
}

// Tables implements [changelog.Projector].
func (Projection) Tables() []string { return []string{"revision", "revision_withdrawal"} }

// Apply implements [changelog.Projector].
func (Projection) Apply(tx *changelog.Tx, e *changelog.Entry) error {
	v := e.Values
	switch e.Kind {
	case kind.RevisionImport:
		return tx.Exec("INSERT INTO revision (dot, procedure, revision, title, base, body, digest) VALUES (?, ?, ?, ?, ?, ?, ?)",
			e.Dot.Key(), v[0].Text, v[1].Text, v[2].Text, v[3].Ref.Key(), []byte(v[4].Text), []byte(v[5].Text))
	case kind.RevisionWithdraw:
		if v[0].Ref.IsZero() {
			return nil
		}
		return tx.Exec("INSERT INTO revision_withdrawal (dot, revision, why) VALUES (?, ?, ?)", e.Dot.Key(), v[0].Ref.Key(), v[1].Text)
	}
	return nil
}

// Describe implements [changelog.Describer].
func (Projection) Describe(tx *changelog.Tx, id clock.Dot) (string, error) {
	var name, revision string
	found, err := tx.Row("SELECT procedure, revision FROM revision WHERE dot = ?", []any{id.Key()}, &name, &revision)
	if !found || err != nil {
		return "", err
	}
	return fmt.Sprintf("procedure %s revision %s", name, revision), nil
}

// Revision is a revision in the store.
type Revision struct {
	ID        clock.Dot
	Procedure string
	Revision  string
	Title     string
	Digest    [sha256.Size]byte // of the text
	Withdrawn []Withdrawal
}

// Withdrawal says that a revision must not be used any more.
type Withdrawal struct {
	Dot clock.Dot
	Why string
}

// Revisions returns all revisions, by procedure, then in the order in which they
// were imported.
func Revisions(tx *changelog.Tx) ([]Revision, error) {
	return revisions(tx, "", nil)
}

// RevisionsOf returns the revisions of a procedure, in the order in which they were
// imported.
func RevisionsOf(tx *changelog.Tx, id string) ([]Revision, error) {
	return revisions(tx, "WHERE procedure = ?", []any{id})
}

func revisions(tx *changelog.Tx, where string, args []any) ([]Revision, error) {
	var list []Revision
	err := tx.Each("SELECT dot, procedure, revision, title, digest FROM revision "+where+" ORDER BY procedure, dot", args, func(scan func(...any) error) error {
		var r Revision
		var key, digest []byte
		if err := scan(&key, &r.Procedure, &r.Revision, &r.Title, &digest); err != nil {
			return err
		}
		copy(r.Digest[:], digest)
		var err error
		r.ID, err = clock.DotFromKey(key)
		list = append(list, r)
		return err
	})
	if err != nil {
		return nil, err
	}
	for i := range list {
		if list[i].Withdrawn, err = withdrawals(tx, list[i].ID); err != nil {
			return nil, err
		}
	}
	return sortByImport(tx, list)
}

// sortByImport orders the revisions of a procedure by the time of their import.
func sortByImport(tx *changelog.Tx, list []Revision) ([]Revision, error) {
	at := map[clock.Dot]clock.Stamp{}
	for _, r := range list {
		info, err := tx.Info(r.ID)
		if err != nil {
			return nil, err
		}
		at[r.ID] = info.At
	}
	slices.SortStableFunc(list, func(a, b Revision) int {
		if a.Procedure != b.Procedure || at[a.ID] == at[b.ID] {
			return 0
		}
		if at[a.ID] < at[b.ID] {
			return -1
		}
		return 1
	})
	return list, nil
}

func withdrawals(tx *changelog.Tx, revision clock.Dot) ([]Withdrawal, error) {
	var list []Withdrawal
	err := tx.Each("SELECT dot, why FROM revision_withdrawal WHERE revision = ? ORDER BY dot", []any{revision.Key()}, func(scan func(...any) error) error {
		var w Withdrawal
		var key []byte
		if err := scan(&key, &w.Why); err != nil {
			return err
		}
		var err error
		w.Dot, err = clock.DotFromKey(key)
		list = append(list, w)
		return err
	})
	return list, err
}

// ByID returns one revision; false where it is not here yet.
func ByID(tx *changelog.Tx, id clock.Dot) (Revision, bool, error) {
	list, err := revisions(tx, "WHERE dot = ?", []any{id.Key()})
	if len(list) == 0 || err != nil {
		return Revision{}, false, err
	}
	return list[0], true, nil
}

// Find returns a revision by the name that people use: ID for the latest one that
// is not withdrawn, or ID@REVISION.
func Find(tx *changelog.Tx, name string) (Revision, error) {
	id, wanted, pinned := cutRevision(name)
	list, err := revisions(tx, "WHERE procedure = ?", []any{id})
	if err != nil {
		return Revision{}, err
	}
	if len(list) == 0 {
		return Revision{}, fault.Hint("see: pulk procedure list", "no procedure %q is here", id)
	}
	var matches []Revision
	for _, r := range list {
		if pinned && r.Revision == wanted || !pinned && len(r.Withdrawn) == 0 {
			matches = append(matches, r)
		}
	}
	switch {
	case len(matches) == 0 && pinned:
		return Revision{}, fault.Hint("see: pulk procedure list", "procedure %s has no revision %q here", id, wanted)
	case len(matches) == 0:
		return Revision{}, fault.Refuse("ask home for a new revision", "all revisions of %s here were withdrawn", id)
	}
	last := matches[len(matches)-1]
	for _, r := range matches {
		if r.Revision == last.Revision && r.Digest != last.Digest {
			return Revision{}, fault.Hint("withdraw one of them: pulk procedure withdraw ID", "two different texts of %s call themselves revision %s (%s and %s)", id, r.Revision, tx.Name(r.ID), tx.Name(last.ID))
		}
	}
	return last, nil
}

func cutRevision(name string) (id, revision string, pinned bool) {
	for i := len(name) - 1; i >= 0; i-- {
		if name[i] == '@' {
			return name[:i], name[i+1:], true
		}
	}
	return name, "", false
}

// maxBases bounds how many deltas stand on each other.
const maxBases = 64

// Text returns the text of a revision; false where it, or a revision that it is a
// delta against, is not here yet.
func Text(tx *changelog.Tx, id clock.Dot) ([]byte, bool, error) {
	return text(tx, id, 0)
}

func text(tx *changelog.Tx, id clock.Dot, depth int) ([]byte, bool, error) {
	var base, body, digest []byte
	found, err := tx.Row("SELECT base, body, digest FROM revision WHERE dot = ?", []any{id.Key()}, &base, &body, &digest)
	if err != nil || !found || depth > maxBases {
		return nil, false, err
	}
	if len(base) > 0 {
		baseID, err := clock.DotFromKey(base)
		if err != nil {
			return nil, false, err
		}
		before, found, err := text(tx, baseID, depth+1)
		if err != nil || !found {
			return nil, false, err
		}
		delta, err := fromText(body)
		if err == nil {
			body, err = Patch(before, delta)
		}
		if err != nil {
			return nil, false, fmt.Errorf("revision %s: %w", tx.Name(id), err)
		}
	}
	if sum := sha256.Sum256(body); !slices.Equal(sum[:], digest) {
		return nil, false, fmt.Errorf("revision %s: its text does not fit its digest", tx.Name(id))
	}
	return body, true, nil
}

// asText returns bytes as UTF-8, as column body is text and a delta is not: each
// byte as the code point with its number.
func asText(delta []byte) []byte {
	text := make([]byte, 0, len(delta)+16)
	for _, b := range delta {
		text = utf8.AppendRune(text, rune(b))
	}
	return text
}

// fromText is the inverse of asText.
func fromText(text []byte) ([]byte, error) {
	delta := make([]byte, 0, len(text))
	for _, r := range string(text) {
		if r > 0xff {
			return nil, errors.New("its delta is damaged; ask the sender for the whole file")
		}
		delta = append(delta, byte(r))
	}
	return delta, nil
}

// Load returns a revision's procedure; nil where its text is not here yet.
func Load(tx *changelog.Tx, id clock.Dot) (*Procedure, error) {
	source, found, err := Text(tx, id)
	if err != nil || !found {
		return nil, err
	}
	p, problems := (&reader{file: tx.Name(id), stored: true}).read(source)
	if HasErrors(problems) {
		return nil, fmt.Errorf("revision %s in the store: %s", tx.Name(id), problems[0])
	}
	return p, nil
}

// Import adds a revision. A text that is here already is not added again: the
// second result is false then. A number that is here with another text is refused,
// as revisions never change.
func Import(tx *changelog.Tx, p *Procedure, source []byte) (clock.Dot, bool, error) {
	list, err := revisions(tx, "WHERE procedure = ?", []any{p.ID})
	if err != nil {
		return clock.Dot{}, false, err
	}
	digest := sha256.Sum256(source)
	for _, r := range list {
		if r.Digest == digest {
			return r.ID, false, nil
		}
		if r.Revision == p.Revision {
			return clock.Dot{}, false, fault.Refuse("give the changed text a new revision", "revision %s of %s is here with another text; a revision never changes", p.Revision, p.ID)
		}
	}
	base, body := clock.Dot{}, source
	if len(list) > 0 {
		last := list[len(list)-1].ID
		before, found, err := Text(tx, last)
		if err != nil {
			return clock.Dot{}, false, err
		}
		if delta := asText(Delta(before, source)); found && len(delta) < len(source) {
			base, body = last, delta
		}
	}
	id := tx.Add(change.New(kind.RevisionImport, change.Text(p.ID), change.Text(p.Revision), change.Text(p.Title),
		change.Ref(base), change.Bytes(body), change.Bytes(digest[:])))
	return id, true, nil
}

// Withdraw says that a revision must not be used any more.
func Withdraw(tx *changelog.Tx, r Revision, why string) error {
	if why == "" {
		return fault.Misuse("give it with --why", "withdrawing a revision needs a reason")
	}
	if len(r.Withdrawn) > 0 {
		return fault.Hint("see: pulk procedure list", "%s revision %s is withdrawn already", r.Procedure, r.Revision)
	}
	tx.SetClass(clock.Expedited)
	tx.Add(change.New(kind.RevisionWithdraw, change.Ref(r.ID), change.Text(why)))
	return nil
}
