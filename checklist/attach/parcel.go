package attach

import (
	"bufio"
	"encoding/binary"
	"errors"
	"fmt"
	"io"
)

// Magic is how a parcel with the content of an attachment begins; the byte after it
// is the format version. docs/attachment-format.md spells the bytes out.
const Magic = "\xb5a"

// Version is the only format version so far. A reader refuses any other.
const Version = 1

// Header is what stands in a parcel before the content.
type Header struct {
	Hash      Hash
	SizeBytes int64 // from 1 to MaxContentBytes
}

// Append adds the header's bytes to a slice.
func (h Header) Append(b []byte) []byte {
	b = append(append(b, Magic...), Version)
	return binary.AppendUvarint(append(b, h.Hash[:]...), uint64(h.SizeBytes))
}

// ParcelError says why a parcel is refused, and where in it.
type ParcelError struct {
	Offset int64 // from its start
	What   string
}

func (e *ParcelError) Error() string { return fmt.Sprintf("parcel byte %d: %s", e.Offset, e.What) }

// sizeOffset is where the size stands in a parcel.
const sizeOffset = int64(len(Magic) + 1 + HashSize)

// ReadHeader reads the header of a parcel; the content follows in r. It takes one
// encoding of a size and no other.
func ReadHeader(r *bufio.Reader) (Header, error) {
	var fixed [sizeOffset]byte
	if n, err := io.ReadFull(r, fixed[:]); err != nil {
		return Header{}, cut(err, int64(n))
	}
	if string(fixed[:len(Magic)]) != Magic {
		return Header{}, &ParcelError{0, "it does not begin as a parcel of an attachment does"}
	}
	if version := fixed[len(Magic)]; version != Version {
		return Header{}, &ParcelError{int64(len(Magic)), fmt.Sprintf("version %d is not known, only %d", version, Version)}
	}
	h := Header{Hash: Hash(fixed[len(Magic)+1:])}
	size, err := readSize(r)
	switch {
	case err != nil:
		return h, cut(err, sizeOffset)
	case size == 0 || size > MaxContentBytes:
		return h, &ParcelError{sizeOffset, fmt.Sprintf("it says that it has %d bytes; from 1 to %d are taken", size, MaxContentBytes)}
	}
	h.SizeBytes = int64(size)
	return h, nil
}

// readSize reads a size in its one encoding.
func readSize(r *bufio.Reader) (uint64, error) {
	var digits []byte
	for len(digits) < binary.MaxVarintLen64 {
		b, err := r.ReadByte()
		if err != nil {
			return 0, err
		}
		if digits = append(digits, b); b < 0x80 {
			break
		}
	}
	size, n := binary.Uvarint(digits)
	if n <= 0 || len(binary.AppendUvarint(nil, size)) != n {
		return 0, &ParcelError{sizeOffset, "its size cannot be read"}
	}
	return size, nil
}

// cut says that a parcel ends too early; other errors stay as they are.
func cut(err error, offset int64) error {
	if errors.Is(err, io.EOF) || errors.Is(err, io.ErrUnexpectedEOF) {
		return &ParcelError{offset, "it ends too early"}
	}
	return err
}
