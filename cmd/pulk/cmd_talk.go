package main

import (
	"context"
	"errors"
	"fmt"
	"os"
	"os/signal"
	"time"

	"github.com/urfave/cli/v2"

	"pulk/schema/fault"
	"pulk/sync/changelog"
	"pulk/sync/line"
	"pulk/sync/transfer"
)

func (e *env) talkCommand() *cli.Command {
	return verb{
		path: "pulk talk", args: "SITE", minArgs: 1, maxArgs: 1, usage: "exchange with a site while the link is open, over UDP",
		about: "For a modem, radio or satellite channel that carries IP and loses some of it. What is urgent goes first, also if it is written while the talk goes on; what was lost is sent again, and nothing else. " +
			"Both sides run it, one with --to, the other with --listen. It ends when both have all, after --for, or when interrupted, which is always safe: the next talk goes on from what has arrived.",
		examples: []string{
			"pulk talk stn --listen :4040 --rate 9600 --stay",
			"pulk talk home --to hub.example.org:4040 --rate 9600 --for 12m",
		},
		flags: []cli.Flag{
			&cli.StringFlag{Name: "to", Usage: "`HOST:PORT` of the other side"},
			&cli.StringFlag{Name: "listen", Usage: "`HOST:PORT` to be heard at; without --to whoever speaks there is answered"},
			&cli.IntFlag{Name: "rate", Value: 9600, Usage: "bits a second that the link carries from here, in `BIT/S`; 0 is no limit"},
			&cli.IntFlag{Name: "datagram", Value: 340, Usage: "size that the content of a datagram does not exceed, in `BYTES`"},
			&cli.DurationFlag{Name: "round-trip", Value: 2 * time.Second, Usage: "`TIME` until an answer comes, about; it is learnt from what happens"},
			&cli.DurationFlag{Name: "for", Usage: "end after this `TIME`"},
			&cli.BoolFlag{Name: "stay", Usage: "go on when both sides have all, and send what is written meanwhile"},
			&cli.BoolFlag{Name: "seal", Usage: "so that only the other site can read it"},
		},
		action: (*call).talk,
	}.command(e)
}

const (
	talkLoadSeconds = 60 // how long one bundle may occupy the link
	talkLoadMin     = 4 << 10
	talkLoadMax     = 256 << 10
	talkLook        = 2 * time.Second
)

func (c *call) talk() error {
	switch {
	case c.String("to") == "" && c.String("listen") == "":
		return fault.Misuse("see: pulk talk --help", "pulk talk: give --to, --listen or both")
	case c.Int("rate") < 0 || c.Int("datagram") < line.DatagramMin || c.Int("datagram") > line.DatagramMax:
		return fault.Misuse("see: pulk talk --help", "--rate is 0 or more, --datagram %d to %d", line.DatagramMin, line.DatagramMax)
	}
	local := c.String("listen")
	if local == "" {
		local = ":0"
	}
	return c.withLog(func(log *changelog.Log) error {
		site, err := trustedSite(c, log, c.Args().First())
		if err != nil {
			return err
		}
		if !site.Trusted {
			return fault.Refuse("compare its fingerprint by voice: pulk site trust", "site %s is not trusted yet", site.Code)
		}
		socket, err := line.ListenUDP(local, c.String("to"))
		if err != nil {
			return fault.Hint("an address is HOST:PORT, and the port must be free", "%w", err)
		}
		defer socket.Close()
		c.printf("talking with %s from %s\n", site.Code, socket.Local())
		return c.talkWith(log, site, socket)
	})
}

func (c *call) talkWith(log *changelog.Log, site changelog.Site, socket *line.UDP) error {
	ctx, stop := signal.NotifyContext(c.Context.Context, os.Interrupt)
	defer stop()
	if limit := c.Duration("for"); limit > 0 {
		var cancel context.CancelFunc
		ctx, cancel = context.WithTimeout(ctx, limit)
		defer cancel()
	}
	session := line.Session{
		Desk: *c.desk(log), Peer: site.ID, Socket: socket,
		Pace:      line.Pace{BitsPerSecond: c.Int("rate"), OverheadBytes: line.HeaderBytes, RoundTrip: c.Duration("round-trip")},
		Wrap:      transfer.Wrapping{FragmentBytes: c.Int("datagram"), Seal: c.Bool("seal")},
		LoadBytes: loadBytes(c.Int("rate")), Look: talkLook, Stay: c.Bool("stay"), Now: c.env.now,
		Said: func(o transfer.Outcome) error { return c.sayHeard(log, site, o) },
		Moved: func(t line.Tally) {
			c.printf("%s has %s from here now\n", site.Code, plural(t.Arrived, "change-set", "change-sets"))
		},
	}
	tally, err := session.Run(ctx)
	c.printf("sent %d bytes in %s: %d of bundles, %d of them again, %d to ask, %d to answer; heard %s\n", tally.Bytes(), plural(tally.Datagrams, "datagram", "datagrams"),
		tally.BundleBytes, tally.Again, tally.Questions, tally.Words, plural(tally.Heard, "datagram", "datagrams"))
	if tally.CameAt > 0 {
		c.printf("what came, came at about %d bit/s\n", (tally.CameAt+50)/100*100)
		if tally.CameAt < c.Int("rate")*9/10 {
			c.printf("if --rate is higher than that at %s, lower it there\n", site.Code)
		}
	}
	if tally.Heard == 0 && err == nil {
		return fault.Hint("is pulk talk running at the other side, and the link open?", "nothing was heard from %s", site.Code)
	}
	if errors.Is(err, context.Canceled) || errors.Is(err, context.DeadlineExceeded) {
		return nil
	}
	return err
}

// loadBytes is how much goes in one bundle at a rate of so many bits a second.
func loadBytes(bitsPerSecond int) int {
	if bitsPerSecond == 0 {
		return talkLoadMax
	}
	return min(max(bitsPerSecond/8*talkLoadSeconds, talkLoadMin), talkLoadMax)
}

// sayHeard says what came over the line, where it is more than a part of something.
func (c *call) sayHeard(log *changelog.Log, site changelog.Site, o transfer.Outcome) error {
	if o.Whole != nil {
		o = *o.Whole
	}
	switch {
	case o.Err != nil:
		c.env.report(fmt.Errorf("from the line: %w", o.Err))
	case o.Taken != nil && (len(o.Taken.Segments) > 0 || o.Taken.Skew > clockTolerance):
		return c.sayTaken(log, "line", o.Taken)
	}
	return nil
}
