package main

import (
	"bufio"
	"errors"
	"fmt"
	"io"
	"strings"

	"pulk/checklist/crew"
	"pulk/checklist/run"
	"pulk/inventory/manifest"
	"pulk/inventory/stock"
	"pulk/inventory/unit"
	"pulk/schema/fault"
	"pulk/sync/changelog"
	"pulk/sync/clock"
)

// arrivalOfFlags reads an arrival from the command line.
func (c *call) arrivalOfFlags() (arrival, error) {
	a := arrival{code: c.Args().Get(1), quantity: c.String("quantity"), lot: c.String("lot"), lotGiven: c.IsSet("lot"), crate: c.String("crate"), seal: c.String("sealed")}
	var err error
	if a.logger, err = stock.ParseSpan(c.String("logger")); err != nil {
		return a, err
	}
	damaged, warm := c.String("damaged"), c.String("temperature")
	switch {
	case damaged != "" && warm != "":
		return a, fault.Misuse("say the one thing, and the other in its words", "--damaged and --temperature are two scans")
	case damaged != "":
		a.condition, a.note = manifest.Damaged, damaged
	case warm != "":
		a.condition, a.note = manifest.WrongTemperature, warm
	}
	return a, nil
}

// scanOf finds what an arrival is about. A piece is in the crate that it names, else in
// last, the crate that was scanned before it.
func scanOf(tx *changelog.Tx, m *manifest.Manifest, a arrival, last clock.Dot) (manifest.Scan, string, error) {
	s := manifest.Scan{Crate: last, Quantity: 1, Condition: a.condition, Note: a.note, Seal: a.seal, Whole: a.seal != "",
		Logger: manifest.Reading{Lowest: a.logger.Lowest, Highest: a.logger.Highest, Told: a.logger.Told}}
	if l, err := stock.FindLocation(tx, a.code); err == nil {
		if a.quantity != "" || a.lotGiven || a.crate != "" {
			return s, "", fault.Misuse("scan the pieces in it each", "%s is a crate: it has no quantity and no lot, and is in no other", l.Code)
		}
		s.Crate = l.ID
		return s, l.Code, nil
	}
	if a.crate != "" {
		l, err := stock.FindLocation(tx, a.crate)
		if err != nil {
			return s, "", err
		}
		s.Crate = l.ID
	}
	if s.Crate.IsZero() {
		return s, "", fault.Misuse("scan its crate first, or name it with in CRATE (--crate)", "which crate is %s in?", a.code)
	}
	return pieceOf(tx, m, a, s)
}

// pieceOf finds the unit or the item of an arrival.
func pieceOf(tx *changelog.Tx, m *manifest.Manifest, a arrival, s manifest.Scan) (manifest.Scan, string, error) {
	it, notItem := stock.FindItem(tx, a.code)
	if notItem != nil {
		u, err := unit.FindBySerial(tx, a.code)
		switch {
		case errors.Is(err, unit.ErrUnknown):
			return s, "", fault.Hint("read the label again; what is new here is added first: pulk unit add, pulk item import", "%q is no crate, no part number and no serial that is known here", a.code)
		case err != nil:
			return s, "", err
		case a.quantity != "" || a.lotGiven:
			return s, "", fault.Misuse("scan each unit", "%s is one unit: it has no quantity, and its lot is known", u.Serial)
		}
		s.Piece = manifest.Piece{Item: u.Item, Lot: u.Lot, Unit: u.ID}
		return s, u.Serial, nil
	}
	if it.Serialised {
		return s, "", fault.Misuse("scan the serial of each", "%s comes with serial numbers", it.PartNumber)
	}
	var err error
	if a.quantity != "" {
		if s.Quantity, err = stock.Quantity(tx, it, a.quantity); err != nil {
			return s, "", err
		}
	}
	s.Piece = manifest.Piece{Item: it.ID, Lot: a.lot}
	if c := m.Crate(s.Crate); c != nil && !a.lotGiven {
		s.Piece.Lot, err = c.LotOf(it)
	}
	text := fmt.Sprintf("%d %s of %s", s.Quantity, it.UnitOfIssue, it.PartNumber)
	if s.Piece.Lot != "" {
		text += " lot " + s.Piece.Lot
	}
	return s, text, err
}

