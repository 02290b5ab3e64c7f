package bundle_test

import (
	"crypto/ed25519"
	"fmt"
	"time"

	"pulk/schema/kind"
	"pulk/sync/bundle"
	"pulk/sync/change"
	"pulk/sync/clock"
)

// A site packs its first change-set for another, which reads and checks it.
func Example() {
	key := ed25519.NewKeyFromSeed(make([]byte, ed25519.SeedSize))
	lane := clock.Lane{Site: 0x8e4b01d7}
	at := clock.StampAt(time.Date(2027, 1, 5, 18, 20, 0, 0, time.UTC))
	set := &change.Set{Lane: lane, Seq: 1, Campaign: 7, At: at,
		Changes: []change.Change{change.New(kind.PersonAdd, change.Text("mirre"), change.Text("Mirre Aalto"))}}
	sent := &bundle.Bundle{Campaign: 7, From: lane.Site, To: 0x2fa96c33, At: at,
		Segments: []bundle.Segment{{Lane: lane, From: 1, Sets: []*change.Set{set}, Statement: -1}}}
	if err := sent.Chain(nil); err != nil { // fills in the head that is signed
		panic(err)
	}
	data, err := bundle.Encode(sent, func(message []byte) []byte { return ed25519.Sign(key, message) })
	if err != nil {
		panic(err)
	}

	got, err := bundle.Decode(data, bundle.DefaultLimits)
	if err != nil {
		panic(err)
	}
	if err := got.Chain(nil); err != nil { // the lane starts in this bundle: no log is asked
		panic(err)
	}
	fmt.Println(got.VerifySender(key.Public().(ed25519.PublicKey)))
	fmt.Println(got.Segments[0].Sets[0].Changes[0].Values[1].Text)

	// Output:
	// true
	// Mirre Aalto
}
