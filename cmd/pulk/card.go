package main

import (
	"crypto/ed25519"
	"encoding/base64"
	"fmt"
	"os"
	"strings"

	"github.com/google/uuid"

	"pulk/schema/fault"
	"pulk/sync/changelog"
)

// card is what one site gives another to be known by: a few lines of text, to be
// sent by any means. It holds nothing secret. What makes it trusted is that two
// people compare the fingerprint by voice.
type card struct {
	Campaign     uuid.UUID
	CampaignName string
	Code, Name   string
	Key          ed25519.PublicKey
}

const cardHead = "pulk site card 1"

func cardOf(id changelog.Identity) card {
	return card{id.Campaign, id.CampaignName, id.Code, id.Name, id.Public()}
}

func (c card) String() string {
	return fmt.Sprintf("%s\ncampaign: %s %s\nsite: %s %s\nkey: %s\nfingerprint: %s\n",
		cardHead, c.Campaign, c.CampaignName, c.Code, c.Name, base64.RawURLEncoding.EncodeToString(c.Key), changelog.Fingerprint(c.Key))
}

// readCard reads a card file.
func readCard(path string) (card, error) {
	text, err := os.ReadFile(path)
	if err != nil {
		return card{}, err
	}
	c, err := parseCard(string(text))
	if err != nil {
		return card{}, fault.Hint("ask that site for the output of: pulk site card", "%s: %w", path, err)
	}
	return c, nil
}

func parseCard(text string) (card, error) {
	var c card
	lines := strings.Split(strings.TrimSpace(strings.ReplaceAll(text, "\r\n", "\n")), "\n")
	if strings.TrimSpace(lines[0]) != cardHead {
		return c, fmt.Errorf("line 1: expected %q", cardHead)
	}
	for i, line := range lines[1:] {
		name, value, _ := strings.Cut(line, ":")
		first, rest, _ := strings.Cut(strings.TrimSpace(value), " ")
		var err error
		switch strings.TrimSpace(name) {
		case "campaign":
			c.Campaign, err = uuid.Parse(first)
			c.CampaignName = rest
		case "site":
			c.Code, c.Name = first, rest
		case "key":
			var key []byte
			if key, err = base64.RawURLEncoding.DecodeString(first); err == nil && len(key) != ed25519.PublicKeySize {
				err = fmt.Errorf("a key has %d bytes, this has %d", ed25519.PublicKeySize, len(key))
			}
			c.Key = key
		}
		if err != nil {
			return c, fmt.Errorf("line %d: %w", i+2, err)
		}
	}
	if c.Code == "" || len(c.Key) == 0 || c.Campaign == uuid.Nil {
		return c, fmt.Errorf("campaign, site or key is missing")
	}
	return c, nil
}
