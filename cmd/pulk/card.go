package main

import (
	"crypto/ed25519"
	"encoding/base64"
	"fmt"
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
		cardHead, c.Campaign, c.CampaignName, c.Code, c.Name, base64.RawURLEncoding.EncodeToString(c.Key), changelog.SiteFingerprint(c.Campaign, c.Key))
}

// maxCards bounds how many cards one file may hold.
const maxCards = 1000

// readCards reads a file of one or more cards.
func readCards(path string) ([]card, error) {
	text, err := readInput(path)
	if err != nil {
		return nil, err
	}
	cards, err := parseCards(string(text))
	if err != nil {
		return nil, fault.Hint("ask that site for the output of: pulk site card", "%s: %w", path, err)
	}
	return cards, nil
}

func parseCards(text string) ([]card, error) {
	var cards []card
	parts := splitCards(text)
	if len(parts) > maxCards {
		return nil, fmt.Errorf("more than %d cards", maxCards)
	}
	for i, part := range parts {
		c, err := parseCard(part)
		if err != nil && len(parts) > 1 {
			err = fmt.Errorf("card %d: %w", i+1, err)
		}
		if err != nil {
			return nil, err
		}
		cards = append(cards, c)
	}
	return cards, nil
}

// splitCards cuts a text before each line that begins a card.
func splitCards(text string) []string {
	text = strings.TrimSpace(text)
	var parts []string
	start, at := 0, 0
	for line := range strings.Lines(text) {
		if at > start && strings.TrimSpace(line) == cardHead {
			parts = append(parts, text[start:at])
			start = at
		}
		at += len(line)
	}
	return append(parts, text[start:])
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
