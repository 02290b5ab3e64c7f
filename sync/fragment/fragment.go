// Package fragment cuts a parcel into pieces that fit a carrier, and joins them.
//
// [Plan] says how a parcel is cut, [Cut.Fragments] cuts it. Fragments may arrive in
// any order, repeated, and mixed with those of other parcels; each is verified
// alone by [Parse] and says to which [Cut] it belongs. With parity any Data of the
// Data+Parity fragments rebuild the parcel: [Cut.Join]. docs/fragment-format.md
// specifies every byte.
package fragment

import (
	"bytes"
	"crypto/sha256"
	"encoding/binary"
	"errors"
	"fmt"
)

// Magic is how every fragment begins.
const Magic = "\xb5f"

// Forms of a fragment: the version in the high half, and what parity there is.
const (
	formPlain  = 0x10
	formParity = 0x11
	formWide   = 0x12 // over GF(2^16)
)

// Forms returns the first and the last form that this program reads.
func Forms() (first, last int) { return formPlain, formWide }

// Limits of the format.
const (
	MaxParcel = 5 << 20 // bytes of what is cut
	MaxData   = 1 << 16 // fragments that hold it
	MinBytes  = 32      // the smallest fragments that Plan makes
)

const checkSize = 3

// Name is how a fragment names its parcel: the first bytes of its SHA-256.
type Name [4]byte

func (n Name) String() string { return fmt.Sprintf("%x", n[:]) }

// NameOf returns the name of a parcel.
func NameOf(parcel []byte) Name {
	digest := sha256.Sum256(parcel)
	return Name(digest[:4])
}

// Cut is a parcel and how it is cut. Fragments belong together that have the same.
type Cut struct {
	Name   Name
	Data   int // fragments that hold the parcel itself, the places from 0
	Parity int // fragments that hold parity, the places after those
	Size   int // bytes of the parcel in each fragment; the last of Data may hold less
	Length int // bytes of the parcel
}

// Total returns the number of fragments.
func (c Cut) Total() int { return c.Data + c.Parity }

// pad is how many bytes the last fragment holds less than the others.
func (c Cut) pad() int { return c.Data*c.Size - c.Length }

// bodySize returns how many bytes the fragment at a place holds.
func (c Cut) bodySize(place int) int {
	if place == c.Data-1 {
		return c.Size - c.pad()
	}
	return c.Size
}

// Fragment is one piece of a parcel.
type Fragment struct {
	Cut
	Place int
	Body  []byte
}

// errTooManyParts is where a parcel cannot be cut as asked for.
var errTooManyParts = errors.New("more fragments than the format allows")

// Plan says how to cut a parcel into fragments of at most maxBytes bytes, headers
// included, with parity of share times their number (0 is none; 0.3 adds three for
// each ten, rounded up).
func Plan(parcel []byte, maxBytes int, share float64) (Cut, error) {
	switch {
	case len(parcel) == 0 || len(parcel) > MaxParcel:
		return Cut{}, fmt.Errorf("a parcel of %d bytes cannot be cut; 1 to %d can", len(parcel), MaxParcel)
	case maxBytes < MinBytes:
		return Cut{}, fmt.Errorf("fragments of %d bytes are mostly header; give %d or more", maxBytes, MinBytes)
	case !(share >= 0 && share <= 4):
		return Cut{}, fmt.Errorf("parity of %g times the data; give 0 to 4", share)
	}
	c, err := plan(len(parcel), maxBytes, share)
	c.Name = NameOf(parcel)
	return c, err
}

// plan looks for the smallest header that holds the numbers of the cut that it
// leaves room for.
func plan(length, maxBytes int, share float64) (Cut, error) {
	for header := minHeader; header < MinBytes; header++ {
		c := cutFor(length, maxBytes-header, share)
		if c.headerSize() > header {
			continue
		}
		if err := c.check(); err != nil {
			return c, fmt.Errorf("%w: %d and %d of parity, of %d bytes each; take larger ones or a smaller parcel", errTooManyParts, c.Data, c.Parity, maxBytes)
		}
		return c, nil
	}
	return Cut{}, fmt.Errorf("%w: of %d bytes each", errTooManyParts, maxBytes)
}

