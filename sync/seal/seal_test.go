package seal

import (
	"bytes"
	"crypto/ecdh"
	"crypto/ed25519"
	"encoding/csv"
	"encoding/hex"
	"errors"
	"flag"
	"os"
	"slices"
	"strings"
	"testing"
)

// checks reads a file of published values: for each row its inputs by name, what
// is asked for, and what it is.
func checks(t *testing.T, name string, each func(quantity string, in map[string][]byte, want []byte, source string)) {
	t.Helper()
	file, err := os.Open("../../testdata/checks/" + name)
	if err != nil {
		t.Fatal(err)
	}
	defer file.Close()
	rows, err := csv.NewReader(file).ReadAll()
	if err != nil || len(rows) < 2 {
		t.Fatalf("%s: %d rows, %v", name, len(rows), err)
	}
	for _, row := range rows[1:] {
		in := map[string][]byte{}
		for _, input := range strings.Split(row[2], ";") {
			name, text, _ := strings.Cut(input, "=")
			in[name] = unhex(t, text)
		}
		each(row[1], in, unhex(t, row[3]), row[6])
	}
}

func unhex(t *testing.T, text string) []byte {
	t.Helper()
	data, err := hex.DecodeString(text)
	if err != nil {
		t.Fatal(err)
	}
	return data
}

// TestOpenRFC9180 opens a published ciphertext by the function that opens parcels.
func TestOpenRFC9180(t *testing.T) {
	checks(t, "hpke_rfc9180.csv", func(_ string, in map[string][]byte, want []byte, source string) {
		key, err := ecdh.X25519().NewPrivateKey(in["skRm"])
		if err != nil {
			t.Fatal(err)
		}
		got, err := open(key, in["enc"], in["info"], in["aad"], in["ct"])
		if err != nil || !bytes.Equal(got, want) {
			t.Errorf("open: %q, %v; want %q (%s)", got, err, want, source)
		}
		in["ct"][3] ^= 1
		if got, err := open(key, in["enc"], in["info"], in["aad"], in["ct"]); !errors.Is(err, ErrNotOpened) {
			t.Errorf("open of what was changed: %q, %v", got, err)
		}
	})
}

// TestKeyMap holds the keys to published ones of another implementation.
func TestKeyMap(t *testing.T) {
	checks(t, "ed25519_x25519.csv", func(quantity string, in map[string][]byte, want []byte, source string) {
		private := ed25519.NewKeyFromSeed(in["seed"])
		var got []byte
		switch quantity {
		case "ed25519 public key":
			got = private.Public().(ed25519.PublicKey)
		case "x25519 public key":
			key, err := PublicKey(private.Public().(ed25519.PublicKey))
			if err != nil {
				t.Fatal(err)
			}
			got = key.Bytes()
		case "x25519 private key":
			key, err := PrivateKey(private)
			if err != nil {
				t.Fatal(err)
			}
			got = prune(key.Bytes())
		}
		if !bytes.Equal(got, want) {
			t.Errorf("%s: %x; want %x (%s)", quantity, got, want, source)
		}
	})
}

// prune clears and sets the bits that RFC 7748, section 5, has a reader of a scalar
// clear and set.
func prune(scalar []byte) []byte {
	out := slices.Clone(scalar)
	out[0] &= 248
	out[31] = out[31]&127 | 64
	return out
}

// TestKeysBelongTogether holds the two maps to each other: the public key of the
// private key is the mapped public key.
func TestKeysBelongTogether(t *testing.T) {
	for n := range byte(50) {
		private := testKey(n)
		x, err := PrivateKey(private)
		if err != nil {
			t.Fatal(err)
		}
		public, err := PublicKey(private.Public().(ed25519.PublicKey))
		if err != nil || !public.Equal(x.PublicKey()) {
			t.Errorf("key %d: %x, %v; want %x", n, public.Bytes(), err, x.PublicKey().Bytes())
		}
	}
}

