package main

import (
	"fmt"

	"github.com/urfave/cli/v2"

	"pulk/schema/fault"
	"pulk/sync/changelog"
)

func (e *env) verifyCommand() *cli.Command {
	return verb{
		path: "pulk verify", usage: "check the whole store against its log", reads: true,
		about:  "Checks every hash chain and every signature kept, rebuilds all tables from the log in a scratch file and compares them. Nothing is changed, unless --rebuild is given.",
		flags:  []cli.Flag{&cli.BoolFlag{Name: "rebuild", Usage: "make all tables anew from the log first"}},
		action: (*call).verify,
	}.command(e)
}

// verifyJSON is pulk verify --json.
type verifyJSON struct {
	Sets       int      `json:"change_sets"`
	Lanes      int      `json:"lanes"`
	Signatures int      `json:"signatures_checked"`
	Digest     string   `json:"digest"`          // of the state: equal at every site that has the same change-sets
	Confined   string   `json:"confined_digest"` // of what is confined to named sites: equal at all that have the same of it
	Faults     []string `json:"faults"`          // in words; none if the store is sound
}

func (c *call) verify() error {
	return c.withLog(func(log *changelog.Log) error {
		if c.Bool("rebuild") {
			if err := log.Rebuild(c.Context.Context); err != nil {
				return err
			}
		}
		v, err := log.Verify(c.Context.Context)
		if err != nil {
			return err
		}
		if c.asJSON() {
			err := c.printJSON(verifyJSON{v.Sets, v.Lanes, v.Signatures, fmt.Sprintf("%x", v.Digest[:]), fmt.Sprintf("%x", v.Confined[:]), append([]string{}, v.Faults...)})
			if err != nil {
				return err
			}
		} else {
			for _, text := range v.Faults {
				c.printf("FAULT %s\n", text)
			}
			c.printf("%d change-sets in %d lanes, %d signatures checked, state digest %s\n", v.Sets, v.Lanes, v.Signatures, v.Digest)
			if v.ConfinedSets > 0 {
				c.printf("%s of these confined to named sites, digest %s\n", plural(v.ConfinedSets, "change-set", "change-sets"), v.Confined)
			}
		}
		if n := len(v.Faults); n > 0 {
			return fault.Hint("keep this file as it is; the other sites hold the same changes: start from a fresh store and their bundles", "%s has %s", c.storePath(), plural(n, "fault", "faults"))
		}
		if !c.asJSON() {
			c.printf("sound: chains, signatures and tables agree with the log\n")
		}
		return nil
	})
}
