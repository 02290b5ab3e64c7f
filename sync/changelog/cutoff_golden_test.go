package changelog

import (
	"crypto/ed25519"
	"encoding/hex"
	"os"
	"strings"
	"testing"

	"pulk/sync/bundle"
	"pulk/sync/change"
	"pulk/sync/clock"
)

const cutoffGolden = "testdata/cutoff.txt"

// The bytes of a cut-off's columns heads and proof, as docs/decisions/lost-laptop.md
// spells them out. They are on the wire: this file stays for good.
func TestCutOffColumnsAreAsWritten(t *testing.T) {
	key := ed25519.NewKeyFromSeed(make([]byte, ed25519.SeedSize))
	site := SiteIDOf(key.Public().(ed25519.PublicKey))
	heads := []bundle.Head{
		{Lane: clock.Lane{Site: site, Class: clock.Normal}, Seq: 0x0102030405, Hash: change.Hash{0xaa}},
		{Lane: clock.Lane{Site: site, Epoch: 2, Class: clock.Expedited}, Seq: 7, Hash: change.Hash{0xbb}},
	}
	statement := bundle.Statement{Site: site, Envelope: [32]byte{0xee}, Heads: heads}
	copy(statement.Signature[:], ed25519.Sign(key, statement.Message()))
	got := map[string]string{
		"heads": hex.EncodeToString(encodeHeads(heads)),
		"proof": hex.EncodeToString(encodeProof([][]byte{encodeStatement(&statement)})),
	}
	text, err := os.ReadFile(cutoffGolden)
	if err != nil {
		t.Fatal(err)
	}
	for line := range strings.Lines(string(text)) {
		name, want, ok := strings.Cut(strings.TrimSpace(line), " ")
		if !ok || name == "#" {
			continue
		}
		if got[name] != want {
			t.Errorf("%s is written %s; want %s", name, got[name], want)
		}
		delete(got, name)
	}
	if len(got) > 0 {
		t.Errorf("%s does not have: %v", cutoffGolden, got)
	}
	proof, err := decodeProof(encodeProof([][]byte{encodeStatement(&statement)}))
	if err != nil || len(proof) != 1 {
		t.Fatalf("proof reads as %x, %v", proof, err)
	}
	if back, err := decodeStatement(proof[0]); err != nil || !back.Verify(key.Public().(ed25519.PublicKey)) {
		t.Errorf("the statement in the proof does not verify: %v", err)
	}
}

func FuzzDecodeStatement(f *testing.F) {
	f.Add(encodeStatement(&bundle.Statement{Site: 7, Heads: []bundle.Head{{Lane: clock.Lane{Site: 7, Class: clock.Expedited}, Seq: 12}}}))
	f.Fuzz(func(t *testing.T, buf []byte) {
		s, err := decodeStatement(buf)
		if err != nil {
			return
		}
		if again := encodeStatement(s); string(again) != string(buf) {
			t.Errorf("%x reads as %+v, which is written %x", buf, s, again)
		}
		s.Verify(make(ed25519.PublicKey, ed25519.PublicKeySize))
	})
}
