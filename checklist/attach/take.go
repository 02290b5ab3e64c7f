package attach

import (
	"bufio"
	"context"
	"errors"
	"fmt"
	"io"
	"time"

	"pulk/schema/fault"
	"pulk/sync/changelog"
)

// ErrUnknown is in the error of Take for a content that no attachment here names:
// the bundle that tells of it must be taken first.
var ErrUnknown = errors.New("no attachment that is known here has this content")

// Taken tells of a parcel that was taken.
type Taken struct {
	Attachments []*Attachment // those that have the content
	Already     bool          // it was here before
}

// Take takes in a parcel. It is taken whole, or refused whole: its bytes must have
// the hash and the size that it says, and that a signed change names. Where this
// site waited for the content, that is withdrawn in the same transaction.
func Take(ctx context.Context, log *changelog.Log, r io.Reader, now time.Time) (*Taken, error) {
	taken := &Taken{}
	_, err := log.Write(ctx, changelog.Author{Now: now}, func(tx *changelog.Tx) error { return take(tx, r, taken) })
	if err != nil {
		return nil, err
	}
	return taken, nil
}

func take(tx *changelog.Tx, r io.Reader, taken *Taken) error {
	parcel := bufio.NewReader(r)
	h, err := ReadHeader(parcel)
	if err != nil {
		return refuse(err)
	}
	taken.Attachments, err = attachments(tx, "WHERE hash = ? AND size_bytes = ?", h.Hash[:], h.SizeBytes)
	if err != nil {
		return err
	}
	if len(taken.Attachments) == 0 {
		return fault.Hint("take the sender's bundle first, then this again; nothing was changed", "SHA-256 %x: %w", h.Hash[:8], ErrUnknown)
	}
	if taken.Already = taken.Attachments[0].Here; taken.Already {
		return nil
	}
	s, err := store(tx, io.LimitReader(parcel, h.SizeBytes))
	if err != nil && err != errEmpty {
		return err
	}
	if err := h.check(s, parcel); err != nil {
		return refuse(err)
	}
	for _, a := range taken.Attachments {
		a.Here = true
	}
	return settleWishes(tx, h.Hash)
}

// check compares what came with what the header says.
func (h Header) check(s stored, rest *bufio.Reader) error {
	start := int64(len(h.Append(nil)))
	if s.size != h.SizeBytes {
		return &ParcelError{start + s.size, "it ends too early"}
	}
	if s.hash != h.Hash {
		return &ParcelError{start, "the content has another SHA-256 than it must have"}
	}
	if _, err := rest.ReadByte(); err != io.EOF {
		return &ParcelError{start + s.size, "something follows the content"}
	}
	return nil
}

// refuse adds what to do next about a parcel that is not whole.
func refuse(err error) error {
	if bad := (*ParcelError)(nil); !errors.As(err, &bad) {
		return err
	}
	return fault.Hint("nothing was changed; ask the sender to send it again", "%w", err)
}

// WriteParcel writes the parcel of an attachment whose content is here.
func WriteParcel(tx *changelog.Tx, a *Attachment, w io.Writer) error {
	if _, err := w.Write((Header{a.Hash, a.SizeBytes}).Append(nil)); err != nil {
		return fmt.Errorf("write the parcel of %s: %w", tx.Name(a.ID), err)
	}
	return Copy(tx, a, w)
}
