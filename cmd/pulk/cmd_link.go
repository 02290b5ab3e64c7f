package main

import (
	"errors"
	"fmt"
	"strconv"
	"strings"
	"time"

	"github.com/urfave/cli/v2"

	"pulk/checklist/crew"
	"pulk/schema/fault"
	"pulk/sync/changelog"
	"pulk/sync/clock"
	"pulk/sync/link"
	"pulk/sync/linkbook"
)

func (e *env) linkCommand() *cli.Command {
	days := &cli.IntFlag{Name: "days", Usage: "how many `DAYS` ahead"}
	force := &cli.BoolFlag{Name: "force", Usage: "go by elements that are too old, all the same"}
	return group("link", "when links are open, what they carry, when what waits is home",
		verb{path: "pulk link add", args: "[CODE]", maxArgs: 1, usage: "describe a link from this site to another", writes: true,
			about: "By flags, or by a file with lines such as \"loss_percent: 3\", whose keys are code, to, name and the flags with _ for -; flags go before the file. " +
				"Its schema is schema/jsonschema/link.schema.json. Rates are as this site sees them. The other site sees the link too, and can change it.",
			examples: []string{"pulk link add --file evening-sat.yaml --as ida", `pulk link add mail --to home --open "06:00-06:30, 18:00-18:30" --out-bits-per-second 9600 --back-bits-per-second 9600 --message-bytes 50000 --as ida`},
			flags: append([]cli.Flag{&cli.StringFlag{Name: "file", Usage: "YAML `FILE` that describes it"}, &cli.StringFlag{Name: "to", Usage: "code of the other `SITE`"},
				&cli.StringFlag{Name: "name", Usage: "full `NAME`"}}, settingFlags()...),
			action: (*call).linkAdd}.command(e),
		verb{path: "pulk link set", args: "LINK", minArgs: 1, maxArgs: 1, usage: "change what a link is like", writes: true,
			examples: []string{"pulk link set evening-sat --loss-percent 5 --as mirre"},
			flags:    append([]cli.Flag{&cli.StringFlag{Name: "name", Usage: "full `NAME`"}}, settingFlags()...), action: (*call).linkSet}.command(e),
		verb{path: "pulk link list", usage: "the links", reads: true, action: (*call).linkList}.command(e),
		verb{path: "pulk link show", args: "LINK", minArgs: 1, maxArgs: 1, usage: "one link, its settings and satellites", reads: true, action: (*call).linkShow}.command(e),
		verb{path: "pulk link remove", args: "LINK", minArgs: 1, maxArgs: 1, usage: "take a link out of use", writes: true,
			flags: []cli.Flag{&cli.StringFlag{Name: "why", Usage: "the `REASON`"}}, action: (*call).linkRemove}.command(e),
		verb{path: "pulk link elements", args: "LINK FILE", minArgs: 2, maxArgs: 2, usage: "take in where a link's satellites are", writes: true,
			about: "FILE holds two-line or three-line elements, or CCSDS OMM as JSON, KVN or XML. Elements lose about a kilometre a day: fetch them every few days. " +
				"They travel to the other sites as changes, so home can fetch them for the station.",
			examples: []string{"pulk link elements evening-sat today.tle --as oskar"},
			flags:    []cli.Flag{&cli.BoolFlag{Name: "accept-checksums", Usage: "read two-line elements whose checksum is wrong or missing"}},
			action:   (*call).linkElements}.command(e),
		verb{path: "pulk link passes", args: "[LINK]", maxArgs: 1, usage: "when a link is open, and how many bytes each pass carries", reads: true,
			about:    "Without LINK all links of this site. Passes that overlap are one, as a site has one radio. Times are computed: listen a minute early and late.",
			examples: []string{"pulk link passes evening-sat --days 3", "pulk link passes --days 14 --ics passes.ics"},
			flags:    []cli.Flag{days, force, &cli.StringFlag{Name: "ics", Usage: "also write an iCalendar `FILE`"}}, action: (*call).linkPasses}.command(e),
		verb{path: "pulk link queue", usage: "everything that waits for a site, and when each part is home", reads: true,
			about: "The forecast plays the passes ahead many times, with loss and with new traffic as in the days past, and tells by when a part is home in half and in 95 % of them. " +
				"docs/decisions/forecast.md says what it leaves out, and how often it was right.",
			examples: []string{"pulk link queue --to home", "pulk link queue --to home --link mail --days 10 --json"},
			flags: []cli.Flag{&cli.StringFlag{Name: "to", Usage: "code of the `SITE`"}, &cli.StringFlag{Name: "link", Usage: "code of the `LINK`, where there are several"}, days, force,
				&cli.Uint64Flag{Name: "seed", Usage: "`NUMBER` that the draws follow from", Value: 1}, &cli.IntFlag{Name: "runs", Usage: "how many `TIMES` it is played", Value: 1000},
				&cli.BoolFlag{Name: "continue", Usage: "leave out what earlier bundles carried, though it is not acknowledged yet"}},
			action: (*call).linkQueue}.command(e),
	)
}

func flagOf(setting string) string { return strings.ReplaceAll(setting, "_", "-") }

// settingFlags are a flag for each setting of a link.
func settingFlags() []cli.Flag {
	var flags []cli.Flag
	for _, s := range link.Settings() {
		usage := s.Usage
		if s.Default != "" {
			usage += " (else " + s.Default + ")"
		}
		flags = append(flags, &cli.StringFlag{Name: flagOf(s.Name), Usage: usage})
	}
	return flags
}

// settings returns those that flags give.
func (c *call) settings() map[string]string {
	values := map[string]string{}
	for _, s := range link.Settings() {
		if c.IsSet(flagOf(s.Name)) {
			values[s.Name] = c.String(flagOf(s.Name))
		}
	}
	return values
}