// Largest returns how large a parcel may be to be cut so at all.
func Largest(maxBytes int, share float64) int {
	if maxBytes < MinBytes {
		return 0
	}
	return lastOf(0, MaxParcel, func(length int) bool {
		_, err := plan(max(length, 1), maxBytes, share)
		return err == nil
	})
}

// Room returns how large a parcel may be, so that its fragments, of at most maxBytes
// each, take at most total bytes together, and those of any smaller one, too; 0 where
// there is none. With parity a smaller parcel can take more: of one fragment it
// doubles all, of two a half.
func Room(total, maxBytes int, share float64) int {
	if maxBytes < MinBytes {
		return 0
	}
	most := min(total, MaxParcel)
	fits := func(length int) bool {
		n, err := wireSize(length, maxBytes, share)
		return err == nil && n <= total
	}
	room := 0
	for room < most {
		first, err := plan(room+1, maxBytes, share)
		if err != nil {
			return room
		}
		// Of as many fragments as this length, each longer one takes more.
		block := lastOf(room+1, most, func(length int) bool {
			c, err := plan(length, maxBytes, share)
			return err == nil && c.Data == first.Data
		})
		if !fits(block) {
			return lastOf(room, block, fits)
		}
		room = block
	}
	return room
}

// lastOf returns the last of the numbers from low to high for which ok holds, where it
// holds for low and for none behind the first for which it does not.
func lastOf(low, high int, ok func(int) bool) int {
	for low < high {
		middle := (low + high + 1) / 2
		if ok(middle) {
			low = middle
		} else {
			high = middle - 1
		}
	}
	return low
}

// wireSize returns how many bytes the fragments of a parcel take together, at the
// most.
func wireSize(length, maxBytes int, share float64) (int, error) {
	c, err := plan(length, maxBytes, share)
	return c.Total()*c.headerSize() + c.Length + c.Parity*c.Size, err
}

// cutFor returns the cut whose fragments hold at most room bytes, about even.
func cutFor(length, room int, share float64) Cut {
	c := evenly(length, max(room, 1), share)
	if c.wide() {
		c = evenly(length, max(room, 2)&^1, share)
		c.Size += c.Size & 1
	}
	return c
}

func evenly(length, room int, share float64) Cut {
	data := ceil(length, room)
	return Cut{Length: length, Data: data, Size: ceil(length, data), Parity: parityOf(data, share)}
}

func ceil(a, b int) int { return (a + b - 1) / b }

// parityOf returns share times data, rounded up; a share as 0.3 is not exact, so
// what is next to a whole number is that number.
func parityOf(data int, share float64) int {
	exact := float64(data) * share
	n := int(exact)
	if exact-float64(n) > 1e-9 {
		n++
	}
	return n
}

// check returns an error where numbers do not fit each other or the limits.
func (c Cut) check() error {
	switch {
	case c.Data < 1 || c.Data > MaxData || c.Size < 1 || c.Size > MaxParcel || c.Length < 1 || c.Length > MaxParcel:
		return fmt.Errorf("%d fragments of %d bytes for %d", c.Data, c.Size, c.Length)
	case c.pad() < 0 || c.pad() >= c.Size:
		return fmt.Errorf("%d bytes less in the last of fragments of %d", c.pad(), c.Size)
	case c.Parity < 0 || c.Parity > 4*c.Data:
		return fmt.Errorf("%d fragments of parity for %d of data", c.Parity, c.Data)
	case c.Parity > 0 && c.Total() > MaxCoded:
		return fmt.Errorf("%d fragments with parity; at most %d", c.Total(), MaxCoded)
	case c.wide() && c.Size%2 > 0:
		return fmt.Errorf("%d fragments with parity of an odd size, %d", c.Total(), c.Size)
	}
	return nil
}

const minHeader = 2 + 1 + 4 + 1 + 1 + 1 + checkSize

