package manifest

import (
	"slices"

	"pulk/inventory/stock"
	"pulk/inventory/unit"
	"pulk/schema/fault"
	"pulk/schema/kind"
	"pulk/sync/change"
	"pulk/sync/changelog"
	"pulk/sync/clock"
)

// Void takes something back: a manifest whose crates have not left, by its code; a scan,
// a weighing or a booking, by its id. It says what.
func Void(tx *changelog.Tx, name, why string) (string, error) {
	if why == "" {
		return "", fault.Misuse("give it with --why", "voiding needs a reason")
	}
	m, unknown := Find(tx, name)
	if unknown == nil {
		return "manifest " + m.Code, voidManifest(tx, m, why)
	}
	id, err := tx.ParseName(name)
	if err != nil {
		return "", unknown
	}
	voided, _, err := stock.Voided(tx, id)
	if err != nil {
		return "", err
	}
	if voided {
		return "", fault.Hint("nothing to do", "%s is voided already", name)
	}
	what, err := voidEntry(tx, id, why)
	if what == "" && err == nil {
		err = fault.Hint("see: pulk manifest show MANIFEST", "%s is no manifest, scan, weighing or booking", name)
	}
	if err != nil {
		return "", err
	}
	tx.Add(change.New(kind.Void, change.Ref(id), change.Value{}, change.Text(why)))
	return what, nil
}

func voidManifest(tx *changelog.Tx, m *Manifest, why string) error {
	switch {
	case m.Voided:
		return fault.Hint("nothing to do", "%s is voided already", m.Code)
	case m.Sent != nil:
		return fault.Refuse("what came back is taken in where it is: pulk manifest receive "+m.Code, "the crates of %s left on %s", m.Code, m.Sent.Day)
	case len(m.Bookings) > 0:
		return fault.Refuse("void the bookings first", "crates of %s were taken in", m.Code)
	}
	tx.Add(change.New(kind.Void, change.Ref(m.ID), change.Value{}, change.Text(why)))
	return nil
}

// voidEntry undoes what hangs on an entry, and says what it is; nothing where it is
// none of this package's.
func voidEntry(tx *changelog.Tx, id clock.Dot, why string) (string, error) {
	if weighing, err := isWeighing(tx, id); weighing || err != nil {
		return "weighing", err
	}
	manifest, crate, err := crateOfScan(tx, id)
	if err != nil {
		return "", err
	}
	if !manifest.IsZero() {
		m, err := ByID(tx, manifest)
		if err == nil && m != nil && m.Booked(crate) != nil {
			err = fault.Refuse("void the booking first: pulk manifest void "+tx.Name(m.Booked(crate).ID)+" --why REASON", "the crate of %s is booked", tx.Name(id))
		}
		return "scan", err
	}
	all, err := List(tx)
	if err != nil {
		return "", err
	}
	for _, m := range all {
		if i := slices.IndexFunc(m.Bookings, func(b Booking) bool { return b.ID == id }); i >= 0 {
			return "booking", unbook(tx, m, &m.Bookings[i], why)
		}
	}
	return "", nil
}

// unbook takes back what a booking moved. The crate stays where it was found, and
// nonconformances and quarantines stay until somebody decides about them.
func unbook(tx *changelog.Tx, m *Manifest, b *Booking, why string) error {
	crate, err := stock.LocationByID(tx, b.Crate)
	if err != nil {
		return err
	}
	for _, f := range b.Findings {
		if f.Became.IsZero() || f.What != Short && f.What != Over {
			continue
		}
		if f.Piece.Unit.IsZero() {
			movement, found, err := stock.MovementByID(tx, f.Became)
			if err == nil && found && movement.Voided.IsZero() {
				_, err = stock.Void(tx, f.Became, why)
			}
			if err != nil {
				return err
			}
			continue
		}
		u, err := unit.ByID(tx, f.Piece.Unit)
		if err == nil && u != nil && f.What == Short && u.Place == m.Transit && !u.Installed() {
			err = unit.Move(tx, u, crate, "the booking was voided: "+why)
		}
		if err != nil {
			return err
		}
	}
	return nil
}
