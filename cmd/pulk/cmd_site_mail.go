package main

import (
	netmail "net/mail"

	"pulk/schema/fault"
	"pulk/sync/changelog"
	"pulk/sync/clock"

	"github.com/urfave/cli/v2"
)

func (e *env) siteMailCommand() *cli.Command {
	return verb{path: "pulk site mail", args: "[SITE [ADDRESS]]", maxArgs: 2, usage: "show or set the mail addresses of sites, for pulk exchange mail:…",
		about:    "Addresses are kept by this store alone. This site needs one too: mails come from it. An empty ADDRESS takes one back.",
		examples: []string{"pulk site mail", "pulk site mail stn pulk@stn.example", `pulk site mail home "Tarn Institute <pulk@home.example>"`},
		reads:    true, action: (*call).siteMail}.command(e)
}

// mailSite is a site and its mail address as it was typed.
type mailSite struct {
	id            clock.SiteID
	code, address string
}

// mailSites returns this site and the others that are known, with their addresses.
func mailSites(tx *changelog.Tx) ([]mailSite, error) {
	sites, err := tx.Sites()
	if err != nil {
		return nil, err
	}
	var list []mailSite
	for _, site := range sites {
		address, err := tx.MailAddress(site.ID)
		if err != nil {
			return nil, err
		}
		list = append(list, mailSite{site.ID, site.Code, address})
	}
	return list, nil
}

// mailRow is a row of pulk site mail --json.
type mailRow struct {
	Site    string  `json:"site"`
	Address *string `json:"address"` // null: not known
}

func (c *call) siteMail() error {
	switch c.NArg() {
	case 0:
		return c.siteMailList("")
	case 1:
		return c.siteMailList(c.Args().First())
	}
	code, address := c.Args().Get(0), c.Args().Get(1)
	if address != "" {
		parsed, err := netmail.ParseAddress(address)
		if err != nil {
			return fault.Misuse("write it like pulk@home.example", "%q is no mail address", address)
		}
		address = parsed.String()
		if parsed.Name == "" {
			address = parsed.Address
		}
	}
	err := c.local(func(tx *changelog.Tx) error {
		site, err := tx.SiteByCode(code)
		if err != nil {
			return fault.Hint("see: pulk site list", "%w", err)
		}
		return tx.SetMailAddress(site.ID, address)
	})
	switch {
	case err != nil:
		return err
	case address == "":
		c.printf("no mail goes to %s any more\n", code)
	default:
		c.printf("mail for %s goes to %s\n", code, address)
	}
	return nil
}

func (c *call) siteMailList(code string) error {
	return c.view(func(tx *changelog.Tx) error {
		if code != "" {
			if _, err := tx.SiteByCode(code); err != nil {
				return fault.Hint("see: pulk site list", "%w", err)
			}
		}
		sites, err := mailSites(tx)
		if err != nil {
			return err
		}
		rows, t := []mailRow{}, newTable("site", "mail address")
		for _, s := range sites {
			if code != "" && s.code != code {
				continue
			}
			row := mailRow{Site: s.code}
			if s.address != "" {
				row.Address = &s.address
			}
			rows = append(rows, row)
			t.add(s.code, orNone(s.address))
		}
		if c.asJSON() {
			return c.printJSON(rows)
		}
		t.print(c.env, "")
		return nil
	})
}

// orNone returns a text, or that there is none.
func orNone(text string) string {
	if text == "" {
		return "none"
	}
	return text
}
