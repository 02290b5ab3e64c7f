package main

import (
	"context"
	"fmt"
	"strings"

	"github.com/urfave/cli/v2"

	"pulk/schema/fault"
)

// Exit codes, as every command's help repeats them.
const (
	exitDone    = 0
	exitFailed  = 1
	exitUsage   = 2
	exitRefused = 3
)

const exitHelp = "Exit codes: 0 done, 1 failed, 2 wrong use, 3 refused by a rule of the work."

// invoke runs one command line and returns its exit code. It is the only place
// where errors are printed.
func invoke(ctx context.Context, args []string, e *env) int {
	tamed := *e
	e = &tamed
	e.raw, e.rawErr, e.stdout, e.stderr = e.stdout, e.stderr, &tame{w: e.stdout}, &tame{w: e.stderr}
	app := newApp(e)
	args, err := arrange(app, args)
	if err == nil {
		err = app.RunContext(ctx, args)
	}
	return e.report(err)
}

// newApp builds the tree of commands. Each group has a file of its own.
func newApp(e *env) *cli.App {
	app := &cli.App{
		Name:  "pulk",
		Usage: "procedures, spares and decisions of a site that nobody can reach",
		Description: strings.Join(wrap("A pulk is the small sled that a polar traveller hauls: what is not on it is not there. "+
			"pulk keeps one SQLite file a site and carries what changed between sites in small bundles.", helpWidth), "\n") +
			"\n\nStart with:  pulk demo\n\n" + exitHelp,
		Commands:             e.commands(),
		Flags:                []cli.Flag{versionFlag()},
		Writer:               e.stdout,
		ErrWriter:            e.stderr,
		EnableBashCompletion: true,
		HideVersion:          true,
		Suggest:              true,
		ExitErrHandler:       func(*cli.Context, error) {}, // report does it, once
		OnUsageError: func(_ *cli.Context, err error, _ bool) error {
			return fault.Misuse("see: pulk --help", "%s", err)
		},
		CommandNotFound: func(c *cli.Context, name string) {},
		Action: func(c *cli.Context) error {
			if c.Args().Present() {
				return unknownCommand("pulk", c.Args().First(), c.App.Commands)
			}
			if c.Bool("version") {
				fmt.Fprintln(e.stdout, thisProgram())
				return nil
			}
			return cli.ShowAppHelp(c)
		},
	}
	return app
}

// group makes the command of a noun, with its verbs below.
func group(noun, usage string, verbs ...*cli.Command) *cli.Command {
	return &cli.Command{
		Name: noun, Usage: usage, Subcommands: verbs,
		Action: func(c *cli.Context) error {
			if c.Args().Present() {
				return unknownCommand("pulk "+noun, c.Args().First(), verbs)
			}
			return cli.ShowSubcommandHelp(c)
		},
		OnUsageError: usageError("pulk " + noun),
	}
}

func unknownCommand(parent, name string, commands []*cli.Command) error {
	var names []string
	for _, command := range commands {
		if !command.Hidden {
			names = append(names, command.Name)
		}
	}
	return fault.Misuse(fmt.Sprintf("%s has: %s", parent, strings.Join(names, ", ")), "%s %s: no such command", parent, name)
}

func usageError(path string) cli.OnUsageErrorFunc {
	return func(_ *cli.Context, err error, _ bool) error {
		return fault.Misuse("see: "+path+" --help", "%s: %s", path, err)
	}
}

// helpWidth is how wide the paragraphs of a help text are, which are indented by 3.
const helpWidth = 76

// verb describes a command that does something.
type verb struct {
	path      string // as typed: "pulk stock move"
	args      string // as shown in the help: "ITEM QUANTITY"
	minArgs   int
	maxArgs   int // -1: any number
	usage     string
	about     string   // a paragraph of help; may be empty
	examples  []string // command lines
	flags     []cli.Flag
	more      []cli.Flag // flags that another file brings along
	reads     bool       // has --json
	writes    bool       // has --as
	storeless bool
	action    func(*call) error
}

func (v verb) command(e *env) *cli.Command {
	words := strings.Fields(v.path)
	flags := append(append([]cli.Flag{}, v.flags...), v.more...)
	if !v.storeless {
		flags = append(flags, &cli.StringFlag{Name: "store", Usage: "the site's `FILE` (else $PULK_STORE, else pulk.db)"})
	}
	if v.reads {
		flags = append(flags, &cli.BoolFlag{Name: "json", Usage: "print JSON, for programs"})
	}
	if v.writes {
		flags = append(flags,
			&cli.StringFlag{Name: "as", Usage: "the `PERSON` who does it (else $PULK_AS)"},
			&cli.BoolFlag{Name: "verbose", Aliases: []string{"v"}, Usage: "print the id of the change-set written"})
	}
	about := v.about
	if about != "" {
		about = strings.Join(wrap(about, helpWidth), "\n") + "\n\n"
	}
	if len(v.examples) > 0 {
		about += "Examples:\n  " + strings.Join(v.examples, "\n  ") + "\n\n"
	}
	return &cli.Command{
		Name: words[len(words)-1], Usage: v.usage, ArgsUsage: v.args, Flags: flags,
		Description:     about + exitHelp,
		HideHelpCommand: true,
		OnUsageError:    usageError(v.path),
		Action: func(c *cli.Context) error {
			if n := c.NArg(); n < v.minArgs || v.maxArgs >= 0 && n > v.maxArgs {
				return fault.Misuse("see: "+v.path+" --help", "%s: expected %s, got %s", v.path, orNothing(v.args), plural(n, "argument", "arguments"))
			}
			return v.action(&call{Context: c, env: e})
		},
	}
}

func orNothing(args string) string {
	if args == "" {
		return "no arguments"
	}
	return args
}
