// Package seal closes a parcel so that only its addressee can read it.
//
// It is HPKE (RFC 9180) in base mode from the standard library, to a key that
// follows from the addressee's signing key: no further key travels. It says nothing
// of who sealed; what is inside is signed. [Seal] draws a fresh key for each parcel
// from the system's randomness, so the same parcel sealed twice gives other bytes.
// docs/seal-format.md specifies every byte.
package seal

import (
	"crypto/ecdh"
	"crypto/ed25519"
	"crypto/hpke"
	"crypto/sha512"
	"encoding/binary"
	"errors"
	"fmt"

	"filippo.io/edwards25519"
)

// Magic is how every sealed parcel begins; the byte after it is the version.
const Magic = "\xb5s"

// Version is the only version so far. It stands for DHKEM(X25519, HKDF-SHA256),
// HKDF-SHA256 and ChaCha20-Poly1305.
const Version = 1

const (
	headerSize = 2 + 1 + 4
	encSize    = 32 // the ephemeral public key
	tagSize    = 16
)

// Overhead is how many bytes sealing adds.
const Overhead = headerSize + encSize + tagSize

// MaxBytes is the largest sealed parcel that is opened.
const MaxBytes = 8 << 20

// info binds the key to this use.
const info = "pulk seal 1\n"

// ErrNotOpened is where a sealed parcel is damaged, or was sealed to another key.
var ErrNotOpened = errors.New("the seal does not open with this site's key: the parcel is damaged, or was made for another site of the same id")

// Seal returns a parcel sealed for a site, by its id and its Ed25519 key.
func Seal(parcel []byte, to uint32, key ed25519.PublicKey) ([]byte, error) {
	header := append([]byte(Magic), Version)
	header = binary.BigEndian.AppendUint32(header, to)
	public, err := PublicKey(key)
	if err != nil {
		return nil, err
	}
	kem, err := hpke.NewDHKEMPublicKey(public)
	if err != nil {
		return nil, err
	}
	enc, sender, err := hpke.NewSender(kem, hpke.HKDFSHA256(), hpke.ChaCha20Poly1305(), []byte(info))
	if err != nil {
		return nil, err
	}
	closed, err := sender.Seal(header, parcel)
	return append(append(header, enc...), closed...), err
}

// Addressee returns the id of the site that a sealed parcel is for.
func Addressee(sealed []byte) (uint32, error) {
	switch {
	case len(sealed) < len(Magic) || string(sealed[:len(Magic)]) != Magic:
		return 0, errors.New("this is no sealed parcel")
	case len(sealed) < Overhead:
		return 0, errors.New("sealed parcel cut off")
	case sealed[2] != Version:
		return 0, fmt.Errorf("sealed parcel of version %d, this program opens %d; a newer program is needed", sealed[2], Version)
	case len(sealed) > MaxBytes:
		return 0, fmt.Errorf("a sealed parcel of %d bytes; at most %d", len(sealed), MaxBytes)
	}
	return binary.BigEndian.Uint32(sealed[3:]), nil
}

// Open returns what was sealed for the site with this key.
func Open(sealed []byte, key ed25519.PrivateKey) ([]byte, error) {
	if _, err := Addressee(sealed); err != nil {
		return nil, err
	}
	private, err := PrivateKey(key)
	if err != nil {
		return nil, err
	}
	rest := sealed[headerSize:]
	return open(private, rest[:encSize], []byte(info), sealed[:headerSize], rest[encSize:])
}

// open is HPKE's opening of the first message to a key.
func open(key *ecdh.PrivateKey, enc, info, aad, closed []byte) ([]byte, error) {
	kem, err := hpke.NewDHKEMPrivateKey(key)
	if err != nil {
		return nil, err
	}
	recipient, err := hpke.NewRecipient(enc, kem, hpke.HKDFSHA256(), hpke.ChaCha20Poly1305(), info)
	if err != nil {
		return nil, ErrNotOpened // a key that no sender makes
	}
	parcel, err := recipient.Open(aad, closed)
	if err != nil {
		return nil, ErrNotOpened
	}
	return parcel, nil
}

// PublicKey returns the X25519 key that belongs to an Ed25519 key: the same point,
// by the map of RFC 7748, section 4.1.
func PublicKey(key ed25519.PublicKey) (*ecdh.PublicKey, error) {
	point, err := new(edwards25519.Point).SetBytes(key)
	if err != nil {
		return nil, fmt.Errorf("the site's key is no point of the curve: %w", err)
	}
	if new(edwards25519.Point).MultByCofactor(point).Equal(edwards25519.NewIdentityPoint()) == 1 {
		return nil, errors.New("the site's key is a point of small order, to which nothing can be sealed")
	}
	return ecdh.X25519().NewPublicKey(point.BytesMontgomery())
}

// PrivateKey returns the X25519 key that belongs to an Ed25519 key: the scalar of
// RFC 8032, section 5.1.5, which X25519 prunes itself.
func PrivateKey(key ed25519.PrivateKey) (*ecdh.PrivateKey, error) {
	digest := sha512.Sum512(key.Seed())
	return ecdh.X25519().NewPrivateKey(digest[:32])
}
