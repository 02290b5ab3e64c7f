package main

import (
	"fmt"
	"math"
	"strings"
	"time"

	"pulk/schema/fault"
	"pulk/sync/carrier"
	"pulk/sync/changelog"
	"pulk/sync/link"
	"pulk/sync/linkbook"
)

const daysAheadMax = 365

// passRow is a pass of pulk link passes --json.
type passRow struct {
	Link          string   `json:"link"`
	Number        int      `json:"number"` // from 1, as pulk bundle make --for-pass counts; the present one is 1
	Rise          string   `json:"rise"`
	Highest       *string  `json:"highest"` // null where no satellite is in it
	Set           string   `json:"set"`
	LengthSeconds float64  `json:"length_seconds"`
	ElevationMax  *float64 `json:"elevation_max_degrees"` // of the highest satellite; null where there is none
	By            []string `json:"by"`                    // satellites, or windows in UTC
	PayloadBytes  int      `json:"payload_bytes"`         // the largest bundle that it carries
	PriceCents    float64  `json:"price_cents"`           // of that bundle
}

// daysAhead returns --days, or else what is usual.
func (c *call) daysAhead(usual int) (int, error) {
	if !c.IsSet("days") {
		return usual, nil
	}
	if n := c.Int("days"); n >= 1 && n <= daysAheadMax {
		return n, nil
	}
	return 0, fault.Misuse(fmt.Sprintf("give 1 to %d", daysAheadMax), "--days is %d", c.Int("days"))
}

// plansOf returns the plans of the links that --link or the argument names, or of
// all links of this site.
func (c *call) plansOf(tx *changelog.Tx, name string, days int) ([]*linkbook.Plan, error) {
	self, from := tx.Self().Site, c.env.now().UTC()
	var links []*linkbook.Link
	if name != "" {
		l, err := linkbook.Find(tx, name)
		if err != nil {
			return nil, err
		}
		links = append(links, l)
	} else {
		all, err := linkbook.List(tx)
		if err != nil {
			return nil, err
		}
		for _, l := range all {
			if l.From == self || l.To == self {
				links = append(links, l)
			}
		}
	}
	var plans []*linkbook.Plan
	for _, l := range links {
		plan, err := l.Plan(self, from, from.AddDate(0, 0, days), c.Bool("force"))
		switch {
		case err == nil:
			plans = append(plans, plan)
		case len(links) == 1:
			return nil, err
		default:
			fmt.Fprintf(c.env.stderr, "pulk: %v; see: pulk link passes %s\n", err, l.Code)
		}
	}
	return plans, nil
}

func (c *call) warn(plans ...*linkbook.Plan) {
	for _, p := range plans {
		for _, warning := range p.Warnings {
			fmt.Fprintln(c.env.stderr, "pulk: warning:", warning)
		}
	}
}

func (c *call) linkPasses() error {
	days, err := c.daysAhead(2)
	if err != nil {
		return err
	}
	return c.view(func(tx *changelog.Tx) error {
		plans, err := c.plansOf(tx, c.Args().First(), days)
		if err != nil {
			return err
		}
		c.warn(plans...)
		if path := c.String("ics"); path != "" {
			if err := carrier.WriteFile(path, calendarOf(plans, c.env.now())); err != nil {
				return err
			}
		}
		if c.asJSON() {
			rows := []passRow{}
			for _, p := range plans {
				for i := range p.Contacts {
					rows = append(rows, passRowOf(p, i))
				}
			}
			return c.printJSON(rows)
		}
		if len(plans) == 0 {
			c.printf("no links of this site; describe one: pulk link add --help\n")
		}
		for i, p := range plans {
			if i > 0 {
				c.printf("\n")
			}
			c.printPasses(p, days)
		}
		return nil
	})
}

func passRowOf(p *linkbook.Plan, i int) passRow {
	contact, budget := p.Contacts[i], p.Description.Budget
	payload := budget.PayloadIn(contact.Length())
	row := passRow{Link: p.Link.Code, Number: i + 1, Rise: *jsonTime(contact.Start), Highest: jsonTime(contact.Highest), Set: *jsonTime(contact.End),
		LengthSeconds: math.Round(contact.Length().Seconds()*10) / 10, By: contact.By, PayloadBytes: payload, PriceCents: math.Round(budget.Cost(payload).Cents*100) / 100}
	if !contact.Highest.IsZero() {
		degrees := math.Round(contact.ElevationMaxDegrees*10) / 10
		row.ElevationMax = &degrees
	}
	return row
}