// take writes down one arrival, and says what it came to. It returns the crate.
func (c *call) take(code string, a arrival, last clock.Dot) (crate clock.Dot, said string, err error) {
	err = c.write(func(tx *changelog.Tx, _ *crew.Person) error {
		m, err := manifest.Find(tx, code)
		if err != nil {
			return err
		}
		s, what, err := scanOf(tx, m, a, last)
		if err != nil {
			return err
		}
		id, err := manifest.Take(tx, m, s)
		if err != nil {
			return err
		}
		crate, said = s.Crate, what
		if s.Condition != manifest.Good {
			said += ", " + s.Condition.String()
		}
		said += fmt.Sprintf(" (%s)", tx.Name(id))
		s.ID = id
		said += tellLeft(m, append(m.Scans, s), s)
		return nil
	}, nil)
	return crate, said, err
}

// tellLeft says what a scan changes of what is still missing in its crate.
func tellLeft(m *manifest.Manifest, scans []manifest.Scan, s manifest.Scan) string {
	c := m.Crate(s.Crate)
	short, over := int64(0), false
	for _, f := range manifest.Findings(*c, scans) {
		switch {
		case f.What == manifest.Short:
			short += f.Quantity
		case f.What == manifest.Over && f.Piece == s.Piece:
			over = true
		}
	}
	text := "; all that is listed in its crate is there"
	if short > 0 {
		text = fmt.Sprintf("; %d more listed in its crate", short)
	}
	if over {
		text = "; MORE THAN IS LISTED" + text
	}
	if c.Seal != "" && s.Piece.IsCrate() && !s.Whole {
		text += "; it left with seal " + c.Seal
	}
	return text
}

func (c *call) manifestScan() error {
	a, err := c.arrivalOfFlags()
	if err != nil {
		return err
	}
	_, said, err := c.take(c.Args().First(), a, clock.Dot{})
	if err == nil {
		c.say(said)
	}
	return err
}

// manifestReceive takes scans from the keyboard, or a scanner that acts as one.
func (c *call) manifestReceive() error {
	code, in := c.Args().First(), bufio.NewScanner(c.env.stdin)
	if err := c.view(func(tx *changelog.Tx) error {
		_, err := manifest.Find(tx, code)
		return err
	}); err != nil {
		return err
	}
	if c.env.terminal {
		c.say(arrivalHelp)
	}
	var last clock.Dot
	failed := 0
	prompt := func() {
		if c.env.terminal {
			c.printf("> ")
		}
	}
	for number := 1; ; number++ {
		if prompt(); !in.Scan() {
			break
		}
		line := strings.TrimSpace(in.Text())
		var err error
		switch line {
		case "":
		case "q":
			return nil
		case "?":
			err = c.printMissing(code)
		case "book":
			err = c.book(code, nil)
		default:
			var a arrival
			if a, err = parseArrival(line); err == nil {
				var crate clock.Dot
				var said string
				if crate, said, err = c.take(code, a, last); err == nil {
					last = crate
					c.say(said)
				}
			}
		}
		if err != nil && c.env.terminal {
			c.env.report(err)
		} else if err != nil {
			fmt.Fprintf(c.env.stderr, "line %d:\n", number)
			c.env.report(err)
			failed++
		}
	}
	if err := in.Err(); err != nil && !errors.Is(err, io.EOF) {
		return err
	}
	if failed > 0 {
		return fault.Hint("mend these lines and give only them again", "%s not taken; all others are on record", plural(failed, "line was", "lines were"))
	}
	return nil
}

