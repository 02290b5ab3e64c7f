package main

import (
	"pulk/schema"
	"pulk/schema/fault"
	"pulk/sync/changelog"
	"pulk/sync/transfer"
)

// sealVerb is pulk site seal.
func sealVerb() verb {
	return verb{path: "pulk site seal", args: "SITE always|never", minArgs: 2, maxArgs: 2, usage: "say whether what goes to a site is sealed",
		about:    "Sealed, only that site can read it, and not who carries it; it is 55 bytes more. Until it is said, nothing is sealed but by --seal, and what is confined to named sites, which always is. What comes sealed is opened without being told to.",
		examples: []string{"pulk site seal home always"}, action: (*call).siteSeal}
}

func (c *call) siteSeal() error {
	code, when := c.Args().Get(0), c.Args().Get(1)
	if when != "always" && when != "never" {
		return fault.Misuse("see: pulk site seal --help", "pulk site seal: %q is neither always nor never", when)
	}
	return c.withLog(func(log *changelog.Log) error {
		site, err := trustedSite(c, log, code)
		if err != nil {
			return err
		}
		err = log.Store().Update(c.Context.Context, func(tx *schema.Tx) error { return transfer.SetSeal(tx, site.ID, when == "always") })
		if err != nil {
			return err
		}
		if when == "always" {
			c.printf("what goes to %s is sealed from now on\n", code)
		} else {
			c.printf("what goes to %s is sealed only by --seal from now on, and where it is confined\n", code)
		}
		return nil
	})
}
