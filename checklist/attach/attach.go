// Package attach keeps files, photos and documents above all, beside the work that
// they are about.
//
// That a file is attached is a change like any other: who, to what, its name, size
// and SHA-256. A preview of at most [MaxPreviewBytes] follows by itself, in bulk.
// The content is no change: it lies in a table of its own, travels as a parcel only
// to a site that wants it, and may be dropped to make room. See
// docs/decisions/attachments.md for the reasons.
//
// Start at [Add], [List], [Want] and [Take].
package attach

import (
	"fmt"
	"path/filepath"
	"strings"
	"unicode"

	"pulk/schema/fault"
	"pulk/schema/kind"
	"pulk/sync/change"
	"pulk/sync/changelog"
	"pulk/sync/clock"
)

// NoStep is the step of an attachment to an entity as a whole.
const NoStep = -1

// Attachment is what is known of a file.
type Attachment struct {
	ID        clock.Dot
	Entity    clock.Dot // a run, a nonconformance, a unit
	Step      int       // place in the run's revision, or NoStep
	Name      string
	MediaType string
	SizeBytes int64
	Hash      Hash
	Note      string
	At        clock.Stamp
	Person    clock.Dot

	PreviewBytes int      // 0: it has none
	PreviewHere  bool     // it has one, and it is here
	Here         bool     // the content is here
	Wanted       []string // codes of the sites that wait for the content, in order

	previewHash string
}

// File is a file that is to be attached.
type File struct {
	Name    string // a path's folders are left out
	Content Source
	Preview []byte // as [Preview] makes it, or nil
	Note    string
}

// Add attaches a file to an entity and takes in its content. Of what it returns only
// the id, the name, the type, the size and the hash are filled in.
func Add(tx *changelog.Tx, entity clock.Dot, step int, file File) (*Attachment, error) {
	name, err := cleanName(file.Name)
	switch {
	case err != nil:
		return nil, err
	case entity.IsZero():
		return nil, fault.Misuse("name it with --to RUN, NC or UNIT", "an attachment is about something")
	case len(file.Preview) > MaxPreviewBytes:
		return nil, fmt.Errorf("the preview has %d bytes, at most %d are sent", len(file.Preview), MaxPreviewBytes)
	}
	s, err := store(tx, file.Content)
	if err != nil {
		return nil, fmt.Errorf("%s: %w", name, err)
	}
	id := tx.Add(change.New(kind.AttachAdd, change.Ref(entity), change.Num(int64(step+1)), change.Text(name), change.Text(s.mediaType),
		change.Num(s.size), change.Bytes(s.hash[:]), change.Num(int64(len(file.Preview))), change.Bytes(previewReference(file.Preview)), change.Text(file.Note)))
	if err := settleWishes(tx, s.hash); err != nil {
		return nil, err
	}
	if len(file.Preview) > 0 {
		// It goes in bulk, behind whatever must be home first.
		if err := tx.Cut(); err != nil {
			return nil, err
		}
		tx.SetClass(clock.Bulk)
		tx.Add(change.New(kind.AttachPreview, change.Ref(id), change.Text(previewType), change.Bytes(file.Preview)))
	}
	return &Attachment{ID: id, Entity: entity, Step: step, Name: name, MediaType: s.mediaType, SizeBytes: s.size, Hash: s.hash, Note: file.Note}, nil
}

// cleanName returns the last part of a path, fit to be shown and to be saved under.
func cleanName(path string) (string, error) {
	name := filepath.Base(strings.ReplaceAll(path, "\\", "/"))
	name = strings.Map(func(r rune) rune {
		if unicode.IsControl(r) || r == unicode.ReplacementChar {
			return -1
		}
		return r
	}, strings.ToValidUTF8(name, ""))
	if name == "" || name == "." || name == "/" || len(name) > maxNameBytes {
		return "", fault.Misuse(fmt.Sprintf("give the file a name of 1 to %d bytes", maxNameBytes), "%q is no name for an attachment", path)
	}
	return name, nil
}

const maxNameBytes = 255

// Find returns one attachment by its id.
func Find(tx *changelog.Tx, id clock.Dot) (*Attachment, error) {
	list, err := attachments(tx, "WHERE dot = ?", id.Key())
	if err != nil {
		return nil, err
	}
	if len(list) == 0 {
		return nil, fault.Hint("see: pulk attach list; it may come with a later bundle", "there is no attachment %s here", tx.Name(id))
	}
	return list[0], nil
}

// List returns all attachments in the order of their ids.
func List(tx *changelog.Tx) ([]*Attachment, error) { return attachments(tx, "") }

// Of returns the attachments of an entity.
func Of(tx *changelog.Tx, entity clock.Dot) ([]*Attachment, error) {
	return attachments(tx, "WHERE entity = ?", entity.Key())
}

// Want says that a site waits for the content of an attachment. It is refused where
// the content is at that site as far as this store can know.
func Want(tx *changelog.Tx, a *Attachment, site changelog.Site) error {
	if a.Here && site.ID == tx.Self().Site {
		return fault.Hint("nothing to do; to get it as a file: pulk attach save "+tx.Name(a.ID)+" -o FILE", "the content of %s is here", tx.Name(a.ID))
	}
	if a.wants(site.Code) {
		return fault.Hint("nothing to do", "%s waits for %s already", site.Code, tx.Name(a.ID))
	}
	tx.AssignText(a.ID, kind.FieldAttachWanted, site.Code, kind.AttachWanted, "")
	return nil
}

// Unwant says that a site waits no longer.
func Unwant(tx *changelog.Tx, a *Attachment, site changelog.Site) error {
	if !a.wants(site.Code) {
		return fault.Hint("nothing to do; see: pulk attach show "+tx.Name(a.ID), "%s does not wait for %s", site.Code, tx.Name(a.ID))
	}
	tx.AssignText(a.ID, kind.FieldAttachWanted, site.Code, "", "")
	return nil
}

func (a *Attachment) wants(site string) bool {
	for _, code := range a.Wanted {
		if code == site {
			return true
		}
	}
	return false
}

// settleWishes withdraws what this site said that it waits for, where it has come.
func settleWishes(tx *changelog.Tx, hash Hash) error {
	list, err := attachments(tx, "WHERE hash = ?", hash[:])
	for _, a := range list {
		if a.wants(tx.Self().Code) {
			tx.AssignText(a.ID, kind.FieldAttachWanted, tx.Self().Code, "", "")
		}
	}
	return err
}

// Outgoing returns what a site waits for and that is here: a content each once, the
// smallest first, so that one large film holds up no photo. With all it is whatever
// is here, wanted or not, but what that site attached itself.
func Outgoing(tx *changelog.Tx, to changelog.Site, all bool) ([]*Attachment, error) {
	list, err := attachments(tx, "WHERE hash IN (SELECT hash FROM attachment_content)")
	if err != nil {
		return nil, err
	}
	return outgoing(list, to, all), nil
}

// ParcelBytes returns the size of the parcel with the content.
func (a *Attachment) ParcelBytes() int {
	return len((Header{a.Hash, a.SizeBytes}).Append(nil)) + int(a.SizeBytes)
}

// Slot names the content in 32 letters and digits, for carriers that keep one parcel
// under a name.
func (a *Attachment) Slot() string { return fmt.Sprintf("a%x", a.Hash[:15]) }
