package main

import (
	"net"
	netmail "net/mail"
	"net/url"
	"strings"

	"github.com/urfave/cli/v2"

	"pulk/schema/fault"
	"pulk/sync/carrier"
	"pulk/sync/carrier/mail"
	"pulk/sync/changelog"
	"pulk/sync/hub"
	"pulk/sync/transfer"
)

const mailScheme = "mail:"

// placeFlags are the flags of commands that use a place where sites leave parcels
// for each other.
func placeFlags() []cli.Flag {
	return []cli.Flag{
		&cli.StringFlag{Name: "outbox", Usage: "for mail: the `MAILDIR` that mail is sent from, or smtp://[USER@]HOST[:PORT]"},
		&cli.IntFlag{Name: "max-mail", Usage: "for mail: size of a mail that the gateway lets pass, in `BYTES`", Value: mail.DefaultMaxMessage},
		&cli.StringFlag{Name: "token-file", Usage: "for a hub: `FILE` with this site's token; for a bucket: with the two keys"},
		&cli.StringFlag{Name: "pin", Usage: "for a hub with a certificate of its own making: the `PIN` that it prints"},
		&cli.StringFlag{Name: "password-file", Usage: "for smtp: `FILE` with the user's password"},
	}
}

// carrierFor returns what carries parcels to and from a place that a person named.
func (c *call) carrierFor(log *changelog.Log, place string) (transfer.Carrier, error) {
	if path, ok := strings.CutPrefix(place, mailScheme); ok {
		return c.mailFor(log, path)
	}
	if strings.HasPrefix(place, "https://") || strings.HasPrefix(place, "http://") {
		return c.hubFor(place)
	}
	if strings.HasPrefix(place, "s3://") || strings.HasPrefix(place, "s3+http://") {
		return c.bucketFor(place)
	}
	if scheme, _, ok := strings.Cut(place, "://"); ok {
		return nil, fault.Misuse("see: pulk exchange --help", "%s: no way to exchange is called %s", place, scheme)
	}
	if (mail.Maildir{Path: place}).Exists() {
		return nil, fault.Misuse("write: pulk exchange "+mailScheme+place+" --outbox MAILDIR", "%s is a maildir, and not a folder that parcels lie in", place)
	}
	return carrier.Folder{Path: place}, nil
}

// whyUnreached says why a place does not lead to a site, and what to do.
func whyUnreached(place, code string) string {
	if strings.HasPrefix(place, mailScheme) {
		return "its mail address is not known; pulk site mail " + code + " ADDRESS tells it"
	}
	return "it has no token at this hub"
}

// hubFor returns the carrier over a hub.
func (c *call) hubFor(address string) (transfer.Carrier, error) {
	path := c.String("token-file")
	if path == "" {
		return nil, fault.Misuse("give --token-file FILE; who runs the hub makes the token: pulk hub token", "a hub asks for a token")
	}
	token, err := readSecret(path)
	if err != nil {
		return nil, err
	}
	client, err := hub.NewClient(address, token, c.String("pin"), c.storePath()+".part")
	if err != nil {
		return nil, fault.Misuse("see: pulk exchange --help", "%s: %s", address, err)
	}
	return client, nil
}

// mailFor returns the carrier for a mailbox.
func (c *call) mailFor(log *changelog.Log, path string) (transfer.Carrier, error) {
	inbox := mail.Maildir{Path: path}
	if !inbox.Exists() {
		return nil, fault.Misuse("name the folder that holds tmp, new and cur", "%s is no maildir", path)
	}
	outbox, err := c.outbox(c.String("outbox"))
	if err != nil {
		return nil, err
	}
	self := log.Self()
	way := &mail.Mail{Self: uint32(self.Site), Inbox: inbox, Outbox: outbox, Campaign: self.CampaignName, Sites: map[uint32]mail.Site{}, MaxMessage: c.Int("max-mail"), Now: c.env.now}
	err = log.View(c.Context.Context, func(tx *changelog.Tx) error {
		sites, err := mailSites(tx)
		for _, s := range sites {
			if s.address == "" {
				continue
			}
			address, err := netmail.ParseAddress(s.address)
			if err != nil {
				return err
			}
			way.Sites[uint32(s.id)] = mail.Site{Code: s.code, Address: *address}
		}
		return err
	})
	if err != nil {
		return nil, err
	}
	if _, ok := way.Sites[way.Self]; !ok {
		return nil, fault.Misuse("tell it with: pulk site mail "+self.Code+" ADDRESS; and that of each site that mail goes to", "the mail address of this site is not known")
	}
	if least := way.MaxParcelBytes(); least < 200 {
		return nil, fault.Misuse("give the gateway's limit; 2000 and less is no use", "--max-mail %d leaves nothing for a parcel", c.Int("max-mail"))
	}
	return way, nil
}

// outbox returns what sends mail to a place that a person named.
func (c *call) outbox(place string) (mail.Sender, error) {
	if place == "" {
		return nil, fault.Misuse("give --outbox MAILDIR or --outbox smtp://HOST:PORT", "where does mail go out?")
	}
	if !strings.Contains(place, "://") {
		sender := mail.MaildirSender{Maildir: mail.Maildir{Path: place}}
		if !sender.Maildir.Exists() {
			return nil, fault.Misuse("name the folder that holds tmp, new and cur; to make one: mkdir -p "+place+"/tmp "+place+"/new "+place+"/cur", "%s is no maildir", place)
		}
		return sender, nil
	}
	server, err := url.Parse(place)
	if err != nil || server.Scheme != "smtp" || server.Hostname() == "" || strings.Trim(server.Path, "/") != "" {
		return nil, fault.Misuse("write --outbox smtp://HOST:PORT", "%s: no mail server is named like that", place)
	}
	port := server.Port()
	if port == "" {
		port = "587" // RFC 6409: where mail is handed in
	}
	sender := mail.SMTP{Address: net.JoinHostPort(server.Hostname(), port), User: server.User.Username()}
	if _, given := server.User.Password(); given {
		return nil, fault.Misuse("use --password-file FILE: others on this machine can read what is typed", "a password stands in the address of the mail server")
	}
	if path := c.String("password-file"); path != "" {
		if sender.Password, err = readSecret(path); err != nil {
			return nil, err
		}
	}
	return sender, nil
}

// readSecret returns the first line of a file.
func readSecret(path string) (string, error) {
	data, err := readInput(path)
	if err != nil {
		return "", err
	}
	line, _, _ := strings.Cut(string(data), "\n")
	return strings.TrimSpace(line), nil
}
