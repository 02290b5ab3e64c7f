package main

import (
	"bytes"
	"context"
	"fmt"
	"io"
	"os"
	"path/filepath"
	"strings"
	"time"

	"github.com/urfave/cli/v2"

	"pulk/checklist/run"
	"pulk/schema"
	"pulk/schema/fault"
	"pulk/sync/changelog"
	"pulk/testdata"
)

func (e *env) demoCommand() *cli.Command {
	return verb{
		path: "pulk demo", usage: "play a season's slice at three made-up sites", storeless: true,
		about: "Makes three stores (home, station, ship) in a new folder and plays a story with them: every command is printed as you could type it, and the stores are left to explore. " +
			"Place, institute, people, items and failures are made up; the clock is that of the story.",
		examples: []string{"pulk demo", "pulk demo --folder vindur"},
		flags:    []cli.Flag{&cli.StringFlag{Name: "folder", Usage: "new `FOLDER` for the stores (else pulk-demo here)"}},
		action:   (*call).demo,
	}.command(e)
}

// demo is the story being told.
type demo struct {
	ctx    context.Context
	out    io.Writer
	outer  *env
	folder string
	now    time.Time
	local  *time.Location
	err    error // the first that was not meant; nothing goes on after it

	runName string // the lowering
}

// demoPassphrase opens the keys of all demo persons.
const demoPassphrase = "cold hands, warm heart"

func (c *call) demo() error {
	folder, err := freeFolder(c.String("folder"))
	if err != nil {
		return err
	}
	if err := os.MkdirAll(folder, 0o755); err != nil {
		return err
	}
	if folder, err = filepath.Abs(folder); err != nil {
		return err
	}
	back, err := os.Getwd()
	if err != nil {
		return err
	}
	if err := os.Chdir(folder); err != nil { // so that commands read as they are typed
		return err
	}
	defer os.Chdir(back)
	d := &demo{ctx: c.Context.Context, out: c.env.stdout, outer: c.env, folder: folder, now: seasonsBegin, local: time.UTC}
	d.err = os.WriteFile("passphrase", []byte(demoPassphrase+"\n"), 0o600)
	for _, chapter := range []func(){d.opening, d.home, d.sites, d.acceptance, d.shipping, d.lowering, d.crossing, d.again, d.conflict, d.kit, d.reports, d.ending} {
		if d.err != nil {
			break
		}
		chapter()
	}
	return d.err
}

// freeFolder returns the folder for the demo: the one that is named, if it is
// empty or not there, else pulk-demo or the next free number behind it.
func freeFolder(named string) (string, error) {
	free := func(path string) bool {
		entries, err := os.ReadDir(path)
		return os.IsNotExist(err) || err == nil && len(entries) == 0
	}
	if named != "" {
		if !free(named) {
			return "", fault.Misuse("name a new folder", "%s is not empty", named)
		}
		return named, nil
	}
	for n := 1; n < 1000; n++ {
		name := "pulk-demo"
		if n > 1 {
			name = fmt.Sprintf("pulk-demo-%d", n)
		}
		if free(name) {
			return name, nil
		}
	}
	return "", fault.Misuse("remove some, or name one with --folder", "there are a thousand demo folders here")
}

// say prints a paragraph of the story.
func (d *demo) say(format string, args ...any) {
	if d.err == nil {
		fmt.Fprintf(d.out, "\n%s\n", strings.Join(wrap(fmt.Sprintf(format, args...), 92), "\n"))
	}
}

// chapter prints a heading.
func (d *demo) chapter(title string) {
	if d.err == nil {
		fmt.Fprintf(d.out, "\n\n%s\n%s\n", title, strings.Repeat("=", len([]rune(title))))
	}
}

// showLines is how many lines of a command's output are shown.
const showLines = 14

// do runs a command as typed, shows it and what it prints.
func (d *demo) do(line string) string { return d.show(line, exitDone, showLines) }

// refused runs a command that a rule of the work refuses, and shows it.
func (d *demo) refused(line string) { d.show(line, exitRefused, showLines) }

// failed runs a command that fails, and shows it.
func (d *demo) failed(line string) { d.show(line, exitFailed, showLines) }

func (d *demo) show(line string, want, lines int) string {
	if d.err != nil {
		return ""
	}
	fmt.Fprintf(d.out, "\n  $ pulk %s\n", line)
	code, text := d.run(line)
	shown := strings.Split(strings.TrimRight(text, "\n"), "\n")
	for i, l := range shown {
		if i == lines {
			fmt.Fprintf(d.out, "    … %d more lines\n", len(shown)-i)
			break
		}
		if l != "" {
			l = "    " + l
		}
		fmt.Fprintln(d.out, l)
	}
	d.expect(line, code, want, text)
	return text
}

// quietly runs a command without showing it.
func (d *demo) quietly(line string) string {
	if d.err != nil {
		return ""
	}
	code, text := d.run(line)
	d.expect(line, code, exitDone, text)
	return text
}

func (d *demo) expect(line string, code, want int, text string) {
	if code != want && d.err == nil {
		d.err = fmt.Errorf("the demo went wrong: pulk %s ended with %d, expected %d: %s", line, code, want, text)
	}
}

// run runs one command line of this very program, at the story's time.
func (d *demo) run(line string) (int, string) {
	defer stayFrugalNoMore()
	d.now = d.now.Add(20 * time.Second)
	var out bytes.Buffer
	code := invoke(d.ctx, append([]string{"pulk"}, splitLine(line)...), &env{
		stdin: strings.NewReader(""), stdout: &out, stderr: &out, rand: d.outer.rand, local: d.local, openKeys: true,
		now: func() time.Time { return d.now },
		getenv: func(name string) string {
			if name == "PULK_PASSPHRASE_FILE" {
				return "passphrase"
			}
			return ""
		},
	})
	return code, out.String()
}

// splitLine splits a command line at spaces; double quotes hold words together.
func splitLine(line string) []string {
	var words []string
	for i, part := range strings.Split(line, `"`) {
		if i%2 == 1 {
			words = append(words, part)
		} else {
			words = append(words, strings.Fields(part)...)
		}
	}
	return words
}

// pass lets the story's time go on.
func (d *demo) pass(t time.Duration) { d.now = d.now.Add(t) }

// onLog runs fn on a store's log, outside any command.
func (d *demo) onLog(store string, fn func(*changelog.Log) error) {
	if d.err != nil {
		return
	}
	s, err := schema.Open(store, schema.Scratch)
	if err != nil {
		d.err = err
		return
	}
	defer s.Close()
	log, err := changelog.Open(d.ctx, s, projections()...)
	if err == nil {
		err = fn(log)
	}
	d.err = err
}

// state returns the state of a run in a store.
func (d *demo) state(store, name string) *run.State {
	var state *run.State
	d.onLog(store, func(log *changelog.Log) error {
		return log.View(d.ctx, func(tx *changelog.Tx) error {
			id, err := tx.ParseName(name)
			if err != nil {
				return err
			}
			record, err := run.Load(tx, id)
			if err == nil {
				state = run.Evaluate(record)
			}
			return err
		})
	})
	return state
}

// seasons plays the books of the past into a store.
func (d *demo) seasons(store string) (rows int) {
	d.onLog(store, func(log *changelog.Log) error {
		var err error
		rows, err = playSeasons(d.ctx, log, testdata.FS, "piet")
		return err
	})
	return rows
}

// wordAfter returns the word behind the first one of a line of output.
func wordAfter(text, before string) string {
	_, rest, found := strings.Cut(text, before)
	if words := strings.Fields(rest); found && len(words) > 0 {
		return words[0]
	}
	return ""
}
