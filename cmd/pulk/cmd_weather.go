package main

import (
	"fmt"
	"slices"
	"strconv"
	"strings"
	"time"

	"github.com/urfave/cli/v2"

	"pulk/checklist/conditions"
	"pulk/checklist/crew"
	"pulk/checklist/exposure"
	"pulk/inventory/stock"
	"pulk/schema/decimal"
	"pulk/schema/fault"
	"pulk/sync/changelog"
	"pulk/sync/clock"
)

func (e *env) weatherCommand() *cli.Command {
	return group("weather", "the weather at a place, and what it allows outdoors",
		verb{path: "pulk weather add", args: "PLACE", minArgs: 1, maxArgs: 1, usage: "enter the weather that was read at a place", writes: true,
			about: "It counts for steps outdoors there, and in all places that lie within, until its time is over. The wind is that at a height of 10 m: a hand-held instrument at head height reads less, " +
				"two thirds of it (common practice). What follows from it: pulk weather show.",
			examples: []string{`pulk weather add plateau --temperature -31.5 --wind 4.5 --as ida`, `pulk weather add plateau --temperature -28 --wind 6 --read 06:40 --valid 3h --source "mast 2" --as ida`},
			flags: []cli.Flag{&cli.StringFlag{Name: "temperature", Usage: "of the air, in `°C`"}, &cli.StringFlag{Name: "wind", Usage: "at 10 m, in `M/S`"},
				&cli.StringFlag{Name: "read", Usage: "`WHEN` it was read: a time in UTC such as 06:40; now if left out"},
				&cli.DurationFlag{Name: "valid", Value: conditions.DefaultValid, Usage: "how `LONG` it counts, at most 12h"},
				&cli.StringFlag{Name: "source", Usage: "`WHERE` it comes from: an instrument, a forecast"}},
			action: (*call).weatherAdd}.command(e),
		verb{path: "pulk weather show", args: "[PLACE]", maxArgs: 1, usage: "the weather that was entered, and what it allows", reads: true,
			examples: []string{"pulk weather show plateau"}, action: (*call).weatherShow}.command(e),
		verb{path: "pulk weather void", args: "ID", minArgs: 1, maxArgs: 1, usage: "say that weather that was entered is wrong", writes: true,
			about: "It counts no more, at any site that hears of it. What was done by it stays on record, with that weather beside it.",
			flags: []cli.Flag{&cli.StringFlag{Name: "why", Usage: "the `REASON`"}}, action: (*call).weatherVoid}.command(e),
	)
}

func (c *call) weatherAdd() error {
	w := conditions.Weather{Valid: c.Duration("valid"), Source: c.String("source")}
	var err error
	if w.Celsius, err = c.decimalFlag("temperature", "the air temperature in °C, such as -31.5"); err != nil {
		return err
	}
	if w.MetresPerSecond, err = c.decimalFlag("wind", "the wind in m/s, such as 7.5"); err != nil {
		return err
	}
	if w.At, err = pastTime("--read", c.String("read"), c.env.now()); err != nil {
		return err
	}
	var said string
	return c.write(func(tx *changelog.Tx, _ *crew.Person) error {
		if w.Location, err = findLocation(tx, c.Args().First()); err != nil {
			return err
		}
		id, err := conditions.Add(tx, w)
		said = tx.Name(id)
		return err
	}, func() {
		c.printf("weather %s at %s counts until %s\n", said, c.Args().First(), c.env.showTime(w.Until()))
		c.printAllows(weatherAllows(w.Air()))
	})
}

// decimalFlag reads a flag that must be given, and be a decimal number.
func (c *call) decimalFlag(name, expected string) (decimal.Decimal, error) {
	if !c.IsSet(name) {
		return decimal.Decimal{}, fault.Misuse("give "+expected, "--%s is missing", name)
	}
	d, err := decimal.Parse(c.String(name))
	if err != nil {
		return d, fault.Misuse("give "+expected, "--%s: %v", name, err)
	}
	return d, nil
}

