package manifest

import (
	"fmt"
	"slices"
	"strings"

	"pulk/inventory/stock"
	"pulk/inventory/unit"
	"pulk/schema/fault"
	"pulk/schema/kind"
	"pulk/sync/change"
	"pulk/sync/changelog"
	"pulk/sync/clock"
)

// LotOf is the lot that a scanned item of a crate is of, where the scan names none: the
// only one that is listed.
func (c *Crate) LotOf(it *stock.Item) (string, error) {
	var lots []string
	for _, l := range c.Lines {
		if l.Item == it.ID && l.Unit.IsZero() && !slices.Contains(lots, l.Lot) {
			lots = append(lots, l.Lot)
		}
	}
	switch len(lots) {
	case 0:
		return "", nil
	case 1:
		return lots[0], nil
	}
	return "", fault.Misuse("name it with lot, as on the piece: "+strings.Join(lots, ", "), "the list has several lots of %s in this crate", it.PartNumber)
}

// Take records what somebody found on arrival: the crate of a scan, or a piece in it.
func Take(tx *changelog.Tx, m *Manifest, s Scan) (clock.Dot, error) {
	c := m.Crate(s.Crate)
	code, err := stock.LocationLabel(tx, s.Crate)
	if err != nil {
		return clock.Dot{}, err
	}
	switch {
	case m.Voided:
		return clock.Dot{}, isVoided(m)
	case c == nil:
		return clock.Dot{}, fault.Refuse("look at the label again, see: pulk manifest list; if it came by no list: pulk crate move "+code+" --to PLACE",
			"%s is not on manifest %s", code, m.Code)
	case m.Booked(s.Crate) != nil:
		return clock.Dot{}, fault.Refuse("put right what lies there: pulk stock move, pulk stock count, pulk unit move", "%s is booked", code)
	}
	if s.Piece.IsCrate() {
		s.Quantity = 0
		err = mayTakeCrate(m, c, code, s)
	} else {
		err = mayTakePiece(tx, m, code, s)
	}
	if err != nil {
		return clock.Dot{}, err
	}
	var lowest, highest string
	if s.Logger.Told {
		if s.Logger.Lowest.Cmp(s.Logger.Highest) > 0 {
			return clock.Dot{}, fault.Misuse("the lowest first", "%s °C is above %s °C", s.Logger.Lowest, s.Logger.Highest)
		}
		lowest, highest = s.Logger.Lowest.String(), s.Logger.Highest.String()
	}
	return tx.Add(change.New(kind.ManifestScan, change.Ref(m.ID), change.Ref(s.Crate), change.Ref(s.Piece.Item), change.Text(s.Piece.Lot), change.Ref(s.Piece.Unit),
		change.Num(s.Quantity), change.Num(int64(s.Condition)), change.Num(number(s.Whole)), change.Text(s.Seal), change.Text(lowest), change.Text(highest), change.Text(s.Note))), nil
}

func mayTakeCrate(m *Manifest, c *Crate, code string, s Scan) error {
	if !s.Whole {
		return nil
	}
	open := "open it and scan what is in it"
	switch {
	case c.Seal == "":
		return fault.Refuse(open, "manifest %s names no seal of %s", m.Code, code)
	case s.Seal != c.Seal:
		return fault.Refuse(open, "%s left with seal %s, and not with %s", code, c.Seal, s.Seal)
	case s.Condition != Good:
		return fault.Refuse(open, "a crate that is not good is not taken unopened")
	}
	return nil
}

func mayTakePiece(tx *changelog.Tx, m *Manifest, code string, s Scan) error {
	if s.Whole || s.Logger.Told {
		return fault.Misuse("scan the crate with these", "a seal and a logger are those of a crate")
	}
	if s.Quantity < 1 || s.Quantity > stock.MaxQuantity {
		return fault.Misuse("from 1, in units of issue; what is not there is just not scanned", "%d is no quantity", s.Quantity)
	}
	if s.Piece.Unit.IsZero() {
		return nil
	}
	for _, o := range m.Scans {
		if o.Piece.Unit == s.Piece.Unit {
			return fault.Hint("nothing to do; if that was wrong: pulk manifest void "+tx.Name(o.ID)+" --why REASON", "it is scanned already (%s)", tx.Name(o.ID))
		}
	}
	u, err := unit.ByID(tx, s.Piece.Unit)
	if err != nil || u == nil || !u.Installed() {
		return err
	}
	in, err := tx.Describe(u.Assembly)
	if err != nil {
		return err
	}
	return fault.Refuse("scan that one; if it came loose: pulk unit remove "+u.Serial+" --to "+code+" --why REASON", "%s is installed in %s", u.Serial, in)
}

