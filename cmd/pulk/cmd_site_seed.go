package main

import (
	"bytes"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"os"
	"path/filepath"
	"strings"

	"github.com/urfave/cli/v2"

	"pulk/schema/fault"
	"pulk/sync/carrier"
	"pulk/sync/changelog"
	"pulk/sync/transfer"
)

func (e *env) siteSeedCommand() *cli.Command {
	return verb{path: "pulk site seed", args: "SITE", minArgs: 1, maxArgs: 1, usage: "pack all history for a new laptop",
		about: "The new laptop joins with a card (pulk init --join), compares one fingerprint by voice, and takes all that is in the folder: pulk bundle take FOLDER/*. " +
			"All sites whose changes are in it must be known to the new one: the site that founded the campaign introduces them (pulk site introduce). " +
			"What is lost on the way is sent again by the next ordinary bundle.",
		examples: []string{"pulk site seed stn2 -o seed", "pulk site seed stn2 -o seed --max-bytes 50000"},
		flags: []cli.Flag{&cli.StringFlag{Name: "output", Aliases: []string{"o"}, Usage: "`FOLDER` to make and write"},
			&cli.IntFlag{Name: "max-bytes", Usage: "size that no bundle exceeds, in `BYTES`"}},
		action: (*call).siteSeed}.command(e)
}

func (c *call) siteSeed() error {
	folder, maxBytes := c.String("output"), c.Int("max-bytes")
	if folder == "" || maxBytes < 0 {
		return fault.Misuse("see: pulk site seed --help", "pulk site seed: -o FOLDER is needed, and --max-bytes not below zero")
	}
	if _, err := os.Stat(folder); !errors.Is(err, fs.ErrNotExist) {
		return fault.Hint("name a folder that is not there yet, so that nothing old is taken with it", "%s is there already", folder)
	}
	return c.withLog(func(log *changelog.Log) error {
		to, err := trustedSite(c, log, c.Args().First())
		if err != nil {
			return err
		}
		cards, err := c.seedCards(log, to)
		if err != nil {
			return err
		}
		if err := os.Mkdir(folder, 0o777); err != nil {
			return err
		}
		var size, sets, changes, count int
		desk := &transfer.Desk{Log: log, Now: c.env.now()}
		err = desk.Seed(c.Context.Context, transfer.Request{Request: changelog.Request{To: to.ID, MaxBytes: maxBytes}}, func(n int, made *transfer.Made) error {
			size, sets, changes, count = size+made.Bytes(), sets+made.Sets, changes+made.Changes, n
			return carrier.WriteFile(filepath.Join(folder, fmt.Sprintf("%05d.bundle", n)), made.Parcels[0].Data)
		})
		if err == nil {
			err = carrier.WriteFile(filepath.Join(folder, "cards.txt"), []byte(cards))
		}
		if err != nil {
			return err
		}
		c.printf("%s: %s for %s, %d bytes in %s\n", folder, cargo("", changes, sets), to.Code, size, plural(count, "bundle", "bundles"))
		c.printf("next, at %s: pulk bundle take %s/*\n", to.Code, folder)
		return nil
	})
}

// seedCards returns the cards that a new site needs to check a seed by, this site's
// first. It refuses where the new site would refuse the seed.
func (c *call) seedCards(log *changelog.Log, to changelog.Site) (string, error) {
	self := log.Self()
	text := cardOf(self).String()
	return text, log.View(c.Context.Context, func(tx *changelog.Tx) error {
		if !to.Trusted {
			return fault.Refuse(fmt.Sprintf("let it read its fingerprint to you: pulk site trust %s FINGERPRINT", to.Code), "site %s is not trusted here", to.Code)
		}
		missing, err := tx.Unvouched()
		if err != nil {
			return err
		}
		var codes []string
		for _, s := range missing {
			if s.ID != to.ID {
				codes = append(codes, s.Code)
			}
		}
		if len(codes) > 0 {
			return fault.Refuse("at the site that founded the campaign: pulk site introduce "+codes[0]+"; then let the word come here",
				"%s would not believe what others wrote that nobody introduced: %s", to.Code, strings.Join(codes, ", "))
		}
		founder, found, err := tx.SiteByID(self.Founder())
		if err == nil && found && !self.IsFounder() {
			text += "\n" + card{self.Campaign, self.CampaignName, founder.Code, founder.Code, founder.Key}.String()
		}
		return err
	})
}

// takeCards adds the cards among files to take, and returns the paths of the others:
// a seed holds both.
func (c *call) takeCards(paths []string) ([]string, error) {
	var rest []string
	for _, path := range paths {
		is, err := isCard(path)
		if err != nil {
			return nil, err
		}
		if !is {
			rest = append(rest, path)
			continue
		}
		cards, err := readCards(path)
		if err != nil {
			return nil, err
		}
		if err := c.local(func(tx *changelog.Tx) error { return addCards(tx, cards) }); err != nil {
			return nil, fmt.Errorf("%s: %w", path, err)
		}
		c.printf("%s: %s\n", path, plural(len(cards), "card of a site", "cards of sites"))
	}
	return rest, nil
}

func isCard(path string) (bool, error) {
	file, err := os.Open(path)
	if err != nil {
		return false, err
	}
	defer file.Close()
	head := make([]byte, len(cardHead))
	n, err := io.ReadFull(file, head)
	if errors.Is(err, io.EOF) || errors.Is(err, io.ErrUnexpectedEOF) {
		err = nil
	}
	return bytes.Equal(head[:n], []byte(cardHead)), err
}
