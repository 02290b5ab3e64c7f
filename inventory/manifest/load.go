package manifest

import (
	"slices"

	"pulk/inventory/stock"
	"pulk/schema/fault"
	"pulk/sync/changelog"
	"pulk/sync/clock"
)

// List returns all manifests, the earliest first.
func List(tx *changelog.Tx) ([]*Manifest, error) { return load(tx, "") }

// ByID returns a manifest; nil, without error, where it is not here yet.
func ByID(tx *changelog.Tx, id clock.Dot) (*Manifest, error) {
	list, err := load(tx, "WHERE dot = ?", id.Key())
	if len(list) == 0 || err != nil {
		return nil, err
	}
	return list[0], nil
}

// Find returns the manifest with a code.
func Find(tx *changelog.Tx, code string) (*Manifest, error) {
	at, err := stock.FindLocation(tx, code)
	if err != nil {
		return nil, fault.Hint("see: pulk manifest list", "there is no manifest %q here", code)
	}
	list, err := load(tx, "WHERE transit = ?", at.ID.Key())
	switch {
	case err != nil:
		return nil, err
	case len(list) == 0:
		return nil, fault.Hint("see: pulk manifest list", "%s is a place and no manifest", code)
	}
	return list[0], nil
}

func load(tx *changelog.Tx, where string, args ...any) ([]*Manifest, error) {
	found, err := heads(tx, where, args...)
	if err != nil {
		return nil, err
	}
	var list []*Manifest
	for i := range found {
		if err := found[i].fill(tx); err != nil {
			return nil, err
		}
		list = append(list, &found[i])
	}
	return list, nil
}

// fill reads all that belongs to a manifest.
func (m *Manifest) fill(tx *changelog.Tx) (err error) {
	if m.Code, err = stock.LocationLabel(tx, m.Transit); err != nil {
		return err
	}
	if m.Voided, m.VoidWhy, err = stock.Voided(tx, m.ID); err != nil {
		return err
	}
	if err := m.fillCrates(tx); err != nil {
		return err
	}
	sent, err := sendRows(tx, m.ID)
	if err != nil {
		return err
	}
	if len(sent) > 0 {
		m.Sent = &sent[0]
	}
	if m.Scans, err = scanRows(tx, m.ID); err != nil {
		return err
	}
	if m.Scans, err = standing(tx, m.Scans, func(s Scan) clock.Dot { return s.ID }); err != nil {
		return err
	}
	return m.fillBookings(tx)
}

// standing leaves out what was voided.
func standing[T any](tx *changelog.Tx, list []T, id func(T) clock.Dot) ([]T, error) {
	var failed error
	list = slices.DeleteFunc(list, func(t T) bool {
		voided, _, err := stock.Voided(tx, id(t))
		if err != nil {
			failed = err
		}
		return voided
	})
	return list, failed
}

func (m *Manifest) fillCrates(tx *changelog.Tx) error {
	crates, err := crateRows(tx, "WHERE manifest = ?", m.ID.Key())
	if err != nil {
		return err
	}
	lines, err := lineRows(tx, m.ID)
	if err != nil {
		return err
	}
	for _, c := range crates {
		for _, l := range lines {
			if l.crate == c.ID {
				c.Lines = append(c.Lines, l.Line)
			}
		}
		m.Crates = append(m.Crates, c.Crate)
	}
	return nil
}

// fillBookings reads bookings with their findings: those that came in the change-set of
// the booking, and after it.
func (m *Manifest) fillBookings(tx *changelog.Tx) (err error) {
	if m.Bookings, err = bookRows(tx, m.ID); err != nil {
		return err
	}
	if m.Bookings, err = standing(tx, m.Bookings, func(b Booking) clock.Dot { return b.ID }); err != nil {
		return err
	}
	findings, err := findingRows(tx, m.ID)
	if err != nil {
		return err
	}
	for i := range m.Bookings {
		b := &m.Bookings[i]
		for _, f := range findings {
			if f.crate == b.Crate && f.id.Lane == b.ID.Lane && f.id.Seq == b.ID.Seq {
				b.Findings = append(b.Findings, f.Finding)
			}
		}
	}
	return nil
}
