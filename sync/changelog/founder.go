package changelog

import (
	"crypto/ed25519"
	"crypto/sha256"

	"github.com/google/uuid"

	"pulk/sync/clock"
)

// founded is the version of a UUID that names its founder.
const founded = 8

// CampaignOf returns the id of the campaign that the site with a public key founds:
// a UUID of version 8 (RFC 9562) whose free 122 bits are those of the SHA-256 of the
// key. So whoever holds the id can tell the founder's key from any other, and its
// first four bytes are the founder's site id.
func CampaignOf(key ed25519.PublicKey) uuid.UUID {
	digest := sha256.Sum256(key)
	id := uuid.UUID(digest[:16])
	id[6] = id[6]&0x0f | founded<<4
	id[8] = id[8]&0x3f | 0x80
	return id
}

// Founder returns the id of the site that founded the campaign. Its word on who
// belongs to the campaign is the same at every site, as the campaign's id names it.
// In a campaign whose id was not made from a key no site has it.
func (id *Identity) Founder() clock.SiteID { return clock.SiteID(id.CampaignTag()) }

// Founded reports whether a key is that of the site that founded the campaign.
func (id *Identity) Founded(key ed25519.PublicKey) bool { return CampaignOf(key) == id.Campaign }

// IsFounder reports whether this site founded the campaign.
func (id *Identity) IsFounder() bool { return id.Founded(id.Public()) }
