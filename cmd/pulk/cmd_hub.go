package main

import (
	"crypto/tls"
	"errors"
	"fmt"
	"io/fs"
	"net"
	"os"
	"regexp"
	"strconv"
	"strings"
	"sync"
	"time"

	"github.com/urfave/cli/v2"

	"pulk/schema/fault"
	"pulk/sync/carrier"
	"pulk/sync/changelog"
	"pulk/sync/hub"
)

func (e *env) hubCommand() *cli.Command {
	return group("hub", "keep parcels for sites until they fetch them, over HTTPS",
		verb{path: "pulk hub serve", args: "FOLDER", minArgs: 1, maxArgs: 1, usage: "answer sites until interrupted", storeless: true,
			about: "Runs at home, or on any machine that the sites reach. It keeps all it has in FOLDER, needs no store and cannot read, change or forge what passes. " +
				"Give the files of a certificate, or --self-signed and tell the sites the pin that is printed; --plain is for a proxy that does TLS, or for a test on one machine. The protocol: docs/hub-protocol.md.",
			examples: []string{"pulk hub serve /srv/pulk-hub --cert hub.crt --key hub.key", "pulk hub serve /srv/pulk-hub --self-signed --listen :8443"},
			flags: []cli.Flag{
				&cli.StringFlag{Name: "listen", Usage: "`HOST:PORT` to listen at; port 0 takes a free one", Value: ":8443"},
				&cli.StringFlag{Name: "cert", Usage: "`FILE` with the certificate (PEM)"}, &cli.StringFlag{Name: "key", Usage: "`FILE` with its key (PEM)"},
				&cli.BoolFlag{Name: "self-signed", Usage: "make a certificate, and keep it in FOLDER"}, &cli.BoolFlag{Name: "plain", Usage: "no TLS"},
				&cli.StringFlag{Name: "address-file", Usage: "`FILE` to write the address to, once it listens"},
				&cli.Int64Flag{Name: "max-parcel", Usage: "size of one parcel, in `BYTES`", Value: carrier.MaxFile},
				&cli.Int64Flag{Name: "quota", Usage: "what may wait from one site, in `BYTES`", Value: 512 << 20},
				&cli.IntFlag{Name: "expire-days", Usage: "throw away what nobody fetched for so many `DAYS`", Value: 400},
			}, action: (*call).hubServe}.command(e),
		verb{path: "pulk hub token", args: "FOLDER SITE", minArgs: 2, maxArgs: 2, usage: "make a token that lets a site use the hub",
			about: "SITE is the file of its card, its id of 8 hexadecimal digits, or its code where --store knows it. The token is shown once and kept nowhere; send it to the site by a way that others do not read. " +
				"A site may have several; a hub that runs heeds a new one at once.",
			examples: []string{"pulk hub token /srv/pulk-hub stn.card > stn.token"}, action: (*call).hubToken}.command(e),
		verb{path: "pulk hub revoke", args: "FOLDER SITE", minArgs: 2, maxArgs: 2, usage: "take all tokens of a site back",
			about: "SITE is named as for pulk hub token. What waits for it stays, until it expires.", examples: []string{"pulk hub revoke /srv/pulk-hub 0b41a87d"}, action: (*call).hubRevoke}.command(e),
		verb{path: "pulk hub list", args: "FOLDER", minArgs: 1, maxArgs: 1, usage: "the sites that have a token, and what waits for them", storeless: true, reads: true, action: (*call).hubList}.command(e),
	)
}

func (c *call) hubServe() error {
	folder := c.Args().First()
	var mu sync.Mutex
	h, err := hub.New(hub.Options{
		Folder: folder, MaxParcelBytes: c.Int64("max-parcel"), QuotaBytes: c.Int64("quota"), Expire: time.Duration(c.Int("expire-days")) * 24 * time.Hour, Now: c.env.now,
		Say: func(line string) {
			mu.Lock()
			defer mu.Unlock()
			fmt.Fprintf(c.env.stderr, "pulk: hub: %s\n", strings.TrimSpace(line))
		},
	})
	if err != nil {
		return err
	}
	config, scheme, pin, err := c.hubTLS(folder)
	if err != nil {
		return err
	}
	listener, err := net.Listen("tcp", c.String("listen"))
	if err != nil {
		return fault.Hint("choose another with --listen HOST:PORT", "%w", err)
	}
	address := scheme + "://" + reachable(listener.Addr())
	c.printf("the hub in %s listens at %s\n", folder, address)
	if pin != "" {
		c.printf("sites know it by: --pin %s\n", pin)
	}
	if path := c.String("address-file"); path != "" {
		if err := carrier.WriteFile(path, []byte(address+"\n")); err != nil {
			return errors.Join(err, listener.Close())
		}
	}
	if err := h.Serve(c.Context.Context, listener, config); err != nil {
		return err
	}
	c.printf("the hub has ended\n")
	return nil
}