func testKey(n byte) ed25519.PrivateKey {
	return ed25519.NewKeyFromSeed(bytes.Repeat([]byte{n}, ed25519.SeedSize))
}

const testSite = 0x2fa96c33

func TestSealAndOpen(t *testing.T) {
	key := testKey(1)
	for _, size := range []int{0, 1, 159, 12_000} {
		parcel := bytes.Repeat([]byte{0xb5}, size)
		sealed, err := Seal(parcel, testSite, key.Public().(ed25519.PublicKey))
		if err != nil {
			t.Fatal(err)
		}
		if len(sealed) != size+Overhead || Overhead > 60 {
			t.Errorf("%d bytes are %d sealed: %d more; at most 60", size, len(sealed), len(sealed)-size)
		}
		if to, err := Addressee(sealed); to != testSite || err != nil {
			t.Errorf("addressee %08x, %v", to, err)
		}
		if got, err := Open(sealed, key); err != nil || !bytes.Equal(got, parcel) {
			t.Errorf("opens to %d bytes, %v; want %d", len(got), err, size)
		}
		if _, err := Open(sealed, testKey(2)); !errors.Is(err, ErrNotOpened) {
			t.Errorf("another site opens it: %v", err)
		}
	}
}

// TestOpenDamaged changes each byte, and cuts anywhere.
func TestOpenDamaged(t *testing.T) {
	key := testKey(1)
	sealed, err := Seal([]byte("one check-off"), testSite, key.Public().(ed25519.PublicKey))
	if err != nil {
		t.Fatal(err)
	}
	for i := range sealed {
		bad := slices.Clone(sealed)
		bad[i] ^= 0x40
		// The highest bit of the ephemeral key alone is ignored, by RFC 7748.
		if got, err := Open(bad, key); err == nil {
			t.Errorf("byte %d changed: opens to %q", i, got)
		}
		if got, err := Open(sealed[:i], key); err == nil {
			t.Errorf("cut at %d: opens to %q", i, got)
		}
	}
}

// TestSmallOrder: to a key that is no key of a site nothing is sealed.
func TestSmallOrder(t *testing.T) {
	identity := make([]byte, 32)
	identity[0] = 1
	for _, key := range [][]byte{identity, make([]byte, 32), make([]byte, 31)} {
		if sealed, err := Seal([]byte("x"), testSite, key); err == nil {
			t.Errorf("sealed to %x: %x", key, sealed)
		}
	}
}

var update = flag.Bool("update", false, "write the golden parcel anew")

// TestGolden opens the sealed parcel of the document, which stays readable for
// good.
func TestGolden(t *testing.T) {
	const path = "../../testdata/seal/check_off.sealed"
	inside, err := os.ReadFile("../../testdata/bundle/check_off.bundle")
	if err != nil {
		t.Fatal(err)
	}
	key := testKey(1)
	if *update {
		sealed, err := Seal(inside, testSite, key.Public().(ed25519.PublicKey))
		if err != nil {
			t.Fatal(err)
		}
		if err := os.WriteFile(path, sealed, 0o666); err != nil {
			t.Fatal(err)
		}
	}
	sealed, err := os.ReadFile(path)
	if err != nil {
		t.Fatal(err)
	}
	if got, err := Open(sealed, key); err != nil || !bytes.Equal(got, inside) {
		t.Errorf("%s opens to %d bytes, %v; want the %d of check_off.bundle", path, len(got), err, len(inside))
	}
}

func FuzzOpen(f *testing.F) {
	key := testKey(1)
	golden, err := os.ReadFile("../../testdata/seal/check_off.sealed")
	if err != nil {
		f.Fatal(err)
	}
	f.Add(golden)
	f.Add([]byte(Magic + "\x01"))
	f.Fuzz(func(t *testing.T, data []byte) {
		if got, err := Open(data, key); err == nil && !bytes.Equal(data, golden) && len(got) != len(data)-Overhead {
			t.Errorf("%d bytes open to %d", len(data), len(got))
		}
	})
}
