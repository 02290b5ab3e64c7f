package main

import (
	"cmp"
	"fmt"
	"slices"
	"strings"
	"time"

	"pulk/checklist/crew"
	"pulk/inventory/kit"
	"pulk/inventory/kitbook"
	"pulk/inventory/stock"
	"pulk/schema/fault"
	"pulk/sync/changelog"
	"pulk/sync/clock"
)

// keepPlan keeps the plan that was made, where --save asks for it.
func (c *call) keepPlan(plan *kit.Plan, capped *kit.Capped) error {
	name := c.String("save")
	if name == "" {
		if c.IsSet("note") || c.IsSet("save") {
			return fault.Misuse("like --save flight-1800", "give the plan a name")
		}
		return nil
	}
	planned, err := c.plannedRuns(plan.Request)
	if err != nil {
		return err
	}
	var runs []string
	for procedure, n := range planned {
		runs = append(runs, fmt.Sprintf("%s=%d", procedure, n))
	}
	slices.Sort(runs)
	var id string
	return c.write(func(tx *changelog.Tx, _ *crew.Person) error {
		kept, err := kitbook.Of(tx, name, plan, capped)
		if err != nil {
			return err
		}
		kept.Runs, kept.Note = strings.Join(runs, " "), c.String("note")
		if at := c.String("at"); at != "" {
			if kept.At, err = findLocation(tx, at); err != nil {
				return err
			}
		}
		dot, err := kitbook.Keep(tx, kept)
		id = tx.Name(dot)
		return err
	}, func() { fmt.Fprintf(c.env.stderr, "pulk: kept as %s (%s)\n", name, id) })
}

// keptRow is a kept plan of --json.
type keptRow struct {
	ID         string   `json:"id"`
	Name       string   `json:"name"`
	Person     string   `json:"person"`
	Made       string   `json:"made"`  // RFC 3339
	From       string   `json:"from"`  // YYYY-MM-DD
	Until      string   `json:"until"` // YYYY-MM-DD
	Late       string   `json:"late"`  // DAYS=PROBABILITY, spaces between
	At         string   `json:"at"`    // code of a location; - for everywhere
	Runs       string   `json:"runs"`  // PROCEDURE=COUNT, spaces between
	Confidence float64  `json:"confidence"`
	MassCap    *float64 `json:"mass_cap_grams"` // null where there is no cap
	VolumeCap  *float64 `json:"volume_cap_litres"`
	MoneyCap   *float64 `json:"money_cap_cents"`
	MassGrams  int64    `json:"mass_grams"` // of all that is sent, as far as it is known
	Litres     float64  `json:"volume_litres"`
	Cents      int64    `json:"money_cents"`
	OddsNow    float64  `json:"odds_now"`   // that nothing runs out that is in the odds, with nothing sent
	Odds       float64  `json:"odds"`       // the same, as planned
	OddsBound  *float64 `json:"odds_bound"` // what no plan under these caps exceeds; null where not known
	Note       string   `json:"note"`
	Voided     string   `json:"voided"` // why; empty where it stands
}

func keptRowOf(tx *changelog.Tx, p *kitbook.Plan) (keptRow, error) {
	t := p.Totals()
	at, err := stock.LocationLabel(tx, p.At)
	if err != nil {
		return keptRow{}, err
	}
	person, err := crew.Label(tx, p.Person)
	if err != nil {
		return keptRow{}, err
	}
	limit := func(x float64) *float64 {
		if x > 0 {
			return &x
		}
		return nil
	}
	row := keptRow{tx.Name(p.ID), p.Name, person, p.Made.Format(time.RFC3339), p.From, p.Until, p.Late, at, p.Runs, p.Confidence,
		limit(p.Caps[0]), limit(p.Caps[1]), limit(p.Caps[2]), t.MassGrams, t.Litres, t.Cents, p.OddsNow, p.Odds, limit(p.OddsBound), p.Note, ""}
	if p.Voided != nil {
		row.Voided = cmp.Or(p.Voided.Why, "without a reason")
	}
	return row, nil
}

func (c *call) kitList() error {
	return c.view(func(tx *changelog.Tx) error {
		list, err := kitbook.List(tx)
		if err != nil {
			return err
		}
		rows := []keptRow{}
		t := newTable("plan", "for", "made", "kg", "L", "odds", "note", "id")
		for _, p := range list {
			row, err := keptRowOf(tx, p)
			if err != nil {
				return err
			}
			rows = append(rows, row)
			note := row.Note
			if row.Voided != "" {
				note = "VOID: " + row.Voided
			}
			t.add(row.Name, fmt.Sprintf("%s to %s", row.From, row.Until), fmt.Sprintf("%s %s", p.Made.Format(time.DateOnly), row.Person),
				fmt.Sprintf("%.1f", float64(row.MassGrams)/1000), fmt.Sprintf("%.0f", row.Litres), fmt.Sprintf("%.4f", row.Odds), note, row.ID)
		}
		if c.asJSON() {
			return c.printJSON(rows)
		}
		t.print(c.env, "No plans are kept: keep one with pulk kit plan --save NAME.")
		return nil
	})
}

