package main

import (
	"bufio"
	"cmp"
	"fmt"
	"slices"
	"strings"

	"pulk/checklist/crew"
	"pulk/inventory/assembly"
	"pulk/inventory/stock"
	"pulk/schema/decimal"
	"pulk/sync/carrier"
	"pulk/sync/changelog"
)

// assemblyRow is an assembly of --json.
type assemblyRow struct {
	ID            string  `json:"id"`
	Serial        string  `json:"serial"`
	Part          string  `json:"part_number"`
	Place         string  `json:"place"` // location code
	Plan          string  `json:"plan"`  // id; empty where there is none
	PlanContested bool    `json:"plan_contested"`
	Title         string  `json:"plan_title"`
	Datum         string  `json:"datum"`           // what depths count from
	LengthPlanned *string `json:"length_m"`        // as planned, digits as written
	LengthBuilt   *string `json:"length_built_m"`  // as built
	Slots         int     `json:"slots"`           // of the plan
	Fitted        int     `json:"fitted"`          // of those
	Deviating     int     `json:"not_as_planned"`  // slots with deviations
	Next          string  `json:"next_empty_slot"` // or empty
}

// slotRow is a slot of an assembly.
type slotRow struct {
	Slot          string        `json:"slot"`
	Planned       bool          `json:"planned"` // the plan has it
	Part          string        `json:"expected_part"`
	Position      *string       `json:"position_m"` // as planned, digits as written
	Depth         *string       `json:"depth_m"`
	Channel       string        `json:"channel"`
	Note          string        `json:"note"`
	Units         []slotUnitRow `json:"units"` // what is in it; several are a conflict
	PositionBuilt *string       `json:"position_built_m"`
	DepthBuilt    *string       `json:"depth_built_m"`
	ChannelBuilt  string        `json:"channel_built"`
	FittedAt      *string       `json:"fitted_at"`
	FittedBy      string        `json:"fitted_by"`
	Run           string        `json:"run"` // that it was fitted in
	Deviations    []string      `json:"deviations"`
}

// slotUnitRow is a unit in a slot.
type slotUnitRow struct {
	ID     string `json:"id"`
	Serial string `json:"serial"`
	Part   string `json:"part_number"`
	State  string `json:"state"`
}

// assemblyDetail is pulk assembly show --json.
type assemblyDetail struct {
	assemblyRow
	SlotRows []slotRow `json:"slot_list"` // in the order of the plan
}

func metresJSON(number *decimal.Decimal) *string {
	if number == nil {
		return nil
	}
	text := number.String()
	return &text
}

func assemblyRowOf(tx *changelog.Tx, a *assembly.Assembly) (assemblyRow, error) {
	row := assemblyRow{ID: tx.Name(a.Unit.ID), Serial: a.Unit.Serial, PlanContested: a.PlanContested, LengthBuilt: metresJSON(a.Length),
		Fitted: a.Fitted(), Deviating: a.Deviating()}
	if a.Plan != nil {
		row.Plan, row.Title, row.Datum = tx.Name(a.Plan.ID), a.Plan.Title, a.Plan.Datum
		row.LengthPlanned, row.Slots = metresJSON(a.Plan.Length), len(a.Plan.Slots)
	}
	if next := a.Next(); next != nil {
		row.Next = next.Slot.Name
	}
	var err error
	if row.Part, err = partOf(tx, a.Unit.Item); err != nil {
		return row, err
	}
	row.Place, err = stock.LocationLabel(tx, a.Unit.Place)
	return row, err
}

func assemblyDetailOf(tx *changelog.Tx, a *assembly.Assembly) (assemblyDetail, error) {
	row, err := assemblyRowOf(tx, a)
	detail := assemblyDetail{assemblyRow: row, SlotRows: []slotRow{}}
	for i := range a.Positions {
		if err != nil {
			return detail, err
		}
		p := &a.Positions[i]
		s := slotRow{Slot: p.Slot.Name, Planned: p.Planned, Part: p.Slot.Part, Position: metresJSON(p.Slot.Position), Depth: metresJSON(p.Slot.Depth),
			Channel: p.Slot.Channel, Note: p.Slot.Note, Units: []slotUnitRow{}, Deviations: append([]string{}, p.Deviations...)}
		for _, u := range p.Units {
			s.Units = append(s.Units, slotUnitRow{tx.Name(u.ID), u.Serial, u.Part, u.State})
		}
		if len(p.Units) > 0 {
			b := &p.Built
			s.PositionBuilt, s.DepthBuilt, s.ChannelBuilt, s.FittedAt = metresJSON(b.Position), metresJSON(b.Depth), b.Channel, jsonTime(b.At.Time())
			if !b.Run.IsZero() {
				s.Run = tx.Name(b.Run)
			}
			s.FittedBy, err = crew.Label(tx, b.Person)
		}
		detail.SlotRows = append(detail.SlotRows, s)
	}
	return detail, err
}

