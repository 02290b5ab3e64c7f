package bundle

import (
	"crypto/ed25519"
	"encoding/csv"
	"encoding/hex"
	"os"
	"strings"
	"testing"
)

// TestSignaturesRFC8032 holds the signatures, as bundles use them, to the published
// vectors: pure Ed25519 by a key made from its 32-byte seed, without context or
// hashing before.
func TestSignaturesRFC8032(t *testing.T) {
	file, err := os.Open("../../testdata/checks/ed25519_rfc8032.csv")
	if err != nil {
		t.Fatal(err)
	}
	defer file.Close()
	rows, err := csv.NewReader(file).ReadAll()
	if err != nil || len(rows) != 7 {
		t.Fatalf("%d rows, %v; want 7", len(rows), err)
	}
	for _, row := range rows[1:] {
		inputs := map[string][]byte{}
		for _, input := range strings.Split(row[2], ";") {
			name, text, _ := strings.Cut(input, "=")
			inputs[name] = unhex(t, text)
		}
		key := ed25519.NewKeyFromSeed(inputs["seed"])
		public := key.Public().(ed25519.PublicKey)
		got := []byte(public)
		if row[1] == "signature" {
			got = ed25519.Sign(key, inputs["message"])
			if !ed25519.Verify(public, inputs["message"], got) {
				t.Errorf("row %s: Verify refuses (%s)", row[0], row[6])
			}
		}
		if hex.EncodeToString(got) != row[3] {
			t.Errorf("row %s: %s is %x; want %s (%s)", row[0], row[1], got, row[3], row[6])
		}
	}
}

// TestStatementMessage spells out what a statement's signature covers.
func TestStatementMessage(t *testing.T) {
	b := goldenRelayed()
	s := b.Statements[0]
	s.Heads = s.Heads[:1]
	want := "70756c6b2068656164732031 0a" + // pulk heads 1, line feed
		" 0909" + strings.Repeat("00", 30) + // envelope
		" c05571ae" + // site
		" 0000 00 0000000000000064" + // epoch, class, number 100
		" 010203" + strings.Repeat("00", 29) // hash
	if got := hex.EncodeToString(s.Message()); got != strings.ReplaceAll(want, " ", "") {
		t.Errorf("Message:\n got %s\nwant %s", got, want)
	}
}
