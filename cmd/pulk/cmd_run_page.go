package main

import (
	"crypto/ed25519"
	"crypto/sha256"
	"crypto/tls"
	"errors"
	"fmt"
	"io"
	"net"
	"os"
	"sync"
	"time"

	"github.com/urfave/cli/v2"

	"pulk/checklist/crew"
	"pulk/checklist/run"
	"pulk/checklist/work"
	"pulk/cmd/page"
	"pulk/schema"
	"pulk/schema/fault"
	"pulk/sync/carrier"
	"pulk/sync/changelog"
	"pulk/sync/hub"
)

func (e *env) runPageCommand() *cli.Command {
	return verb{path: "pulk run page", args: "[RUN]", maxArgs: 1, usage: "serve the steps as a page, for tablets and gloves",
		about: "Answers until interrupted: cautions first, one step at a time, large buttons. Whoever opens the page enters with their code and the passphrase of their key; then what they tap is theirs, and they can sign. " +
			"Where the network drops, the page keeps what was tapped and sends it later; each tap is taken once. Without RUN it offers all runs that are open. " +
			"By default only this machine reaches it. With --listen others do: give --self-signed or the files of a certificate; --plain is for a network that nobody else is on.",
		examples: []string{"pulk run page stn-15", "pulk run page --listen :8460 --self-signed"},
		flags: []cli.Flag{
			&cli.StringFlag{Name: "listen", Usage: "`HOST:PORT` to listen at; port 0 takes a free one", Value: "127.0.0.1:8460"},
			&cli.StringFlag{Name: "cert", Usage: "`FILE` with the certificate (PEM)"}, &cli.StringFlag{Name: "key", Usage: "`FILE` with its key (PEM)"},
			&cli.BoolFlag{Name: "self-signed", Usage: "make a certificate, and keep it beside the store"}, &cli.BoolFlag{Name: "plain", Usage: "no TLS, though others reach it"},
			&cli.IntFlag{Name: "idle", Usage: "ask for the passphrase again after so many `MINUTES` without a tap", Value: 60},
			&cli.StringFlag{Name: "address-file", Usage: "`FILE` to write the address to, once it listens"},
		}, action: (*call).runPage}.command(e)
}

// tapsKept is how long it is known which taps were taken: longer than any page waits
// to be in the network again.
const tapsKept = 400 * 24 * time.Hour

func (c *call) runPage() error {
	if idle := c.Int("idle"); idle < 1 || idle > 24*60 {
		return fault.Misuse("give 1 to 1440", "--idle %d: no such time", idle)
	}
	return c.withLog(func(log *changelog.Log) error {
		place := &pagePlace{workPlace: workPlace{call: c, log: log}}
		only, err := place.named(c.Args().First())
		if err != nil {
			return err
		}
		err = log.Store().Update(c.Context.Context, func(raw *schema.Tx) error {
			return log.Local(raw, func(tx *changelog.Tx) error { return work.Forget(tx, c.env.now().Add(-tapsKept)) })
		})
		if err != nil {
			return err
		}
		loopback, err := onlyLoopback(c.String("listen"))
		if err != nil {
			return fault.Misuse("write --listen HOST:PORT", "--listen %s: %s", c.String("listen"), err)
		}
		config, scheme, err := c.pageTLS(loopback)
		if err != nil {
			return err
		}
		var mu sync.Mutex
		server, err := page.New(page.Options{
			Place: place, Run: only, Idle: time.Duration(c.Int("idle")) * time.Minute, Loopback: loopback, Now: c.env.now,
			Random: func(b []byte) error { _, err := io.ReadFull(c.env.rand, b); return err },
			Say: func(line string) {
				mu.Lock()
				defer mu.Unlock()
				fmt.Fprintf(c.env.stderr, "pulk: page: %s\n", line)
			},
		})
		if err != nil {
			return err
		}
		return c.servePage(server, config, scheme, loopback)
	})
}

// servePage answers pages until the program is told to end.
func (c *call) servePage(server *page.Server, config *tls.Config, scheme string, loopback bool) error {
	listener, err := net.Listen("tcp", c.String("listen"))
	if err != nil {
		return fault.Hint("choose another with --listen HOST:PORT", "%w", err)
	}
	address := scheme + "://" + reachable(listener.Addr())
	c.printf("the page is at %s; Ctrl-C ends it\n", address)
	if loopback {
		c.printf("only this machine reaches it; with --listen :8460 --self-signed others do\n")
	}
	if path := c.String("address-file"); path != "" {
		if err := carrier.WriteFile(path, []byte(address+"\n")); err != nil {
			return errors.Join(err, listener.Close())
		}
	}
	if err := server.Serve(c.Context.Context, listener, config); err != nil {
		return err
	}
	c.printf("the page has ended; everything so far is saved\n")
	return nil
}

