package main

import (
	"bytes"
	"encoding/base64"
	"strings"
	"testing"

	"github.com/google/uuid"
)

// FuzzParseCards: whatever a file holds, its cards are refused, or each is one that its own
// text makes again.
func FuzzParseCards(f *testing.F) {
	one := card{Campaign: uuid.MustParse("0123456789abcdef0123456789abcdef"), CampaignName: "Skarv Plateau", Code: "stn", Name: "Skarv station", Key: bytes.Repeat([]byte{7}, 32)}.String()
	f.Add(one)
	f.Add(one + "\r\n\r\n" + strings.ReplaceAll(one, "\n", "\r\n"))
	f.Add(strings.Replace(one, "key:", "KEY :", 1))
	f.Add(cardHead + "\nkey: " + base64.RawURLEncoding.EncodeToString([]byte("short")))
	f.Add(strings.Repeat(cardHead+"\n", maxCards+1))
	f.Fuzz(func(t *testing.T, text string) {
		cards, err := parseCards(text)
		if len(cards) > maxCards || err == nil && len(cards) == 0 {
			t.Fatalf("%d cards, %v", len(cards), err)
		}
		for _, c := range cards {
			again, err := parseCards(c.String())
			if err != nil || len(again) != 1 {
				t.Fatalf("%q reads as %d cards, %v", c.String(), len(again), err)
			}
			got := again[0]
			if got.Campaign != c.Campaign || got.Code != c.Code || got.Name != c.Name || got.CampaignName != c.CampaignName || !got.Key.Equal(c.Key) {
				t.Errorf("%+v reads as %+v", c, got)
			}
		}
	})
}
