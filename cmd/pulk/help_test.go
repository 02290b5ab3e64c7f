package main

import (
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
