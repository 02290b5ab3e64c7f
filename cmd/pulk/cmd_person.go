package main

import (
	"bufio"
	"crypto/ed25519"
	"fmt"
	"strings"
	"time"

	"github.com/urfave/cli/v2"
	"golang.org/x/term"

	"pulk/checklist/crew"
	"pulk/schema/fault"
	"pulk/sync/changelog"
)

func jsonTime(t time.Time) *string {
	if t.IsZero() {
		return nil
	}
	text := t.UTC().Format(time.RFC3339)
	return &text
}

func (e *env) personCommand() *cli.Command {
	return group("person", "who works in the campaign, in which roles, and signs by which key", append([]*cli.Command{
		verb{path: "pulk person add", args: "CODE", minArgs: 1, maxArgs: 1, usage: "add a person", writes: true,
			examples: []string{`pulk person add ida --name "Ida Brekke" --role deployment-lead`},
			flags: []cli.Flag{&cli.StringFlag{Name: "name", Usage: "full `NAME`"},
				&cli.StringSliceFlag{Name: "role", Usage: "`ROLE` held, as procedures name it; may be repeated"}},
			action: (*call).personAdd}.command(e),
		verb{path: "pulk person list", usage: "the persons and their roles", reads: true, action: (*call).personList}.command(e),
		verb{path: "pulk person role", args: "CODE", minArgs: 1, maxArgs: 1, usage: "grant or withdraw a role", writes: true,
			examples: []string{"pulk person role tomas --grant drill-engineer --as ida", `pulk person role tomas --withdraw drill-engineer --why "left the camp" --as ida`},
			flags: []cli.Flag{&cli.StringFlag{Name: "grant", Usage: "`ROLE` to grant"}, &cli.StringFlag{Name: "withdraw", Usage: "`ROLE` to withdraw"},
				&cli.StringFlag{Name: "why", Usage: "the `REASON`"}},
			action: (*call).personRole}.command(e),
		verb{path: "pulk person key", args: "CODE", minArgs: 1, maxArgs: 1, usage: "make a person's signing key, protected by a passphrase", writes: true,
			about:  "The key stays in this store and never travels; its public half is made known to all sites. The passphrase is asked at the terminal, or read from the first line of the file that $PULK_PASSPHRASE_FILE names.",
			action: (*call).personKey}.command(e),
	}, e.exposureCommands()...)...)
}

func (c *call) personAdd() error {
	code := c.Args().First()
	return c.writeMaybeAs(func(tx *changelog.Tx, _ *crew.Person) error {
		_, err := crew.Add(tx, code, c.String("name"), c.StringSlice("role"))
		return err
	}, func() {
		c.printf("added %s (%s). To sign, %s needs a key: pulk person key %s\n", code, c.String("name"), code, code)
	})
}

// personRow is a row of pulk person list --json.
type personRow struct {
	ID    string   `json:"id"`
	Code  string   `json:"code"`
	Name  string   `json:"name"`
	Roles []string `json:"roles"`
	Keys  int      `json:"keys"`       // public keys known
	Signs bool     `json:"signs_here"` // a private key is kept in this store
}

func (c *call) personList() error {
	return c.view(func(tx *changelog.Tx) error {
		list, err := crew.List(tx)
		if err != nil {
			return err
		}
		rows := []personRow{}
		t := newTable("code", "name", "roles", "key")
		for _, p := range list {
			_, _, here, err := crew.Secret(tx, p)
			if err != nil {
				return err
			}
			roles := append([]string{}, p.Granted()...)
			rows = append(rows, personRow{tx.Name(p.ID), p.Code, p.Name, roles, len(p.Keys), here})
			key := "none"
			if here {
				key = "signs here"
			} else if len(p.Keys) > 0 {
				key = "elsewhere"
			}
			t.add(p.Code, p.Name, strings.Join(roles, ", "), key)
		}
		if c.asJSON() {
			return c.printJSON(rows)
		}
		t.print(c.env, "No persons yet: add them with pulk person add.")
		return nil
	})
}

