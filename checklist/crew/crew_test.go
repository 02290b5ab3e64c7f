package crew

import (
	"bytes"
	"crypto/ed25519"
	"errors"
	"math/rand/v2"
	"testing"
)

// cheap makes trying a passphrase fast, for tests only.
var cheap = Cost{Passes: 1, MemoryKiB: 64}

func TestLockOpensOnlyWithItsPassphrase(t *testing.T) {
	random := rand.NewChaCha8([32]byte{7})
	_, key, err := ed25519.GenerateKey(random)
	if err != nil {
		t.Fatal(err)
	}
	locked, err := Lock(key, "cold hands, warm heart", cheap, random)
	if err != nil {
		t.Fatal(err)
	}
	if got, err := Unlock(locked, "cold hands, warm heart"); err != nil || !got.Equal(key) {
		t.Errorf("the right passphrase: %v", err)
	}
	if _, err := Unlock(locked, "cold hands, warm hearth"); !errors.Is(err, ErrPassphrase) {
		t.Errorf("a wrong passphrase: %v; want %v", err, ErrPassphrase)
	}
	if bytes.Contains(locked, key.Seed()) {
		t.Error("the locked key holds the seed")
	}
	again, err := Lock(key, "cold hands, warm heart", cheap, random)
	if err != nil || bytes.Equal(locked, again) {
		t.Errorf("locked twice gives the same bytes (%v)", err)
	}
}

func TestUnlockRefusesDamage(t *testing.T) {
	random := rand.NewChaCha8([32]byte{7})
	_, key, _ := ed25519.GenerateKey(random)
	locked, err := Lock(key, "x", cheap, random)
	if err != nil {
		t.Fatal(err)
	}
	for i := range locked {
		if i >= 1 && i < 9 {
			continue // the cost: a changed one may ask for a gigabyte before it fails
		}
		damaged := bytes.Clone(locked)
		damaged[i] ^= 1
		if _, err := Unlock(damaged, "x"); !errors.Is(err, ErrPassphrase) {
			t.Errorf("byte %d changed: %v", i, err)
		}
	}
	for n := range locked {
		if _, err := Unlock(locked[:n], "x"); !errors.Is(err, ErrPassphrase) {
			t.Errorf("cut to %d bytes: %v", n, err)
		}
	}
	for _, cost := range [][]byte{{0, 0, 0, 0, 0, 0, 0, 64}, {0, 0, 0, 200, 0, 0, 0, 64}, {0, 0, 0, 1, 255, 0, 0, 0}} {
		claimed := bytes.Clone(locked)
		copy(claimed[1:], cost)
		if _, err := Unlock(claimed, "x"); !errors.Is(err, ErrPassphrase) {
			t.Errorf("cost %v: %v", cost, err)
		}
	}
}

func TestCheckCode(t *testing.T) {
	for code, good := range map[string]bool{"ida": true, "drill-engineer": true, "a": false, "Ida": false, "1a": false, "a b": false, "": false, "ida_b": false, "é": false} {
		if err := CheckCode("person", code); (err == nil) != good {
			t.Errorf("CheckCode(%q) = %v; want good: %v", code, err, good)
		}
	}
}
