package attach

import (
	"crypto/sha256"
	"fmt"
	"io"
	"net/http"

	"pulk/schema/fault"
	"pulk/sync/changelog"
)

// Limits of a content. They hold at both ends: what is larger is neither attached
// nor taken. A content goes as one parcel, which is read whole: carrier.MaxFile is a
// little more.
const (
	MaxContentBytes = 8_000_000
	chunkBytes      = 64 << 10
)

// HashSize is the length of a [Hash] in bytes.
const HashSize = sha256.Size

// Hash is the SHA-256 of a content, its name.
type Hash [HashSize]byte

// Source is where a content is read from, once, from its start to its end.
type Source = io.Reader

// stored tells of a content that was taken into the store.
type stored struct {
	hash      Hash
	size      int64
	mediaType string
}

// store reads a content to its end into the store, a chunk at a time. It counts only
// when the transaction does.
func store(tx *changelog.Tx, source Source) (stored, error) {
	var content int64
	err := tx.Exec("INSERT INTO attachment_content (size_bytes, took) VALUES (0, ?)", tx.Author().Now.UnixMilli())
	if err != nil {
		return stored{}, err
	}
	if _, err := tx.Row("SELECT last_insert_rowid()", nil, &content); err != nil {
		return stored{}, err
	}
	s, err := writeChunks(tx, content, source)
	if err != nil {
		return s, err
	}
	known, err := tx.Row("SELECT 1 FROM attachment_content WHERE hash = ?", []any{s.hash[:]}, new(int))
	if err != nil {
		return s, err
	}
	if known {
		return s, tx.Exec("DELETE FROM attachment_content WHERE id = ?", content)
	}
	return s, tx.Exec("UPDATE attachment_content SET hash = ?, size_bytes = ? WHERE id = ?", s.hash[:], s.size, content)
}

var errEmpty = fault.Misuse("look whether it is the right file", "it is empty")

// writeChunks reads a source into the chunks of a content.
func writeChunks(tx *changelog.Tx, content int64, source Source) (stored, error) {
	s, digest, buffer := stored{}, sha256.New(), make([]byte, chunkBytes)
	for number := 0; ; number++ {
		n, err := io.ReadFull(source, buffer)
		if err != nil && err != io.EOF && err != io.ErrUnexpectedEOF {
			return s, err
		}
		if number == 0 {
			s.mediaType = http.DetectContentType(buffer[:n])
		}
		if s.size += int64(n); s.size > MaxContentBytes {
			return s, fault.Hint("send it another way, or in parts", "it is larger than %d MB, the most that is attached", MaxContentBytes/1_000_000)
		}
		if n == 0 {
			break
		}
		digest.Write(buffer[:n])
		if err := tx.Exec("INSERT INTO attachment_chunk (content, number, bytes) VALUES (?, ?, ?)", content, number, buffer[:n]); err != nil {
			return s, err
		}
		if err != nil {
			break
		}
	}
	if s.size == 0 {
		return s, errEmpty
	}
	digest.Sum(s.hash[:0])
	return s, nil
}

// Copy writes the content of an attachment, and checks it against its hash as it
// goes: on an error what was written must not be used.
func Copy(tx *changelog.Tx, a *Attachment, w io.Writer) error {
	if !a.Here {
		return fault.Hint("ask for it: pulk attach want "+tx.Name(a.ID), "the content of %s is not here", tx.Name(a.ID))
	}
	digest, size := sha256.New(), int64(0)
	to := io.MultiWriter(w, digest)
	err := tx.Each(`SELECT k.bytes FROM attachment_content AS c JOIN attachment_chunk AS k ON k.content = c.id
		WHERE c.hash = ? ORDER BY k.number`, []any{a.Hash[:]}, func(scan func(...any) error) error {
		var chunk []byte
		if err := scan(&chunk); err != nil {
			return err
		}
		size += int64(len(chunk))
		_, err := to.Write(chunk)
		return err
	})
	if err != nil {
		return err
	}
	if Hash(digest.Sum(nil)) != a.Hash || size != a.SizeBytes {
		return fault.Hint("drop it and ask for it again: pulk attach drop "+tx.Name(a.ID), "the content of %s is damaged in this store: its SHA-256 is not what it must be", tx.Name(a.ID))
	}
	return nil
}

// Drop takes the content of an attachment out of this store, to make room; that it
// is attached stays, and its preview. Other attachments of the same content lose it
// too.
func Drop(tx *changelog.Tx, a *Attachment) error {
	if !a.Here {
		return fault.Hint("nothing to do", "the content of %s is not here", tx.Name(a.ID))
	}
	if err := tx.Exec("DELETE FROM attachment_content WHERE hash = ?", a.Hash[:]); err != nil {
		return err
	}
	return tx.GiveBack()
}

// Usage returns how many contents are here, and how many bytes they take.
func Usage(tx *changelog.Tx) (contents int, sizeBytes int64, err error) {
	_, err = tx.Row("SELECT count(*), coalesce(sum(size_bytes), 0) FROM attachment_content", nil, &contents, &sizeBytes)
	if err != nil {
		return 0, 0, fmt.Errorf("attachments: %w", err)
	}
	return contents, sizeBytes, nil
}
