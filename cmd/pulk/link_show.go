package main

import (
	"fmt"
	"time"

	"pulk/sync/changelog"
	"pulk/sync/link"
	"pulk/sync/linkbook"
)

// linkRow is a link of --json.
type linkRow struct {
	ID         string            `json:"id"`
	Code       string            `json:"code"`
	Name       string            `json:"name"`
	From       string            `json:"from"`      // code of the site that described it
	To         string            `json:"to"`        // code of the other site
	Settings   map[string]string `json:"settings"`  // as in a link's file; those left out have their defaults
	Contested  []string          `json:"contested"` // settings that were given different values; none of them counts
	Satellites []satelliteRow    `json:"satellites"`
}

// satelliteRow is the latest elements of a satellite.
type satelliteRow struct {
	CatalogueNumber int     `json:"catalogue_number"`
	Name            string  `json:"name"`
	Used            bool    `json:"used"`     // by the link, as its settings say
	Epoch           string  `json:"epoch"`    // time of the elements
	AgeDays         float64 `json:"age_days"` // now
	Change          string  `json:"change"`   // id of the change that brought them
}

func linkRowOf(tx *changelog.Tx, l *linkbook.Link, now time.Time) (linkRow, error) {
	row := linkRow{ID: tx.Name(l.ID), Code: l.Code, Name: l.Name, Settings: l.Settings, Contested: append([]string{}, l.Contested...), Satellites: []satelliteRow{}}
	var err error
	if row.From, err = siteCode(tx, l.From); err != nil {
		return row, err
	}
	if row.To, err = siteCode(tx, l.To); err != nil {
		return row, err
	}
	d, _ := link.Describe(l.Settings) // what can be read of it
	for _, s := range l.Satellites {
		row.Satellites = append(row.Satellites, satelliteRow{s.CatalogNumber, s.Name, d.Uses(s.CatalogNumber), s.Epoch.UTC().Format(time.RFC3339),
			float64(int(now.Sub(s.Epoch).Hours()/24*100)) / 100, tx.Name(s.From)})
	}
	return row, nil
}

func (c *call) linkList() error {
	return c.view(func(tx *changelog.Tx) error {
		links, err := linkbook.List(tx)
		if err != nil {
			return err
		}
		rows := []linkRow{}
		t := newTable("link", "from", "to", "open", "out bit/s", "back bit/s", "loss %", "oldest elements", "name")
		for _, l := range links {
			row, err := linkRowOf(tx, l, c.env.now())
			if err != nil {
				return err
			}
			rows = append(rows, row)
			d, _ := link.Describe(l.Settings)
			age := ""
			if oldest, ok := l.Oldest(d, c.env.now()); ok {
				age = daysText(oldest.Hours() / 24)
			}
			t.add(l.Code, row.From, row.To, l.Settings["open"], l.Settings["out_bits_per_second"], l.Settings["back_bits_per_second"], orZero(l.Settings["loss_percent"]), age, l.Name)
		}
		if c.asJSON() {
			return c.printJSON(rows)
		}
		t.print(c.env, "no links; describe one: pulk link add --help")
		return nil
	})
}

func orZero(text string) string {
	if text == "" {
		return "0"
	}
	return text
}

func (c *call) linkShow() error {
	return c.view(func(tx *changelog.Tx) error {
		l, err := linkbook.Find(tx, c.Args().First())
		if err != nil {
			return err
		}
		row, err := linkRowOf(tx, l, c.env.now())
		if err != nil {
			return err
		}
		if c.asJSON() {
			return c.printJSON(row)
		}
		c.printf("link %s  %s\n", l.Code, l.Name)
		c.printf("%s to %s, as %s described it (%s)\n", row.From, row.To, row.From, row.ID)
		for _, s := range link.Settings() {
			value, given := l.Settings[s.Name]
			switch {
			case given:
				c.printf("  %-22s %s\n", s.Name, value)
			case s.Default != "" && (!s.OfSatellites || l.Settings["open"] == "satellites"):
				c.printf("  %-22s %s (not set)\n", s.Name, s.Default)
			}
		}
		for _, name := range l.Contested {
			c.printf("  %-22s CONFLICT: different values, none counts: pulk conflict list\n", name)
		}
		if l.Settings["open"] != "satellites" {
			return nil
		}
		t := newTable("satellite", "name", "elements of", "age", "change")
		for _, s := range row.Satellites {
			age := daysText(s.AgeDays)
			if !s.Used {
				age += ", not used"
			}
			epoch, _ := time.Parse(time.RFC3339, s.Epoch) // as written above
			t.add(s.CatalogueNumber, s.Name, c.env.showTime(epoch), age, s.Change)
		}
		t.print(c.env, fmt.Sprintf("no elements yet: pulk link elements %s FILE", l.Code))
		return nil
	})
}