// headerSize returns the most bytes that header and check take in a fragment, whatever
// the last one lacks: otherwise a parcel might need more fragments than a longer one.
func (c Cut) headerSize() int {
	mostPad := c.Data - 1
	if c.wide() {
		mostPad += c.Data
	}
	n := 2 + 1 + len(c.Name) + uvarintSize(c.Data-1) + uvarintSize(c.Total()-1) + uvarintSize(mostPad) + checkSize
	if c.Parity > 0 {
		n += uvarintSize(c.Parity - 1)
	}
	return n
}

func (c Cut) form() byte {
	switch {
	case c.wide():
		return formWide
	case c.Parity > 0:
		return formParity
	}
	return formPlain
}

func uvarintSize(n int) int { return len(binary.AppendUvarint(nil, uint64(n))) }

// Encode returns the bytes of a fragment.
func (f *Fragment) Encode() []byte {
	out := make([]byte, 0, f.headerSize()+len(f.Body))
	out = append(append(append(out, Magic...), f.form()), f.Name[:]...)
	out = binary.AppendUvarint(out, uint64(f.Data-1))
	if f.Parity > 0 {
		out = binary.AppendUvarint(out, uint64(f.Parity-1))
	}
	out = binary.AppendUvarint(out, uint64(f.Place))
	out = binary.AppendUvarint(out, uint64(f.pad()))
	out = append(out, f.Body...)
	return append(out, checkOf(out)...)
}

func checkOf(data []byte) []byte {
	digest := sha256.Sum256(data)
	return digest[:checkSize]
}

// Parse reads a fragment and verifies its check. The body is a part of data.
func Parse(data []byte) (*Fragment, error) {
	if len(data) < len(Magic) || string(data[:len(Magic)]) != Magic {
		return nil, errors.New("this is no fragment")
	}
	if len(data) < minHeader {
		return nil, errors.New("fragment cut off")
	}
	if form := data[2]; form < formPlain || form > formWide {
		return nil, fmt.Errorf("fragment of form %02x; this program reads %02x to %02x; a newer program is needed", form, formPlain, formWide)
	}
	end := len(data) - checkSize
	if !bytes.Equal(checkOf(data[:end]), data[end:]) {
		return nil, errors.New("fragment cut off or damaged: its check does not fit")
	}
	f := &Fragment{}
	r := reader{data: data[:end], at: 3}
	copy(f.Name[:], r.take(len(f.Name)))
	f.Data = r.number("fragments", MaxData-1) + 1
	if data[2] != formPlain {
		f.Parity = r.number("parity", MaxCoded-1) + 1
	}
	f.Place = r.number("place", f.Total()-1)
	pad := r.number("bytes that the last holds less", MaxParcel)
	if r.err != nil {
		return nil, r.err
	}
	f.Body = r.data[r.at:]
	f.Size = len(f.Body)
	if f.Place == f.Data-1 {
		f.Size += pad
	}
	f.Length = f.Data*f.Size - pad
	if len(f.Body) == 0 {
		return nil, errors.New("fragment without content")
	}
	if f.form() != data[2] {
		return nil, fmt.Errorf("fragment of form %02x of %d with parity", data[2], f.Total())
	}
	return f, f.check()
}

// reader takes fields off the front of data; after the first fault it gives zeros.
type reader struct {
	data []byte
	at   int
	err  error
}

func (r *reader) fail(format string, args ...any) {
	if r.err == nil {
		r.err = fmt.Errorf("fragment byte %d: %s", r.at, fmt.Sprintf(format, args...))
	}
}

func (r *reader) take(n int) []byte {
	if n > len(r.data)-r.at {
		r.fail("cut off")
		return make([]byte, n)
	}
	r.at += n
	return r.data[r.at-n : r.at]
}

// number reads a uvarint of at most most.
func (r *reader) number(what string, most int) int {
	if r.err != nil {
		return 0
	}
	value, n := binary.Uvarint(r.data[r.at:])
	switch {
	case n <= 0 || n > 1 && r.data[r.at+n-1] == 0:
		r.fail("%s: number cut off, too large or with needless bytes", what)
		return 0
	case value > uint64(most):
		r.fail("%s: %d, at most %d", what, value, most)
		return 0
	}
	r.at += n
	return int(value)
}
