package main

import (
	"errors"
	"fmt"
	"io"
	"os"
	"runtime/debug"
	"strings"

	"github.com/urfave/cli/v2"

	"pulk/checklist/attach"
	"pulk/checklist/crew"
	"pulk/schema/fault"
	"pulk/sync/carrier"
	"pulk/sync/changelog"
	"pulk/sync/clock"
)

func (e *env) attachCommand() *cli.Command {
	site := &cli.StringFlag{Name: "site", Usage: "code of the `SITE` that waits for it (else this one)"}
	output := &cli.StringFlag{Name: "output", Aliases: []string{"o"}, Usage: "`FILE` to write"}
	return group("attach", "photos and documents about runs, nonconformances and units",
		verb{path: "pulk attach add", args: "FILE", minArgs: 1, maxArgs: 1, usage: "attach a file", writes: true,
			about: fmt.Sprintf("Every site is told of it, and gets a preview of at most %d kB. The file itself stays here until a site asks for it with pulk attach want, or goes by stick. "+
				"Previews are made of JPEG, PNG and GIF pictures, without the place where they were taken; the file goes byte for byte as it is, with that place if it holds one. At most %d MB.",
				attach.MaxPreviewBytes>>10, attach.MaxContentBytes/1_000_000),
			examples: []string{`pulk attach add jacket.jpg --to stn-x3 --note "cut 3 m above the connector" --as tomas`, "pulk attach add scan.pdf --to stn-41:120 --preview page1.png --as mirre"},
			flags: []cli.Flag{&cli.StringFlag{Name: "to", Usage: "what it is about: `RUN`, RUN:STEP, a nonconformance, or the serial of a unit"}, &cli.StringFlag{Name: "note", Usage: "a `REMARK`"},
				&cli.StringFlag{Name: "preview", Usage: "make the preview of this `PICTURE`: for films and documents"}},
			action: (*call).attachAdd}.command(e),
		verb{path: "pulk attach list", usage: "the attachments, and whether their content is here", reads: true,
			examples: []string{"pulk attach list --to SM3-0107", "pulk attach list --wanted --json"},
			flags:    []cli.Flag{&cli.StringFlag{Name: "to", Usage: "those of this `RUN`, nonconformance or unit"}, &cli.BoolFlag{Name: "wanted", Usage: "those that some site waits for"}},
			action:   (*call).attachList}.command(e),
		verb{path: "pulk attach show", args: "ATTACHMENT", minArgs: 1, maxArgs: 1, usage: "one attachment; its preview as a file with -o", reads: true,
			examples: []string{"pulk attach show stn-41", "pulk attach show stn-41 -o preview.jpg"}, flags: []cli.Flag{output}, action: (*call).attachShow}.command(e),
		verb{path: "pulk attach save", args: "ATTACHMENT", minArgs: 1, maxArgs: 1, usage: "write the content to a file, checked against its SHA-256",
			examples: []string{"pulk attach save stn-41 -o jacket.jpg"}, flags: []cli.Flag{output}, action: (*call).attachSave}.command(e),
		verb{path: "pulk attach want", args: "ATTACHMENT", minArgs: 1, maxArgs: 1, usage: "ask for the content", writes: true,
			about:    "Whoever has it sends it in the next exchange, behind all else, until it has arrived whole; then the wish ends by itself.",
			examples: []string{"pulk attach want stn-41 --as oskar"}, flags: []cli.Flag{site}, action: (*call).attachWant}.command(e),
		verb{path: "pulk attach unwant", args: "ATTACHMENT", minArgs: 1, maxArgs: 1, usage: "ask no longer", writes: true,
			examples: []string{"pulk attach unwant stn-41 --as oskar"}, flags: []cli.Flag{site}, action: (*call).attachUnwant}.command(e),
		verb{path: "pulk attach drop", args: "ATTACHMENT", minArgs: 1, maxArgs: 1, usage: "take the content out of this store, to make room",
			about: "What is known of it stays, and its preview. The content can be asked for again as long as some site has it: where this is the only one, it is gone for good, so --only-copy must say so.",
			flags: []cli.Flag{&cli.BoolFlag{Name: "only-copy", Usage: "also where it was attached here and nobody is known to have it"}}, action: (*call).attachDrop}.command(e),
	)
}

// attachedTo returns what an attachment is about: a run, a step of it after a colon, a
// nonconformance, or a unit by its serial.
func attachedTo(tx *changelog.Tx, text string) (clock.Dot, int, error) {
	if text == "" {
		return clock.Dot{}, attach.NoStep, fault.Misuse("say it with --to RUN, RUN:STEP, NC or UNIT", "what is it about?")
	}
	entity, step, found, err := aboutWork(tx, text)
	if found || err != nil {
		return entity, step, err
	}
	u, err := findUnit(tx, text)
	return u, attach.NoStep, err
}