// keptLine is an item of a kept plan.
type keptLine struct {
	PartNumber  string   `json:"part_number"`
	Name        string   `json:"name"`
	Basis       string   `json:"basis"`        // spare, consumable, no rate known
	Class       string   `json:"class"`        // vital, essential or desirable
	Installed   int64    `json:"installed"`    // units in service
	Needed      int64    `json:"units_needed"` // of those installed
	Pack        int64    `json:"pack"`         // pieces that go together
	RatePerHour float64  `json:"rate_per_hour"`
	Expected    float64  `json:"expected"` // pieces asked for, in the mean
	There       int64    `json:"there"`
	Send        int64    `json:"send"`
	OddsNow     *float64 `json:"odds_now"`   // that what is there suffices; null where not known
	Odds        *float64 `json:"odds"`       // that it does with what is sent
	MassGrams   int64    `json:"mass_grams"` // of what is sent; 0 where not known
	Litres      float64  `json:"volume_litres"`
	Cents       int64    `json:"money_cents"`
}

// keptJSON is pulk kit show --json.
type keptJSON struct {
	keptRow
	Lines []keptLine `json:"lines"`
}

// itemLabel is the part number and name of an item that may not be here yet.
func itemLabel(tx *changelog.Tx, id clock.Dot) (part, name string, err error) {
	it, err := stock.ItemByID(tx, id)
	if err != nil || it == nil {
		return tx.Name(id), "not here yet", err
	}
	return it.PartNumber, it.Name, nil
}

func keptLineOf(tx *changelog.Tx, l *kitbook.Line) (keptLine, error) {
	part, name, err := itemLabel(tx, l.Item)
	out := keptLine{PartNumber: part, Name: name, Basis: string(l.Basis), Class: l.Class.String(), Installed: l.Installed, Needed: l.Needed, Pack: l.Pack,
		RatePerHour: l.RatePerHour, Expected: l.Expected, There: l.There, Send: l.Send, MassGrams: l.MassGrams, Litres: l.Litres, Cents: l.Cents}
	if l.OddsNow >= 0 {
		out.OddsNow = &l.OddsNow
	}
	if l.Odds >= 0 {
		out.Odds = &l.Odds
	}
	return out, err
}

func (c *call) kitShow() error {
	return c.view(func(tx *changelog.Tx) error {
		p, err := kitbook.Find(tx, c.Args().First())
		if err != nil {
			return err
		}
		row, err := keptRowOf(tx, p)
		if err != nil {
			return err
		}
		out := keptJSON{row, []keptLine{}}
		for i := range p.Lines {
			line, err := keptLineOf(tx, &p.Lines[i])
			if err != nil {
				return err
			}
			out.Lines = append(out.Lines, line)
		}
		if c.asJSON() {
			return c.printJSON(out)
		}
		c.printKept(out)
		return nil
	})
}

func (c *call) printKept(p keptJSON) {
	c.printBlock("", fmt.Sprintf("Plan %s (%s), made %s by %s, for %s to %s%s, as it was then", p.Name, p.ID, p.Made, p.Person, p.From, p.Until, lateText(p.Late)))
	if p.Voided != "" {
		c.printBlock("! ", "VOID: "+p.Voided)
	}
	if p.Note != "" {
		c.printBlock("", p.Note)
	}
	c.printf("\n")
	t := newTable("part", "name", "basis", "class", "in use", "expect", "there", "send", "odds now", "then", "kg")
	for _, l := range p.Lines {
		t.add(l.PartNumber, l.Name, l.Basis, l.Class, ofText(l.Needed, l.Installed), fmt.Sprintf("%.2f", l.Expected), l.There, l.Send,
			probability(l.OddsNow), probability(l.Odds), fmt.Sprintf("%.2f", float64(l.MassGrams)/1000))
	}
	t.print(c.env, "The plan has no lines.")
	c.printf("\nin all: %.1f kg, %.0f L, %.2f; nothing runs out: %.4f with nothing sent, %.4f as planned\n",
		float64(p.MassGrams)/1000, p.Litres, float64(p.Cents)/100, p.OddsNow, p.Odds)
}

// ofText is how many of those in service must work, where that is not all.
func ofText(needed, installed int64) string {
	if needed > 0 && needed < installed {
		return fmt.Sprintf("%d of %d", needed, installed)
	}
	return fmt.Sprint(installed)
}

func lateText(late string) string {
	if late == "" {
		return ""
	}
	return " (late: " + late + ")"
}

func probability(p *float64) string {
	if p == nil {
		return "-"
	}
	return fmt.Sprintf("%.3f", *p)
}

// kitCompareJSON is pulk kit compare --json.
type kitCompareJSON struct {
	A     keptRow   `json:"a"`
	B     keptRow   `json:"b"`
	Lines []kitPair `json:"lines"` // where risk moves most first; those that are the same only with --all
	Same  int       `json:"lines_the_same"`
}

