package changelog

import (
	"crypto/ed25519"
	"crypto/sha256"
	"fmt"
	"strings"

	"github.com/google/uuid"
)

const (
	fingerprintGroups = 5
	groupDigits       = 5
)

// Fingerprint returns a person's key's fingerprint: 25 decimal digits in groups of
// five, about 83 bits of its SHA-256, to be compared by voice.
func Fingerprint(key ed25519.PublicKey) string {
	return fingerprint(append([]byte("pulk fingerprint 1\n"), key...))
}

// SiteFingerprint returns the fingerprint of a site's card, in the form of
// [Fingerprint]. It covers the campaign as well as the key: who compares it has
// compared all of the card that anything rests upon, and, as the campaign's id is
// made from the founder's key, that key too.
func SiteFingerprint(campaign uuid.UUID, key ed25519.PublicKey) string {
	text := append([]byte("pulk site fingerprint 1\n"), campaign[:]...)
	return fingerprint(append(text, key...))
}

func fingerprint(text []byte) string {
	digest := sha256.Sum256(text)
	var groups []string
	for i := range fingerprintGroups {
		n := uint64(0)
		for _, b := range digest[6*i : 6*i+6] {
			n = n<<8 | uint64(b)
		}
		groups = append(groups, fmt.Sprintf("%0*d", groupDigits, n%100000))
	}
	return strings.Join(groups, " ")
}

// CompareFingerprint tells how what a person typed differs from a fingerprint: ""
// if it does not. Blanks, dots and dashes between digits do not count.
//
// One group that differs is pointed at: it was misheard, or mistyped. That helps
// nobody to pass for another: to match the other four groups takes a key in 2^66.
// Where more differ it says no more than that, as then it is another key.
func CompareFingerprint(want, typed string) string {
	digits := strings.Map(func(r rune) rune {
		if strings.ContainsRune(" \t.,-_/", r) {
			return -1
		}
		return r
	}, typed)
	if i := strings.IndexFunc(digits, func(r rune) bool { return r < '0' || r > '9' }); i >= 0 {
		return fmt.Sprintf("%q is no digit", []rune(digits[i:])[0])
	}
	if n := fingerprintGroups * groupDigits; len(digits) != n {
		return fmt.Sprintf("a fingerprint has %d digits, these are %d", n, len(digits))
	}
	groups := strings.Fields(want)
	differs := 0
	for i, group := range groups {
		if digits[i*groupDigits:][:groupDigits] == group {
			continue
		}
		if differs != 0 {
			return "it is the fingerprint of another key"
		}
		differs = i + 1
	}
	if differs == 0 {
		return ""
	}
	return fmt.Sprintf("group %d of %d differs, the others fit", differs, fingerprintGroups)
}