// Raise opens a nonconformance about a unit, or about none, that a scan showed.
type Raise func(cause, unit clock.Dot, text string) clock.Dot

// booking is a crate being taken in.
type booking struct {
	tx      *changelog.Tx
	m       *Manifest
	c       *Crate
	crate   *stock.Location // where what it holds lies
	transit *stock.Location // where stays what is short
	raise   Raise
	kept    map[Piece]bool // that are kept back already: what this command does is not on record yet
}

// Booked is a crate that was taken in, with what differed from the manifest and what
// each difference became.
type Booked struct {
	Code     string // of the crate
	Findings []Finding
}

// Book takes crates in at a place, by what was scanned of them. With a nonconformance
// among what differs, the news goes ahead of others.
func Book(tx *changelog.Tx, m *Manifest, crates []clock.Dot, at *stock.Location, note string, raise Raise) ([]Booked, error) {
	transit, err := stock.LocationByID(tx, m.Transit)
	if err != nil {
		return nil, err
	}
	var bookings []booking
	var list []Booked
	for _, id := range crates {
		b := booking{tx: tx, m: m, c: m.Crate(id), transit: transit, raise: raise, kept: map[Piece]bool{}}
		if b.crate, err = stock.LocationByID(tx, id); err != nil {
			return nil, err
		}
		if err := b.may(id); err != nil {
			return nil, err
		}
		bookings, list = append(bookings, b), append(list, Booked{b.crate.Code, Findings(*b.c, m.Scans)})
	}
	if slices.ContainsFunc(list, func(b Booked) bool {
		return slices.ContainsFunc(b.Findings, func(f Finding) bool { return f.What == Harmed || f.What == TooWarm })
	}) {
		tx.SetClass(clock.Expedited)
	}
	for i, b := range bookings {
		if err := b.write(at, note, list[i].Findings); err != nil {
			return nil, err
		}
	}
	return list, nil
}

// may refuses a crate that cannot be taken in.
func (b booking) may(id clock.Dot) error {
	switch {
	case b.m.Voided:
		return isVoided(b.m)
	case b.c == nil || b.crate == nil || b.transit == nil:
		return fault.Refuse("see: pulk manifest show "+b.m.Code, "this crate is not on manifest %s", b.m.Code)
	case b.m.Booked(id) != nil:
		return fault.Hint("nothing to do", "%s is booked already", b.crate.Code)
	case !Arrived(id, b.m.Scans):
		return fault.Refuse("scan it: pulk manifest scan "+b.m.Code+" "+b.crate.Code, "nothing of %s was scanned", b.crate.Code)
	}
	return nil
}

func (b booking) write(at *stock.Location, note string, found []Finding) error {
	b.tx.Add(change.New(kind.ManifestBook, change.Ref(b.m.ID), change.Ref(b.c.ID), change.Ref(at.ID), change.Text(note)))
	if err := stock.Put(b.tx, b.crate, at.ID, "arrived with manifest "+b.m.Code); err != nil {
		return err
	}
	for i := range found {
		f := &found[i]
		if err := b.settle(f); err != nil {
			return err
		}
		b.tx.Add(change.New(kind.ManifestFinding, change.Ref(b.m.ID), change.Ref(b.c.ID), change.Ref(f.Piece.Item), change.Text(f.Piece.Lot), change.Ref(f.Piece.Unit),
			change.Num(int64(f.What)), change.Num(f.Quantity), change.Ref(f.Became)))
	}
	return nil
}

// settle makes a difference a movement or a nonconformance.
func (b booking) settle(f *Finding) error {
	switch {
	case f.What == Harmed || f.What == TooWarm:
		return b.nonconformance(f)
	case !f.Piece.Unit.IsZero():
		return b.moveUnit(f)
	}
	return b.moveStock(f)
}