func (c *call) assemblyList() error {
	return c.view(func(tx *changelog.Tx) error {
		list, err := assembly.List(tx)
		if err != nil {
			return err
		}
		rows := []assemblyRow{}
		t := newTable("assembly", "part", "place", "plan", "filled", "not as planned", "next")
		for _, a := range list {
			row, err := assemblyRowOf(tx, a)
			if err != nil {
				return err
			}
			rows = append(rows, row)
			t.add(row.Serial, row.Part, row.Place, row.planWords(), fmt.Sprintf("%d of %d", row.Fitted, row.Slots), row.Deviating, row.Next)
		}
		if c.asJSON() {
			return c.printJSON(rows)
		}
		t.print(c.env, "No assembly has a plan; take one in with pulk assembly plan.")
		return nil
	})
}

func (row assemblyRow) planWords() string {
	switch {
	case row.PlanContested:
		return "CONTESTED: see pulk conflict list"
	case row.Plan == "":
		return "none"
	case row.Title == "":
		return row.Plan
	}
	return row.Title + " (" + row.Plan + ")"
}

func (c *call) assemblyShow() error {
	return c.view(func(tx *changelog.Tx) error {
		a, err := findAssembly(tx, c.Args().First())
		if err != nil {
			return err
		}
		detail, err := assemblyDetailOf(tx, a)
		if err != nil {
			return err
		}
		if path := c.String("svg"); path != "" {
			if err := carrier.WriteFile(path, []byte(detail.svg())); err != nil {
				return err
			}
		}
		if c.asJSON() {
			return c.printJSON(detail)
		}
		c.printAssembly(detail)
		if path := c.String("svg"); path != "" {
			c.printf("\ndrawn in %s\n", path)
		}
		return nil
	})
}

// drawn returns the slots from the top down: by depth where every one that is planned
// has one, else in the order of the plan. What is in no plan comes last.
func (d *assemblyDetail) drawn() (rows []*slotRow, byDepth bool) {
	byDepth = true
	for i := range d.SlotRows {
		rows = append(rows, &d.SlotRows[i])
		byDepth = byDepth && (!rows[i].Planned || rows[i].Depth != nil)
	}
	if !byDepth || len(rows) == 0 || !rows[0].Planned {
		return rows, false
	}
	slices.SortStableFunc(rows, func(a, b *slotRow) int {
		if a.Depth == nil || b.Depth == nil {
			return cmp.Compare(boolNumber(a.Depth == nil), boolNumber(b.Depth == nil))
		}
		return a.depth().Cmp(b.depth())
	})
	return rows, true
}

func boolNumber(b bool) int {
	if b {
		return 1
	}
	return 0
}

func (s *slotRow) depth() decimal.Decimal {
	d, _ := decimal.Parse(*s.Depth) // it was read from one
	return d
}

// mark is how a slot is drawn: filled, empty, or not as planned.
func (s *slotRow) mark() string {
	switch {
	case len(s.Deviations) > 0:
		return "[!]"
	case len(s.Units) > 0:
		return "[x]"
	}
	return "[ ]"
}

// serials is what is in a slot, in words.
func (s *slotRow) serials() string {
	var list []string
	for _, u := range s.Units {
		list = append(list, u.Serial)
	}
	return strings.Join(list, " or ")
}

// channelText is the channel as built, else as planned.
func (s *slotRow) channelText() string { return cmp.Or(s.ChannelBuilt, s.Channel) }

// orEmpty is a number as it is shown: nothing where it is not known.
func orEmpty(number *string) string {
	if number == nil {
		return ""
	}
	return *number
}