// pastTime reads a time in UTC, or the last time of that hour and minute; now where
// nothing is given.
func pastTime(flag, text string, now time.Time) (time.Time, error) {
	if text == "" {
		return now, nil
	}
	for _, form := range []string{time.RFC3339, "2006-01-02 15:04Z", "2006-01-02 15:04", "2006-01-02T15:04"} {
		if at, err := time.ParseInLocation(form, text, time.UTC); err == nil {
			return at, nil
		}
	}
	at, err := time.Parse("15:04", strings.TrimSuffix(text, "Z"))
	if err != nil {
		return at, fault.Misuse(`give a time in UTC such as 06:40 or "2027-01-05 06:40"`, "%s is %q", flag, text)
	}
	at = now.UTC().Truncate(24 * time.Hour).Add(time.Duration(at.Hour())*time.Hour + time.Duration(at.Minute())*time.Minute)
	if at.After(now) {
		at = at.Add(-24 * time.Hour)
	}
	return at, nil
}

// allowsRow is what a weather allows outdoors.
type allowsRow struct {
	WindChill   *float64    `json:"wind_chill"` // index of 2001, one digit; null where there is none
	Frostbite   string      `json:"frostbite"`  // in words; empty where no time is given
	Heavy       string      `json:"heavy_work"` // in words: the usual breaks, at most so many minutes, or that it ceases
	Light       string      `json:"light_work"`
	HeavyStops  []adviceRow `json:"heavy_work_stops"` // why no heavy work is to be done; empty: it may
	LightStops  []adviceRow `json:"light_work_stops"`
	Advice      []adviceRow `json:"advice"`
	WhoDecides  string      `json:"who_decides"`
	sameForBoth bool
}

// adviceRow is an advice or a reason with its source.
type adviceRow struct {
	Text   string `json:"text"`
	Source string `json:"source"`
	Range  string `json:"range"` // for which the source stands; empty for a reason
}

func weatherAllows(air exposure.Air) allowsRow {
	heavy, light := exposure.JudgeOutdoors(air, true), exposure.JudgeOutdoors(air, false)
	row := allowsRow{HeavyStops: stopRows(heavy.Stops), LightStops: stopRows(light.Stops), Advice: []adviceRow{}, WhoDecides: exposure.Decides}
	row.Heavy, row.Light = periodText(heavy), periodText(light)
	row.sameForBoth = row.Heavy == row.Light && fmt.Sprint(row.HeavyStops) == fmt.Sprint(row.LightStops)
	if heavy.HasIndex {
		index, _ := strconv.ParseFloat(strconv.FormatFloat(heavy.Index, 'f', 1, 64), 64)
		row.WindChill = &index
	}
	if heavy.Band.Freezes() {
		row.Frostbite = heavy.Band.String()
	}
	for _, o := range []exposure.Outdoors{heavy, light} {
		for _, a := range o.Advice {
			if a := (adviceRow{a.Text, a.Source, a.Range}); !slices.Contains(row.Advice, a) {
				row.Advice = append(row.Advice, a)
			}
		}
	}
	return row
}

func stopRows(stops []exposure.Stop) []adviceRow {
	rows := []adviceRow{}
	for _, s := range stops {
		rows = append(rows, adviceRow{Text: s.Text, Source: s.Source})
	}
	return rows
}

func periodText(o exposure.Outdoors) string {
	switch {
	case len(o.Stops) > 0:
		return "none"
	case o.Schedule:
		return o.Period.String()
	}
	return "no limit by the schedule, which begins at -26 °C"
}

