package manifest

import (
	"fmt"
	"slices"
	"strings"
	"time"

	"pulk/inventory/stock"
	"pulk/schema/fault"
	"pulk/schema/kind"
	"pulk/sync/change"
	"pulk/sync/changelog"
	"pulk/sync/clock"
)

// Plan is what a manifest is to be.
type Plan struct {
	Code                        string
	From, To                    *stock.Location
	Crates                      []*stock.Location
	Needed                      string // YYYY-MM-DD, or empty
	Route, Consignor, Consignee string
	Note                        string
}

// Make lists crates as they are now. Nothing moves yet.
func Make(tx *changelog.Tx, p Plan) (*Manifest, error) {
	if err := p.check(); err != nil {
		return nil, err
	}
	h, err := ReadHolds(tx)
	if err != nil {
		return nil, err
	}
	all, err := List(tx)
	if err != nil {
		return nil, err
	}
	var crates []Crate
	for i, l := range p.Crates {
		if err := mayGo(tx, h, all, p.From, l); err != nil {
			return nil, err
		}
		c, err := h.In(tx, l)
		if err != nil {
			return nil, err
		}
		if err := mayClose(l, c); err != nil {
			return nil, err
		}
		grams, weighed := c.GrossGrams()
		crates = append(crates, Crate{ID: l.ID, Piece: i + 1, SidesMM: l.Outline.SidesMM, TareGrams: l.Outline.TareGrams, GrossGrams: grams,
			Weighed: weighed, Seal: c.Seal(), Kept: l.Outline.Kept, Lines: c.Lines})
	}
	transit, err := stock.AddLocation(tx, p.Code, "under way from "+p.From.Code+" to "+p.To.Code, clock.Dot{})
	if err != nil {
		return nil, err
	}
	id := tx.Add(change.New(kind.ManifestMake, change.Ref(transit), change.Ref(p.From.ID), change.Ref(p.To.ID), change.Text(p.Needed), change.Text(p.Route),
		change.Text(p.Consignor), change.Text(p.Consignee), change.Text(p.Note)))
	for _, c := range crates {
		tx.Add(change.New(kind.ManifestCrate, change.Ref(id), change.Ref(c.ID), change.Num(int64(c.Piece)), change.Num(c.SidesMM[0]), change.Num(c.SidesMM[1]),
			change.Num(c.SidesMM[2]), change.Num(c.TareGrams), change.Num(c.GrossGrams), change.Num(number(c.Weighed)), change.Text(c.Seal), change.Text(c.Kept.String())))
		for _, l := range c.Lines {
			tx.Add(change.New(kind.ManifestLine, change.Ref(id), change.Ref(c.ID), change.Ref(l.Item), change.Text(l.Lot), change.Ref(l.Unit),
				change.Num(l.Quantity), change.Num(l.Grams)))
		}
	}
	return &Manifest{ID: id, Code: p.Code, Transit: transit, Crates: crates}, nil
}

func number(b bool) int64 {
	if b {
		return 1
	}
	return 0
}

// maxCrates bounds a manifest.
const maxCrates = 2000

func (p Plan) check() error {
	switch {
	case len(p.Crates) == 0:
		return fault.Misuse("name each with --crate", "a manifest lists crates")
	case len(p.Crates) > maxCrates:
		return fault.Misuse("make several", "a manifest has at most %d crates", maxCrates)
	case p.From.ID == p.To.ID:
		return fault.Misuse("name two places", "crates are sent from %s to itself", p.From.Code)
	}
	for i, l := range p.Crates {
		if slices.ContainsFunc(p.Crates[:i], func(o *stock.Location) bool { return o.ID == l.ID }) {
			return fault.Misuse("name each once", "%s is named twice", l.Code)
		}
	}
	return checkDay(p.Needed)
}

func checkDay(day string) error {
	if day == "" {
		return nil
	}
	if _, err := time.Parse(time.DateOnly, day); err != nil {
		return fault.Misuse("like 2027-01-20", "%q is no date", day)
	}
	return nil
}

