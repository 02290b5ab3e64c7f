package crew

import (
	"crypto/cipher"
	"crypto/ed25519"
	"encoding/binary"
	"errors"
	"io"

	"golang.org/x/crypto/argon2"
	"golang.org/x/crypto/chacha20poly1305"
)

// Cost is what it takes to try one passphrase (Argon2id, RFC 9106).
type Cost struct {
	Passes    uint32
	MemoryKiB uint32
}

// DefaultCost takes about a tenth of a second and 64 MiB on a small laptop: the
// second choice that RFC 9106 section 4 recommends, with one lane.
var DefaultCost = Cost{Passes: 3, MemoryKiB: 64 << 10}

const (
	lockVersion = 1
	saltSize    = 16
	maxPasses   = 64
	maxMemory   = 1 << 20 // KiB: 1 GiB
)

// ErrPassphrase is returned by Unlock for a wrong passphrase, or a damaged key.
var ErrPassphrase = errors.New("the passphrase does not open this key")

// Lock encrypts a private key under a passphrase. The result holds version (1),
// passes (4), memory in KiB (4), salt (16), nonce (24), and the sealed seed.
func Lock(key ed25519.PrivateKey, passphrase string, cost Cost, rand io.Reader) ([]byte, error) {
	locked := []byte{lockVersion}
	locked = binary.BigEndian.AppendUint32(locked, cost.Passes)
	locked = binary.BigEndian.AppendUint32(locked, cost.MemoryKiB)
	random := make([]byte, saltSize+chacha20poly1305.NonceSizeX)
	if _, err := io.ReadFull(rand, random); err != nil {
		return nil, err
	}
	locked = append(locked, random...)
	box, err := sealer(passphrase, random[:saltSize], cost)
	if err != nil {
		return nil, err
	}
	return box.Seal(locked, random[saltSize:], key.Seed(), locked[:9+saltSize]), nil
}

// Unlock is the inverse of Lock.
func Unlock(locked []byte, passphrase string) (ed25519.PrivateKey, error) {
	const head = 9 + saltSize + chacha20poly1305.NonceSizeX
	if len(locked) < head || locked[0] != lockVersion {
		return nil, ErrPassphrase
	}
	cost := Cost{binary.BigEndian.Uint32(locked[1:]), binary.BigEndian.Uint32(locked[5:])}
	if cost.Passes == 0 || cost.Passes > maxPasses || cost.MemoryKiB > maxMemory {
		return nil, ErrPassphrase
	}
	box, err := sealer(passphrase, locked[9:9+saltSize], cost)
	if err != nil {
		return nil, err
	}
	seed, err := box.Open(nil, locked[9+saltSize:head], locked[head:], locked[:9+saltSize])
	if err != nil || len(seed) != ed25519.SeedSize {
		return nil, ErrPassphrase
	}
	return ed25519.NewKeyFromSeed(seed), nil
}

func sealer(passphrase string, salt []byte, cost Cost) (cipher.AEAD, error) {
	return chacha20poly1305.NewX(argon2.IDKey([]byte(passphrase), salt, cost.Passes, cost.MemoryKiB, 1, chacha20poly1305.KeySize))
}