func (c *call) printPasses(p *linkbook.Plan, days int) {
	budget := p.Description.Budget
	c.printf("link %s, %s from %s\n", p.Link.Code, plural(days, "day", "days"), c.env.showTime(p.From))
	head := []string{"pass", "rise", "highest", "set", "length", "max elev", "by", "bytes"}
	priced := budget.CentsPerByte > 0
	if priced {
		head = append(head, "price")
	}
	t := newTable(head...)
	total := 0
	for i, contact := range p.Contacts {
		payload := budget.PayloadIn(contact.Length())
		total += payload
		highest, elevation := "", ""
		if !contact.Highest.IsZero() {
			highest, elevation = contact.Highest.UTC().Format("15:04:05Z"), fmt.Sprintf("%.0f°", contact.ElevationMaxDegrees)
		}
		cells := []any{i + 1, c.env.showSeconds(contact.Start), highest, contact.End.UTC().Format("15:04:05Z"), lengthText(contact.Length()), elevation, strings.Join(contact.By, ", "), grouped(payload)}
		if priced {
			cells = append(cells, fmt.Sprintf("%.2f", budget.Cost(payload).Cents/100))
		}
		t.add(cells...)
	}
	t.print(c.env, "not open in that time")
	if len(p.Contacts) > 0 {
		c.printf("%s, %s bytes in all. bytes: the largest bundle that the pass carries if nothing is lost\n", plural(len(p.Contacts), "pass", "passes"), grouped(total))
	}
}

// showSeconds is showTime to the second.
func (e *env) showSeconds(t time.Time) string {
	text := t.UTC().Format("2006-01-02 15:04:05Z")
	local := t.In(e.local)
	if _, offset := local.Zone(); offset != 0 {
		text += local.Format(" (15:04 -07:00)")
	}
	return text
}

// lengthText is minutes and seconds, or hours and minutes where it is long.
func lengthText(d time.Duration) string {
	d = d.Round(time.Second)
	if d < time.Hour {
		return fmt.Sprintf("%d min %02d s", d/time.Minute, d%time.Minute/time.Second)
	}
	return fmt.Sprintf("%d h %02d min", d/time.Hour, d%time.Hour/time.Minute)
}

// grouped writes a number with a space between thousands.
func grouped(n int) string {
	text := fmt.Sprint(n)
	for i := len(text) - 3; i > 0; i -= 3 {
		text = text[:i] + " " + text[i:]
	}
	return text
}

// choosePass returns the contact that --for-pass names: NEXT, a number from 1, or a
// time, whose pass is the one under way then or the next after it.
func choosePass(p *linkbook.Plan, text string, now time.Time) (link.Contact, int, error) {
	if len(p.Contacts) == 0 {
		return link.Contact{}, 0, fault.Hint("see: pulk link passes "+p.Link.Code+" --days 60", "link %s is not open in the next %d days", p.Link.Code, passDays)
	}
	if strings.EqualFold(text, "next") {
		return p.Contacts[0], 1, nil
	}
	var number int
	if n, err := fmt.Sscanf(text, "%d", &number); n == 1 && err == nil && fmt.Sprint(number) == text {
		if number < 1 || number > len(p.Contacts) {
			return link.Contact{}, 0, fault.Misuse(fmt.Sprintf("the next %d days have 1 to %d: pulk link passes %s", passDays, len(p.Contacts), p.Link.Code), "there is no pass %d", number)
		}
		return p.Contacts[number-1], number, nil
	}
	at, err := passTime(text, now)
	if err != nil {
		return link.Contact{}, 0, err
	}
	for i, contact := range p.Contacts {
		if contact.End.After(at) {
			return contact, i + 1, nil
		}
	}
	return link.Contact{}, 0, fault.Misuse("see: pulk link passes "+p.Link.Code, "link %s is not open after %s in the next %d days", p.Link.Code, text, passDays)
}

// passTime reads a time in UTC, or the next time of that hour and minute.
func passTime(text string, now time.Time) (time.Time, error) {
	for _, form := range []string{time.RFC3339, "2006-01-02 15:04Z", "2006-01-02 15:04", "2006-01-02T15:04"} {
		if at, err := time.ParseInLocation(form, text, time.UTC); err == nil {
			return at, nil
		}
	}
	if clock, err := time.Parse("15:04", strings.TrimSuffix(text, "Z")); err == nil {
		midnight := now.UTC().Truncate(24 * time.Hour)
		at := midnight.Add(time.Duration(clock.Hour())*time.Hour + time.Duration(clock.Minute())*time.Minute)
		if at.Before(now) {
			at = at.Add(24 * time.Hour)
		}
		return at, nil
	}
	return time.Time{}, fault.Misuse(`give NEXT, a number from 1, or a time in UTC such as 18:20 or "2027-01-05 18:20"`, "--for-pass is %q", text)
}