// kitPair is one item of two plans; a side is null where a plan has no such line.
type kitPair struct {
	PartNumber string    `json:"part_number"`
	Name       string    `json:"name"`
	Basis      string    `json:"basis"`
	A          *keptLine `json:"a"`
	B          *keptLine `json:"b"`
	Risk       float64   `json:"risk_moved"` // probability of running out in b less that in a; 0 where not known
}

func (c *call) kitCompare() error {
	return c.view(func(tx *changelog.Tx) error {
		var plans [2]*kitbook.Plan
		var rows [2]keptRow
		for i := range plans {
			var err error
			if plans[i], err = kitbook.Find(tx, c.Args().Get(i)); err != nil {
				return err
			}
			if rows[i], err = keptRowOf(tx, plans[i]); err != nil {
				return err
			}
		}
		out := kitCompareJSON{A: rows[0], B: rows[1], Lines: []kitPair{}}
		for _, pair := range kitbook.Compare(plans[0], plans[1]) {
			if pair.Same() {
				if out.Same++; !c.Bool("all") {
					continue
				}
			}
			line, err := kitPairOf(tx, pair)
			if err != nil {
				return err
			}
			out.Lines = append(out.Lines, line)
		}
		if c.asJSON() {
			return c.printJSON(out)
		}
		c.printCompared(out)
		return nil
	})
}

func kitPairOf(tx *changelog.Tx, pair kitbook.Pair) (kitPair, error) {
	part, name, err := itemLabel(tx, pair.Item)
	out := kitPair{PartNumber: part, Name: name, Basis: string(pair.Basis), Risk: pair.RiskMoved()}
	for _, side := range []struct {
		from *kitbook.Line
		to   **keptLine
	}{{pair.A, &out.A}, {pair.B, &out.B}} {
		if side.from == nil || err != nil {
			continue
		}
		var line keptLine
		line, err = keptLineOf(tx, side.from)
		*side.to = &line
	}
	return out, err
}

func (c *call) printCompared(out kitCompareJSON) {
	for i, p := range []keptRow{out.A, out.B} {
		c.printBlock("", fmt.Sprintf("%c: %s (%s), made %s by %s, for %s to %s%s", 'A'+i, p.Name, p.ID, p.Made, p.Person, p.From, p.Until, lateText(p.Late)))
		if p.Voided != "" {
			c.printBlock("! ", "VOID: "+p.Voided)
		}
	}
	c.printf("\n")
	t := newTable("part", "name", "there", "send", "kg", "L", "money", "odds", "risk moved")
	for _, l := range out.Lines {
		a, b := keptOrNone(l.A), keptOrNone(l.B)
		t.add(l.PartNumber, l.Name+basisText(l.Basis), c.sides(l, fmt.Sprint(a.There), fmt.Sprint(b.There)), c.sides(l, fmt.Sprint(a.Send), fmt.Sprint(b.Send)),
			fmt.Sprintf("%+.2f", float64(b.MassGrams-a.MassGrams)/1000), fmt.Sprintf("%+.1f", b.Litres-a.Litres), fmt.Sprintf("%+.2f", float64(b.Cents-a.Cents)/100),
			c.sides(l, probability(a.Odds), probability(b.Odds)), fmt.Sprintf("%+.4f", l.Risk))
	}
	t.print(c.env, "The plans say the same of every item.")
	a, b := out.A, out.B
	c.printf("\n")
	c.printBlock("", fmt.Sprintf("From A to B: %+.1f kg to %.1f kg, %+.0f L to %.0f L, money %+.2f to %.2f. Nothing runs out: %.4f in A, %.4f in B.",
		float64(b.MassGrams-a.MassGrams)/1000, float64(b.MassGrams)/1000, b.Litres-a.Litres, b.Litres, float64(b.Cents-a.Cents)/100, float64(b.Cents)/100, a.Odds, b.Odds))
	if out.Same > 0 && !c.Bool("all") {
		c.printf("%s the same in both.\n", plural(out.Same, "line is", "lines are"))
	}
	if a.From != b.From || a.Until != b.Until || a.Late != b.Late {
		c.printBlock("! ", "the plans are for different times: their odds differ for that reason too.")
	}
}

func keptOrNone(l *keptLine) keptLine {
	if l == nil {
		return keptLine{}
	}
	return *l
}

// sides is what both plans say, once where it is the same; a dash where a plan has no
// such line.
func (c *call) sides(l kitPair, a, b string) string {
	if l.A == nil {
		a = "-"
	}
	if l.B == nil {
		b = "-"
	}
	if a == b {
		return a
	}
	return a + " → " + b
}

// basisText tells lines that are no spares.
func basisText(basis string) string {
	if basis == string(kit.Spare) {
		return ""
	}
	return " (" + basis + ")"
}

func (c *call) kitVoid() error {
	var name string
	return c.write(func(tx *changelog.Tx, _ *crew.Person) error {
		p, err := kitbook.Find(tx, c.Args().First())
		if err != nil {
			return err
		}
		name = p.Name
		return kitbook.VoidPlan(tx, p, c.String("why"))
	}, func() { c.printf("plan %s is void\n", name) })
}