// asFlag turns an error about a setting into one about its flag.
func asFlag(path string, err error) error {
	var wrong *link.SettingError
	if !errors.As(err, &wrong) {
		return err
	}
	if wrong.Missing {
		return fault.Misuse(fmt.Sprintf("--%s %s", flagOf(wrong.Name), "takes "+wrong.Expected), "%s: --%s is needed", path, flagOf(wrong.Name))
	}
	return fault.Misuse("expected "+wrong.Expected, "%s: --%s is %q", path, flagOf(wrong.Name), wrong.Value)
}

// linkFile returns the link that --file, the argument and the flags describe.
func (c *call) linkFile() (*linkbook.File, error) {
	f := &linkbook.File{Settings: map[string]string{}}
	if path := c.String("file"); path != "" {
		source, err := readInput(path)
		if err != nil {
			return nil, err
		}
		read, problems := linkbook.ParseFile(path, source)
		for _, p := range problems {
			fmt.Fprintln(c.env.stderr, p)
		}
		if len(problems) > 0 {
			return nil, fault.Hint("mend what is named above; nothing was added", "%s has %s", path, plural(len(problems), "problem", "problems"))
		}
		f = read
	}
	for given, field := range map[string]*string{c.Args().First(): &f.Code, c.String("to"): &f.To, c.String("name"): &f.Name} {
		if given != "" {
			*field = given
		}
	}
	for name, value := range c.settings() {
		f.Settings[name] = value
	}
	if f.Code == "" || f.To == "" {
		return nil, fault.Misuse("see: pulk link add --help", "pulk link add: a code and --to SITE are needed, or --file FILE")
	}
	return f, nil
}

func (c *call) linkAdd() error {
	f, err := c.linkFile()
	if err != nil {
		return err
	}
	open := ""
	return c.write(func(tx *changelog.Tx, _ *crew.Person) error {
		to, err := tx.SiteByCode(f.To)
		if err != nil {
			return fault.Hint("see: pulk site list", "%w", err)
		}
		_, err = linkbook.Add(tx, f.Code, f.Name, to.ID, f.Settings)
		open = f.Settings["open"]
		return asFlag("pulk link add", err)
	}, func() {
		c.printf("link %s to %s is known here, and at every site that hears of it\n", f.Code, f.To)
		if open == "satellites" {
			c.printf("next: give it the elements of its satellites: pulk link elements %s FILE\n", f.Code)
		} else {
			c.printf("next: pulk link passes %s\n", f.Code)
		}
	})
}

func (c *call) linkSet() error {
	settings := c.settings()
	if len(settings) == 0 && !c.IsSet("name") {
		return fault.Misuse("see: pulk link set --help", "pulk link set: say what to change")
	}
	var changed []string
	return c.write(func(tx *changelog.Tx, _ *crew.Person) error {
		l, err := linkbook.Find(tx, c.Args().First())
		if err != nil {
			return err
		}
		if changed, err = linkbook.Set(tx, l, settings); err != nil {
			return asFlag("pulk link set", err)
		}
		if c.IsSet("name") && c.String("name") != l.Name {
			linkbook.Rename(tx, l, c.String("name"))
			changed = append(changed, "name")
		}
		return nil
	}, func() {
		if len(changed) == 0 {
			c.printf("link %s is as it was\n", c.Args().First())
			return
		}
		c.printf("link %s: changed %s\n", c.Args().First(), strings.Join(changed, ", "))
	})
}

func (c *call) linkRemove() error {
	return c.write(func(tx *changelog.Tx, _ *crew.Person) error {
		l, err := linkbook.Find(tx, c.Args().First())
		if err == nil {
			linkbook.Remove(tx, l, c.String("why"))
		}
		return err
	}, func() { c.printf("link %s is out of use\n", c.Args().First()) })
}

func (c *call) linkElements() error {
	code, path := c.Args().Get(0), c.Args().Get(1)
	data, err := readInput(path)
	if err != nil {
		return err
	}
	var options []link.Option
	if c.Bool("accept-checksums") {
		options = append(options, link.AcceptWrongChecksums)
	}
	sets, err := link.ParseElements(data, options...)
	if err != nil {
		return fault.Hint("nothing was taken in; fetch the file again", "%s: %w", path, err)
	}
	var added []link.Elements
	return c.write(func(tx *changelog.Tx, _ *crew.Person) error {
		l, err := linkbook.Find(tx, code)
		if err == nil {
			added, err = linkbook.AddElements(tx, l, sets)
		}
		return err
	}, func() {
		for _, e := range added {
			c.printf("%s: elements of %s (%s)\n", e.Label(), c.env.showTime(e.Epoch), ageText(c.env.now().Sub(e.Epoch)))
		}
		if len(added) == 0 {
			c.printf("%s has nothing later than what is known, of the satellites that link %s uses\n", path, code)
		}
	})
}

// ageText tells an age; elements may be of a time that is yet to come.
func ageText(age time.Duration) string {
	if age < 0 {
		return daysText(-age.Hours()/24) + " ahead"
	}
	return daysText(age.Hours()/24) + " old"
}

func daysText(days float64) string {
	if days >= 0.95 && days < 1.05 {
		return "1 day"
	}
	return strconv.FormatFloat(days, 'f', 1, 64) + " days"
}

// siteCode returns a site's code, or its number where it is not known.
func siteCode(tx *changelog.Tx, id clock.SiteID) (string, error) {
	site, found, err := tx.SiteByID(id)
	if err == nil && !found {
		return fmt.Sprintf("%08x", uint32(id)), nil
	}
	return site.Code, err
}
