package attach

import (
	"cmp"
	"crypto/sha256"
	"slices"

	"pulk/schema/kind"
	"pulk/sync/changelog"
	"pulk/sync/clock"
)

// Projection keeps the table of attachments. Their contents are in the store's own
// tables (schema/sql/4_attach.sql), as they do not follow from the log.
type Projection struct{}

// Name implements [changelog.Projector].
func (Projection) Name() string { return "attach" }

// Schema implements [changelog.Projector].
func (Projection) Schema() string {
	return `
-- attachment is every file that was attached; the entity may not be here yet.
CREATE TABLE attachment (
  dot           BLOB PRIMARY KEY,
  entity        BLOB,             -- dot
  step          INTEGER NOT NULL, -- place in the run's revision, or -1
  name          TEXT NOT NULL,
  media_type    TEXT NOT NULL,
  size_bytes    INTEGER NOT NULL,
  hash          BLOB NOT NULL,    -- SHA-256 of the content
  preview_bytes INTEGER NOT NULL, -- 0: there is none
  preview_hash  BLOB NOT NULL,    -- start of its SHA-256
  note          TEXT NOT NULL
) STRICT, WITHOUT ROWID;
CREATE INDEX attachment_entity ON attachment (entity);
CREATE INDEX attachment_hash ON attachment (hash);

-- attachment_preview lists the previews that came, with the start of the SHA-256 of
-- each: only the one that its attachment told of is shown.
CREATE TABLE attachment_preview (
  attachment BLOB NOT NULL, -- dot
  dot        BLOB NOT NULL,
  hash       BLOB NOT NULL,
  PRIMARY KEY (attachment, dot)
) STRICT, WITHOUT ROWID;
`
}

// Tables implements [changelog.Projector].
func (Projection) Tables() []string { return []string{"attachment", "attachment_preview"} }

// Apply implements [changelog.Projector].
func (Projection) Apply(tx *changelog.Tx, e *changelog.Entry) error {
	v := e.Values
	switch e.Kind {
	case kind.AttachAdd:
		return tx.Exec(`INSERT INTO attachment (dot, entity, step, name, media_type, size_bytes, hash, preview_bytes, preview_hash, note)
			VALUES (?, ?, ?, ?, ?, ?, ?, ?, ?, ?)`, e.Dot.Key(), v[0].Ref.Key(), v[1].Num-1, v[2].Text, v[3].Text, v[4].Num,
			[]byte(v[5].Text), v[6].Num, []byte(v[7].Text), v[8].Text)
	case kind.AttachPreview:
		if v[0].Ref.IsZero() {
			return nil
		}
		return tx.Exec("INSERT INTO attachment_preview (attachment, dot, hash) VALUES (?, ?, ?)",
			v[0].Ref.Key(), e.Dot.Key(), previewReference([]byte(v[2].Text)))
	}
	return nil
}

// Describe implements [changelog.Describer].
func (Projection) Describe(tx *changelog.Tx, id clock.Dot) (string, error) {
	var name string
	found, err := tx.Row("SELECT name FROM attachment WHERE dot = ?", []any{id.Key()}, &name)
	if !found || err != nil {
		return "", err
	}
	return "attachment " + tx.Name(id) + " (" + name + ")", nil
}

// attachments returns those that a condition selects, in the order of their ids.
func attachments(tx *changelog.Tx, where string, args ...any) ([]*Attachment, error) {
	var list []*Attachment
	err := tx.Each(`SELECT dot, entity, step, name, media_type, size_bytes, hash, preview_bytes, preview_hash, note,
			EXISTS (SELECT 1 FROM attachment_content AS c WHERE c.hash = attachment.hash AND c.size_bytes = attachment.size_bytes)
		FROM attachment `+where+" ORDER BY dot", args, func(scan func(...any) error) error {
		a := &Attachment{}
		var dot, entity, hash, preview []byte
		err := scan(&dot, &entity, &a.Step, &a.Name, &a.MediaType, &a.SizeBytes, &hash, &a.PreviewBytes, &preview, &a.Note, &a.Here)
		if err != nil {
			return err
		}
		copy(a.Hash[:], hash) // of another length it is the hash of nothing, and nothing is found
		a.previewHash = string(preview)
		if a.ID, err = clock.DotFromKey(dot); err != nil {
			return err
		}
		a.Entity, err = clock.DotFromKey(entity)
		list = append(list, a)
		return err
	})
	if err != nil {
		return nil, err
	}
	for _, a := range list {
		if err := a.fill(tx); err != nil {
			return nil, err
		}
	}
	return list, nil
}

// fill reads what else is known of an attachment.
func (a *Attachment) fill(tx *changelog.Tx) error {
	info, err := tx.Info(a.ID)
	if err != nil {
		return err
	}
	a.At, a.Person = info.At, info.Person
	preview, err := a.preview(tx)
	if err != nil {
		return err
	}
	a.PreviewHere = !preview.IsZero()
	wishes, err := tx.Fields(a.ID)
	if err != nil {
		return err
	}
	for _, r := range wishes {
		if r.Field != kind.FieldAttachWanted {
			continue
		}
		value, ok, err := tx.Stands(r)
		if err != nil {
			return err
		}
		if ok && value.Text == kind.AttachWanted {
			a.Wanted = append(a.Wanted, r.Key)
		}
	}
	slices.Sort(a.Wanted)
	return nil
}

// preview returns the change that holds the preview; none where it has none, or
// where it is not here yet.
func (a *Attachment) preview(tx *changelog.Tx) (clock.Dot, error) {
	if a.PreviewBytes == 0 {
		return clock.Dot{}, nil
	}
	dots, err := tx.Dots("SELECT dot FROM attachment_preview WHERE attachment = ? AND hash = ? ORDER BY dot LIMIT 1", a.ID.Key(), []byte(a.previewHash))
	if err != nil || len(dots) == 0 {
		return clock.Dot{}, err
	}
	return dots[0], nil
}

// PreviewOf returns the preview of an attachment, a JPEG; nil where it has none, or
// where it is not here yet.
func PreviewOf(tx *changelog.Tx, a *Attachment) ([]byte, error) {
	dot, err := a.preview(tx)
	if err != nil || dot.IsZero() {
		return nil, err
	}
	e, err := tx.Entry(dot)
	if err != nil {
		return nil, err
	}
	content := []byte(e.Values[2].Text)
	if len(content) > MaxPreviewBytes || e.Values[1].Text != previewType {
		return nil, nil // a newer program's; not for this one to show
	}
	return content, nil
}

// previewReference is how an attachment names its preview.
func previewReference(preview []byte) []byte {
	if len(preview) == 0 {
		return nil
	}
	digest := sha256.Sum256(preview)
	return digest[:16]
}

// outgoing chooses among contents that are here what goes to a site.
func outgoing(list []*Attachment, to changelog.Site, all bool) []*Attachment {
	seen := map[Hash]bool{}
	var chosen []*Attachment
	for _, a := range list {
		if a.Here && !seen[a.Hash] && (a.wants(to.Code) || all && a.ID.Site != to.ID) {
			seen[a.Hash] = true
			chosen = append(chosen, a)
		}
	}
	slices.SortStableFunc(chosen, func(x, y *Attachment) int { return cmp.Compare(x.SizeBytes, y.SizeBytes) })
	return chosen
}