func (c *call) attachAdd() error {
	stayFrugal()
	path := c.Args().First()
	file, err := os.Open(path)
	if err != nil {
		return err
	}
	defer file.Close()
	preview, without, err := c.previewFor(file)
	if err != nil {
		return err
	}
	debug.FreeOSMemory() // a photo takes 18 MB to decode, which are gone before the store takes its own
	var said string
	return c.write(func(tx *changelog.Tx, _ *crew.Person) error {
		entity, step, err := attachedTo(tx, c.String("to"))
		if err != nil {
			return err
		}
		a, err := attach.Add(tx, entity, step, attach.File{Name: path, Content: file, Preview: preview, Note: c.String("note")})
		if err != nil {
			return err
		}
		about, err := aboutAttachment(tx, a)
		said = fmt.Sprintf("%s: %s, %s, about %s", tx.Name(a.ID), a.Name, bytesText(a.SizeBytes), about)
		return err
	}, func() {
		c.say(said)
		if preview != nil {
			c.printf("a preview of %s goes with the next bundles, the file where it is wanted\n", bytesText(int64(len(preview))))
		} else {
			c.printf("no preview: %s; the file goes where it is wanted\n", without)
		}
	})
}

// previewFor makes the preview of a file, or of the picture that --preview names; where
// there can be none it says why. The file is left at its start.
func (c *call) previewFor(file *os.File) (preview []byte, without string, err error) {
	if path := c.String("preview"); path != "" {
		picture, err := os.Open(path)
		if err != nil {
			return nil, "", err
		}
		defer picture.Close()
		if preview, err = attach.Preview(picture); err != nil {
			return nil, "", fault.Hint("give a JPEG, PNG or GIF picture", "--preview %s: %w", path, err)
		}
		return preview, "", nil
	}
	preview, err = attach.Preview(file)
	if errors.Is(err, attach.ErrNoPicture) || errors.Is(err, attach.ErrTooLarge) {
		without, err = err.Error()+" (--preview PICTURE gives one)", nil
	}
	if err == nil {
		_, err = file.Seek(0, io.SeekStart)
	}
	return preview, without, err
}

// bytesText says a size as people do.
func bytesText(n int64) string {
	switch {
	case n >= 10<<20:
		return fmt.Sprintf("%d MB", n>>20)
	case n >= 1<<20:
		return fmt.Sprintf("%.1f MB", float64(n)/(1<<20))
	case n >= 10<<10:
		return fmt.Sprintf("%d kB", n>>10)
	}
	return plural(int(n), "byte", "bytes")
}

// findAttachment returns the attachment that the first argument names.
func (c *call) findAttachment(tx *changelog.Tx) (*attach.Attachment, error) {
	id, err := tx.ParseName(c.Args().First())
	if err != nil {
		return nil, fault.Misuse("see: pulk attach list", "%s", err)
	}
	return attach.Find(tx, id)
}

func (c *call) attachSave() error {
	path := c.String("output")
	if path == "" {
		return fault.Misuse("name a file with -o FILE", "where to?")
	}
	var a *attach.Attachment
	err := c.view(func(tx *changelog.Tx) (err error) {
		if a, err = c.findAttachment(tx); err != nil {
			return err
		}
		return carrier.WriteThrough(path, func(w io.Writer) error { return attach.Copy(tx, a, w) })
	})
	if err != nil {
		return err
	}
	c.printf("%s: %s, SHA-256 %x as it was signed\n", path, bytesText(a.SizeBytes), a.Hash[:8])
	return nil
}

func (c *call) attachWant() error {
	return c.wish(attach.Want, "%s waits for %s; whoever has it sends it in the next exchange\n")
}

func (c *call) attachUnwant() error {
	return c.wish(attach.Unwant, "%s waits no longer for %s\n")
}

// wish runs fn for an attachment and the site that --site names.
func (c *call) wish(fn func(*changelog.Tx, *attach.Attachment, changelog.Site) error, say string) error {
	var site changelog.Site
	return c.write(func(tx *changelog.Tx, _ *crew.Person) error {
		code := c.String("site")
		if code == "" {
			code = tx.Self().Code
		}
		var err error
		if site, err = tx.SiteByCode(code); err != nil {
			return fault.Hint("see: pulk site list", "%w", err)
		}
		a, err := c.findAttachment(tx)
		if err != nil {
			return err
		}
		return fn(tx, a, site)
	}, func() { c.printf(say, site.Code, c.Args().First()) })
}

func (c *call) attachDrop() error {
	var size int64
	return c.writeMaybeAs(func(tx *changelog.Tx, _ *crew.Person) error {
		a, err := c.findAttachment(tx)
		if err != nil {
			return err
		}
		if size = a.SizeBytes; a.ID.Site == tx.Self().Site && !c.Bool("only-copy") {
			return fault.Refuse("let another site ask for it first (pulk attach want), or say --only-copy", "%s was attached here, and this may be its only copy", tx.Name(a.ID))
		}
		return attach.Drop(tx, a)
	}, func() {
		c.printf("dropped the content of %s, %s; it can be asked for again: pulk attach want\n", c.Args().First(), bytesText(size))
	})
}

// attachState says where the content of an attachment is.
func attachState(a *attach.Attachment) string {
	var parts []string
	if a.Here {
		parts = append(parts, "here")
	} else {
		parts = append(parts, "not here")
	}
	if len(a.Wanted) > 0 {
		parts = append(parts, "wanted by "+strings.Join(a.Wanted, ", "))
	}
	return strings.Join(parts, "; ")
}