// printAllows prints why no work is to be done before all else.
func (c *call) printAllows(row allowsRow) {
	if row.sameForBoth {
		c.printWork("work outdoors", row.Heavy, row.HeavyStops)
	} else {
		c.printWork("heavy work outdoors", row.Heavy, row.HeavyStops)
		c.printWork("light work outdoors", row.Light, row.LightStops)
	}
	if row.WindChill != nil {
		text := fmt.Sprintf("wind chill index %.1f", *row.WindChill)
		if row.Frostbite != "" {
			text += ": " + row.Frostbite
		}
		c.printBlock("  ", text)
	}
	for i, a := range row.Advice {
		if i == 0 || a.Source != row.Advice[i-1].Source {
			c.printBlock("  source: ", a.Source+"; "+a.Range)
		}
	}
	c.printf("  %s\n", exposure.Decides)
}

func (c *call) printWork(what, text string, stops []adviceRow) {
	for _, stop := range stops {
		c.printBlock("! NO "+strings.ToUpper(what)+": ", stop.Text+" ["+stop.Source+"]")
	}
	if len(stops) == 0 {
		c.printBlock("  "+what+": ", text)
	}
}

// weatherRow is weather that was entered.
type weatherRow struct {
	ID      string    `json:"id"`
	Place   string    `json:"place"`
	Celsius string    `json:"temperature_degc"` // digits as entered
	Wind    string    `json:"wind_m_per_s"`
	ReadAt  string    `json:"read_at"`
	Until   string    `json:"counts_until"`
	Counts  bool      `json:"counts"` // now
	Voided  bool      `json:"voided"`
	Source  string    `json:"source"`
	Person  string    `json:"person"`
	Allows  allowsRow `json:"allows"`
}

func (c *call) weatherShow() error {
	return c.view(func(tx *changelog.Tx) error {
		location, err := c.placeArgument(tx)
		if err != nil {
			return err
		}
		list, err := conditions.List(tx, location)
		if err != nil {
			return err
		}
		rows := []weatherRow{}
		for i := range list {
			row, err := c.weatherRowOf(tx, &list[i])
			if err != nil {
				return err
			}
			rows = append(rows, row)
		}
		if c.asJSON() {
			return c.printJSON(rows)
		}
		t := newTable("id", "place", "°C", "m/s", "read", "counts until", "by", "")
		for i, row := range rows {
			state := "over"
			switch {
			case row.Voided:
				state = "VOIDED"
			case row.Counts:
				state = "counts"
			}
			t.add(row.ID, row.Place, row.Celsius, row.Wind, c.env.showTime(list[i].At), c.env.showTime(list[i].Until()), row.Person, state)
		}
		t.print(c.env, "No weather was entered: pulk weather add PLACE --temperature -31.5 --wind 7.5")
		told := map[string]bool{}
		for _, row := range rows {
			if row.Counts && !told[row.Place] { // of a place the latest reading counts
				told[row.Place] = true
				c.printf("%s, by %s:\n", row.Place, row.ID)
				c.printAllows(row.Allows)
			}
		}
		return nil
	})
}

func (c *call) placeArgument(tx *changelog.Tx) (clock.Dot, error) {
	if c.Args().Len() == 0 {
		return clock.Dot{}, nil
	}
	return findLocation(tx, c.Args().First())
}

func (c *call) weatherRowOf(tx *changelog.Tx, w *conditions.Weather) (weatherRow, error) {
	place, err := stock.LocationLabel(tx, w.Location)
	if err != nil {
		return weatherRow{}, err
	}
	person, err := crew.Label(tx, w.Person)
	return weatherRow{ID: tx.Name(w.ID), Place: place, Celsius: w.Celsius.String(), Wind: w.MetresPerSecond.String(), ReadAt: *jsonTime(w.At), Until: *jsonTime(w.Until()),
		Counts: w.Holds(c.env.now()), Voided: w.Voided, Source: w.Source, Person: person, Allows: weatherAllows(w.Air())}, err
}

func (c *call) weatherVoid() error {
	return c.write(func(tx *changelog.Tx, _ *crew.Person) error {
		id, err := tx.ParseName(c.Args().First())
		if err != nil {
			return fault.Misuse("see: pulk weather show", "%s", err)
		}
		return conditions.Void(tx, id, c.String("why"))
	}, func() { c.printf("weather %s counts no more\n", c.Args().First()) })
}