func (b booking) why(f *Finding) string {
	return fmt.Sprintf("%s on arrival with manifest %s", f.What, b.m.Code)
}

// moveUnit leaves a unit that is short under way, and puts one that is over where it was
// found. Nothing is moved that lies there by the record already.
func (b booking) moveUnit(f *Finding) error {
	u, err := unit.ByID(b.tx, f.Piece.Unit)
	if err != nil || u == nil {
		return err
	}
	to := b.transit
	if f.What == Over {
		to = b.crate
	}
	if u.Place == to.ID || f.What == Short && u.Place != b.crate.ID {
		return nil
	}
	f.Became = b.tx.Next()
	return unit.Move(b.tx, u, to, b.why(f))
}

// moveStock does the same for stock. No more is left under way than the crate holds by
// the record: what was drawn from it since is not short.
func (b booking) moveStock(f *Finding) error {
	it, err := stock.ItemByID(b.tx, f.Piece.Item)
	if err != nil || it == nil {
		return err
	}
	held, err := stock.Held(b.tx, it, f.Piece.Lot, b.crate)
	if err != nil {
		return err
	}
	next := b.tx.Next()
	if f.What == Over {
		f.Became = next
		_, err = stock.Count(b.tx, it, f.Piece.Lot, b.crate, held+f.Quantity, b.why(f))
		return err
	}
	if n := min(held, f.Quantity); n > 0 {
		f.Became = next
		_, err = stock.Move(b.tx, it, f.Piece.Lot, b.crate, b.transit, n, b.why(f), b.why(f))
	}
	return err
}

// nonconformance raises one, and keeps what it is about from being used. Of a crate that
// was too warm or too cold all that is in it is kept back; a damaged crate is looked at
// piece by piece.
func (b booking) nonconformance(f *Finding) error {
	what, err := b.text(f)
	if err != nil {
		return err
	}
	f.Became = b.raise(f.Cause, f.Piece.Unit, what)
	if !f.Piece.IsCrate() {
		return b.keepBack(f.Piece, what)
	}
	if f.What == Harmed {
		return nil
	}
	for _, l := range b.c.Lines {
		if Whole(b.c.ID, b.m.Scans) || Found(b.c.ID, l.Piece(), b.m.Scans) > 0 {
			if err := b.keepBack(l.Piece(), what); err != nil {
				return err
			}
		}
	}
	return nil
}

func (b booking) keepBack(p Piece, why string) error {
	if b.kept[p] {
		return nil
	}
	b.kept[p] = true
	if !p.Unit.IsZero() {
		u, err := unit.ByID(b.tx, p.Unit)
		if err != nil || u == nil || unit.OutOfUse(u.State) {
			return err
		}
		return unit.SetState(b.tx, u, unit.Quarantined, why)
	}
	it, err := stock.ItemByID(b.tx, p.Item)
	if err != nil || it == nil {
		return err
	}
	_, err = stock.KeepBack(b.tx, it, p.Lot, b.crate, why)
	return err
}

// text says what is wrong, for a nonconformance.
func (b booking) text(f *Finding) (string, error) {
	text := fmt.Sprintf("manifest %s, crate %s", b.m.Code, b.crate.Code)
	switch {
	case !f.Piece.Unit.IsZero():
		u, err := unit.ByID(b.tx, f.Piece.Unit)
		if err != nil {
			return "", err
		}
		if u != nil {
			text += ", " + u.Serial
		}
	case !f.Piece.IsCrate():
		it, err := stock.ItemByID(b.tx, f.Piece.Item)
		if err != nil {
			return "", err
		}
		if it != nil {
			text += fmt.Sprintf(", %d %s of %s", f.Quantity, it.UnitOfIssue, it.PartNumber)
		}
		if f.Piece.Lot != "" {
			text += " lot " + f.Piece.Lot
		}
	}
	text += ": " + f.What.String() + " on arrival"
	for _, s := range b.m.Scans {
		if s.ID == f.Cause && s.Logger.Told {
			text += fmt.Sprintf(", logger %s to %s °C", s.Logger.Lowest, s.Logger.Highest)
			if b.c.Kept.Told {
				text += fmt.Sprintf(", to be kept %s °C", b.c.Kept)
			}
		}
	}
	if f.Note != "" {
		text += ": " + f.Note
	}
	return text, nil
}
