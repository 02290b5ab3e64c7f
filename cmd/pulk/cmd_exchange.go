package main

import (
	"fmt"
	"slices"

	"github.com/urfave/cli/v2"

	"pulk/schema/fault"
	"pulk/sync/changelog"
	"pulk/sync/transfer"
)

func (e *env) exchangeCommand() *cli.Command {
	return verb{
		path: "pulk exchange", args: "PLACE", minArgs: 1, maxArgs: 1, usage: "take what waits at a place for us, leave there what others need",
		about: "A place is a FOLDER (a USB stick, a synchronised folder), mail:MAILDIR with --outbox, or the https://… of a hub with --token-file. " +
			"Parcels for this site are taken and put aside; for each trusted site that something waits for, new ones are left. " +
			"A parcel appears whole or not at all, so it is safe to pull the stick or interrupt; run it again to go on.",
		examples: []string{
			"pulk exchange /media/stick", "pulk exchange mail:/var/mail/stn --outbox /var/mail/stn-out",
			"pulk exchange mail:/var/mail/stn --outbox smtp://gateway:587 --max-mail 50000", "pulk exchange https://hub.home.example:8443 --token-file stn.token",
		},
		flags: slices.Concat([]cli.Flag{&cli.IntFlag{Name: "max-bytes", Usage: "size for each site that is not exceeded, in `BYTES`: what is expedited goes first, by itself"},
			&cli.BoolFlag{Name: "all-attachments", Usage: "by stick: the content of every attachment that is here, wanted or not"}}, placeFlags(), wrappingFlags()),
		action: (*call).exchange,
	}.command(e)
}

func (c *call) exchange() error {
	wrapping, err := c.wrapping()
	if err != nil {
		return err
	}
	return c.withLog(func(log *changelog.Log) error {
		way, err := c.carrierFor(log, c.Args().First())
		if err != nil {
			return err
		}
		desk := c.desk(log)
		desk.Loads = c.loads(log)
		refused, all, fresh := 0, 0, 0
		heap := newHeap(c, log)
		err = desk.Receive(c.Context.Context, way, func(name string, o transfer.Outcome) error {
			all++
			if o.Err != nil {
				refused++
				c.env.report(fmt.Errorf("%s: %w", name, o.Err))
				return nil
			}
			fresh += o.Fresh()
			return heap.add(name, o)
		})
		if stuck := heap.say(); err == nil && stuck != nil {
			refused++
			all++
			c.env.report(stuck)
		}
		if err != nil {
			return err
		}
		if err := desk.Send(c.Context.Context, way, transfer.Request{Wrapping: wrapping, Request: changelog.Request{MaxBytes: c.Int("max-bytes")}}, c.saySent); err != nil {
			return err
		}
		if fresh > 0 {
			if err := c.sayConflicts(log); err != nil {
				return err
			}
		}
		if refused > 0 {
			return fault.Hint("they are left where they lay; the others were taken", "%d of %d parcels were refused", refused, all)
		}
		return nil
	})
}

// saySent says what was left for a site.
func (c *call) saySent(s transfer.Sent) error {
	switch {
	case !s.To.Trusted:
		c.printf("nothing for %s: it is not trusted yet\n", s.To.Code)
	case s.Unreached:
		c.printf("nothing for %s: %s\n", s.To.Code, whyUnreached(c.Args().First(), s.To.Code))
	case s.Again+s.Asks > 0:
		c.sayAsked(s)
	case s.Load != nil && len(s.OnWay) > 0:
		c.printf("%s is on its way to %s in fragments\n", s.Load.Says, s.To.Code)
	case s.Load != nil && s.Names == nil:
		c.printf("%s waits: its %d bytes are more than there is room for\n", s.Load.Says, s.Load.Bytes)
	case s.Load != nil:
		c.printf("%s: %d bytes for %s, %s\n", namesText(s.Names), s.Load.Bytes, s.To.Code, s.Load.Says)
	case s.Made == nil && len(s.OnWay) > 0:
		c.printf("nothing new for %s; on their way to it: fragments of %s\n", s.To.Code, plural(len(s.OnWay), "parcel", "parcels"))
	case s.Made == nil:
		c.printf("nothing new for %s\n", s.To.Code)
	default:
		if s.Urgent {
			c.printf("first, by itself: ")
		}
		c.sayMade(namesText(s.Names), s.To.Code, s.Made)
	}
	return nil
}

// sayAsked says which fragments go again, and what is asked for.
func (c *call) sayAsked(s transfer.Sent) {
	if s.Again > 0 {
		c.printf("for %s: %s again, which it asked for\n", s.To.Code, plural(s.Again, "fragment", "fragments"))
	}
	if s.Asks > 0 {
		c.printf("for %s: a request for fragments of %s that are missing here\n", s.To.Code, plural(s.Asks, "parcel", "parcels"))
	}
}

// namesText returns what to call parcels that were left.
func namesText(names []string) string {
	if len(names) == 1 {
		return names[0]
	}
	return fmt.Sprintf("%s and %d more", names[0], len(names)-1)
}
