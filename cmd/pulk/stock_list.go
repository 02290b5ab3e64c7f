package main

import (
	"fmt"
	"slices"

	"pulk/inventory/count"
	"pulk/inventory/stock"
	"pulk/sync/changelog"
	"pulk/sync/clock"
)

// levelRow is a row of pulk stock list --json.
type levelRow struct {
	Location    string `json:"location"`
	PartNumber  string `json:"part_number"`
	Name        string `json:"name"`
	Lot         string `json:"lot"`
	Quantity    *int64 `json:"quantity"` // null while it is to be counted on a blind sheet
	UnitOfIssue string `json:"unit_of_issue"`
	Expires     string `json:"expires"`
	Quarantined bool   `json:"quarantined"` // not to be issued
}

// shortRow is an item below its minimum.
type shortRow struct {
	PartNumber string `json:"part_number"`
	Name       string `json:"name"`
	Location   string `json:"location"` // empty: all places together
	Quantity   int64  `json:"quantity"`
	Minimum    int64  `json:"minimum"`
}

// hidden says which quantities are not told, as they are to be counted blind.
type hidden map[stock.Shelf]bool

func (h hidden) has(l stock.Level) bool {
	return h[stock.Shelf{Item: l.Item.ID, Lot: l.Lot, Location: l.Location.ID}]
}

// hides reports whether something of an item is not told, at the place with a code or, if
// that is empty, anywhere.
func (h hidden) hides(levels []stock.Level, item clock.Dot, code string) bool {
	return slices.ContainsFunc(levels, func(l stock.Level) bool {
		return l.Item.ID == item && (code == "" || l.Location.Code == code) && h.has(l)
	})
}

// hiddenNow are the quantities not to be told, unless a flag says otherwise.
func (c *call) hiddenNow(tx *changelog.Tx) (hidden, error) {
	if c.Bool("despite-count") {
		return nil, nil
	}
	return count.Counting(tx)
}

func (h hidden) row(l stock.Level) levelRow {
	row := levelRow{l.Location.Code, l.Item.PartNumber, l.Item.Name, l.Lot, &l.Quantity, l.Item.UnitOfIssue, l.Expires, l.Quarantined}
	if h.has(l) {
		row.Quantity = nil
	}
	return row
}

// text is the quantity of a level with its unit.
func (h hidden) text(l stock.Level) string {
	switch {
	case h.has(l):
		return "being counted, " + l.Item.UnitOfIssue
	case l.Quantity < 0:
		return fmt.Sprintf("%d %s BELOW ZERO", l.Quantity, l.Item.UnitOfIssue)
	}
	return fmt.Sprintf("%d %s", l.Quantity, l.Item.UnitOfIssue)
}

func (c *call) stockList() error {
	stayFrugal()
	return c.view(func(tx *changelog.Tx) error {
		at := c.String("at")
		if at != "" {
			if _, err := stock.FindLocation(tx, at); err != nil {
				return err
			}
		}
		all, err := stock.Levels(tx)
		if err != nil {
			return err
		}
		items, err := stock.Items(tx)
		if err != nil {
			return err
		}
		day := stock.Day(c.env.now())
		secret, err := c.hiddenNow(tx)
		if err != nil {
			return err
		}
		short := slices.DeleteFunc(stock.Shortages(all, items, day), func(s stock.Short) bool {
			return at != "" && s.Location != at || secret.hides(all, s.Item.ID, s.Location)
		})
		levels := slices.DeleteFunc(all, func(l stock.Level) bool { return at != "" && l.Location.Code != at })
		expiring := stock.Expiring(levels, stock.Day(c.env.now().AddDate(0, 0, c.Int("days"))))
		if c.asJSON() {
			return c.printJSON(secret.lists(levels, short, expiring))
		}
		c.printLevelTable(levels, secret, day)
		c.printShort(short)
		c.printExpiring(expiring, secret, day)
		return nil
	})
}

// stockJSON is pulk stock list --json.
type stockJSON struct {
	Levels   []levelRow `json:"levels"`
	Short    []shortRow `json:"short"`
	Expiring []levelRow `json:"expiring"`
}

func (h hidden) lists(levels []stock.Level, short []stock.Short, expiring []stock.Level) stockJSON {
	lists := stockJSON{[]levelRow{}, []shortRow{}, []levelRow{}}
	for _, l := range levels {
		lists.Levels = append(lists.Levels, h.row(l))
	}
	for _, s := range short {
		lists.Short = append(lists.Short, shortRow{s.Item.PartNumber, s.Item.Name, s.Location, s.Quantity, s.Minimum})
	}
	for _, l := range expiring {
		lists.Expiring = append(lists.Expiring, h.row(l))
	}
	return lists
}

func (c *call) printLevelTable(levels []stock.Level, secret hidden, day string) {
	t := newTable("location", "part number", "name", "lot", "quantity", "expires")
	for _, l := range levels {
		quantity := secret.text(l)
		expires := l.Expires
		if expires != "" && expires < day {
			expires += " EXPIRED"
		}
		if l.Quarantined {
			quantity += " QUARANTINE"
		}
		t.add(l.Location.Code, l.Item.PartNumber, l.Item.Name, l.Lot, quantity, expires)
	}
	t.print(c.env, "Nothing lies here by the record.")
}

func (c *call) printLevels(tx *changelog.Tx, keep func(stock.Level) bool) error {
	all, err := stock.Levels(tx)
	if err != nil {
		return err
	}
	secret, err := c.hiddenNow(tx)
	if err != nil {
		return err
	}
	c.printLevelTable(slices.DeleteFunc(all, func(l stock.Level) bool { return !keep(l) }), secret, stock.Day(c.env.now()))
	return nil
}

func (c *call) printShort(short []stock.Short) {
	if len(short) == 0 {
		return
	}
	c.printf("\nBelow minimum\n")
	t := newTable("part number", "name", "location", "there", "minimum")
	for _, s := range short {
		place := s.Location
		if place == "" {
			place = "all places"
		}
		t.add(s.Item.PartNumber, s.Item.Name, place, s.Quantity, s.Minimum)
	}
	t.print(c.env, "")
}

func (c *call) printExpiring(expiring []stock.Level, secret hidden, day string) {
	if len(expiring) == 0 {
		return
	}
	c.printf("\nExpires within %d days\n", c.Int("days"))
	c.printLevelTable(expiring, secret, day)
}