func (c *call) personRole() error {
	grant, withdraw := c.String("grant"), c.String("withdraw")
	if (grant == "") == (withdraw == "") {
		return fault.Misuse("see: pulk person role --help", "give either --grant or --withdraw")
	}
	if withdraw != "" && c.String("why") == "" {
		return fault.Misuse("give it with --why", "withdrawing a role needs a reason")
	}
	code := c.Args().First()
	return c.write(func(tx *changelog.Tx, _ *crew.Person) error {
		p, err := crew.ByCode(tx, code)
		if err != nil {
			return err
		}
		return crew.SetRole(tx, p.ID, grant+withdraw, grant != "", c.String("why"))
	}, func() {
		if grant != "" {
			c.printf("%s holds the role %s.\n", code, grant)
		} else {
			c.printf("%s no longer holds the role %s.\n", code, withdraw)
		}
	})
}

func (c *call) personKey() error {
	code := c.Args().First()
	passphrase, err := c.passphrase("New passphrase for "+code, true)
	if err != nil {
		return err
	}
	public, private, err := ed25519.GenerateKey(c.env.rand)
	if err != nil {
		return err
	}
	locked, err := crew.Lock(private, passphrase, c.env.keyCost(), c.env.rand)
	if err != nil {
		return err
	}
	return c.writeMaybeAs(func(tx *changelog.Tx, _ *crew.Person) error {
		p, err := crew.ByCode(tx, code)
		if err != nil {
			return err
		}
		crew.AddKey(tx, p.ID, public)
		return crew.SaveSecret(tx, p.ID, public, locked)
	}, func() { c.printf("%s can sign here. fingerprint: %s\n", code, changelog.Fingerprint(public)) })
}

// minPassphrase is the least number of characters of a passphrase.
const minPassphrase = 8

// passphrase asks for a passphrase without showing it, twice if it is new.
func (c *call) passphrase(prompt string, fresh bool) (string, error) {
	if path := c.env.getenv("PULK_PASSPHRASE_FILE"); path != "" {
		text, err := readInput(path)
		if err != nil {
			return "", err
		}
		line, _, _ := strings.Cut(string(text), "\n")
		return c.checkPassphrase(strings.TrimRight(line, "\r"), fresh)
	}
	first, err := c.hidden(prompt)
	if err != nil {
		return "", err
	}
	if fresh && c.env.terminal {
		again, err := c.hidden("Once more")
		if err != nil {
			return "", err
		}
		if again != first {
			return "", fault.Hint("nothing was changed; try again", "the two passphrases differ")
		}
	}
	return c.checkPassphrase(first, fresh)
}

func (c *call) checkPassphrase(text string, fresh bool) (string, error) {
	if fresh && len([]rune(text)) < minPassphrase {
		return "", fault.Misuse("several words are easiest to type with cold hands", "a passphrase needs at least %d characters", minPassphrase)
	}
	return text, nil
}

// hidden reads a line without echo at a terminal, else a line of the input.
func (c *call) hidden(prompt string) (string, error) {
	fmt.Fprintf(c.env.stderr, "%s: ", prompt)
	if c.env.keyboard != nil {
		text, err := term.ReadPassword(int(c.env.keyboard.Fd()))
		fmt.Fprintln(c.env.stderr)
		return string(text), err
	}
	reader, ok := c.env.stdin.(*bufio.Reader)
	if !ok {
		reader = bufio.NewReader(c.env.stdin)
		c.env.stdin = reader
	}
	line, err := reader.ReadString('\n')
	fmt.Fprintln(c.env.stderr)
	if err != nil && line == "" {
		return "", fault.Hint("type it at a terminal, or name a file in PULK_PASSPHRASE_FILE", "no passphrase was given")
	}
	return strings.TrimRight(line, "\r\n"), nil
}
