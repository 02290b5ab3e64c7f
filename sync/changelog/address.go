package changelog

import (
	"fmt"

	"pulk/sync/clock"
)

// MailAddress returns the mail address of a site, empty where nobody told it. It is
// kept by this store alone, for itself too, and no bundle carries it: how mail runs
// differs from site to site.
func (tx *Tx) MailAddress(site clock.SiteID) (string, error) { return tx.metaText(mailName(site)) }

// SetMailAddress keeps the mail address of a site; empty takes it back.
func (tx *Tx) SetMailAddress(site clock.SiteID, address string) error {
	if address == "" {
		return tx.Exec("DELETE FROM meta WHERE name = ?", mailName(site))
	}
	return tx.setMeta(mailName(site), address)
}

func mailName(site clock.SiteID) string { return fmt.Sprintf("mail_%08x", uint32(site)) }
