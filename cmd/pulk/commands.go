package main

import "github.com/urfave/cli/v2"

// commands returns all command groups, in the order of the help.
func (e *env) commands() []*cli.Command {
	return []*cli.Command{
		e.initCommand(),
		e.siteCommand(),
		e.personCommand(),
		e.clearanceCommand(),
		e.weatherCommand(),
		e.procedureCommand(),
		e.runCommand(),
		e.reviewCommand(),
		e.ncCommand(),
		e.attachCommand(),
		e.askCommand(),
		e.itemCommand(),
		e.locationCommand(),
		e.stockCommand(),
		e.countCommand(),
		e.reserveCommand(),
		e.unitCommand(),
		e.assemblyCommand(),
		e.labelCommand(),
		e.kitCommand(), e.crateCommand(), e.legCommand(), e.manifestCommand(),
		e.bundleCommand(),
		e.exchangeCommand(),
		e.linkCommand(),
		e.talkCommand(),
		e.hubCommand(),
		e.conflictCommand(),
		e.reportCommand(),
		e.verifyCommand(),
		e.demoCommand(),
		e.completionCommand(),
		e.versionCommand(),
	}
}
