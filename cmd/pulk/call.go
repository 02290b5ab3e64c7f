package main

import (
	"bytes"
	"encoding/json"
	"fmt"
	"strings"
	"time"

	"github.com/urfave/cli/v2"

	"pulk/checklist/ask"
	"pulk/checklist/attach"
	"pulk/checklist/conditions"
	"pulk/checklist/crew"
	"pulk/checklist/procedure"
	"pulk/checklist/run"
	"pulk/inventory/assembly"
	"pulk/inventory/count"
	"pulk/inventory/kitbook"
	"pulk/inventory/manifest"
	"pulk/inventory/stock"
	"pulk/inventory/unit"
	"pulk/schema"
	"pulk/schema/fault"
	"pulk/sync/changelog"
	"pulk/sync/clock"
	"pulk/sync/linkbook"
)

// call is one run of a verb.
type call struct {
	*cli.Context
	env *env
}

// projections are all that this program derives from the log.
func projections() []changelog.Projector {
	return []changelog.Projector{crew.Projection{}, procedure.Projection{}, run.Projection{}, stock.Projection{}, unit.Projection{}, assembly.Projection{},
		attach.Projection{}, ask.Projection{}, linkbook.Projection{}, crew.Personal{}, conditions.Projection{}, kitbook.Projection{}, count.Projection{}, manifest.Projection{}}
}

// storePath returns the file that --store, PULK_STORE or the folder names.
func (c *call) storePath() string {
	if path := c.String("store"); path != "" {
		return path
	}
	if path := c.env.getenv("PULK_STORE"); path != "" {
		return path
	}
	return "pulk.db"
}

// withLog opens the log for fn and closes it.
func (c *call) withLog(fn func(*changelog.Log) error) error {
	store, err := schema.Open(c.storePath(), schema.Durable)
	if err != nil {
		return err
	}
	defer store.Close()
	log, err := changelog.Open(c.Context.Context, store, projections()...)
	if err != nil {
		return fmt.Errorf("%s: %w", c.storePath(), err)
	}
	return fn(log)
}

// view runs fn on one state of the store.
func (c *call) view(fn func(*changelog.Tx) error) error {
	return c.withLog(func(log *changelog.Log) error { return log.View(c.Context.Context, fn) })
}

// write runs fn as one command of the person named by --as. What it says to say is
// printed when all is safely on disk, and not before.
func (c *call) write(fn func(tx *changelog.Tx, me *crew.Person) error, say func()) error {
	return c.writeAs(true, fn, say)
}

// writeMaybeAs is write for commands that a site can do before it has persons.
func (c *call) writeMaybeAs(fn func(tx *changelog.Tx, me *crew.Person) error, say func()) error {
	return c.writeAs(false, fn, say)
}

func (c *call) writeAs(required bool, fn func(tx *changelog.Tx, me *crew.Person) error, say func()) error {
	return c.withLog(func(log *changelog.Log) error {
		me, err := c.person(log, required)
		if err != nil {
			return err
		}
		author := changelog.Author{Now: c.env.now()}
		if me != nil {
			author.Person = me.ID
		}
		receipt, err := log.Write(c.Context.Context, author, func(tx *changelog.Tx) error { return fn(tx, me) })
		if err != nil {
			return err
		}
		if receipt.Renewed {
			fmt.Fprintln(c.env.stderr, "pulk: this file is a copy or was restored: the site numbers its changes anew from here")
		}
		if say != nil {
			say()
		}
		if c.Bool("verbose") && receipt.Seq > 0 {
			return log.View(c.Context.Context, func(tx *changelog.Tx) error {
				fmt.Fprintf(c.env.stderr, "pulk: wrote %s at %s\n", tx.Name(receipt.Dot()), receipt.At)
				return nil
			})
		}
		return nil
	})
}

// person returns who acts.
func (c *call) person(log *changelog.Log, required bool) (*crew.Person, error) {
	code := c.String("as")
	standing := code == "" // by the environment: may name someone who is yet to be added
	if standing {
		code = c.env.getenv("PULK_AS")
	}
	if code == "" {
		if !required {
			return nil, nil
		}
		return nil, fault.Misuse("say it with --as PERSON, or set PULK_AS; see: pulk person list", "who does this?")
	}
	var me *crew.Person
	err := log.View(c.Context.Context, func(tx *changelog.Tx) (err error) {
		me, err = crew.ByCode(tx, code)
		return err
	})
	if err != nil && standing && !required {
		return nil, nil
	}
	return me, err
}

// printf prints to stdout. A text among the arguments is part of a line: what others
// wrote, at any site, cannot begin a line of its own that would be taken for one of pulk's.
func (c *call) printf(format string, args ...any) {
	for i, arg := range args {
		if text, ok := arg.(string); ok && strings.Contains(text, "\n") {
			args[i] = strings.ReplaceAll(text, "\n", string(shown('\n')))
		}
	}
	fmt.Fprintf(c.env.stdout, format, args...)
}

// say prints lines that pulk has put together, and a line break.
func (c *call) say(lines string) { fmt.Fprintln(c.env.stdout, lines) }

// asJSON reports whether --json was given.
func (c *call) asJSON() bool { return c.Bool("json") }

// printJSON prints a value for programs.
func (c *call) printJSON(value any) error {
	encoder := json.NewEncoder(c.env.raw)
	encoder.SetEscapeHTML(false)
	encoder.SetIndent("", "  ")
	return encoder.Encode(value)
}

// printJSONEach is printJSON of a list of which one entry is in memory at a time: each
// calls what it is given with one after the other.
func (c *call) printJSONEach(each func(add func(entry any) error) error) error {
	var text bytes.Buffer
	encoder := json.NewEncoder(&text)
	encoder.SetEscapeHTML(false)
	encoder.SetIndent("  ", "  ")
	between := "[\n  "
	err := each(func(entry any) error {
		text.Reset()
		if err := encoder.Encode(entry); err != nil {
			return err
		}
		fmt.Fprintf(c.env.raw, "%s%s", between, bytes.TrimSuffix(text.Bytes(), []byte("\n")))
		between = ",\n  "
		return nil
	})
	switch {
	case err != nil:
		return err
	case between[0] == '[':
		c.printf("[]\n")
	default:
		c.printf("\n]\n")
	}
	return nil
}

// showTime returns a time in UTC with the local time beside, where that differs.
func (e *env) showTime(t time.Time) string {
	if t.IsZero() {
		return "never"
	}
	text := t.UTC().Format("2006-01-02 15:04Z")
	local := t.In(e.local)
	if _, offset := local.Zone(); offset != 0 {
		text += local.Format(" (15:04 -07:00)")
	}
	return text
}

// stampText returns a stamp for people.
func (e *env) stampText(s clock.Stamp) string { return e.showTime(s.Time()) }
