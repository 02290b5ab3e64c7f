package main

import (
	"io"
	"strings"
	"testing"
	"unicode/utf8"

	"github.com/urfave/cli/v2"
)

// TestHelpFits: lists of commands fit a terminal of 80 columns, so that none is broken
// within a word.
func TestHelpFits(t *testing.T) {
	const columns, indent, between = 80, 3, 2
	var check func(path string, list []*cli.Command)
	check = func(path string, list []*cli.Command) {
		widest := len("help, h")
		for _, c := range list {
			widest = max(widest, len(strings.Join(c.Names(), ", ")))
		}
		for _, c := range list {
			if over := indent + widest + between + utf8.RuneCountInString(c.Usage) - columns; over > 0 {
				t.Errorf("%s %s: %q is %d too long", path, c.Name, c.Usage, over)
			}
			if len(c.Subcommands) > 0 {
				check(path+" "+c.Name, c.Subcommands)
			}
		}
	}
	check("pulk", (&env{}).commands())
}

// TestHelpFolds: whatever the width, no line is wider, and all words are still there; an
// example is still one command for a shell.
func TestHelpFolds(t *testing.T) {
	defer func(was func(io.Writer, string, any, map[string]any)) { cli.HelpPrinterCustom = was }(cli.HelpPrinterCustom)
	cli.HelpPrinterCustom = helpPrinter(func() int { return 1000 })
	var help strings.Builder
	print := func(command string) {
		e := &env{stdout: &help, stderr: &help, getenv: func(string) string { return "" }}
		if code := invoke(t.Context(), append(strings.Fields(command), "--help"), e); code != exitDone {
			t.Fatalf("%s --help: exit code %d", command, code)
		}
	}
	for _, c := range []string{"pulk", "pulk site", "pulk talk", "pulk kit plan", "pulk link add", "pulk bundle make", "pulk run check"} {
		print(c)
	}
	words := func(text string) string {
		text = helpNoise.ReplaceAllString(text, "")
		return strings.Join(strings.Fields(strings.ReplaceAll(text, " \\\n", " ")), " ")
	}
	for columns := 40; columns <= 120; columns += 8 {
		text := foldHelp(help.String(), columns)
		for line := range strings.Lines(text) {
			if n := utf8.RuneCountInString(strings.TrimRight(line, "\n")); n > columns {
				t.Errorf("%d columns: a line of %d: %s", columns, n, line)
			}
		}
		if got, want := words(text), words(help.String()); got != want {
			t.Errorf("%d columns: the words are not the same", columns)
		}
	}
	for _, c := range []struct {
		name, text, want string
		columns          int
	}{
		{"a list", "   --rate BIT/S  bits a second that a link carries\n   --all         all of it\n",
			"   --rate BIT/S  bits a second that\n                 a link carries\n   --all         all of it\n", 36},
		{"long names", "   --probability P [ --probability P ]  the odds that it holds\n   --all                              all of it\n",
			"   --probability P\n           the odds that it holds\n   --all   all of it\n", 33},
		{"an example", "     pulk kit plan --until 2027-11-01 --mass 1800kg\n",
			"     pulk kit plan --until \\\n       2027-11-01 --mass 1800kg\n", 34},
		{"what fits", "   --all  all of it\n\n   text   with blanks\n", "   --all  all of it\n\n   text  with blanks\n", 40},
	} {
		if got := foldHelp(c.text, c.columns); got != c.want {
			t.Errorf("%s:\n%s\nwant\n%s", c.name, got, c.want)
		}
	}
}
