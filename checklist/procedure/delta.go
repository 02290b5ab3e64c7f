package procedure

import (
	"bytes"
	"crypto/sha256"
	"encoding/binary"
	"errors"
	"fmt"
)

// A delta is, in this order:
//
//	1 byte    version, 1
//	8 bytes   first bytes of the SHA-256 of the text that it makes
//	operations until the end, each a uvarint n and what follows it:
//	  n even  insert: the n/2 bytes that follow
//	  n odd   copy n/2 lines of the base, starting at line (end of the copy
//	          before, 0 at first) + z, where z follows as a zigzag varint
//
// A line runs up to and including its line feed; the last may lack it. No
// operation is empty.
const (
	deltaVersion    = 1
	deltaDigestSize = 8
	deltaHeaderSize = 1 + deltaDigestSize

	// candidatesMax bounds how many places in the base are tried for a line, so
	// that a file of equal lines takes no quadratic time.
	candidatesMax = 16
	// copyBytesMin is the least text worth a copy; shorter is cheaper inserted.
	copyBytesMin = 8
)

// Delta returns what [Patch] needs to make next out of base: a small text when
// both are nearly the same. It is deterministic. Patch refuses a text of over
// [SourceBytesMax] bytes, so neither may be larger.
func Delta(base, next []byte) []byte {
	digest := sha256.Sum256(next)
	delta := append([]byte{deltaVersion}, digest[:deltaDigestSize]...)
	from, to := splitLines(base), splitLines(next)
	places := map[string][]int{}
	for i, line := range from {
		if at := places[string(line)]; len(at) < candidatesMax {
			places[string(line)] = append(at, i)
		}
	}
	cursor := 0 // line of the base after the last copy
	var pending []byte
	for i := 0; i < len(to); {
		start, count, size := longestCopy(from, to[i:], places[string(to[i])], cursor)
		if size < copyBytesMin {
			pending = append(pending, to[i]...)
			i++
			continue
		}
		delta, pending = appendInsert(delta, pending), nil
		delta = binary.AppendUvarint(delta, uint64(count)<<1|1)
		delta = binary.AppendVarint(delta, int64(start-cursor))
		cursor, i = start+count, i+count
	}
	return appendInsert(delta, pending)
}

func appendInsert(delta, text []byte) []byte {
	if len(text) == 0 {
		return delta
	}
	delta = binary.AppendUvarint(delta, uint64(len(text))<<1)
	return append(delta, text...)
}

// splitLines cuts text after each line feed.
func splitLines(text []byte) [][]byte {
	var lines [][]byte
	for len(text) > 0 {
		end := bytes.IndexByte(text, '\n') + 1
		if end == 0 {
			end = len(text)
		}
		lines, text = append(lines, text[:end:end]), text[end:]
	}
	return lines
}

// longestCopy returns the longest run of base lines that equals the head of to,
// trying cursor first and then the places; of equal runs the first tried wins.
func longestCopy(from, to [][]byte, places []int, cursor int) (start, count, size int) {
	try := func(at int) {
		runCount, runSize := 0, 0
		for at+runCount < len(from) && runCount < len(to) && bytes.Equal(from[at+runCount], to[runCount]) {
			runSize += len(to[runCount])
			runCount++
		}
		if runSize > size {
			start, count, size = at, runCount, runSize
		}
	}
	try(cursor)
	for _, at := range places {
		try(at)
	}
	return start, count, size
}

// errDeltaShort says that a delta ends inside an operation.
var errDeltaShort = errors.New("it ends inside an operation")

// Patch applies a delta to the base that it was made against and returns the
// text that [Delta] was given. It refuses a damaged delta, another base than
// the right one, and a result of over [SourceBytesMax] bytes.
func Patch(base, delta []byte) ([]byte, error) {
	fail := func(err error) ([]byte, error) {
		return nil, fmt.Errorf("procedure delta: %w; ask the sender for the whole file", err)
	}
	switch {
	case len(base) > SourceBytesMax:
		return fail(fmt.Errorf("its base has %d bytes, over %d", len(base), SourceBytesMax))
	case len(delta) < deltaHeaderSize:
		return fail(errDeltaShort)
	case delta[0] != deltaVersion:
		return fail(fmt.Errorf("version %d is not known here", delta[0]))
	}
	lines := splitLines(base)
	var next []byte
	cursor := 0
	for rest := delta[deltaHeaderSize:]; len(rest) > 0; {
		var text []byte
		var err error
		if text, cursor, rest, err = operation(lines, cursor, rest); err != nil {
			return fail(fmt.Errorf("byte %d: %w", len(delta)-len(rest), err))
		}
		if len(next)+len(text) > SourceBytesMax {
			return fail(fmt.Errorf("it makes a file of over %d bytes", SourceBytesMax))
		}
		next = append(next, text...)
	}
	if digest := sha256.Sum256(next); !bytes.Equal(digest[:deltaDigestSize], delta[1:deltaHeaderSize]) {
		return fail(errors.New("the result is not the file meant: this is not the revision it was made against, or it is damaged"))
	}
	return next, nil
}

// operation reads one operation and returns the text that it adds, the line
// after its copy, and the rest of the delta.
func operation(lines [][]byte, cursor int, rest []byte) (text []byte, after int, left []byte, err error) {
	n, size := binary.Uvarint(rest)
	if size <= 0 {
		return nil, cursor, rest, errDeltaShort
	}
	amount, copies := n>>1, n&1 == 1
	if amount == 0 {
		return nil, cursor, rest, errors.New("an operation is empty")
	}
	left = rest[size:]
	if !copies {
		if amount > uint64(len(left)) {
			return nil, cursor, rest, errDeltaShort
		}
		return left[:amount], cursor, left[amount:], nil
	}
	step, size := binary.Varint(left)
	if size <= 0 {
		return nil, cursor, rest, errDeltaShort
	}
	known := int64(len(lines))
	if step < -known || step > known || amount > uint64(known) {
		return nil, cursor, rest, fmt.Errorf("it copies lines outside a base of %d", known)
	}
	start := int64(cursor) + step
	end := start + int64(amount)
	if start < 0 || end > known {
		return nil, cursor, rest, fmt.Errorf("it copies lines %d to %d of a base of %d", start+1, end, known)
	}
	return bytes.Join(lines[start:end], nil), int(end), left[size:], nil
}
