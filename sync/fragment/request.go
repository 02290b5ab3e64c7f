package fragment

import (
	"bytes"
	"crypto/sha256"
	"encoding/base32"
	"encoding/binary"
	"errors"
	"fmt"
	"slices"
	"strings"
)

// RequestMagic is how every request for fragments begins.
const RequestMagic = "\xb5r"

const (
	requestVersion   = 0x10 // the low half is the method, and whether it is partial
	requestPartial   = 0x08
	requestCheckSize = 2
	minRequest       = 2 + 1 + 4 + 1 + 1 + requestCheckSize
	maxRequest       = minRequest + 8 + (5*MaxData)/8
)

// Request asks for the fragments that are missing. Name, Data and Parity say of
// which cut: a sender cuts one parcel into so many fragments in one way.
type Request struct {
	Name   Name
	Data   int
	Parity int
	// Missing are the places asked for, ascending; at least one.
	Missing []int
	// Partial tells that still others are missing, for which there was no room.
	Partial bool
}

// Total returns the number of fragments of the cut.
func (r Request) Total() int { return r.Data + r.Parity }

// Missing returns the request for what is needed to join a cut of which the
// fragments at some places are there: the first that are missing, and no more
// than are needed. ok is false where enough are there.
func (c Cut) Missing(there func(place int) bool) (r Request, ok bool) {
	r = Request{Name: c.Name, Data: c.Data, Parity: c.Parity}
	needed := c.Lacking(there)
	for place := 0; len(r.Missing) < needed; place++ {
		if !there(place) {
			r.Missing = append(r.Missing, place)
		}
	}
	return r, len(r.Missing) > 0
}

// Encode returns the bytes of a request in at most maxBytes, 0 for any number.
// Where not all fit, it asks for the first that do, and says so.
func (r Request) Encode(maxBytes int) []byte {
	whole := r.encode()
	if maxBytes == 0 || len(whole) <= maxBytes {
		return whole
	}
	low, high := 1, len(r.Missing) // low is taken to fit: one is as little as can be asked for
	for high-low > 1 {
		middle := (low + high) / 2
		if len(r.first(middle).encode()) <= maxBytes {
			low = middle
		} else {
			high = middle
		}
	}
	return r.first(low).encode()
}

// first returns the request for the first n fragments.
func (r Request) first(n int) Request {
	r.Partial = r.Partial || n < len(r.Missing)
	r.Missing = r.Missing[:n]
	return r
}

func (r Request) encode() []byte {
	method, list := r.list()
	form := byte(requestVersion | method)
	if r.Partial {
		form |= requestPartial
	}
	out := append([]byte(RequestMagic), form)
	out = append(out, r.Name[:]...)
	out = binary.AppendUvarint(out, uint64(r.Data-1))
	out = binary.AppendUvarint(out, uint64(r.Parity))
	out = append(out, list...)
	return append(out, requestCheck(out)...)
}

func requestCheck(data []byte) []byte {
	digest := sha256.Sum256(data)
	return digest[:requestCheckSize]
}

// list returns the places by the shortest method; of equals the first.
func (r Request) list() (method int, list []byte) {
	for m, write := range methods {
		if written, ok := write(r.Missing, r.Total()); ok && (list == nil || len(written) < len(list)) {
			method, list = m, written
		}
	}
	return method, list
}

// ParseRequest reads a request.
func ParseRequest(data []byte) (Request, error) {
	switch {
	case len(data) < len(RequestMagic) || string(data[:len(RequestMagic)]) != RequestMagic:
		return Request{}, errors.New("this is no request for fragments")
	case len(data) < minRequest:
		return Request{}, errors.New("request for fragments cut off")
	case len(data) > maxRequest:
		return Request{}, fmt.Errorf("a request for fragments of %d bytes; at most %d", len(data), maxRequest)
	case data[2]&0xf0 != requestVersion || int(data[2]&7) >= len(methods):
		return Request{}, fmt.Errorf("request of form %02x; a newer program is needed", data[2])
	}
	end := len(data) - requestCheckSize
	if !bytes.Equal(requestCheck(data[:end]), data[end:]) {
		return Request{}, errors.New("the request for fragments is damaged, or mistyped: its check does not fit")
	}
	r := Request{Partial: data[2]&requestPartial != 0}
	in := reader{data: data[:end], at: 3}
	copy(r.Name[:], in.take(len(r.Name)))
	r.Data = in.number("fragments", MaxData-1) + 1
	r.Parity = in.number("parity", 4*r.Data)
	if in.err != nil {
		return Request{}, in.err
	}
	r.Missing = readers[data[2]&7](in.data[in.at:], r.Total())
	if len(r.Missing) == 0 || !bytes.Equal(r.encode(), data) {
		return Request{}, errors.New("the request for fragments is not in the form that it must have")
	}
	return r, nil
}

// codeAlphabet is Crockford's base 32: no I, L, O or U.
const codeAlphabet = "0123456789ABCDEFGHJKMNPQRSTVWXYZ"

var codeEncoding = base32.NewEncoding(codeAlphabet).WithPadding(base32.NoPadding)

// Code returns an encoded request as text, to be typed or spoken: base 32 of what
// follows the magic, in groups of four.
func Code(request []byte) string {
	text := codeEncoding.EncodeToString(request[len(RequestMagic):])
	var groups []string
	for group := range slices.Chunk([]byte(text), 4) {
		groups = append(groups, string(group))
	}
	return strings.Join(groups, "-")
}

// ParseCode reads a request as text. Case, spaces and hyphens do not matter; O is
// read as 0, and I and L as 1.
func ParseCode(text string) (Request, error) {
	clean := strings.Map(func(c rune) rune {
		switch c {
		case '-', ' ', '\t', '\r', '\n':
			return -1
		case 'O':
			return '0'
		case 'I', 'L':
			return '1'
		}
		return c
	}, strings.ToUpper(text))
	data, err := codeEncoding.DecodeString(clean)
	if err != nil {
		return Request{}, fmt.Errorf("%q is no code of a request for fragments: it is of the digits and letters %s", text, codeAlphabet)
	}
	request := append([]byte(RequestMagic), data...)
	r, err := ParseRequest(request)
	if err == nil && strings.ReplaceAll(Code(request), "-", "") != clean {
		err = errors.New("the request for fragments is not in the form that it must have")
	}
	return r, err
}
