package bundle

import (
	"bytes"
	"crypto/ed25519"
	"reflect"
	"testing"

	"pgregory.net/rapid"

	"pulk/sync/change"
	"pulk/sync/clock"
)

// sameSets fails where two bundles differ in what they say.
func sameBundle(t interface{ Fatalf(string, ...any) }, got, want *Bundle) {
	if got.Campaign != want.Campaign || got.From != want.From || got.To != want.To || got.At != want.At ||
		got.Envelope != want.Envelope || got.Signature != want.Signature ||
		!reflect.DeepEqual(got.Clock, want.Clock) || !reflect.DeepEqual(got.Statements, want.Statements) {
		t.Fatalf("header changed:\n got %+v\nwant %+v", got, want)
	}
	if len(got.Segments) != len(want.Segments) {
		t.Fatalf("%d segments; want %d", len(got.Segments), len(want.Segments))
	}
	for i := range got.Segments {
		g, w := &got.Segments[i], &want.Segments[i]
		if g.Lane != w.Lane || g.From != w.From || g.Statement != w.Statement || len(g.Sets) != len(w.Sets) || !reflect.DeepEqual(g.Previous, w.Previous) {
			t.Fatalf("segment %d changed:\n got %+v\nwant %+v", i, g, w)
		}
		for j := range g.Sets {
			sameSet(t, g.Sets[j], w.Sets[j])
		}
	}
}

func sameSet(t interface{ Fatalf(string, ...any) }, got, want *change.Set) {
	if !bytes.Equal(got.Canonical(), want.Canonical()) {
		t.Fatalf("canonical bytes changed:\n got %+v\nwant %+v", got, want)
	}
	g, w := *got, *want
	if len(g.Changes) == 0 && len(w.Changes) == 0 {
		g.Changes, w.Changes = nil, nil
	}
	for _, s := range []*change.Set{&g, &w} {
		for i := range s.Changes {
			if len(s.Changes[i].Raw) == 0 {
				s.Changes[i].Raw = nil
			}
		}
	}
	if !reflect.DeepEqual(g, w) {
		t.Fatalf("change-set changed:\n got %+v\nwant %+v", g, w)
	}
}

func TestRoundTrip(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		b := drawBundle(t)
		data, err := Encode(b, sign)
		if err != nil {
			t.Fatalf("Encode: %v", err)
		}
		got, err := Decode(data, DefaultLimits)
		if err != nil {
			t.Fatalf("Decode of %x: %v", data, err)
		}
		sameBundle(t, got, b)
	})
}

func TestRoundTripByEveryMethod(t *testing.T) {
	packers := map[string]packer{"raw": packRaw, "zstd": packZstd, "modelled": packModelled, "all_modelled": packAllModelled}
	rapid.Check(t, func(t *rapid.T) {
		b := drawBundle(t)
		name := rapid.SampledFrom([]string{"raw", "zstd", "modelled", "all_modelled"}).Draw(t, "method")
		data, err := encode(b, sign, packers[name])
		if err != nil {
			t.Fatalf("encode: %v", err)
		}
		got, err := Decode(data, DefaultLimits)
		if err != nil {
			t.Fatalf("Decode of %s: %v", name, err)
		}
		sameBundle(t, got, b)
	})
}

func noHash(clock.Lane, uint64) (change.Hash, bool) { return change.Hash{}, false }

// chained draws a bundle whose chain can be computed from itself, and signs it.
func chained(t *rapid.T) (*Bundle, []byte) {
	b := drawBundle(t)
	for i := range b.Segments {
		if s := &b.Segments[i]; s.From > 1 && s.Previous == nil {
			s.Previous = &change.Hash{1}
		}
	}
	if err := b.Chain(noHash); err != nil {
		t.Fatalf("Chain: %v", err)
	}
	data, err := Encode(b, sign)
	if err != nil {
		t.Fatalf("Encode: %v", err)
	}
	return b, data
}

func accepted(data []byte) bool {
	b, err := Decode(data, DefaultLimits)
	return err == nil && b.Chain(noHash) == nil && b.VerifySender(testKey.Public().(ed25519.PublicKey))
}

func TestChainAndVerifySender(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		b, data := chained(t)
		got, err := Decode(data, DefaultLimits)
		if err != nil {
			t.Fatalf("Decode: %v", err)
		}
		if err := got.Chain(noHash); err != nil {
			t.Fatalf("Chain: %v", err)
		}
		for i := range b.Segments {
			if got.Segments[i].Head != b.Segments[i].Head {
				t.Fatalf("head of segment %d: %x; want %x", i, got.Segments[i].Head, b.Segments[i].Head)
			}
		}
		if !accepted(data) {
			t.Fatalf("an honest bundle is not accepted")
		}
		bit := rapid.IntRange(0, 8*len(data)-1).Draw(t, "bit")
		data[bit/8] ^= 1 << (bit % 8)
		if accepted(data) {
			t.Fatalf("accepted with bit %d flipped", bit)
		}
	})
}
