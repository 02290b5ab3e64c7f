package main

import "github.com/urfave/cli/v2"

// commands returns all command groups, in the order of the help.
func (e *env) commands() []*cli.Command {
	return []*cli.Command{
		e.initCommand(),
		e.siteCommand(),
		e.personCommand(),
		e.conflictCommand(),
		e.verifyCommand(),
	}
}
