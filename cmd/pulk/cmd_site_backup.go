package main

import (
	"errors"
	"fmt"
	"io/fs"
	"os"
	"path/filepath"

	"github.com/urfave/cli/v2"

	"pulk/schema"
	"pulk/schema/fault"
	"pulk/sync/carrier"
	"pulk/sync/changelog"
)

func (e *env) siteBackupCommand() *cli.Command {
	return verb{
		path: "pulk site backup", args: "PATH", minArgs: 1, maxArgs: 1, usage: "copy the store to another disk, and check the copy",
		about: "Also while other commands, a page or a hub use the store: what lies on the disk then is not all in one file, so do not copy it by other means. In a folder the copy is named after the site and the time. " +
			"It holds this site's key and all that is confined to it: keep it as safe as the store.",
		examples: []string{"pulk site backup /media/stick", "pulk site backup before-the-flight.db"},
		action:   (*call).siteBackup,
	}.command(e)
}

func (e *env) siteRestoreCommand() *cli.Command {
	return verb{
		path: "pulk site restore", args: "COPY", minArgs: 1, maxArgs: 1, usage: "make a store of a copy of it",
		about: "The copy is checked first, and stays as it is. A store that is there already is put aside under another name, if --replace is given: end all that uses it before, a page, a hub, a talk. " +
			"The site numbers its changes anew from then on. What the copy lacks comes back with the next exchange, as far as other sites have it.",
		examples: []string{"pulk site restore /media/stick/stn-20270106T092800Z.db --replace"},
		flags:    []cli.Flag{&cli.BoolFlag{Name: "replace", Usage: "put the store aside that is there"}},
		action:   (*call).siteRestore,
	}.command(e)
}

// compactTime names files after a time: in order, and allowed on any disk.
const compactTime = "20060102T150405Z"

func (c *call) siteBackup() error {
	stayFrugal()
	return c.withLog(func(log *changelog.Log) error {
		path := c.Args().First()
		if info, err := os.Stat(path); err == nil && info.IsDir() {
			path = filepath.Join(path, log.Self().Code+"-"+c.env.now().UTC().Format(compactTime)+".db")
		}
		if _, err := os.Lstat(path); !errors.Is(err, fs.ErrNotExist) {
			return fault.Hint("name a file that is not there yet, or a folder", "%s is there already", path)
		}
		var copied *changelog.Copied
		err := placeCopy(path, log.Store().Copy, func(part string) (err error) {
			copied, err = c.checkCopy(part, "run pulk verify: what is wrong is in the store, too")
			return err
		})
		if err != nil {
			return err
		}
		info, err := os.Stat(path)
		if err != nil {
			return err
		}
		c.printf("%s: %s, %s, sound\n", path, bytesText(info.Size()), plural(copied.Sets, "change-set", "change-sets"))
		c.printf("it holds this site's key: keep it as safe as the store\n")
		return nil
	})
}

// placeCopy writes a copy of a store in a folder beside its place, and moves it there
// once all is ready.
func placeCopy(path string, write, ready func(part string) error) error {
	folder, err := os.MkdirTemp(filepath.Dir(path), ".pulk-copy-")
	if err != nil {
		return err
	}
	defer os.RemoveAll(folder)
	part := filepath.Join(folder, "part.db")
	if err := write(part); err != nil {
		return err
	}
	if err := ready(part); err != nil {
		return err
	}
	if err := os.Rename(part, path); err != nil {
		return err
	}
	return carrier.SyncFolder(filepath.Dir(path))
}

// checkCopy is changelog.CheckCopy that takes faults for an error.
func (c *call) checkCopy(path, hint string) (*changelog.Copied, error) {
	copied, err := changelog.CheckCopy(c.Context.Context, path, projections()...)
	if err != nil {
		return nil, err
	}
	if n := len(copied.Faults); n > 0 {
		for _, text := range copied.Faults {
			fmt.Fprintf(c.env.stderr, "pulk: FAULT %s\n", text)
		}
		return nil, fault.Hint(hint, "the copy has %s and was not kept", plural(n, "fault", "faults"))
	}
	return copied, nil
}

func (c *call) siteRestore() error {
	stayFrugal()
	from, path := c.Args().First(), c.storePath()
	_, err := os.Lstat(path)
	there := !errors.Is(err, fs.ErrNotExist)
	if there && !c.Bool("replace") {
		return fault.Refuse("with --replace it is put aside first; end all that uses it before", "%s is there already", path)
	}
	aside := path + ".until-" + c.env.now().UTC().Format(compactTime)
	var copied *changelog.Copied
	var lacks uint64
	kept := false
	err = placeCopy(path, func(part string) error { return schema.CopyFile(from, part) }, func(part string) (err error) {
		if copied, err = c.checkCopy(part, "try an older one; the other sites hold the same changes, too"); err != nil {
			return err
		}
		if there {
			if lacks, err = c.lacking(copied); err != nil {
				return err
			}
		}
		// Also without a store: what SQLite left beside one would be taken for the copy's.
		if kept, err = schema.Rename(path, aside); err != nil {
			return err
		}
		return carrier.SyncFolder(filepath.Dir(path))
	})
	switch {
	case errors.Is(err, schema.ErrInUse):
		return fault.Hint("make copies with: pulk site backup", "%w", err)
	case errors.Is(err, schema.ErrNotStore):
		return fmt.Errorf("%s: %w", from, schema.ErrNotStore)
	case err != nil:
		return err
	}
	c.printf("%s is what %s had on %s: %s, sound\n", path, copied.Identity.Code, c.env.stampText(copied.Last), plural(copied.Sets, "change-set", "change-sets"))
	if kept {
		c.printf("what was there is kept as %s\n", aside)
	}
	if lacks > 0 {
		c.printf("it has %s that this one lacks; what no other site has of them comes from it with: pulk bundle make --to SITE --store %s\n",
			plural(int(lacks), "change-set", "change-sets"), aside)
	}
	c.printf("next: pulk exchange, for what other sites have; this site numbers its changes anew\n")
	return nil
}

// lacking returns how many change-sets of the store a copy lacks, as far as it can be
// read. It refuses a copy of another site's.
func (c *call) lacking(copied *changelog.Copied) (lacks uint64, err error) {
	err = c.withLog(func(log *changelog.Log) error {
		if log.Self().Site != copied.Identity.Site {
			return fault.Refuse("name another file with --store", "%s is the store of %s, and the copy is one of %s", c.storePath(), log.Self().Code, copied.Identity.Code)
		}
		return log.View(c.Context.Context, func(tx *changelog.Tx) error {
			heads, err := tx.Heads()
			lacks = copied.Lacks(heads)
			return err
		})
	})
	if refused := new(fault.Refused); errors.As(err, &refused) {
		return 0, err
	}
	return lacks, nil // one that cannot be read is put aside all the same
}
