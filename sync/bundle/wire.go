package bundle

import (
	"fmt"
	"slices"
)

// wire carries whole columns through coders, in either direction: packed columns
// through one, plain ones (bytes that no coder can shrink) through another, which
// may be the same.
type wire struct {
	packed, plain coder
	decoding      bool
	limits        Limits
	trace         columnTrace
	err           error
}

// columnTrace is told of every column read, for Dump; nil otherwise.
type columnTrace func(id uint32, rows int, content string)

// hold fails where a reader's limits do not allow so much.
func (w *wire) hold(sets, changes, values, seen int) {
	if err := w.limits.hold(sets, changes, values, seen); err != nil && w.decoding {
		w.fail("%w", err)
	}
}

func (w *wire) fail(format string, args ...any) {
	if w.err == nil {
		w.err = fmt.Errorf(format, args...)
	}
}

// number carries one number as a little-endian base-128 varint.
func (w *wire) number(value uint64, at place) uint64 {
	column := at.column
	for shift, i := uint(0), uint32(0); ; shift, i = shift+7, i+1 {
		b := byte(value >> shift)
		if value>>shift >= 0x80 {
			b |= 0x80
		}
		at.column = column + min(i, 3)
		b = w.packed.byte(b, at)
		if w.decoding {
			if shift == 0 {
				value = 0
			}
			if b == 0 && shift > 0 || shift == 63 && b > 1 {
				w.fail("column %s: number with needless or too many bytes", columnName(column))
				return 0
			}
			value |= uint64(b&0x7f) << shift
		}
		if b < 0x80 {
			return value
		}
		at.before = at.before<<8 | uint32(b) | 1<<31
	}
}

// numbers carries a column of n numbers.
func (w *wire) numbers(c *column, n int, id uint32) {
	if w.decoding && !w.room(n, w.packed, id) {
		return
	}
	if w.decoding {
		c.codes = make([]uint64, 0, n)
	}
	at := place{column: id}
	for i := range n {
		if w.decoding {
			c.codes = append(c.codes, w.number(0, at))
		} else {
			w.number(c.codes[i], at)
		}
		if w.err != nil {
			return
		}
	}
	w.note(id, n, func() string { return fmt.Sprint(start(c.codes)) })
}

// note tells Dump of a column that has been read.
func (w *wire) note(id uint32, rows int, content func() string) {
	if w.trace != nil && rows > 0 && w.err == nil {
		w.trace(id, rows, content())
	}
}

// room checks that n more things of a byte at least may still come.
func (w *wire) room(n int, from coder, id uint32) bool {
	if n > from.left() {
		w.fail("column %s: %d entries, but only %d bytes left", columnName(id), n, from.left())
	}
	return w.err == nil
}

// strings carries the strings of a column whose lengths stand in lengths.
func (w *wire) strings(texts *[]string, lengths *column, through coder, id uint32) {
	if !w.decoding {
		for _, text := range *texts {
			through.bytes([]byte(text), place{column: id})
		}
		return
	}
	for _, length := range lengths.codes {
		if length > uint64(through.left()) {
			w.fail("column %s: text of %d bytes, but only %d left", columnName(id), length, through.left())
			return
		}
		text := make([]byte, length)
		through.bytes(text, place{column: id})
		*texts = append(*texts, string(text))
	}
	w.note(id, len(*texts), func() string { return quotedStart(*texts) })
}

// quotedStart quotes as much of texts as is shown.
func quotedStart(texts []string) string {
	texts = slices.Clone(start(texts))
	for i, text := range texts {
		texts[i] = text[:min(len(text), shown)]
	}
	return fmt.Sprintf("%q", texts)
}

// fixed carries n rows of a plain column, of size bytes each.
func (w *wire) fixed(rows *[]byte, n, size int, id uint32) {
	if w.decoding {
		if n > w.plain.left()/size {
			w.fail("column %s: %d rows, but only %d bytes left", columnName(id), n, w.plain.left())
			return
		}
		*rows = make([]byte, n*size)
	}
	w.plain.bytes(*rows, place{column: id})
	w.note(id, n, func() string { return fmt.Sprintf("%x", start(*rows)) })
}
