package run

import (
	"bytes"
	"cmp"
	"crypto/ed25519"
	"crypto/sha256"
	"encoding/binary"
	"slices"

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
	message = append(message, byte(verdict))
	message = binary.AppendUvarint(message, uint64(len(role)))
	message = append(message, role...)
	return append(message, digest...)
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
	return ed25519.Verify(key.Public, r.SignMessage(e.Step, e.Verdict, e.Role, e.Digest), e.Signature), true
}

// sortByTime orders entries for people: by time, ties by dot.
func sortByTime(entries []*Entry) {
	slices.SortFunc(entries, func(a, b *Entry) int {
		return cmp.Or(cmp.Compare(a.At, b.At), a.Dot.Compare(b.Dot))
	})
}