// mayGo refuses a crate that stands elsewhere or is on another manifest.
func mayGo(tx *changelog.Tx, h *Holds, all []*Manifest, from, crate *stock.Location) error {
	if !crate.IsCrate() {
		return notACrate(crate)
	}
	if !slices.ContainsFunc(h.Within(crate), func(l *stock.Location) bool { return l.ID == from.ID }) {
		return fault.Refuse(fmt.Sprintf("if it stands there: pulk crate move %s --to %s", crate.Code, from.Code), "%s is not at %s by the record", crate.Code, from.Code)
	}
	for _, m := range all {
		if !m.Voided && m.Crate(crate.ID) != nil && m.Booked(crate.ID) == nil {
			return fault.Refuse("see: pulk manifest show "+m.Code+"; to make another list: pulk manifest void "+m.Code+" --why REASON",
				"%s is on manifest %s, which is %s", crate.Code, m.Code, m.State())
		}
	}
	return nil
}

// mayClose refuses a crate that cannot be listed as it is.
func mayClose(crate *stock.Location, c Contents) error {
	grams, _ := c.GrossGrams()
	switch {
	case len(c.Inner) > 0:
		return fault.Refuse("move what lies there to "+crate.Code+" itself: pulk stock move, pulk unit move", "%s has places in it that hold something: %s",
			crate.Code, strings.Join(c.Inner, ", "))
	case len(c.Lines) == 0:
		return fault.Refuse("pack it: pulk stock move PART N --to "+crate.Code+"; or leave it away", "%s is empty", crate.Code)
	case crate.Outline.GrossGramsMax > 0 && grams > crate.Outline.GrossGramsMax:
		return fault.Refuse("take something out", "%s may weigh %s packed, and comes to %s", crate.Code, kilograms(crate.Outline.GrossGramsMax), kilograms(grams))
	}
	return nil
}

// Send says that the crates of a manifest left. They are on their way from here on.
func Send(tx *changelog.Tx, m *Manifest, day, carrier, note string) error {
	switch {
	case m.Voided:
		return isVoided(m)
	case m.Sent != nil:
		return fault.Hint("nothing to do", "%s left on %s", m.Code, m.Sent.Day)
	}
	if day == "" {
		day = stock.Day(tx.Author().Now)
	}
	if err := checkDay(day); err != nil {
		return err
	}
	h, err := ReadHolds(tx)
	if err != nil {
		return err
	}
	for _, c := range m.Crates {
		if err := asListed(tx, h, m, c); err != nil {
			return err
		}
	}
	tx.Add(change.New(kind.ManifestSend, change.Ref(m.ID), change.Text(day), change.Text(carrier), change.Text(note)))
	for _, c := range m.Crates {
		tx.AssignRef(c.ID, kind.FieldLocationParent, "", m.Transit, "sent with manifest "+m.Code)
	}
	return nil
}

// asListed refuses a crate that is not as the manifest has it.
func asListed(tx *changelog.Tx, h *Holds, m *Manifest, c Crate) error {
	i := slices.IndexFunc(h.places, func(l *stock.Location) bool { return l.ID == c.ID })
	if i < 0 {
		return fault.Refuse("take the bundle that brings it first", "a crate of %s is not here yet", m.Code)
	}
	crate := h.places[i]
	anew := "make the list anew: pulk manifest void " + m.Code + " --why REASON, then pulk manifest make"
	if !slices.ContainsFunc(h.Within(crate), func(l *stock.Location) bool { return l.ID == m.From }) {
		return fault.Refuse(anew, "%s is not where %s starts, by the record", crate.Code, m.Code)
	}
	now, err := h.In(tx, crate)
	if err != nil {
		return err
	}
	grams, _ := now.GrossGrams()
	if !slices.Equal(now.Lines, c.Lines) || grams != c.GrossGrams || now.Seal() != c.Seal {
		return fault.Refuse(anew, "%s was packed, weighed or sealed otherwise after manifest %s was made", crate.Code, m.Code)
	}
	return nil
}

func isVoided(m *Manifest) error {
	return fault.Refuse("make another: pulk manifest make", "manifest %s is voided: %s", m.Code, m.VoidWhy)
}