// onlyLoopback reports whether what listens there is reached by this machine alone.
func onlyLoopback(address string) (bool, error) {
	host, _, err := net.SplitHostPort(address)
	if err != nil {
		return false, err
	}
	ip := net.ParseIP(host)
	return host == "localhost" || ip != nil && ip.IsLoopback(), nil
}

// pageTLS returns how the page proves itself and keeps passphrases from listeners.
func (c *call) pageTLS(loopback bool) (config *tls.Config, scheme string, err error) {
	cert, key := c.String("cert"), c.String("key")
	given := cert != "" || key != ""
	switch {
	case (cert == "") != (key == ""), given && c.Bool("self-signed"), c.Bool("plain") && (given || c.Bool("self-signed")):
		return nil, "", fault.Misuse("see: pulk run page --help", "give --cert with --key, or --self-signed, or --plain")
	case given:
		config, err = hub.Certificate(cert, key)
	case c.Bool("self-signed"):
		folder := c.storePath() + ".page"
		if err := os.MkdirAll(folder, 0o700); err != nil {
			return nil, "", err
		}
		if config, _, err = hub.SelfSigned(folder, c.env.now()); err == nil {
			c.printf("browsers warn of its certificate once; compare there the SHA-256 fingerprint:\n  % X\n", sha256.Sum256(config.Certificates[0].Certificate[0]))
		}
	case loopback || c.Bool("plain"):
		if !loopback {
			fmt.Fprintln(c.env.stderr, "pulk: WARNING: passphrases and answers travel unencrypted: whoever is on this network can read and use them")
		}
		return nil, "http", nil
	default:
		return nil, "", fault.Misuse("add --self-signed, or --cert with --key; or --plain, where nobody else is on the network", "others would reach the page, and passphrases would travel unencrypted")
	}
	return config, "https", err
}

// pagePlace is a work place for pages.
type pagePlace struct {
	workPlace
	once  sync.Once
	decoy []byte // a locked key that no passphrase opens
}

// named returns the name of the run that a page is for; none where none was given.
func (p *pagePlace) named(name string) (string, error) {
	if name == "" {
		return "", nil
	}
	err := p.log.View(p.Context.Context, func(tx *changelog.Tx) error {
		id, err := tx.ParseName(name)
		if err != nil {
			return fault.Misuse("see: pulk run list", "%s", err)
		}
		name = tx.Name(id)
		_, err = run.Load(tx, id)
		return noRun(err)
	})
	return name, err
}

// Unlock opens a person's key. For a person who has none here it takes as long, so
// that the time tells nothing.
func (p *pagePlace) Unlock(person, passphrase string) (*run.Signer, error) {
	signer, err := p.unlockFor(person, passphrase)
	if err != nil && !errors.Is(err, crew.ErrPassphrase) {
		p.once.Do(func() {
			p.decoy, _ = crew.Lock(ed25519.NewKeyFromSeed(make([]byte, ed25519.SeedSize)), "decoy", crew.DefaultCost, p.env.rand)
		})
		crew.Unlock(p.decoy, passphrase)
	}
	return signer, err
}

// Runs implements [page.Place].
func (p *pagePlace) Runs() (rows []page.Run, err error) {
	err = p.log.View(p.Context.Context, func(tx *changelog.Tx) error {
		list, err := run.Unended(tx)
		if err != nil {
			return err
		}
		reader := run.NewReader(tx)
		for _, summary := range list {
			record, err := reader.Load(summary.ID)
			if err != nil {
				return err
			}
			if record.Procedure == nil {
				continue // nothing can be shown of it yet
			}
			row := page.Run{Run: tx.Name(record.Run), Title: record.Title}
			for _, step := range run.Evaluate(record).Steps {
				row.Steps++
				if step.Done {
					row.Done++
				}
			}
			rows = append(rows, row)
		}
		return nil
	})
	return rows, err
}

// Answers implements [page.Place].
func (p *pagePlace) Answers(err error) (what string, because []string, hint string, answer bool) {
	what, because, hint = tellFault(err)
	return what, because, hint, isAnswer(err)
}
