package main

import (
	"strings"

	"github.com/urfave/cli/v2"

	"pulk/schema/fault"
)

// arrange moves flags in front of the arguments of the command they belong to, as
// the flag package stops at the first argument and people do not. What follows
// "--" is left as it is.
func arrange(app *cli.App, args []string) ([]string, error) {
	if len(args) > 0 && args[len(args)-1] == "--generate-bash-completion" {
		return args, nil
	}
	commands, at := app.Commands, 1
	var leaf *cli.Command
	for at < len(args) {
		next := find(commands, args[at])
		if next == nil {
			break
		}
		leaf, commands = next, next.Subcommands
		at++
	}
	if leaf == nil || len(leaf.Subcommands) > 0 {
		return args, nil
	}
	var flags, rest []string
	words := args[at:]
	for i := 0; i < len(words); i++ {
		word := words[i]
		if word == "--" {
			rest = append(rest, words[i+1:]...)
			break
		}
		if len(word) < 2 || word[0] != '-' || isNumber(word) {
			rest = append(rest, word)
			continue
		}
		flags = append(flags, word)
		if takesValue(leaf, word) {
			if i+1 == len(words) {
				return nil, fault.Misuse("see: "+leaf.HelpName+" --help", "%s needs a value", word)
			}
			i++
			flags = append(flags, words[i])
		}
	}
	arranged := append(append([]string{}, args[:at]...), flags...)
	return append(append(arranged, "--"), rest...), nil
}

func find(commands []*cli.Command, name string) *cli.Command {
	for _, command := range commands {
		if command.HasName(name) {
			return command
		}
	}
	return nil
}

// isNumber tells a negative reading from a flag.
func isNumber(word string) bool {
	return strings.Trim(word[1:], "0123456789.") == ""
}

func takesValue(command *cli.Command, word string) bool {
	name := strings.TrimLeft(word, "-")
	if strings.Contains(name, "=") {
		return false
	}
	for _, flag := range command.Flags {
		for _, known := range flag.Names() {
			if known == name {
				_, isBool := flag.(*cli.BoolFlag)
				return !isBool
			}
		}
	}
	return false
}
