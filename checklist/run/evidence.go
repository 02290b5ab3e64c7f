package run

import (
	"bytes"
	"cmp"
	"crypto/ed25519"
	"crypto/sha256"
	"encoding/binary"
	"slices"

	"pulk/schema/kind"
	"pulk/sync/clock"
)

// EvidenceDigest returns the digest of the run's record as an author with context
// ctx had it: the SHA-256 of the run's start and of every entry that the author
// knew, each named by the hash of its change-set and its place in it.
func (r *Record) EvidenceDigest(ctx clock.Context) []byte {
	var names [][]byte
	for i := range r.Entries {
		e := &r.Entries[i]
		if ctx.Has(e.Dot) {
			names = append(names, binary.BigEndian.AppendUint16(e.Hash[:len(e.Hash):len(e.Hash)], e.Dot.Index))
		}
	}
	slices.SortFunc(names, bytes.Compare)
	digest := sha256.New()
	digest.Write([]byte("pulk evidence 1\n"))
	digest.Write(r.name())
	for _, name := range names {
		digest.Write(name)
	}
	return digest.Sum(nil)
}

// name identifies the run by content: the hash of the change-set that started it,
// and its place in it.
func (r *Record) name() []byte {
	return binary.BigEndian.AppendUint16(slices.Clone(r.Hash[:]), r.Run.Index)
}

// SignMessage returns the bytes that a person signs: the run, the step, the
// verdict, the role and the digest of the evidence.
func (r *Record) SignMessage(step int, verdict Verdict, role string, digest []byte) []byte {
	message := append([]byte("pulk sign-off 1\n"), r.name()...)
	message = binary.BigEndian.AppendUint32(message, uint32(step))
	message = appendTexts(append(message, byte(verdict)), role)
	return append(message, digest...)
}

// message returns the bytes that the person of an entry signed; false where something
// that they name is not here yet.
func (r *Record) message(e *Entry) ([]byte, bool) {
	switch e.Kind {
	case kind.ReviewDecide:
		return r.DecideMessage(e.wireStep(), e.Verdict, e.Role, e.Text, e.Digest), true
	case kind.ReviewWaive:
		return r.WaiveMessage(e)
	}
	return r.SignMessage(e.wireStep(), e.Verdict, e.Role, e.Digest), true
}

// DecideMessage returns the bytes that a person signs for a go or no-go of a readiness
// review.
func (r *Record) DecideMessage(step int, verdict Verdict, role, text string, digest []byte) []byte {
	message := append([]byte("pulk review 1\n"), r.name()...)
	message = binary.BigEndian.AppendUint32(message, uint32(step))
	message = appendTexts(append(message, byte(verdict)), role, text)
	return append(message, digest...)
}

// WaiveMessage returns the bytes that a person signs who asks for a waiver, or grants
// one; false where the question or the waiver that it names is not here yet.
func (r *Record) WaiveMessage(e *Entry) ([]byte, bool) {
	message := append([]byte("pulk waiver 1\n"), r.name()...)
	message = binary.BigEndian.AppendUint32(message, uint32(e.wireStep()))
	message = appendTexts(message, e.Role, e.Line.Name, e.Text, e.Risk)
	for _, dot := range []clock.Dot{e.Line.Asked, e.Ref} {
		name, here := r.entryName(dot)
		if !here {
			return nil, false
		}
		message = appendTexts(message, string(name))
	}
	return append(message, e.Digest...), true
}

// entryName names an entry by content, as it does in the digest; nothing for none.
func (r *Record) entryName(dot clock.Dot) ([]byte, bool) {
	if dot.IsZero() {
		return nil, true
	}
	for i := range r.Entries {
		if e := &r.Entries[i]; e.Dot == dot {
			return binary.BigEndian.AppendUint16(slices.Clone(e.Hash[:]), e.Dot.Index), true
		}
	}
	return nil, false
}

// appendTexts appends texts, each with its length before it.
func appendTexts(message []byte, texts ...string) []byte {
	for _, text := range texts {
		message = binary.AppendUvarint(message, uint64(len(text)))
		message = append(message, text...)
	}
	return message
}

// signatureHolds reports whether a sign-off carries its person's own signature.
// The second result is false where the key is not here yet.
func (r *Record) signatureHolds(e *Entry) (holds, known bool) {
	key, known := r.Keys[e.Key]
	if !known {
		return false, false
	}
	if key.Person != e.Person || len(key.Public) != ed25519.PublicKeySize {
		return false, true
	}
	message, known := r.message(e)
	return known && ed25519.Verify(key.Public, message, e.Signature), true
}

// sortByTime orders entries for people: by time, ties by dot.
func sortByTime(entries []*Entry) {
	slices.SortFunc(entries, func(a, b *Entry) int {
		return cmp.Or(cmp.Compare(a.At, b.At), a.Dot.Compare(b.Dot))
	})
}