// printMissing lists what was not scanned yet.
func (c *call) printMissing(code string) error {
	return c.view(func(tx *changelog.Tx) error {
		m, err := manifest.Find(tx, code)
		if err != nil {
			return err
		}
		h, err := manifest.ReadHolds(tx)
		if err != nil {
			return err
		}
		t := newTable("crate", "part number", "name", "lot", "serial", "missing")
		for _, crate := range m.Crates {
			label, err := stock.LocationLabel(tx, crate.ID)
			if err != nil {
				return err
			}
			if m.Booked(crate.ID) != nil {
				continue
			}
			if !manifest.Arrived(crate.ID, m.Scans) {
				t.add(label, "", "all of it", "", "", fmt.Sprintf("%s listed", plural(len(crate.Lines), "line", "lines")))
				continue
			}
			for _, f := range manifest.Findings(crate, m.Scans) {
				if f.What != manifest.Short {
					continue
				}
				row, err := crateLineOf(tx, h, manifest.Line{Item: f.Piece.Item, Lot: f.Piece.Lot, Unit: f.Piece.Unit, Quantity: f.Quantity})
				if err != nil {
					return err
				}
				t.add(label, row.PartNumber, row.Name, row.Lot, row.Serial, fmt.Sprintf("%d %s", row.Quantity, row.UnitOfIssue))
			}
		}
		t.print(c.env, "Nothing is missing of what is not booked.")
		return nil
	})
}

func (c *call) manifestBook() error { return c.book(c.Args().First(), c.Args().Tail()) }

// book takes in the crates that are named, else all of which something was scanned.
func (c *call) book(code string, crates []string) error {
	var said strings.Builder
	return c.write(func(tx *changelog.Tx, _ *crew.Person) error {
		m, err := manifest.Find(tx, code)
		if err != nil {
			return err
		}
		to := m.To
		if place := c.String("at"); place != "" {
			if to, err = findLocation(tx, place); err != nil {
				return err
			}
		}
		at, err := stock.LocationByID(tx, to)
		if err == nil && at == nil {
			err = fault.Misuse("name the place with --at", "the place that %s goes to is not here yet", m.Code)
		}
		if err != nil {
			return err
		}
		ids, err := toBook(tx, m, crates)
		if err != nil {
			return err
		}
		h, err := manifest.ReadHolds(tx)
		if err != nil {
			return err
		}
		booked, err := manifest.Book(tx, m, ids, at, c.String("note"), func(cause, unit clock.Dot, text string) clock.Dot { return run.RaiseFound(tx, cause, unit, text) })
		if err != nil {
			return err
		}
		for _, b := range booked {
			fmt.Fprintf(&said, "%s is taken in at %s, %s\n", b.Code, at.Code, plural(len(b.Findings), "difference", "differences"))
			for _, f := range b.Findings {
				row, err := findingRowOf(tx, h, b.Code, f)
				if err != nil {
					return err
				}
				fmt.Fprintf(&said, "  %s\n", row.text())
			}
		}
		return nil
	}, func() { c.say(strings.TrimSuffix(said.String(), "\n")) })
}

// toBook is the crates to take in.
func toBook(tx *changelog.Tx, m *manifest.Manifest, named []string) ([]clock.Dot, error) {
	var ids []clock.Dot
	for _, code := range named {
		l, err := stock.FindLocation(tx, code)
		if err != nil {
			return nil, err
		}
		ids = append(ids, l.ID)
	}
	if len(named) > 0 {
		return ids, nil
	}
	for _, c := range m.Crates {
		if m.Booked(c.ID) == nil && manifest.Arrived(c.ID, m.Scans) {
			ids = append(ids, c.ID)
		}
	}
	if len(ids) == 0 {
		return nil, fault.Hint("scan first: pulk manifest receive "+m.Code, "nothing of %s was scanned that is not booked", m.Code)
	}
	return ids, nil
}