func (c *call) printAssembly(d assemblyDetail) {
	c.printf("assembly %s (%s), part %s, at %s\n", d.Serial, d.ID, d.Part, d.Place)
	c.printBlock("  plan:   ", d.planLine())
	if d.Plan != "" {
		next := "none is empty"
		if d.Next != "" {
			next = "next is " + d.Next
		}
		c.printBlock("  filled: ", fmt.Sprintf("%d of %d, %s; %d not as planned", d.Fitted, d.Slots, next, d.Deviating))
	}
	if len(d.SlotRows) == 0 {
		c.printf("\nNo slots: take in a plan with pulk assembly plan %s FILE.csv.\n", d.Serial)
		return
	}
	c.printf("\n")
	head, lines := d.draw(c.env.width())
	c.printPages(head, lines, 5)
}

// printPages prints lines below a head. At a terminal it waits when the screen is full,
// of which some rows are used already, and prints the head again.
func (c *call) printPages(head string, lines []string, used int) {
	rows := 0
	if c.env.terminal && c.env.size != nil {
		if _, n, ok := c.env.size(); ok {
			rows = max(n, 8)
		}
	}
	c.printf("%s\n", head)
	in := bufio.NewReader(c.env.stdin)
	used += 1
	for _, line := range lines {
		if rows > 0 && used >= rows-1 {
			if read, err := c.waitForReader(in); !read || err != nil {
				return
			}
			c.printf("%s\n", head)
			used = 1
		}
		c.printf("%s\n", line)
		used++
	}
}

func (d *assemblyDetail) planLine() string {
	parts := []string{d.planWords()}
	if d.Datum != "" {
		parts = append(parts, "depths from "+d.Datum)
	}
	switch {
	case d.LengthBuilt != nil:
		parts = append(parts, *d.LengthBuilt+" m long")
	case d.LengthPlanned != nil:
		parts = append(parts, "planned "+*d.LengthPlanned+" m long")
	}
	return strings.Join(parts, "; ")
}

// draw draws the assembly as text, a line for each slot along a rule that stands for
// the string or cable, and below it what is not as planned.
func (d *assemblyDetail) draw(width int) (head string, lines []string) {
	rows, byDepth := d.drawn()
	cells := [][]string{{"at m", "planned m", "", "slot", "unit", "state", "channel", "expected"}}
	if byDepth {
		cells[0][0] = "depth m"
	}
	for _, s := range rows {
		cells = append(cells, s.cells(byDepth))
	}
	widths := make([]int, len(cells[0]))
	for _, row := range cells {
		for i, cell := range row {
			widths[i] = max(widths[i], len([]rune(cell)))
		}
	}
	over := sum(widths) + columnGap*(len(widths)-1) - width
	widths[4] = max(12, widths[4]-max(0, over))
	rule := strings.Repeat(" ", widths[0]+widths[1]+2*columnGap+2) + "|"
	if byDepth && d.Datum != "" {
		lines = append(lines, rule+" "+d.Datum)
	}
	for n, row := range cells[1:] {
		lines = append(lines, drawLine(widths, row))
		if len(rows[n].Deviations) > 0 {
			for _, text := range wrap(strings.Join(rows[n].Deviations, "; "), width-len(rule)-4) {
				lines = append(lines, rule+"  ! "+text)
			}
		}
	}
	return drawLine(widths, cells[0]), lines
}

// cells is a slot as the cells of its line: numbers, mark, and what is in it.
func (s *slotRow) cells(byDepth bool) []string {
	built, planned := s.PositionBuilt, s.Position
	if byDepth {
		built, planned = s.DepthBuilt, s.Depth
	}
	state := ""
	if len(s.Units) > 0 {
		state = s.Units[0].State
	}
	return []string{orEmpty(built), orEmpty(planned), "-" + s.mark() + "-", s.Slot, cmp.Or(s.serials(), "-"), state, s.channelText(), s.Part}
}

// drawLine sets cells beside each other, the first two to the right.
func drawLine(widths []int, row []string) string {
	text := ""
	for i, cell := range row {
		if i == 4 {
			cell = wrap(cell, widths[i])[0]
		}
		space := strings.Repeat(" ", widths[i]-len([]rune(cell)))
		if i < 2 {
			text += space + cell
		} else {
			text += cell + space
		}
		text += strings.Repeat(" ", columnGap)
	}
	return strings.TrimRight(text, " ")
}

func sum(list []int) int {
	n := 0
	for _, x := range list {
		n += x
	}
	return n
}