// hubTLS returns how the hub proves itself.
func (c *call) hubTLS(folder string) (config *tls.Config, scheme, pin string, err error) {
	cert, key := c.String("cert"), c.String("key")
	ways := 0
	for _, way := range []bool{cert != "" || key != "", c.Bool("self-signed"), c.Bool("plain")} {
		if way {
			ways++
		}
	}
	switch {
	case ways != 1 || (cert == "") != (key == ""):
		return nil, "", "", fault.Misuse("see: pulk hub serve --help", "pulk hub serve: give --cert with --key, or --self-signed, or --plain")
	case c.Bool("plain"):
		return nil, "http", "", nil
	case c.Bool("self-signed"):
		config, pin, err = hub.SelfSigned(folder, c.env.now())
	default:
		config, err = hub.Certificate(cert, key)
	}
	return config, "https", pin, err
}

// reachable returns an address that this machine at least reaches.
func reachable(address net.Addr) string {
	host, port, err := net.SplitHostPort(address.String())
	if ip := net.ParseIP(host); err == nil && ip != nil && ip.IsUnspecified() {
		return net.JoinHostPort("localhost", port)
	}
	return address.String()
}

var siteIDPattern = regexp.MustCompile(`^[0-9a-f]{8}$`)

// siteOf returns the id and code of a site that is named by its card, its id or its
// code.
func (c *call) siteOf(name string) (id uint32, code string, err error) {
	if cards, err := readCards(name); err == nil && len(cards) == 1 {
		return uint32(changelog.SiteIDOf(cards[0].Key)), cards[0].Code, nil
	} else if err == nil {
		return 0, "", fault.Misuse("name the site by its id, as pulk site list --json shows it", "%s holds the cards of %d sites", name, len(cards))
	} else if !errors.Is(err, fs.ErrNotExist) {
		return 0, "", err
	}
	if siteIDPattern.MatchString(name) {
		n, err := strconv.ParseUint(name, 16, 32)
		return uint32(n), "", err
	}
	if _, err := os.Stat(c.storePath()); err != nil {
		return 0, "", fault.Misuse("give the file of its card, or its id as pulk site list --json shows it", "there is no card %s, and no store to look up a code in", name)
	}
	err = c.view(func(tx *changelog.Tx) error {
		site, err := tx.SiteByCode(name)
		if err != nil {
			return fault.Hint("see: pulk site list", "%w", err)
		}
		id, code = uint32(site.ID), site.Code
		return nil
	})
	return id, code, err
}

func (c *call) hubToken() error {
	id, code, err := c.siteOf(c.Args().Get(1))
	if err != nil {
		return err
	}
	token, err := hub.MakeToken(c.Args().First(), id, code, c.env.rand, c.env.now())
	if err != nil {
		return err
	}
	c.printf("%s\n", token)
	fmt.Fprintf(c.env.stderr, "pulk: a token for site %08x %s: it uses it by pulk exchange https://… --token-file FILE\n", id, code)
	return nil
}

func (c *call) hubRevoke() error {
	id, _, err := c.siteOf(c.Args().Get(1))
	if err != nil {
		return err
	}
	n, err := hub.RevokeTokens(c.Args().First(), id)
	if err != nil {
		return err
	}
	if n == 0 {
		return fault.Hint("see: pulk hub list "+c.Args().First(), "site %08x has no token here", id)
	}
	c.printf("took back %s of site %08x\n", plural(n, "token", "tokens"), id)
	return nil
}

// hubRow is a row of pulk hub list --json.
type hubRow struct {
	Site         string `json:"site"` // id
	Code         string `json:"code"` // empty where the token was made for an id
	Tokens       int    `json:"tokens"`
	Waiting      int    `json:"waiting"`
	WaitingBytes int64  `json:"waiting_bytes"`
}

func (c *call) hubList() error {
	sites, err := hub.Waiting(c.Args().First())
	if err != nil {
		return err
	}
	rows, t := []hubRow{}, newTable("site", "code", "tokens", "parcels waiting", "bytes")
	for _, s := range sites {
		rows = append(rows, hubRow{Site: s.Site, Code: s.Label, Tokens: s.Tokens, Waiting: s.Parcels, WaitingBytes: s.Bytes})
		t.add(s.Site, s.Label, s.Tokens, s.Parcels, s.Bytes)
	}
	if c.asJSON() {
		return c.printJSON(rows)
	}
	t.print(c.env, "")
	return nil
}
